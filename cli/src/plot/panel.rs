//! One channel of a figure.

use inkdwell_config::fabric::Fabric;
use inkdwell_config::ink::Ink;
use inkdwell_config::quantity::Celsius;
use inkdwell_cure::judged::{JudgedPass, Verdict};
use inkdwell_cure::plan::{ChannelPlan, Watch};

use super::believed::Believed;
use super::thinned::Thinned;
use crate::judge::Heading;

/// So many passes are drawn; a trace with more is no figure any more.
const MOST_MARKED: usize = 100_000;

/// Where a limit lies and what it is.
#[derive(Debug, Clone)]
pub(super) struct Level {
    pub(super) celsius: f64,
    pub(super) label: String,
}

/// A pass as far as it is drawn.
#[derive(Debug, Clone, Copy)]
pub(super) struct Mark {
    pub(super) start: f64,
    pub(super) end: f64,
    pub(super) index: u64,
    pub(super) verdict: Verdict,
}

/// One channel with its trace, its limits and its passes.
#[derive(Debug, Clone)]
pub(crate) struct Panel {
    pub(super) title: String,
    pub(super) subtitle: String,
    pub(super) trace: Thinned,
    /// The traces of junctions on unprinted cloth beside it.
    pub(super) cloth: Vec<Thinned>,
    pub(super) threshold: Level,
    pub(super) limits: Vec<Level>,
    pub(super) plan: ChannelPlan,
    pub(super) marks: Vec<Mark>,
    believed: Believed,
    cloth_believed: Vec<Believed>,
}

impl Panel {
    pub(crate) fn new(heading: &Heading, ink: &Ink, fabric: &Fabric, plan: &ChannelPlan) -> Panel {
        let (threshold, label) = match (plan.watch, ink.gel) {
            (Watch::FlashGel, Some(gel)) => (gel.from, "gels from"),
            _ => (ink.threshold, "threshold"),
        };
        let mut limits: Vec<Level> = fabric
            .harms
            .iter()
            .map(|limit| {
                let Celsius(celsius) = limit.law.coolest().0;
                Level {
                    celsius,
                    label: format!("{} begins", limit.harm.name()),
                }
            })
            .collect();
        if let (Watch::FlashGel, Some(gel)) = (plan.watch, ink.gel) {
            limits.push(Level {
                celsius: gel.to.0,
                label: "gels up to".to_owned(),
            });
        }
        Panel {
            title: format!("{}, channel {}", heading.file, heading.channel),
            subtitle: format!("{} on {}", heading.ink, heading.fabric),
            trace: Thinned::new(plan.max_gap.0),
            cloth: Vec::new(),
            believed: Believed::default(),
            cloth_believed: Vec::new(),
            threshold: Level {
                celsius: threshold.0,
                label: label.to_owned(),
            },
            limits,
            plan: plan.clone(),
            marks: Vec::new(),
        }
    }

    /// Takes readings, as pairs of seconds and °C; what cannot be a temperature of the print is left
    /// out.
    pub(crate) fn take(&mut self, readings: &[(f64, f64)]) {
        for &(time, celsius) in readings {
            for (time, celsius) in self.believed.take(time, celsius) {
                self.trace.take(time, celsius);
            }
        }
    }

    /// Takes readings of a cloth channel; channels are told apart by their number.
    pub(crate) fn take_cloth(&mut self, number: usize, readings: &[(f64, f64)]) {
        while self.cloth.len() <= number {
            self.cloth.push(Thinned::new(self.plan.max_gap.0));
            self.cloth_believed.push(Believed::default());
        }
        for &(time, celsius) in readings {
            for (time, celsius) in self.cloth_believed[number].take(time, celsius) {
                self.cloth[number].take(time, celsius);
            }
        }
    }

    /// Marks a judged pass.
    pub(crate) fn mark(&mut self, pass: &JudgedPass) {
        if self.marks.len() < MOST_MARKED {
            self.marks.push(Mark {
                start: pass.start.0,
                end: pass.end.0,
                index: pass.index,
                verdict: pass.verdict,
            });
        }
    }
}
