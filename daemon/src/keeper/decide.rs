//! What people ask for: looked at, refused where it makes no sense, else made a record.

use inkdwell_config::ink::Ink;
use inkdwell_config::problem::suggestion;
use inkdwell_config::station::StationKind;
use inkdwell_cure::heat::mesh::Mesh;

use super::Keeper;
use super::command::{Command, OpenBatch, Refused};
use super::obey::calibration_of;
use crate::record::{
    BatchClosed, BatchNoted, BatchOpened, Calibrated, HoldSettled, PassAssigned, RecipeLocked,
    RecipeRetired, Record, SignedOff,
};
use crate::time::Micros;

impl Keeper {
    /// Does what a person asks, or says why not. What is recorded stands in the next entry as well.
    ///
    /// # Errors
    /// When it cannot be done: then nothing has changed.
    pub fn command(&mut self, command: Command, now: Micros) -> Result<Record, Refused> {
        self.heed();
        match command {
            Command::OpenBatch(open) => self.open(*open, now),
            Command::CloseBatch { batch, by } => {
                let by = said(by, "by", "who closes it")?;
                self.close(batch, by, now)
            }
            Command::NoteBatch { batch, note, by } => {
                if batch == 0 || batch > self.state.batches_made {
                    return Err(Refused::NoBatch { batch });
                }
                let note = said(note, "the note", "what is worth knowing")?;
                let by = said(by, "by", "who writes it")?;
                let record = Record::BatchNoted(BatchNoted { batch, note, by });
                Ok(self.record(now, record))
            }
            Command::SignOff(test) => self.sign_off(test, now),
            Command::AssignPass {
                pass,
                station,
                batch,
                printed,
                by,
                judged,
            } => {
                if batch == 0 || batch > self.state.batches_made {
                    return Err(Refused::NoBatch { batch });
                }
                let by = said(by, "by", "who says so")?;
                let print = self.floor.next_print(&station, batch, printed);
                let assigned = PassAssigned {
                    pass,
                    station,
                    batch,
                    print,
                    by,
                    judged: *judged,
                };
                Ok(self.assign(assigned, now))
            }
            Command::SettleHold {
                hold,
                outcome,
                by,
                why,
            } => {
                if !self.state.holds.is_open(hold) {
                    return Err(Refused::HoldNotOpen { hold });
                }
                let by = said(by, "by", "who settles it")?;
                let why = said(why, "why", "for example that a wash test was passed")?;
                let record = Record::HoldSettled(HoldSettled {
                    hold,
                    outcome,
                    by,
                    why,
                });
                Ok(self.record(now, record))
            }
            Command::LockRecipe(recipe) => self.lock(*recipe, now),
            Command::RetireRecipe { recipe, by, why } => {
                if !self.state.recipes.contains_key(&recipe) {
                    return Err(Refused::NoRecipe { recipe });
                }
                let by = said(by, "by", "who retires it")?;
                let why = said(why, "why", "for example that the ink was changed")?;
                let record = Record::RecipeRetired(RecipeRetired { recipe, by, why });
                Ok(self.record(now, record))
            }
            Command::Calibrate(calibrated) => self.calibrate(calibrated, now),
            Command::Alarm {
                alarm,
                deal,
                by,
                why,
            } => self.deal(&alarm, deal, (by, why), now),
            Command::Drill { by, why } => self.drill(by, why, now),
        }
    }

    pub(super) fn open(&mut self, open: OpenBatch, now: Micros) -> Result<Record, Refused> {
        let stations = || self.shop.stations.iter().map(|own| own.id.as_str());
        let station = self.shop.station(&open.station).ok_or_else(|| {
            let known: Vec<&str> = stations().collect();
            Refused::NoStation {
                id: open.station.clone(),
                remedy: suggestion(&open.station, &known),
            }
        })?;
        let ink = self.library.ink(&open.ink)?;
        let fabric = self.library.fabric(&open.fabric)?;
        if station.kind == StationKind::FlashUnit && !open.last_heat && ink.gel.is_none() {
            let ink = ink.id.clone();
            return Err(Refused::NoGel { ink });
        }
        let job = said(open.job, "the job", "its name")?;
        let by = said(open.by, "by", "who opens it")?;
        not_negative("the cost of a blank", open.blank_cost)?;
        not_negative("the mesh", open.mesh_per_inch)?;
        if let Some(recipe) = &open.recipe {
            self.check_recipe(*recipe, &open.station, &open.ink, &open.fabric)?;
        }
        let declared =
            inkdwell_config::written::declared(&as_printed(ink, open.mesh_per_inch), fabric);
        if let Some(before) = self.open_batch(&open.station) {
            self.close(before, by.clone(), now)?;
        }
        let opened = BatchOpened {
            batch: self.state.batches_made + 1,
            station: open.station,
            job,
            ink: open.ink,
            fabric: open.fabric,
            declared,
            last_heat: open.last_heat,
            quantity: open.quantity,
            blank_cost: open.blank_cost,
            mesh_per_inch: open.mesh_per_inch,
            ink_mixed: open.ink_mixed,
            recipe: open.recipe,
            by,
        };
        Ok(self.record(now, Record::BatchOpened(opened)))
    }

