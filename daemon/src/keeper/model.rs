//! Prints that have left past an exit probe, and what is inferred of them.
//!
//! What is said of such a print takes a heat model and some time, so it is found elsewhere
//! ([`Inferrers`](super::Inferrers)) while the keeper goes on. A print is *pending* from the reading at which it
//! has left, with its pass's number and all that was read of it, until its answer comes. Answers are taken in
//! the order of the passes, whatever order they come in. Pending prints are put away with everything else,
//! and an answer is a record; so after a crash those without a record are asked again, and get the same
//! answer.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use inkdwell_config::quantity::{Celsius, MetresPerSecond, Seconds};
use inkdwell_config::station::Station;
use inkdwell_cure::judged::JudgedPass;
use inkdwell_cure::live::exit::{RecipeRide, Window};
use inkdwell_cure::live::{LockedSettings, PrintLeft};
use inkdwell_cure::plan::PrintLaws;
use serde::{Deserialize, Serialize};

use super::alarms::ToHear;
use super::{Keeper, words};
use crate::record::{BatchOpened, Judged, PassJudged, Place, RecipeLocked, Record};
use crate::time::Micros;

/// So many batches are remembered, to know of what ink the last prints of one are.
const REMEMBERED: usize = 16;
/// A print is the same if it ended as close as this, in microseconds.
const SAME: i64 = 1_000_000;

/// A print that has left, and of which nothing is known yet.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(super) struct Pending {
    pass: PassJudged,
    recipe: u64,
    declared: String,
    laws: PrintLaws,
    window: Window,
}

/// Names a heat model: that of a recipe, for ink and fabric as a batch declared them.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct ModelKey {
    /// The recipe's number.
    pub recipe: u64,
    /// Ink and fabric, as TOML.
    pub declared: Arc<str>,
    /// The station, as far as its declaration goes.
    pub station: Arc<str>,
}

/// Something to be inferred.
#[derive(Debug)]
pub struct InferJob {
    /// Through which model.
    pub model: ModelKey,
    /// The model's ride.
    pub ride: Arc<RecipeRide>,
    /// The model's station, as it was declared when the ride was made.
    pub station: Station,
    /// The pass with what was read of it and what it is judged by; `None` where the model is only to be made
    /// ready.
    pub print: Option<(u64, Window, PrintLaws)>,
}

/// What was inferred of a pass.
#[derive(Debug)]
pub struct Inferred {
    /// Its number.
    pub pass: u64,
    /// What is said of it, or why nothing can be.
    pub judged: Result<Box<JudgedPass>, String>,
}

/// What of inferring is not put away.
#[derive(Debug, Default)]
pub(super) struct Inferring {
    /// Passes that were given out.
    asked: BTreeSet<u64>,
    /// Answers to passes that others before them still wait for.
    answers: BTreeMap<u64, Judged>,
    /// Batches whose models are to be made ready: recipe, and ink and fabric.
    ahead: Vec<(u64, String)>,
}

impl Keeper {
    /// Tells of the ride that a recipe leans on.
    pub fn know_ride(&mut self, recipe: &RecipeLocked) {
        if let Some(ride) = &recipe.reference {
            let ride = Arc::new((**ride).clone());
            self.floor.know_ride(recipe.recipe, ride);
        }
    }

    /// Recipes that are not in force any more and whose rides are still needed.
    pub fn rides_needed(&self) -> Vec<u64> {
        let pending = self.state.pending.values().map(|own| own.recipe);
        let mut needed: Vec<u64> = pending.chain(self.floor.recipes_awaited()).collect();
        needed.sort_unstable();
        needed.dedup();
        needed.retain(|recipe| self.floor.ride(*recipe).is_none());
        needed
    }

    /// The settings that a recipe holds its station to.
    pub(super) fn settings_of(&self, recipe: &RecipeLocked) -> LockedSettings {
        let zones = recipe.zones_c.iter();
        let ride = self.floor.ride(recipe.recipe);
        let exit = ride.and_then(|ride| ride.exits.first());
        let exit = exit.map(|exit| exit.probe.clone());
        LockedSettings {
            recipe: recipe.recipe,
            belt: recipe
                .belt_m_per_min
                .map(|speed| MetresPerSecond(speed / 60.0)),
            belt_drift: recipe.belt_drift,
            zones: zones
                .map(|(id, celsius)| (id.clone(), Celsius(*celsius)))
                .collect(),
            zone_drift: recipe.zone_drift_c,
            exit: exit.zip(recipe.exit_c.map(Celsius)),
            exit_drift: recipe.exit_drift_c,
            ride_every: recipe.ride_every_s.map(Seconds),
        }
    }

