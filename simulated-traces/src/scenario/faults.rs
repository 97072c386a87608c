//! From a fault as it is written to an event.

use inkdwell_config::library::Library;
use inkdwell_config::problem::Problem;
use toml::Spanned;

use super::file::{Broken, Fault, Place, Written};
use crate::events::{Event, GarmentChange};
use inkdwell_config::quantity::Seconds;

/// What the faults of a scenario are read with.
pub(super) struct Desk<'a> {
    pub(super) place: Place<'a>,
    pub(super) library: &'a Library,
    pub(super) zones: usize,
    /// The names of all columns.
    pub(super) columns: Vec<String>,
}

fn seconds(written: Option<Written<Seconds>>) -> Option<f64> {
    written.map(|written| written.0.0)
}

impl Desk<'_> {
    /// Reads a fault.
    pub(super) fn read(&self, fault: &Spanned<Fault>) -> Result<Event, Problem> {
        let at = Some(fault.span().start);
        let problem = |key: &str, what: String, remedy: String| {
            self.place
                .problem(at, &format!("event.{key}"), what, remedy)
        };
        Ok(match fault.get_ref() {
            Fault::BeltSpeed { at, to } => Event::BeltSpeed {
                at: at.0.0,
                to: to.0.0,
            },
            Fault::BeltSlip {
                at,
                over,
                by,
                unseen,
                until,
            } => Event::BeltSlip {
                at: at.0.0,
                over: seconds(*over).unwrap_or(0.0),
                by: by.0.0,
                unseen: *unseen,
                until: seconds(*until),
            },
            Fault::BeltStop { at, lasting } => Event::BeltStop {
                at: at.0.0,
                lasting: lasting.0.0,
            },
            Fault::HeaterSag {
                at,
                over,
                zone,
                by,
                panel_by,
                until,
            } => {
                if !(1..=self.zones).contains(zone) {
                    let what = format!("the station has no zone {zone}");
                    return Err(problem("zone", what, format!("write 1 to {}", self.zones)));
                }
                Event::HeaterSag {
                    at: at.0.0,
                    over: seconds(*over).unwrap_or(0.0),
                    zone: *zone,
                    by: by.0.0,
                    panel_by: panel_by.map_or(by.0.0, |by| by.0.0),
                    until: seconds(*until),
                }
            }
            Fault::WrongGarment {
                from,
                count,
                fabric,
            } => {
                let fabric = self.library.fabric(fabric).map_err(|unknown| {
                    problem(
                        "fabric",
                        format!("fabric {fabric:?} is unknown"),
                        unknown.remedy,
                    )
                })?;
                garments(*from, *count, GarmentChange::Fabric(fabric.clone()))
            }
            Fault::WetGarments {
                from,
                count,
                moisture,
            } => garments(*from, *count, GarmentChange::Moisture(moisture.0.0)),
            Fault::HeavyGarments {
                from,
                count,
                factor,
            } => garments(*from, *count, GarmentChange::Mass(*factor)),
            Fault::ThickFilm {
                from,
                count,
                factor,
            } => garments(*from, *count, GarmentChange::Film(*factor)),
            Fault::DropOut {
                at,
                lasting,
                column,
            } => Event::DropOut {
                at: at.0.0,
                lasting: lasting.0.0,
                column: column
                    .as_ref()
                    .map(|column| self.column(column, &problem))
                    .transpose()?,
            },
            Fault::ProbeBreak {
                at,
                column,
                how,
                until,
            } => Event::ProbeBreak {
                at: at.0.0,
                column: self.column(column, &problem)?,
                open: *how == Broken::Open,
                until: seconds(*until),
            },
            Fault::Spike { at, column, by } => Event::Spike {
                at: at.0.0,
                column: self.column(column, &problem)?,
                by: by.0.0,
            },
        })
    }

    fn column(
        &self,
        name: &str,
        problem: &impl Fn(&str, String, String) -> Problem,
    ) -> Result<String, Problem> {
        if self.columns.iter().any(|column| column == name) {
            return Ok(name.to_owned());
        }
        let known: Vec<&str> = self.columns.iter().map(String::as_str).collect();
        let remedy = inkdwell_config::problem::suggestion(name, &known);
        Err(problem(
            "column",
            format!("there is no column {name:?}"),
            remedy,
        ))
    }
}

fn garments(from: u32, count: u32, change: GarmentChange) -> Event {
    Event::Garments {
        from,
        count,
        change: Box::new(change),
    }
}
