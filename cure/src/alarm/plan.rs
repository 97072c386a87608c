//! What a shop declares, made ready for its watchman.

use chrono::NaiveDate;
use inkdwell_config::shop::{Place, Probe, Senses, Shop, SignalKind};
use inkdwell_config::station::{Station, StationKind};

use super::kind::{AlarmId, Concerns, Kind};
use super::limits::Limits;
use super::register::Origin;

/// How much hotter than set the air or a panel may be, in °C: our own judgement.
const AIR_ABOVE_SET: f64 = 30.0;
const PANEL_ABOVE_SET: f64 = 80.0;
/// Prints may be stacked this far below where their fabric's dye begins to migrate, in °C: our own judgement.
const STACKED_BELOW: f64 = 20.0;

/// A probe.
#[derive(Debug, Clone)]
pub(super) struct PlannedProbe {
    pub(super) id: String,
    pub(super) station: Option<usize>,
    pub(super) source: Option<String>,
    pub(super) place: Place,
    pub(super) is_air: bool,
    /// The set temperature of what it senses, in °C.
    pub(super) set: Option<f64>,
    /// The day by which it is to be calibrated, counted from 1970-01-01.
    pub(super) due: Option<i64>,
    pub(super) limits: Limits,
    /// Its place, station and source, to see whether it is the same after another shop file was read.
    pub(super) declared: String,
}

/// A signal.
#[derive(Debug, Clone)]
pub(super) struct PlannedSignal {
    pub(super) station: Option<usize>,
    pub(super) kind: SignalKind,
}

/// A station.
#[derive(Debug, Clone)]
pub(super) struct PlannedStation {
    pub(super) id: String,
    pub(super) kind: StationKind,
    pub(super) belt: Option<f64>,
    pub(super) heated_length: f64,
    /// From where its exhaust's signal proves it; `None` where there is no such signal.
    pub(super) proved_from: Option<f64>,
    pub(super) limits: Limits,
    /// Its probes, by number.
    pub(super) probes: Vec<usize>,
    /// Its probes in the chamber.
    pub(super) zones: Vec<usize>,
}

/// A shop.
#[derive(Debug, Clone)]
pub(super) struct Plan {
    pub(super) probes: Vec<PlannedProbe>,
    pub(super) signals: Vec<PlannedSignal>,
    pub(super) stations: Vec<PlannedStation>,
    sources: Vec<String>,
    sinks: Vec<String>,
    pub(super) whole_shop: Limits,
    pub(super) shelve_longest: f64,
}

/// How long an alarm may be shelved where the shop file does not say, in seconds: a working day.
const SHELVE_LONGEST: f64 = 28_800.0;

impl Plan {
    pub(super) fn new(shop: &Shop) -> Plan {
        let number = |id: &str| shop.stations.iter().position(|station| station.id == id);
        let probes: Vec<PlannedProbe> = shop
            .probes
            .iter()
            .map(|probe| planned(shop, probe, probe.station.as_deref().and_then(number)))
            .collect();
        let signals = shop.signals.iter().map(|signal| PlannedSignal {
            station: number(&signal.station),
            kind: signal.kind,
        });
        let stations = shop.stations.iter().enumerate();
        Plan {
            stations: stations
                .map(|(number, station)| planned_station(shop, number, station, &probes))
                .collect(),
            signals: signals.collect(),
            sources: shop
                .sources
                .iter()
                .map(|source| source.id.clone())
                .collect(),
            sinks: shop.sinks.iter().map(|sink| sink.id.clone()).collect(),
            whole_shop: Limits::of(shop, None),
            shelve_longest: shop
                .alarms
                .shelve_longest
                .map_or(SHELVE_LONGEST, |time| time.0),
            probes,
        }
    }

    pub(super) fn station(&self, id: &str) -> Option<usize> {
        self.stations.iter().position(|station| station.id == id)
    }

    pub(super) fn probe(&self, id: &str) -> Option<usize> {
        self.probes.iter().position(|probe| probe.id == id)
    }

    /// The ids that alarms of a kind can be of; none for the whole shop.
    pub(super) fn ids(&self, concerns: Concerns) -> Vec<&str> {
        match concerns {
            Concerns::Shop => Vec::new(),
            Concerns::Station => self.stations.iter().map(|own| own.id.as_str()).collect(),
            Concerns::Probe => self.probes.iter().map(|own| own.id.as_str()).collect(),
            Concerns::Source => self.sources.iter().map(String::as_str).collect(),
            Concerns::Sink => self.sinks.iter().map(String::as_str).collect(),
        }
    }

