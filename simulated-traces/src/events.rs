//! What goes wrong in a simulated shop, and when.

use inkdwell_config::fabric::Fabric;
use inkdwell_config::station::Zone;

use crate::physics::{BeltSpeed, TrueCloth, TrueGarment, ZoneShift, ZoneShifts};

/// A fault or a change. Times are seconds of the trace's clock; prints count from 1.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// The belt is set to another speed.
    BeltSpeed {
        /// When.
        at: f64,
        /// To how many m/s.
        to: f64,
    },
    /// The belt falls behind its drive.
    BeltSlip {
        /// When it begins.
        at: f64,
        /// Seconds until it slips in full.
        over: f64,
        /// By which share it is slower then.
        by: f64,
        /// Whether the belt's own speed signal sees nothing of it, since it sits at the drive.
        unseen: bool,
        /// When it grips again.
        until: Option<f64>,
    },
    /// The belt stands.
    BeltStop {
        /// When.
        at: f64,
        /// For how many seconds.
        lasting: f64,
    },
    /// A zone grows cooler.
    HeaterSag {
        /// When it begins.
        at: f64,
        /// Seconds until it has sagged in full.
        over: f64,
        /// Which zone, from 1.
        zone: usize,
        /// By how many °C its air sags, and its panel.
        by: f64,
        /// By how many °C its panel sags.
        panel_by: f64,
        /// When it is warm again.
        until: Option<f64>,
    },
    /// Some prints are other garments than the batch's.
    Garments {
        /// The first of them.
        from: u32,
        /// How many.
        count: u32,
        /// What is different about them.
        change: Box<GarmentChange>,
    },
    /// A column says nothing, or no column does.
    DropOut {
        /// When.
        at: f64,
        /// For how many seconds.
        lasting: f64,
        /// Which column; `None`: whole rows are missing.
        column: Option<String>,
    },
    /// A probe breaks.
    ProbeBreak {
        /// When.
        at: f64,
        /// Which column.
        column: String,
        /// Whether it says so; otherwise it stays at what it said last.
        open: bool,
        /// When it is whole again.
        until: Option<f64>,
    },
    /// One reading is off by far.
    Spike {
        /// When: the first reading at or after it.
        at: f64,
        /// Which column.
        column: String,
        /// By how many °C.
        by: f64,
    },
}

/// What is different about a garment.
#[derive(Debug, Clone, PartialEq)]
pub enum GarmentChange {
    /// It is of another fabric.
    Fabric(Fabric),
    /// It is wet: kilograms of water for each of dry fibre.
    Moisture(f64),
    /// It is heavier (or lighter) by a factor.
    Mass(f64),
    /// Its film is thicker (or thinner) by a factor.
    Film(f64),
}

impl GarmentChange {
    /// What records call it.
    pub fn name(&self) -> String {
        match self {
            GarmentChange::Fabric(fabric) => format!("wrong garment: {}", fabric.id),
            GarmentChange::Moisture(share) => {
                format!("wet garment: {share} of its dry mass is water")
            }
            GarmentChange::Mass(factor) => format!("garment of {factor} times the mass"),
            GarmentChange::Film(factor) => format!("film of {factor} times the thickness"),
        }
    }

    /// Makes the change.
    pub fn apply(&self, garment: &mut TrueGarment) {
        match self {
            GarmentChange::Fabric(fabric) => {
                let absorptivity = garment.cloth.absorptivity;
                garment.cloth = TrueCloth {
                    absorptivity,
                    ..TrueCloth::usual(fabric)
                };
            }
            GarmentChange::Moisture(share) => garment.cloth.moisture.0 = *share,
            GarmentChange::Mass(factor) => garment.cloth.mass.0 *= factor,
            GarmentChange::Film(factor) => garment.film.thickness.0 *= factor,
        }
    }
}