    /// A batch was opened: if its recipe infers, its model is made ready and its ink remembered.
    pub(super) fn await_prints(&mut self, opened: &BatchOpened) {
        let Some(recipe) = opened.recipe.filter(|own| self.floor.ride(*own).is_some()) else {
            return;
        };
        let declared = &mut self.state.declared;
        declared.insert(opened.batch, opened.declared.clone());
        while declared.len() > REMEMBERED {
            declared.pop_first();
        }
        let ahead = (recipe, opened.declared.clone());
        self.inferring.ahead.push(ahead);
    }

    /// A print has left: it gets its number, and waits for what is inferred of it.
    pub(super) fn print_left(&mut self, left: PrintLeft) {
        self.state.passes += 1;
        let pass = self.state.passes;
        let seen = left.seen;
        let declared = seen.batch.and_then(|batch| self.state.declared.get(&batch));
        let declared = declared.cloned().unwrap_or_default();
        let pending = Pending {
            pass: PassJudged {
                pass,
                station: seen.station,
                probe: seen.probe,
                place: Place::Exit,
                start: seen.start,
                end: seen.end,
                batch: seen.batch,
                print: seen.print,
                belt_m_per_min: seen.belt.map(super::found::in_m_per_min),
                judged: None,
            },
            recipe: left.recipe,
            declared,
            laws: left.laws,
            window: left.window,
        };
        self.state.pending.insert(pass, pending);
    }

    /// What is to be inferred and was not given out yet.
    pub fn take_jobs(&mut self) -> Vec<InferJob> {
        let mut jobs = Vec::new();
        for (recipe, declared) in std::mem::take(&mut self.inferring.ahead) {
            let station = self.state.recipes.get(&recipe);
            let station = station.map(|recipe| recipe.station.clone());
            let job = station.and_then(|id| self.job(recipe, &declared, &id, None));
            jobs.extend(job);
        }
        let asked = &self.inferring.asked;
        let fresh = self
            .state
            .pending
            .keys()
            .filter(|pass| !asked.contains(pass));
        let fresh: Vec<u64> = fresh.copied().collect();
        for pass in fresh {
            self.inferring.asked.insert(pass);
            let Some(pending) = self.state.pending.get(&pass) else {
                continue;
            };
            let print = (pass, pending.window.clone(), pending.laws.clone());
            let station = &pending.pass.station;
            match self.job(pending.recipe, &pending.declared, station, Some(print)) {
                Some(job) => jobs.push(job),
                None => self.inferred(Inferred {
                    pass,
                    judged: Err(
                        "its recipe's ride, or its station, is not known any more".to_owned()
                    ),
                }),
            }
        }
        jobs
    }

    fn job(
        &self,
        recipe: u64,
        declared: &str,
        station: &str,
        print: Option<(u64, Window, PrintLaws)>,
    ) -> Option<InferJob> {
        let ride = self.floor.ride(recipe)?;
        // (What the shop file says of it by now may be another dryer than the one that was ridden.)
        let station = match &ride.station {
            Some(station) => station,
            None => self.shop.station(station)?,
        };
        Some(InferJob {
            model: ModelKey {
                recipe,
                declared: Arc::from(declared),
                station: Arc::from(format!("{station:?}")),
            },
            ride: Arc::clone(ride),
            station: Station::clone(station),
            print,
        })
    }

    /// Whether prints wait for what is inferred of them.
    pub fn awaits_answers(&self) -> bool {
        !self.state.pending.is_empty()
    }

    /// Takes an answer. It is recorded once all passes before it have theirs.
    pub fn inferred(&mut self, inferred: Inferred) {
        let Some(pending) = self.state.pending.get(&inferred.pass) else {
            return;
        };
        let judged = match inferred.judged {
            Ok(judged) => Judged::new(&judged, self.shop.units),
            Err(why) => words::not_inferred(pending.laws.threshold.0, &why),
        };
        self.inferring.answers.insert(inferred.pass, judged);
        while let Some(first) = self.state.pending.first_entry()
            && let Some(judged) = self.inferring.answers.remove(first.key())
        {
            let pass = PassJudged {
                judged: Some(judged),
                ..first.remove().pass
            };
            self.inferring.asked.remove(&pass.pass);
            let held = self.state.holds.note(&pass);
            let at: Micros = pass.end;
            let print = ToHear::Print(Box::new(pass.clone()));
            self.notices.push((at, print));
            self.entry.records.push((at, Record::PassJudged(pass)));
            self.add(at, held);
        }
    }

    /// What was inferred of a pass stands in the journal already.
    pub(super) fn was_inferred(&mut self, pass: &PassJudged) {
        if pass.place != Place::Exit {
            return;
        }
        let same = |pending: &Pending| {
            let own = &pending.pass;
            own.station == pass.station && (own.end.0 - pass.end.0).abs() <= SAME
        };
        let pending = &mut self.state.pending;
        // (Another version of the program may have numbered passes otherwise.)
        let found = pending.iter().find(|(_, own)| same(own));
        if let Some(number) = found.map(|(number, _)| *number) {
            pending.remove(&number);
        }
        self.state.holds.note(pass);
    }
}
