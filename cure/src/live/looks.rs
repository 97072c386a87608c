//! Looking at a floor: what its inputs show, how fast its belts run.

use inkdwell_config::quantity::{Celsius, MetresPerSecond};
use inkdwell_config::shop::Probe;
use serde::{Deserialize, Serialize};

use super::Floor;
use super::plan::{self, InputId, Role};
use super::time::Micros;
use crate::plan::ProbeDoubt;

/// What an input said last.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Latest {
    /// When.
    pub at: Micros,
    /// What: °C of a probe, m/s of a belt, else the signal's own number; `None` where it was no number.
    pub value: Option<f64>,
}

/// What an input shows now, and of what: probes and signals by their numbers in the shop file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shows {
    /// A probe.
    Probe(usize, Option<Latest>),
    /// A signal.
    Signal(usize, Option<Latest>),
}

impl Floor {
    /// The input that a channel of a source is; `None` where nothing in the shop file reads it.
    pub fn input(&self, source: &str, channel: &str) -> Option<InputId> {
        self.plan.input(source, channel)
    }

    /// The channels of a source that something in the shop file reads.
    pub fn channels_of(&self, source: &str) -> impl Iterator<Item = (&str, InputId)> {
        let inputs = self.plan.inputs.iter().enumerate();
        inputs
            .filter(move |(_, input)| input.source == source)
            .map(|(number, input)| (input.channel.as_str(), InputId(number)))
    }

    /// A probe as it is declared, with the calibration that holds now.
    pub fn probe(&self, id: &str) -> Option<&Probe> {
        let mut probes = self.plan.probes.iter().map(|planned| &planned.probe);
        probes.find(|probe| probe.id == id)
    }

    /// How sure a probe is, as it is calibrated now; `near` is where that matters.
    pub fn doubt(&self, id: &str, near: Celsius) -> Option<ProbeDoubt> {
        self.probe(id).map(|probe| plan::doubt(probe, near))
    }

    /// Whether readings of this input are needed to make sense of others that come with them (a reference
    /// junction): they are fed first.
    pub fn comes_first(&self, input: InputId) -> bool {
        let roles = &self.plan.inputs[input.0].roles;
        roles.iter().any(|role| matches!(role, Role::Junction(_)))
    }

    /// What the last reading of an input has told, of each probe and signal that reads it.
    pub fn shows(&self, input: InputId) -> impl Iterator<Item = Shows> + '_ {
        let roles = self.plan.inputs[input.0].roles.iter();
        roles.filter_map(|role| match *role {
            Role::Junction(_) => None,
            Role::Temperature(probe) => {
                let latest = self.state.probes[probe].latest;
                Some(Shows::Probe(probe, latest))
            }
            Role::Signal(signal) => {
                let latest = self.state.signals[signal].1;
                Some(Shows::Signal(self.plan.signals[signal].number, latest))
            }
        })
    }

    /// What a probe or signal said last.
    pub fn latest(&self, id: &str) -> Option<Latest> {
        let probe = self.state.probes.iter().find(|probe| probe.id == id);
        let signal = || self.state.signals.iter().find(|signal| signal.0 == id);
        probe.map_or_else(
            || signal().and_then(|signal| signal.1),
            |probe| probe.latest,
        )
    }

    /// The belt's speed at a station now: its signal's, else the nominal; `None` where nobody knows.
    pub fn belt(&self, station: &str, at: Micros) -> Option<MetresPerSecond> {
        let state = self.state.stations.iter().find(|own| own.id == station)?;
        let speed = state.belt.speed(at.seconds_since(self.state.origin));
        (speed > 0.0).then_some(MetresPerSecond(speed))
    }

    /// Whether the belt signal of a station is live.
    pub fn belt_is_live(&self, station: &str, at: Micros) -> bool {
        let mut stations = self.state.stations.iter();
        let state = stations.find(|own| own.id == station);
        state.is_some_and(|own| own.belt.is_live(at.seconds_since(self.state.origin)))
    }

    /// When the pass that a probe is in began.
    pub fn open_pass(&self, probe: &str) -> Option<Micros> {
        let state = self.state.probes.iter().find(|own| own.id == probe)?;
        let began = state.watch.as_ref()?.open()?;
        Some(self.moment(began))
    }
}
