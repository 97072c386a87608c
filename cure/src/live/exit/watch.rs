//! What one station's exit probes saw lately, and which prints have left.
//!
//! Nothing here asks when it is: looks are due where the belt has gone on, and are made once everything that was
//! read up to then is known. So the same readings give the same looks, whatever was between them.

use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;

use inkdwell_config::quantity::Seconds;
use serde::{Deserialize, Serialize};

use super::super::belt::Belt;
use super::super::plan::{BatchLaws, BatchPlan, LockedSettings};
use super::super::time::Micros;
use super::lately::{Lately, PATIENCE};
use super::plan::ExitPlan;
use super::ride::RecipeRide;
use super::window::Window;
use crate::exit::BEHIND;
use crate::exit::template::Template;

/// While nothing is in sight, objects are looked for each time the belt has gone on by so much, in metres; else
/// when the next has enough belt behind it, …
const LOOK: f64 = 0.25;
/// … but no closer than this.
const CLOSEST_LOOK: f64 = 0.02;
/// A look is made so long after the belt came to where it is due, in seconds: no rounding decides whether a
/// reading of just that moment belongs to it.
const NO_TIE: f64 = 1e-4;
/// So much belt behind an object shows that it is whole, in metres; what lies beyond has no say in its verdict.
pub(super) const SETTLED: f64 = BEHIND;
/// So much belt before an object is kept, in metres: others on it, twenty or so, show what the belt looks like, and
/// where the counter's eye sits.
const KEPT: f64 = 16.0;
/// A step that no object took after so many more metres of belt is a print that no probe saw.
pub(super) const GIVEN_UP: f64 = 1.5;
/// A station of which nothing was heard for so long, by the ticks of the clock, is not coming back to what lies on
/// its belt, in seconds. (Readings may be old when they come: their own times do not tell whether it is silent.)
const SILENT: f64 = 600.0;

/// The reference rides of the recipes in force, by number.
pub(in super::super) type Rides = BTreeMap<u64, Arc<RecipeRide>>;

/// A batch under a recipe, as long as prints of it may come.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct Era {
    pub(super) batch: u64,
    pub(super) recipe: u64,
    pub(super) laws: BatchLaws,
    /// How often a ride is due.
    pub(super) ride_every: Option<Seconds>,
    pub(super) opened: f64,
    pub(super) closed: Option<f64>,
    /// What the recipe's ride taught; `None` until that was asked, or where it taught nothing.
    #[serde(skip)]
    pub(super) taught: Option<Option<Taught>>,
    /// When the objects passed that were whole at the last look and are told once the next finds them there too.
    pub(super) sighted: Vec<f64>,
}

/// What a ride taught of the batch's garments.
#[derive(Debug)]
pub(super) struct Taught {
    pub(super) template: Template,
    /// How far into the heat its film woke, in metres.
    pub(super) woke_after: f64,
}

/// A step of the counter that no ride is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(in super::super) struct Step {
    pub(in super::super) time: f64,
    pub(in super::super) batch: Option<u64>,
    pub(in super::super) print: Option<u64>,
}

/// A print that has left.
#[derive(Debug)]
pub(in super::super) struct LeftPrint {
    pub(in super::super) batch: u64,
    pub(in super::super) recipe: u64,
    pub(in super::super) laws: BatchLaws,
    /// Nearest to the heat.
    pub(in super::super) probe: String,
    pub(in super::super) start: Micros,
    pub(in super::super) end: Micros,
    /// When it entered the heat and when it was out of it.
    pub(in super::super) heated: (f64, f64),
    /// The step that counted it.
    pub(in super::super) step: Option<Step>,
    /// What the nearest probe showed of it, in °C.
    pub(in super::super) shown: Option<f64>,
    pub(in super::super) window: Window,
}

/// What has come out.
#[derive(Debug)]
pub(in super::super) enum Left {
    Print(Box<LeftPrint>),
    /// Counted, and no probe saw it.
    Unseen(Step),
}

/// What a look needs besides what was read.
pub(in super::super) struct Look<'a> {
    pub(in super::super) plan: &'a ExitPlan,
    pub(in super::super) rides: &'a Rides,
    /// When each recipe was ridden last and found good.
    pub(in super::super) ridden: &'a BTreeMap<u64, Micros>,
    pub(in super::super) origin: Micros,
    pub(in super::super) belt: &'a Belt,
    /// Nothing more will come.
    pub(in super::super) last: bool,
}

