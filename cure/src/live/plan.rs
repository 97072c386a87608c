//! What a shop declares, made ready for its live engine.

use std::collections::{BTreeMap, BTreeSet};

use inkdwell_config::quantity::{Celsius, MetresPerSecond, Seconds};
use inkdwell_config::shop::{Place, Probe, Sensor, Shop, Signal, SignalKind, Source, SourceKind};
use inkdwell_config::station::{Station, StationKind};
use serde::{Deserialize, Serialize};

use crate::plan::{ChannelPlan, DEFAULT_MAX_GAP, DEFAULT_WAKE, PrintLaws, ProbeDoubt, Watch};
use crate::sensor::tolerance::expanded_uncertainty;
use crate::sensor::{Meter, ThermocoupleType, ToleranceClass, Uncertainty, declared_uncertainty};

/// Names an input: a channel of a source that something in the shop file reads.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct InputId(pub(super) usize);

/// What a reading of an input is used for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Role {
    /// The temperature of a probe, by number.
    Temperature(usize),
    /// The reference junction of a probe.
    Junction(usize),
    /// A signal, by number.
    Signal(usize),
}

/// A channel of a source.
#[derive(Debug, Clone)]
pub(super) struct Input {
    pub(super) source: String,
    pub(super) channel: String,
    pub(super) roles: Vec<Role>,
}

/// A probe and where its readings go.
#[derive(Debug, Clone)]
pub(super) struct PlannedProbe {
    pub(super) probe: Probe,
    pub(super) meter: Meter,
    pub(super) station: Option<usize>,
}

/// A signal and its station.
#[derive(Debug, Clone)]
pub(super) struct PlannedSignal {
    /// Its number in the shop file.
    pub(super) number: usize,
    pub(super) signal: Signal,
    pub(super) station: usize,
}

/// Everything that one shop declares.
#[derive(Debug, Clone)]
pub(super) struct FloorPlan {
    pub(super) inputs: Vec<Input>,
    pub(super) stations: Vec<Station>,
    pub(super) probes: Vec<PlannedProbe>,
    pub(super) signals: Vec<PlannedSignal>,
    by_name: BTreeMap<(String, String), InputId>,
    /// How sources are declared that play something, by id.
    scripts: BTreeMap<String, String>,
}

impl FloorPlan {
    pub(super) fn new(shop: &Shop) -> FloorPlan {
        let station = |id: &str| shop.stations.iter().position(|station| station.id == id);
        let mut plan = FloorPlan {
            inputs: Vec::new(),
            stations: shop.stations.clone(),
            probes: Vec::new(),
            signals: Vec::new(),
            by_name: BTreeMap::new(),
            scripts: scripts(shop),
        };
        for probe in &shop.probes {
            let number = plan.probes.len();
            plan.probes.push(PlannedProbe {
                meter: Meter::new(probe),
                station: probe.station.as_deref().and_then(station),
                probe: probe.clone(),
            });
            let Some(source) = &probe.source else {
                continue;
            };
            plan.add(source, &probe.channel, Role::Temperature(number));
            if let Some(junction) = &probe.junction {
                plan.add(source, junction, Role::Junction(number));
            }
        }
        for (declared, signal) in shop.signals.iter().enumerate() {
            let (Some(source), Some(station)) = (&signal.source, station(&signal.station)) else {
                continue;
            };
            let number = plan.signals.len();
            plan.add(source, &signal.channel, Role::Signal(number));
            plan.signals.push(PlannedSignal {
                number: declared,
                signal: signal.clone(),
                station,
            });
        }
        plan
    }

    fn add(&mut self, source: &str, channel: &str, role: Role) {
        let name = (source.to_owned(), channel.to_owned());
        let next = InputId(self.inputs.len());
        let id = *self.by_name.entry(name).or_insert(next);
        if id == next {
            self.inputs.push(Input {
                source: source.to_owned(),
                channel: channel.to_owned(),
                roles: Vec::new(),
            });
        }
        self.inputs[id.0].roles.push(role);
    }

    pub(super) fn input(&self, source: &str, channel: &str) -> Option<InputId> {
        let name = (source.to_owned(), channel.to_owned());
        self.by_name.get(&name).copied()
    }

    /// How a source is declared that plays something; empty for one that does not. Where that changes, something
    /// else is played from now on, and its time begins anew.
    pub(super) fn script(&self, source: Option<&str>) -> &str {
        let script = source.and_then(|id| self.scripts.get(id));
        script.map_or("", String::as_str)
    }

    /// How all sources are declared that play something to a station.
    pub(super) fn scripts_at(&self, station: usize) -> String {
        let probes = self.probes.iter();
        let probes = probes.filter(|own| own.station == Some(station));
        let signals = self.signals.iter().filter(|own| own.station == station);
        let sources = probes.map(|own| own.probe.source.as_deref());
        let sources = sources.chain(signals.map(|own| own.signal.source.as_deref()));
        let scripts: BTreeSet<&str> = sources.map(|source| self.script(source)).collect();
        scripts.into_iter().collect()
    }