/// The changes that a print of a number suffers.
pub(crate) fn changes_of(events: &[Event], print: u32) -> Vec<&GarmentChange> {
    let hit = |event: &'_ Event| {
        matches!(event, Event::Garments { from, count, .. }
        if print >= *from && print - *from < *count)
    };
    events
        .iter()
        .filter(|event| hit(event))
        .filter_map(|event| match event {
            Event::Garments { change, .. } => Some(change.as_ref()),
            _ => None,
        })
        .collect()
}

/// The belt that the events make of a set speed (m/s): as it truly runs, and as its signal has it.
pub(crate) fn belts(set: f64, events: &[Event]) -> (BeltSpeed, BeltSpeed) {
    let mut times = vec![0.0];
    for event in events {
        match event {
            Event::BeltSpeed { at, .. } => times.push(*at),
            Event::BeltStop { at, lasting } => times.extend([*at, at + lasting]),
            Event::BeltSlip {
                at, over, until, ..
            } => {
                // A slip grows in twelve steps.
                times.extend((0..=12).map(|step| at + over * f64::from(step) / 12.0));
                times.extend(until);
            }
            _ => {}
        }
    }
    times.sort_by(f64::total_cmp);
    times.dedup();
    let steps = |signal: bool| {
        let steps = times
            .iter()
            .map(|time| (*time, speed_at(set, events, *time, signal)));
        BeltSpeed::steps(steps.collect())
    };
    (steps(false), steps(true))
}

fn speed_at(set: f64, events: &[Event], time: f64, signal: bool) -> f64 {
    let mut speed = set;
    let mut factor = 1.0;
    for event in events {
        match event {
            Event::BeltSpeed { at, to } if time >= *at => speed = *to,
            Event::BeltStop { at, lasting } if time >= *at && time < at + lasting => factor = 0.0,
            Event::BeltSlip {
                at,
                over,
                by,
                unseen,
                until,
            } => {
                let over_by_then = until.is_some_and(|until| time >= until);
                if time >= *at && !over_by_then && !(signal && *unseen) {
                    factor *= 1.0 - by * grown(time - at, *over);
                }
            }
            _ => {}
        }
    }
    speed * factor
}

/// How much of something has come about after `seconds`, if it takes `over`.
fn grown(seconds: f64, over: f64) -> f64 {
    if over > 0.0 {
        (seconds / over).clamp(0.0, 1.0)
    } else {
        1.0
    }
}

/// By how much the events shift the zones over time.
pub(crate) fn shifts(zones: &[Zone], events: &[Event]) -> ZoneShifts {
    let sags = |number: usize| {
        events.iter().filter(
            move |event| matches!(event, Event::HeaterSag { zone, .. } if *zone == number + 1),
        )
    };
    if events
        .iter()
        .all(|event| !matches!(event, Event::HeaterSag { .. }))
    {
        return ZoneShifts::none();
    }
    let lines = (0..zones.len()).map(|number| {
        let mut points: Vec<(f64, ZoneShift)> = vec![(0.0, ZoneShift::default())];
        for event in sags(number) {
            if let Event::HeaterSag {
                at,
                over,
                by,
                panel_by,
                until,
                ..
            } = event
            {
                let low = ZoneShift {
                    air: -by,
                    panel: -panel_by,
                };
                points.push((*at, ZoneShift::default()));
                points.push((at + over.max(1.0), low));
                if let Some(until) = until {
                    points.push((*until, low));
                    points.push((until + over.max(1.0), ZoneShift::default()));
                }
            }
        }
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        points
    });
    ZoneShifts::new(lines.collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_that_the_signal_does_not_see_slows_the_belt_alone() {
        let slip = Event::BeltSlip {
            at: 10.0,
            over: 0.0,
            by: 0.2,
            unseen: true,
            until: Some(20.0),
        };
        let (belt, signal) = belts(0.05, &[slip]);
        for (time, speed) in [(5.0, 0.05), (15.0, 0.04), (25.0, 0.05)] {
            assert!((belt.at(time) - speed).abs() < 1e-12, "{time}");
        }
        assert_eq!(signal.at(15.0), 0.05);
    }
}