impl Look<'_> {
    pub(super) fn seconds(&self, at: Micros) -> f64 {
        at.seconds_since(self.origin)
    }

    fn moment(&self, time: f64) -> Micros {
        self.origin.plus_seconds(time)
    }
}

/// One station's exit probes, live. Times are in seconds, ways in metres of the station's belt.
#[derive(Debug, Default, Serialize, Deserialize)]
pub(in super::super) struct ExitWatch {
    lately: Lately,
    pub(super) eras: Vec<Era>,
    /// The belt's way at which to look again.
    due: Option<f64>,
    /// When it was looked last.
    looked: Option<Micros>,
    /// The newest reading at the last tick, and the tick since which it has been that.
    silent: Option<(Micros, Micros)>,
    /// When the print that was told last passed.
    pub(super) done: Option<f64>,
    pub(super) steps: Vec<Step>,
    /// Steps of which it was said that no probe saw them, and whose prints may be seen yet: the day ended, or what
    /// the probe saw came late.
    pub(super) told: Vec<Step>,
    /// How far the last steps lay from where the declared eye should have seen the prints that were theirs, in metres.
    pub(super) eye_off: VecDeque<f64>,
    /// When rides woke, and the batch that was open then.
    pub(super) rides: Vec<(f64, Option<u64>)>,
}

impl ExitWatch {
    pub(in super::super) fn read_exit(&mut self, probe: &str, at: Micros, celsius: f64) {
        self.lately.read_exit(probe, at, celsius);
    }

    pub(in super::super) fn read_room(&mut self, probe: &str, at: Micros, celsius: f64) {
        self.lately.read_room(probe, at, celsius);
    }

    pub(in super::super) fn read_belt(&mut self, at: Micros, speed: f64) {
        self.lately.read_belt(at, speed);
    }

    pub(in super::super) fn read_count(&mut self, at: Micros, shown: f64) {
        self.lately.read_count(at, shown);
    }

    /// The belt is another one, or another time: nothing that was seen on it comes any more. The steps that no
    /// object had taken yet.
    pub(in super::super) fn begin_anew(&mut self) -> Vec<Step> {
        let mut anew = ExitWatch {
            eras: std::mem::take(&mut self.eras),
            lately: std::mem::take(&mut self.lately),
            ..ExitWatch::default()
        };
        anew.lately.begin_anew();
        std::mem::replace(self, anew).steps
    }

    /// A ride woke.
    pub(in super::super) fn ride(&mut self, began: f64, batch: Option<u64>) {
        self.rides.push((began, batch));
    }

    /// What woke then was no ride.
    pub(in super::super) fn no_ride(&mut self, began: f64) {
        self.rides.retain(|own| own.0 != began);
    }

    pub(in super::super) fn open(&mut self, time: f64, batch: &BatchPlan, recipe: &LockedSettings) {
        self.close(time);
        self.eras.push(Era {
            batch: batch.number,
            recipe: recipe.recipe,
            laws: batch.laws.clone(),
            ride_every: recipe.ride_every,
            opened: time,
            closed: None,
            taught: None,
            sighted: Vec::new(),
        });
    }

    pub(in super::super) fn close(&mut self, time: f64) {
        if let Some(last) = self.eras.last_mut() {
            last.closed.get_or_insert(time);
        }
    }

    /// Whether prints of a batch are waited for, so that a step of the counter is one that may still be seen.
    pub(in super::super) fn awaits(&self, batch: u64, plan: &ExitPlan, rides: &Rides) -> bool {
        let era = self.eras.iter().find(|era| era.batch == batch);
        let ride = era.and_then(|era| rides.get(&era.recipe));
        ride.is_some_and(|ride| Window::without_readings(ride, plan).is_some())
    }

    /// A step that no ride is waits for its object.
    pub(in super::super) fn counted(&mut self, step: Step) {
        self.steps.push(step);
    }

