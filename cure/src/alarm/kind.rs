//! Which alarms there are.

use std::fmt;

use serde::{Deserialize, Serialize};

/// An alarm of the catalogue. [`Kind::sheet`] says all about it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// A print did not get what its ink needs.
    PrintUnderCured,
    /// A print got more than its fabric can take.
    PrintOverheated,
    /// A print was flashed too little or too much.
    FlashOffWindow,
    /// Nothing was proved of several prints in a row.
    PrintsUnproven,
    /// Prints drift toward a limit.
    DriftTowardLimit,
    /// The belt stands in a hot chamber.
    BeltStoppedHot,
    /// Prints go slower than the belt's signal says.
    BeltSlipping,
    /// The belt was switched off before the chamber had cooled.
    BeltOffBeforeCooled,
    /// The chamber is hotter than it may be.
    ChamberOverLimit,
    /// The chamber grows hotter abnormally fast.
    ChamberRisingFast,
    /// A heater does not reach its set temperature.
    HeaterShortOfSet,
    /// A heater has reached it and falls behind.
    HeaterSagging,
    /// A zone is out of line with its neighbours.
    ZoneOutOfLine,
    /// A flash unit is lit and nothing moves under it.
    FlashLitIdle,
    /// A platen is too hot.
    PlatenOverheating,
    /// The exhaust is not proved while an ink needs it.
    ExhaustNotProved,
    /// Prints leave too hot to be stacked.
    TooHotToStack,
    /// A probe gives no number.
    ProbeOpen,
    /// A probe shows one number for too long.
    ProbeStuck,
    /// A probe's readings scatter.
    ProbeNoisy,
    /// A probe says nothing.
    ProbeSilent,
    /// A probe shows what cannot be.
    ProbeOutOfRange,
    /// A probe's calibration is overdue.
    CalibrationOverdue,
    /// A source does not hear its device.
    SourceDown,
    /// The wall clock was set.
    ClockStepped,
    /// Readings found the queue full.
    QueueOverflow,
    /// The disk is nearly or wholly full.
    DiskNearlyFull,
    /// What is to go out piles up.
    OutboxGrowing,
    /// The mixed ink has outlived its pot life.
    InkPastPotLife,
    /// Prints pass with no batch open.
    NoBatchOpen,
    /// The station has left its recipe.
    RecipeLeft,
    /// Another ride is due.
    RideOverdue,
    /// So many alarms come that some are held back.
    AlarmFlood,
    /// A test alarm.
    Drill,
}

impl Kind {
    /// All of them, in the order of the catalogue.
    pub const ALL: [Kind; 34] = [
        Kind::PrintUnderCured,
        Kind::PrintOverheated,
        Kind::FlashOffWindow,
        Kind::PrintsUnproven,
        Kind::DriftTowardLimit,
        Kind::BeltStoppedHot,
        Kind::BeltSlipping,
        Kind::BeltOffBeforeCooled,
        Kind::ChamberOverLimit,
        Kind::ChamberRisingFast,
        Kind::HeaterShortOfSet,
        Kind::HeaterSagging,
        Kind::ZoneOutOfLine,
        Kind::FlashLitIdle,
        Kind::PlatenOverheating,
        Kind::ExhaustNotProved,
        Kind::TooHotToStack,
        Kind::ProbeOpen,
        Kind::ProbeStuck,
        Kind::ProbeNoisy,
        Kind::ProbeSilent,
        Kind::ProbeOutOfRange,
        Kind::CalibrationOverdue,
        Kind::SourceDown,
        Kind::ClockStepped,
        Kind::QueueOverflow,
        Kind::DiskNearlyFull,
        Kind::OutboxGrowing,
        Kind::InkPastPotLife,
        Kind::NoBatchOpen,
        Kind::RecipeLeft,
        Kind::RideOverdue,
        Kind::AlarmFlood,
        Kind::Drill,
    ];

    /// The word by which files and commands call it.
    pub fn name(self) -> &'static str {
        self.sheet().name
    }

    /// The alarm of a name.
    pub fn named(name: &str) -> Option<Kind> {
        Kind::ALL.into_iter().find(|kind| kind.name() == name)
    }
}

/// What an alarm is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Concerns {
    /// The whole shop.
    Shop,
    /// One station.
    Station,
    /// One probe.
    Probe,
    /// One source.
    Source,
    /// One way out.
    Sink,
}

/// One alarm of one station, probe, source or way out; written `NAME@ID`, or `NAME` for the whole shop.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct AlarmId {
    /// Which alarm.
    pub kind: Kind,
    /// The id of what it is of; empty for the whole shop.
    pub of: String,
}

impl AlarmId {
    /// The alarm of something.
    pub fn new(kind: Kind, of: impl Into<String>) -> AlarmId {
        AlarmId {
            kind,
            of: of.into(),
        }
    }

    /// Reads what [`fmt::Display`] wrote; `None` where no alarm has that name.
    pub fn parse(text: &str) -> Option<AlarmId> {
        let (name, of) = text.split_once('@').unwrap_or((text, ""));
        Some(AlarmId::new(Kind::named(name)?, of))
    }
}

impl fmt::Display for AlarmId {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(self.kind.name())?;
        match self.of.as_str() {
            "" => Ok(()),
            of => write!(formatter, "@{of}"),
        }
    }
}
