//! What is worth knowing of a pass without changing its verdict.

use inkdwell_config::display::Units;
use inkdwell_config::fabric::Harm;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, Seconds};

use crate::heat::fit::ExitCause;
use crate::reason::harm_name;

/// A remark in figures; [`Remark::sentence`] says it in words.
#[derive(Debug, Clone, PartialEq)]
pub enum Remark {
    /// Nothing said how uncertain the probe is.
    AssumedUncertainty {
        /// Letter of the thermocouple type whose class 2 was assumed, in upper case.
        thermocouple: char,
        /// The largest expanded uncertainty that followed.
        uncertainty: CelsiusDifference,
    },
    /// Rows with equal times were averaged into one sample each.
    EqualTimes {
        /// How many samples are such means.
        merged: u64,
    },
    /// Most samples of the pass are further apart than the largest gap allowed.
    SlowLogger {
        /// The usual time between samples.
        interval: Seconds,
        /// The largest gap allowed.
        max_gap: Seconds,
    },
    /// The fabric declares no limit.
    NoHarmKnown,
    /// Harms that strike unprinted cloth were judged on the ride probe.
    ClothNotSeen {
        /// Which harms.
        harms: Vec<Harm>,
    },
    /// There is a cloth channel, but it has no good sample in this pass.
    ClothSilent {
        /// The name of the channel.
        channel: String,
    },
    /// The verdict presumes the garment that the reference was ridden with.
    PresumesGarment {
        /// Whether a second exit probe saw it, which tells its mass.
        seen_twice: bool,
    },
    /// What explains best that a print left as it did, where that is not a garment of the batch in a chamber as
    /// it was.
    Explained {
        /// The explanation.
        cause: ExitCause,
        /// How likely it is among all that may explain it, in per cent.
        per_cent: f64,
        /// By how much the sources (the zone, where it is one) then are hotter.
        hotter: CelsiusDifference,
        /// How many times the batch's mass the garment then has.
        mass: f64,
    },
    /// What two exit probes tell of a garment's mass.
    MassTold {
        /// How many times the batch's mass it has.
        times: f64,
    },
    /// Nothing says how well an exit probe repeats itself.
    ExitRepeats {
        /// The expanded uncertainty (k = 2) that is taken.
        uncertainty: CelsiusDifference,
    },
    /// Objects say that the belt ran at another speed than was noted.
    BeltSeems {
        /// So many times the noted speed.
        times: f64,
    },
    /// The belt's speed is only noted, not measured.
    BeltOnlyNoted {
        /// Its expanded uncertainty in per cent.
        per_cent: f64,
    },
    /// Nobody noted how warm the room is.
    RoomAssumed {
        /// What is taken.
        room: Celsius,
    },
    /// What the exit probe showed of the print itself.
    LeftAt {
        /// That temperature.
        shown: Celsius,
    },
    /// The trace has gaps, but the verdict stands whatever happened in them.
    GapsWithoutWeight {
        /// How many.
        gaps: u64,
    },
}

impl Remark {
    /// The remark in plain words.
    pub fn sentence(&self, units: Units) -> String {
        match self {
            Remark::AssumedUncertainty {
                thermocouple,
                uncertainty,
            } => format!(
                "uncertainty not given: a type {thermocouple} thermocouple of class 2 is assumed, \
                 U = {} (k = 2); give --uncertainty or the probe's calibration",
                units.difference(*uncertainty)
            ),
            Remark::EqualTimes { merged } => format!(
                "{merged} samples are means of rows with equal times; a logger that writes \
                 fractions of a second shows more"
            ),
            Remark::SlowLogger { interval, max_gap } => format!(
                "the usual interval of {:.1} s is longer than the largest gap allowed, {:.1} s, so \
                 nearly all of the trace is gap; if the logger is that slow on purpose, allow it \
                 with --max-gap",
                interval.0, max_gap.0
            ),
            Remark::NoHarmKnown => {
                "no limit of the fabric is known, so no harm was judged".to_owned()
            }
            Remark::ClothNotSeen { harms } => {
                let names: Vec<&str> = harms.iter().map(|harm| harm_name(*harm)).collect();
                format!(
                    "{} judged under the ink; unprinted cloth beside it runs hotter (typically by \
                     {}, by {} beside a thick film on light cloth): a second junction there, in a \
                     channel named cloth_c, would show it",
                    names.join(" and "),
                    units.difference(CelsiusDifference(3.0)),
                    units.difference(CelsiusDifference(20.0)),
                )
            }
            Remark::ClothSilent { channel } => format!(
                "{channel} has no good sample in this pass, so all harms were judged under the ink"
            ),
            Remark::PresumesGarment { seen_twice: false } => {
                "inferred for the batch's own garment: one half as heavy again can read hotter at the exit \
                 though it peaked cooler; a ride, a scale, or a second exit probe further on (exit2) would \
                 tell"
                    .to_owned()
            }
            Remark::PresumesGarment { seen_twice: true } => {
                "inferred for the batch's own garment, but for its mass, which two exit probes tell by how \
                 fast it cools; a ride would tell the rest"
                    .to_owned()
            }
            Remark::Explained {
                cause,
                per_cent,
                hotter,
                mass,
            } => {
                let heat = units.difference(CelsiusDifference(hotter.0.abs()));
                let than = if hotter.0 > 0.0 { "hotter" } else { "cooler" };
                let what = match cause {
                    ExitCause::AsRidden => "a garment of the batch in a chamber as it was".to_owned(),
                    ExitCause::Chamber => {
                        format!("a chamber that is {heat} {than} than when the reference was ridden")
                    }
                    ExitCause::Zone(number) => format!(
                        "zone {} being {heat} {than} than when the reference was ridden",
                        number + 1
                    ),
                    ExitCause::Wet => {
                        "a garment that holds more water than the reference's did".to_owned()
                    }
                    ExitCause::OtherCloth => {
                        format!("a garment of {mass:.2} times the batch's mass")
                    }
                };
                format!("what the probe saw is best explained by {what} (likely {per_cent:.0} %)")
            }
            Remark::MassTold { times } => format!(
                "by how fast it cooled, the garment has {times:.2} times the batch's mass"
            ),
            Remark::ExitRepeats { uncertainty } => format!(
                "what the exit probe reads off all the time cancels against the reference; how well it repeats \
                 itself is not given, and U = {} (k = 2) is taken; give --uncertainty, or uncertainty in its \
                 [[probe]]",
                units.difference(*uncertainty)
            ),
            Remark::BeltSeems { times } => format!(
                "prints passed as on a belt at {times:.2} times the noted speed, which is what was reckoned \
                 with; note the real speed, or record its signal"
            ),
            Remark::BeltOnlyNoted { per_cent } => format!(
                "the belt's speed is only noted, so it is doubted by {per_cent:.0} % (k = 2), which leaves \
                 many good prints unproven; a belt signal, as belt_m_per_min, would prove them"
            ),
            Remark::RoomAssumed { room } => format!(
                "nothing notes how warm the room is; {} is taken (add \"# room: 22 C\")",
                units.temperature(*room)
            ),
            Remark::LeftAt { shown } => {
                format!("the print itself left at {}", units.temperature(*shown))
            }
            Remark::GapsWithoutWeight { gaps } => format!(
                "{gaps} {} in the trace; the verdict stands whatever happened there",
                if *gaps == 1 { "gap" } else { "gaps" }
            ),
        }
    }
}