    pub(super) fn check_recipe(
        &self,
        recipe: u64,
        station: &str,
        ink: &str,
        fabric: &str,
    ) -> Result<(), Refused> {
        let known = self.state.recipes.get(&recipe);
        let known = known.ok_or(Refused::NoRecipe { recipe })?;
        if known.station != station || known.ink != ink || known.fabric != fabric {
            let (station, ink, fabric) = (&known.station, &known.ink, &known.fabric);
            let what = format!("{ink} on {fabric} at {station}");
            return Err(Refused::OtherRecipe { recipe, what });
        }
        Ok(())
    }

    pub(super) fn close(&mut self, batch: u64, by: String, now: Micros) -> Result<Record, Refused> {
        if self.station_of(batch).is_none() {
            return Err(Refused::BatchNotOpen { batch });
        }
        Ok(self.record(now, Record::BatchClosed(BatchClosed { batch, by })))
    }

    pub(super) fn assign(&mut self, assigned: PassAssigned, now: Micros) -> Record {
        let (station, batch, pass) = (&assigned.station, Some(assigned.batch), assigned.pass);
        let held = self.state.holds.add(station, batch, pass, &assigned.judged);
        let record = Record::PassAssigned(assigned);
        self.entry.records.push((now, record.clone()));
        self.add(now, held);
        record
    }

    pub(super) fn sign_off(&mut self, mut test: SignedOff, now: Micros) -> Result<Record, Refused> {
        let batch = test.batch;
        if batch == 0 || batch > self.state.batches_made {
            return Err(Refused::NoBatch { batch });
        }
        test.method = said(test.method, "the method", "for example ISO 105-C06")?;
        test.result = said(test.result, "the result", "for example the grade, 4-5")?;
        test.by = said(test.by, "by", "who tested it")?;
        Ok(self.record(now, Record::SignedOff(test)))
    }

    pub(super) fn lock(
        &mut self,
        mut recipe: RecipeLocked,
        now: Micros,
    ) -> Result<Record, Refused> {
        recipe.by = said(recipe.by, "by", "who locks it")?;
        for (what, drift) in [
            ("the belt's drift", recipe.belt_drift),
            ("a zone's drift", recipe.zone_drift_c),
            ("the exit temperature's drift", recipe.exit_drift_c),
        ] {
            if !(drift > 0.0 && drift.is_finite()) {
                return Err(Refused::Senseless {
                    what,
                    value: drift.to_string(),
                    remedy: "give a number above zero",
                });
            }
        }
        recipe.recipe = self.state.recipes_made + 1;
        Ok(self.record(now, Record::RecipeLocked(recipe)))
    }

    pub(super) fn calibrate(
        &mut self,
        mut calibrated: Calibrated,
        now: Micros,
    ) -> Result<Record, Refused> {
        let probes = self.shop.probes.iter().map(|probe| probe.id.as_str());
        let known: Vec<&str> = probes.collect();
        if !known.contains(&calibrated.probe.as_str()) {
            let remedy = suggestion(&calibrated.probe, &known);
            let id = calibrated.probe;
            return Err(Refused::NoProbe { id, remedy });
        }
        calibrated.by = said(calibrated.by, "by", "who made it")?;
        let rises = |pair: &[(f64, f64)]| pair[0].0 < pair[1].0;
        let finite = |point: &(f64, f64)| point.0.is_finite() && point.1.is_finite();
        let points = &calibrated.points_c;
        if points.is_empty() || !points.windows(2).all(rises) || !points.iter().all(finite) {
            return Err(Refused::Senseless {
                what: "the calibration's points",
                value: format!("{points:?}"),
                remedy: "give one or more, what was shown and what it should have been, rising",
            });
        }
        not_negative("the calibration's uncertainty", calibrated.uncertainty_c)?;
        if calibration_of(&calibrated).is_none() {
            return Err(Refused::Senseless {
                what: "the day of the calibration",
                value: calibrated.date,
                remedy: "write it as 2026-01-31",
            });
        }
        Ok(self.record(now, Record::Calibrated(calibrated)))
    }
}

/// A text that has to say something.
pub(super) fn said(
    text: String,
    what: &'static str,
    example: &'static str,
) -> Result<String, Refused> {
    let text = text.trim();
    if text.is_empty() {
        return Err(Refused::Empty { what, example });
    }
    Ok(text.to_owned())
}

pub(super) fn not_negative(what: &'static str, value: Option<f64>) -> Result<(), Refused> {
    match value {
        Some(value) if !(value >= 0.0 && value.is_finite()) => Err(Refused::Senseless {
            what,
            value: value.to_string(),
            remedy: "give a number, zero or more",
        }),
        _ => Ok(()),
    }
}

/// The ink as it is printed: through the screen of the batch (threads an inch), where that is known.
fn as_printed(ink: &Ink, mesh_per_inch: Option<f64>) -> Ink {
    let mut ink = ink.clone();
    if let Some(film) = mesh_per_inch.and_then(Mesh::usual) {
        ink.film = Some(film.film(1));
    }
    ink
}