    /// Whether such an alarm can be.
    pub(super) fn knows(&self, id: &AlarmId) -> bool {
        match id.kind.sheet().concerns {
            Concerns::Shop => id.of.is_empty(),
            concerns => self.ids(concerns).contains(&id.of.as_str()),
        }
    }

    /// The station that an alarm belongs to.
    pub(super) fn station_of(&self, id: &AlarmId) -> Option<usize> {
        match id.kind.sheet().concerns {
            Concerns::Station => self.station(&id.of),
            Concerns::Probe => self.probes[self.probe(&id.of)?].station,
            Concerns::Shop | Concerns::Source | Concerns::Sink => None,
        }
    }

    /// The station and group of an alarm.
    pub(super) fn origin(&self, id: &AlarmId) -> Origin {
        let station = self
            .station_of(id)
            .map(|number| self.stations[number].id.clone());
        let source = match id.kind.sheet().concerns {
            Concerns::Source => Some(id.of.clone()),
            Concerns::Probe => {
                let probe = self.probe(&id.of);
                probe.and_then(|number| self.probes[number].source.clone())
            }
            _ => None,
        };
        let group = match id.kind {
            Kind::SourceDown
            | Kind::ProbeOpen
            | Kind::ProbeStuck
            | Kind::ProbeNoisy
            | Kind::ProbeSilent
            | Kind::ProbeOutOfRange => source.map(|source| format!("wire of {source}")),
            Kind::QueueOverflow | Kind::DiskNearlyFull | Kind::OutboxGrowing => {
                Some("machine".to_owned())
            }
            Kind::CalibrationOverdue
            | Kind::ClockStepped
            | Kind::NoBatchOpen
            | Kind::RideOverdue
            | Kind::InkPastPotLife
            | Kind::ExhaustNotProved
            | Kind::AlarmFlood
            | Kind::Drill => None,
            _ => station.as_ref().map(|station| format!("heat of {station}")),
        };
        Origin { station, group }
    }

    /// Above what a zone is too hot.
    pub(super) fn chamber_limit(&self, probe: usize) -> Option<f64> {
        let probe = &self.probes[probe];
        let declared = probe.limits.chamber_limit.filter(|_| probe.is_air);
        let above = match probe.is_air {
            true => AIR_ABOVE_SET,
            false => PANEL_ABOVE_SET,
        };
        declared.or_else(|| probe.set.map(|set| set + above))
    }

    /// Above what prints on a fabric that migrates from a temperature up are too hot to be stacked.
    pub(super) fn stack_limit(&self, probe: usize, migrates_from: Option<f64>) -> Option<f64> {
        let from = migrates_from?;
        let declared = self.probes[probe].limits.stack_limit;
        Some(declared.unwrap_or(from - STACKED_BELOW))
    }
}

/// A day counted from 1970-01-01.
pub(super) fn day_number(day: NaiveDate) -> i64 {
    day.signed_duration_since(NaiveDate::default()).num_days()
}

fn planned(shop: &Shop, probe: &Probe, station: Option<usize>) -> PlannedProbe {
    let zone = station.and_then(|station| {
        let number = usize::try_from(probe.zone?).ok()?.checked_sub(1)?;
        shop.stations[station].zones.get(number)
    });
    let is_air = probe.senses == Senses::Air;
    let set = zone.and_then(|zone| if is_air { zone.air } else { zone.panel });
    let due = probe.calibration.as_ref().and_then(|made| made.due);
    PlannedProbe {
        id: probe.id.clone(),
        station,
        source: probe.source.clone(),
        place: probe.place,
        is_air,
        set: set.map(|set| set.0),
        due: due.map(day_number),
        limits: Limits::of(shop, probe.station.as_deref()),
        declared: format!("{:?} {:?} {:?}", probe.place, probe.station, probe.source),
    }
}

fn planned_station(
    shop: &Shop,
    number: usize,
    station: &Station,
    probes: &[PlannedProbe],
) -> PlannedStation {
    let own = || {
        let numbered = probes.iter().enumerate();
        numbered.filter(move |(_, probe)| probe.station == Some(number))
    };
    let signals = shop
        .signals
        .iter()
        .filter(|signal| signal.station == station.id);
    let mut exhaust = signals.filter_map(|signal| match signal.kind {
        SignalKind::Exhaust { proved_from } => Some(proved_from),
        _ => None,
    });
    PlannedStation {
        id: station.id.clone(),
        kind: station.kind,
        belt: station.belt.map(|speed| speed.0),
        heated_length: station.heated_length.0,
        proved_from: exhaust.next_back(),
        limits: Limits::of(shop, Some(&station.id)),
        probes: own().map(|(number, _)| number).collect(),
        zones: own()
            .filter(|(_, probe)| probe.place == Place::Zone)
            .map(|(number, _)| number)
            .collect(),
    }
}
