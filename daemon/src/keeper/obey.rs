//! What a record of a decision brings about: when it is made, and when it is replayed.

use inkdwell_config::library::Library;
use inkdwell_config::quantity::Celsius;
use inkdwell_config::shop::Calibration;
use inkdwell_cure::alarm::Job;
use inkdwell_cure::live::{BatchLaws, BatchPlan};
use inkdwell_cure::plan::PrintLaws;

use super::Keeper;
use super::state::OpenAt;
use crate::record::{BatchOpened, Calibrated, RecipeLocked, Record};
use crate::time::Micros;

impl Keeper {
    /// Makes a record, and does what it says.
    pub(super) fn record(&mut self, now: Micros, record: Record) -> Record {
        self.obey(now, &record);
        self.entry.records.push((now, record.clone()));
        record
    }

    /// Does what a record of a decision says: when it is made, and when it is replayed.
    pub(super) fn obey(&mut self, now: Micros, record: &Record) {
        match record {
            Record::BatchOpened(opened) => self.obey_open(opened, now),
            Record::BatchClosed(closed) => {
                let station = self.station_of(closed.batch);
                if let Some(station) = station {
                    self.state.batches.remove(&station);
                    let mut found = Vec::new();
                    self.floor
                        .close_batch(&station, now, &mut |event| found.push(event));
                    self.note_all(found);
                    let rang = &mut self.rang;
                    let watchman = &mut self.watchman;
                    watchman.closed(&station, now, &mut |event| rang.push(event));
                    self.note_alarms();
                }
            }
            Record::HoldSettled(settled) => self.state.holds.settle(settled.hold),
            Record::RecipeLocked(locked) => {
                self.state.recipes_made = self.state.recipes_made.max(locked.recipe);
                self.know_ride(locked);
                let reference = None;
                let locked = RecipeLocked {
                    reference,
                    ..locked.clone()
                };
                self.state.recipes.insert(locked.recipe, locked);
            }
            Record::RecipeRetired(retired) => {
                self.state.recipes.remove(&retired.recipe);
            }
            Record::Calibrated(calibrated) => {
                if let Some(calibration) = calibration_of(calibrated) {
                    self.floor.calibrate(&calibrated.probe, &calibration);
                    let due = calibration.due;
                    self.watchman.calibrated(&calibrated.probe, due);
                }
                let probe = calibrated.probe.clone();
                self.state.calibrations.insert(probe, calibrated.clone());
            }
            Record::PassAssigned(assigned) => {
                let (station, given) = (&assigned.station, assigned.print.saturating_sub(1));
                self.floor.next_print(station, assigned.batch, given);
            }
            Record::AlarmChanged(changed) => self.obey_alarm(now, changed),
            Record::PassJudged(_)
            | Record::BatchNoted(_)
            | Record::SignedOff(_)
            | Record::HoldOpened(_)
            | Record::HoldJoined(_)
            | Record::Occurred(_)
            | Record::ShopDeclared(_) => {}
        }
    }

    pub(super) fn station_of(&self, batch: u64) -> Option<String> {
        let mut open = self.state.batches.iter();
        open.find(|(_, open)| open.batch == batch)
            .map(|(station, _)| station.clone())
    }

    pub(super) fn obey_open(&mut self, opened: &BatchOpened, now: Micros) {
        self.state.batches_made = self.state.batches_made.max(opened.batch);
        let recipe = opened
            .recipe
            .and_then(|recipe| self.state.recipes.get(&recipe));
        let recipe = recipe.map(|recipe| self.settings_of(recipe));
        // It was written by this program, and read when it was opened.
        let declared = Library::parse("journal", &opened.declared).value;
        let (Some(ink), Some(fabric)) = (declared.inks().first(), declared.fabrics().first())
        else {
            return;
        };
        let plan = BatchPlan {
            number: opened.batch,
            laws: BatchLaws {
                laws: PrintLaws::new(ink, fabric),
                last_heat: opened.last_heat,
            },
            recipe,
        };
        let open = OpenAt {
            batch: opened.batch,
            threshold_c: ink.threshold.0,
        };
        self.state.batches.insert(opened.station.clone(), open);
        let job = Job {
            ink_mixed: opened.ink_mixed,
            ride_every: plan.recipe.as_ref().and_then(|locked| locked.ride_every),
            ..Job::new(opened.batch, ink, fabric)
        };
        self.await_prints(opened);
        let mut found = Vec::new();
        let floor = &mut self.floor;
        floor.open_batch(&opened.station, now, plan, &mut |event| found.push(event));
        self.note_all(found);
        let rang = &mut self.rang;
        let watchman = &mut self.watchman;
        watchman.opened(&opened.station, now, job, &mut |event| rang.push(event));
        self.note_alarms();
    }
}

/// What a record of a calibration says, as a shop file would; `None` where its day is none.
pub fn calibration_of(calibrated: &Calibrated) -> Option<Calibration> {
    let day = |text: &str| chrono::NaiveDate::parse_from_str(text, "%Y-%m-%d").ok();
    let points = calibrated.points_c.iter();
    Some(Calibration {
        points: points
            .map(|(shown, right)| (Celsius(*shown), Celsius(*right)))
            .collect(),
        uncertainty: calibrated
            .uncertainty_c
            .map(inkdwell_config::quantity::CelsiusDifference),
        date: day(&calibrated.date)?,
        by: calibrated.by.clone(),
        due: calibrated.due.as_deref().and_then(day),
    })
}