    /// Which recipes prints are still waited for.
    pub(in super::super) fn recipes(&self) -> impl Iterator<Item = u64> + '_ {
        self.eras.iter().map(|era| era.recipe)
    }

    /// Time goes on; whether nothing has been heard for so long that nothing more will come.
    pub(in super::super) fn tick(&mut self, now: Micros) -> bool {
        let Some(heard) = self.lately.heard() else {
            return false;
        };
        match self.silent {
            Some((before, since)) if before == heard => {
                let waits = !self.steps.is_empty() || self.looked < Some(heard);
                waits && now.seconds_since(since) >= SILENT
            }
            _ => {
                self.silent = Some((heard, now));
                false
            }
        }
    }

    /// Looks for prints that have left, wherever a look is due and all is known that was read until then.
    pub(in super::super) fn look(&mut self, look: &Look<'_>) -> Vec<Left> {
        let mut left = Vec::new();
        while let Some(at) = self.next_look(look) {
            self.look_at(at, look, false, &mut left);
        }
        if look.last {
            if let Some(at) = self.lately.heard() {
                self.look_at(at, look, true, &mut left);
            }
            // Whatever was not heard of at all.
            self.told.extend(self.steps.iter().copied());
            left.extend(self.steps.drain(..).map(Left::Unseen));
        }
        left
    }

    /// When the next look is due, if all is known that was read until then.
    fn next_look(&mut self, look: &Look<'_>) -> Option<Micros> {
        let heard = self.lately.heard()?;
        let settled = if look.last {
            heard
        } else {
            self.lately.settled(look.plan)?
        };
        if self.looked.is_some_and(|looked| looked > heard) {
            // What is read is of another time.
            (self.due, self.looked) = (None, None);
        }
        let due = match self.due {
            Some(due) => due,
            None => {
                let first = self.lately.first()?;
                if !look.last && heard.seconds_since(first) < PATIENCE {
                    return None;
                }
                *self.due.insert(look.belt.way(look.seconds(first)))
            }
        };
        let when = look.belt.when(due);
        if when > look.seconds(settled) {
            return None;
        }
        let mut at = look.moment(when + NO_TIE);
        // A stretch of which nothing was read is stepped over.
        let next = self.looked.and_then(|looked| self.lately.next(looked));
        if let Some(next) = next
            && next > at
        {
            at = next.plus_seconds(NO_TIE);
        }
        (at <= settled).then_some(at)
    }

    /// Looks for what has left until a moment; `last`: nothing more will come.
    fn look_at(&mut self, at: Micros, look: &Look<'_>, last: bool, left: &mut Vec<Left>) {
        let way = look.belt.way(look.seconds(at));
        self.looked = Some(at);
        let longest = look.plan.exits.iter().map(|exit| exit.distance.0);
        let beyond = longest.fold(0.0, f64::max) + SETTLED;
        self.forget(look, way, beyond);
        let lacking = self.tell_prints(look, (at, last), left);
        self.due = Some(way + lacking.unwrap_or(LOOK).max(CLOSEST_LOOK));
        self.tell_steps(look, (way, last), beyond, left);
        let behind = look.plan.station.heated_length.0 + beyond + 2.0 * GIVEN_UP;
        self.eras.retain(|era| {
            let gone = era.closed.map(|closed| way - look.belt.way(closed));
            gone.is_none_or(|gone| gone <= behind)
        });
    }

    /// What was read until a moment, as a ride's probes saw it, and from when its seconds count.
    pub(super) fn window(
        &self,
        ride: &RecipeRide,
        look: &Look<'_>,
        until: Micros,
    ) -> Option<(Window, Micros)> {
        self.lately.window(ride, look.plan, until)
    }

    /// Forgets what lies too far back.
    fn forget(&mut self, look: &Look<'_>, way: f64, beyond: f64) {
        let kept = KEPT + beyond;
        let heated = look.plan.station.heated_length.0 + beyond;
        let moment = |way: f64| {
            let time = look.belt.when(way);
            time.is_finite().then(|| look.moment(time))
        };
        let (exits, others) = (moment(way - kept), moment(way - kept - heated));
        self.lately.forget(exits, others);
        let here = |time: f64| way - look.belt.way(time) <= kept + heated;
        self.rides.retain(|ride| here(ride.0));
        self.told.retain(|step| here(step.time));
    }
}

impl Era {
    /// Whether what entered the heat then is of this batch.
    pub(super) fn holds(&self, entered: f64) -> bool {
        self.opened <= entered && self.closed.is_none_or(|closed| entered < closed)
    }
}