    /// Whether a station has a signal of a kind.
    pub(super) fn has_signal(&self, station: usize, is: impl Fn(&SignalKind) -> bool) -> bool {
        self.signals
            .iter()
            .any(|signal| signal.station == station && is(&signal.signal.kind))
    }

    /// The plan of a probe whose passes are judged; `None` for one that has none.
    pub(super) fn channel_plan(&self, number: usize, laws: &BatchLaws) -> Option<ChannelPlan> {
        let planned = &self.probes[number];
        let station = &self.stations[planned.station?];
        let watch = self.watch(number, laws.last_heat)?;
        Some(ChannelPlan {
            laws: laws.laws.clone(),
            watch,
            doubt: doubt(&planned.probe, laws.laws.threshold),
            max_gap: station.max_gap.unwrap_or(DEFAULT_MAX_GAP),
            wake: station.wake.unwrap_or(DEFAULT_WAKE),
        })
    }

    /// What a probe sees of prints on their way through the heat; `None` for one that sees none.
    ///
    /// Under a flash unit a probe looks at the print's surface, whether it is called a ride or an exit probe.
    pub(super) fn watch(&self, number: usize, last_heat: bool) -> Option<Watch> {
        let planned = &self.probes[number];
        let station = &self.stations[planned.station?];
        match (station.kind, planned.probe.place) {
            (StationKind::BeltDryer, Place::Ride) => Some(Watch::Ride),
            (StationKind::FlashUnit, Place::Ride | Place::Exit) if last_heat => {
                Some(Watch::FlashFinal)
            }
            (StationKind::FlashUnit, Place::Ride | Place::Exit) => Some(Watch::FlashGel),
            _ => None,
        }
    }

    /// The numbers of the cloth probes beside a ride probe.
    pub(super) fn cloth_beside(&self, ride: usize) -> Vec<usize> {
        let station = self.probes[ride].station;
        let beside = |planned: &PlannedProbe| {
            planned.probe.place == Place::Cloth && planned.station == station
        };
        let numbered = self.probes.iter().enumerate();
        numbered
            .filter(|(_, planned)| beside(planned))
            .map(|(number, _)| number)
            .collect()
    }
}

/// How sources are declared that play something, by id.
fn scripts(shop: &Shop) -> BTreeMap<String, String> {
    let plays = |source: &&Source| {
        matches!(
            source.kind,
            SourceKind::Replay { .. } | SourceKind::Simulated { .. }
        )
    };
    let scripts = shop.sources.iter().filter(plays);
    scripts
        .map(|source| (source.id.clone(), format!("{source:?}")))
        .collect()
}

/// A probe's doubt: what is declared, else class 2 of its thermocouple type (K where none is given).
pub(super) fn doubt(probe: &Probe, near: Celsius) -> ProbeDoubt {
    if let Some(uncertainty) = declared_uncertainty(probe, near) {
        return ProbeDoubt {
            uncertainty,
            assumed: None,
        };
    }
    let kind = match probe.sensor {
        Some(Sensor::Thermocouple { kind, .. }) => ThermocoupleType::from_letter(kind),
        _ => None,
    };
    let kind = kind.unwrap_or(ThermocoupleType::K);
    let class_two = expanded_uncertainty(kind, ToleranceClass::Two);
    ProbeDoubt {
        uncertainty: class_two.unwrap_or(Uncertainty::ZERO),
        assumed: Some(kind.letter()),
    }
}

/// What the prints of a batch are judged by.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct BatchLaws {
    /// The laws of its ink on its fabric.
    pub laws: PrintLaws,
    /// Whether a flash unit is its last heat, so that the ink's cure law decides and not its gel window.
    pub last_heat: bool,
}

/// A batch that is opened.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct BatchPlan {
    /// Its number, unique in its shop.
    pub number: u64,
    /// What its prints are judged by.
    pub laws: BatchLaws,
    /// The recipe that the station is held against.
    pub recipe: Option<LockedSettings>,
}

/// The settings of a recipe, and how far each may be off before the station has left it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LockedSettings {
    /// The recipe's number.
    pub recipe: u64,
    /// The belt's speed.
    pub belt: Option<MetresPerSecond>,
    /// By what share it may be off.
    pub belt_drift: f64,
    /// What zone probes showed, by their ids.
    pub zones: Vec<(String, Celsius)>,
    /// By how many °C each may be off.
    pub zone_drift: f64,
    /// What the exit probe showed of the reference ride's print, by its id.
    pub exit: Option<(String, Celsius)>,
    /// By how many °C a print may leave hotter or cooler.
    pub exit_drift: f64,
    /// After how long another ride is due.
    pub ride_every: Option<Seconds>,
}
