//! What one station's exit probes saw lately, and which prints have left.

use std::collections::BTreeMap;
use std::sync::Arc;

use inkdwell_config::quantity::Seconds;
use serde::{Deserialize, Serialize};

use super::super::belt::Belt;
use super::super::plan::{BatchLaws, BatchPlan, LockedSettings};
use super::super::time::Micros;
use super::plan::ExitPlan;
use super::ride::RecipeRide;
use super::window::Window;
use crate::exit::BEHIND;
use crate::exit::objects::Object;
use crate::exit::run::Passed;
use crate::exit::template::Template;

/// While nothing is in sight, objects are looked for each time the belt has gone on by so much, in metres; else
/// when the next has enough belt behind it, …
const LOOK: f64 = 0.25;
/// … but no closer than this.
const CLOSEST_LOOK: f64 = 0.02;
/// No object is longer than this, in metres: who is told to wait for more belt has gone back in time.
const LONGEST: f64 = 5.0;
/// So much belt behind an object shows that it is whole, in metres; what lies beyond has no say in its verdict.
const SETTLED: f64 = BEHIND;
/// So much belt before an object is kept, in metres: others on it show what the belt looks like, and where the
/// counter's eye sits.
const KEPT: f64 = 8.0;
/// And no more readings of one channel.
const MOST_KEPT: usize = 40_000;
/// A ride or a step of the counter belongs to an object no further off than this share of the pitch, …
const APART: f64 = 0.45;
/// … else this, in metres.
const USUAL_APART: f64 = 0.3;
/// A step that no object took after so many more metres of belt is a print that no probe saw.
const GIVEN_UP: f64 = 1.5;

/// The reference rides of the recipes in force, by number.
pub(in super::super) type Rides = BTreeMap<u64, Arc<RecipeRide>>;

/// A batch under a recipe, as long as prints of it may come.
#[derive(Debug, Serialize, Deserialize)]
struct Era {
    batch: u64,
    recipe: u64,
    laws: BatchLaws,
    /// How often a ride is due.
    ride_every: Option<Seconds>,
    opened: f64,
    closed: Option<f64>,
    /// What the recipe's ride taught; `None` until that was asked, or where it taught nothing.
    #[serde(skip)]
    taught: Option<Option<Taught>>,
}

/// What a ride taught of the batch's garments.
#[derive(Debug)]
struct Taught {
    template: Template,
    /// How far into the heat its film woke, in metres.
    woke_after: f64,
}

/// A step of the counter that no ride is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(in super::super) struct Step {
    pub(in super::super) time: f64,
    /// The belt's way then, in metres.
    pub(in super::super) way: f64,
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
    pub(in super::super) start: f64,
    pub(in super::super) end: f64,
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
    pub(in super::super) room: Option<f64>,
    pub(in super::super) now: f64,
    /// Nothing more will come.
    pub(in super::super) last: bool,
}

/// One station's exit probes, live. Times are in seconds, ways in metres of the station's belt.
#[derive(Debug, Default, Serialize, Deserialize)]
pub(in super::super) struct ExitWatch {
    /// By the id of the probe.
    exits: BTreeMap<String, Vec<(f64, f64)>>,
    speeds: Vec<(f64, f64)>,
    count: Vec<(f64, f64)>,
    eras: Vec<Era>,
    /// The belt's way at which to look again.
    due: Option<f64>,
    /// When the print that was told last passed.
    done: Option<f64>,
    steps: Vec<Step>,
    /// Steps of which it was said that no probe saw them, because the day ended, and whose prints may come yet.
    told: Vec<Step>,
    /// The belt's way when rides woke, and the batch that was open then.
    rides: Vec<(f64, Option<u64>)>,
}

/// An object that is to be told.
struct Candidate {
    era: usize,
    object: Object,
    /// When its place passed.
    passed: f64,
    entered: f64,
    out: f64,
    shown: Option<f64>,
}

impl ExitWatch {
    pub(in super::super) fn read_exit(&mut self, probe: &str, time: f64, celsius: f64) {
        match self.exits.get_mut(probe) {
            Some(readings) => push(readings, time, celsius),
            None => {
                self.exits.insert(probe.to_owned(), vec![(time, celsius)]);
            }
        }
    }

    pub(in super::super) fn read_belt(&mut self, time: f64, speed: f64) {
        push(&mut self.speeds, time, speed);
    }

    pub(in super::super) fn read_count(&mut self, time: f64, shown: f64) {
        push(&mut self.count, time, shown);
    }

    /// The belt is another one, or another time: nothing that was seen on it comes any more. The steps that no
    /// object had taken yet.
    pub(in super::super) fn begin_anew(&mut self) -> Vec<Step> {
        let anew = ExitWatch {
            eras: std::mem::take(&mut self.eras),
            ..ExitWatch::default()
        };
        std::mem::replace(self, anew).steps
    }

    /// A ride woke where the belt had gone so far.
    pub(in super::super) fn ride(&mut self, way: f64, batch: Option<u64>) {
        self.rides.push((way, batch));
    }

    /// What woke there was no ride.
    pub(in super::super) fn no_ride(&mut self, way: f64) {
        self.rides.retain(|own| own.0 != way);
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
        ride.is_some_and(|ride| window_of(ride, plan).is_some())
    }

    /// A step that no ride is waits for its object.
    pub(in super::super) fn counted(&mut self, step: Step) {
        self.steps.push(step);
    }

    /// Which recipes prints are still waited for.
    pub(in super::super) fn recipes(&self) -> impl Iterator<Item = u64> + '_ {
        self.eras.iter().map(|era| era.recipe)
    }

    /// Looks for prints that have left.
    pub(in super::super) fn look(&mut self, look: &Look<'_>) -> Vec<Left> {
        // What is played faster than true is ahead of the ticks.
        let heard = self.exits.values().filter_map(|readings| readings.last());
        let now = heard.map(|last| last.0).fold(look.now, f64::max);
        let way = look.belt.way(now);
        let waits = |due: f64| due > way && due - way <= LONGEST;
        if self.due.is_some_and(waits) && !look.last {
            return Vec::new();
        }
        self.due = Some(way + LOOK);
        let longest = look.plan.exits.iter().map(|exit| exit.distance.0);
        let beyond = longest.fold(0.0, f64::max) + SETTLED;
        self.forget(look, way, beyond);
        let mut left = Vec::new();
        if !self.eras.is_empty() {
            let lacking = self.tell_prints(look, &mut left);
            self.due = Some(way + lacking.unwrap_or(LOOK).max(CLOSEST_LOOK));
        }
        self.tell_steps(look, way, beyond, &mut left);
        let behind = look.plan.station.heated_length.0 + beyond + 2.0 * GIVEN_UP;
        self.eras.retain(|era| {
            let gone = era.closed.map(|closed| way - look.belt.way(closed));
            gone.is_none_or(|gone| gone <= behind)
        });
        left
    }

    /// Tells the prints that have left; how much belt the next one lacks, if it is in sight.
    fn tell_prints(&mut self, look: &Look<'_>, left: &mut Vec<Left>) -> Option<f64> {
        let mut least: Option<f64> = None;
        let mut found: Vec<(Candidate, Window)> = Vec::new();
        for number in 0..self.eras.len() {
            let era = &mut self.eras[number];
            let Some(ride) = look.rides.get(&era.recipe) else {
                continue;
            };
            let teach = || Taught::of(ride, look.plan);
            if era.taught.get_or_insert_with(teach).is_none() {
                continue;
            }
            let Some(window) = self.window(ride, look) else {
                continue;
            };
            let (candidates, lacking) = self.candidates(number, ride, &window, look);
            least = match (least, lacking) {
                (Some(least), Some(lacking)) => Some(least.min(lacking)),
                (one, other) => one.or(other),
            };
            found.extend(candidates.into_iter().map(|own| (own, window.clone())));
        }
        found.sort_by(|a, b| a.0.passed.total_cmp(&b.0.passed));
        for (candidate, window) in found {
            self.done = Some(candidate.passed);
            left.extend(self.tell(candidate, window, look));
        }
        least
    }

    /// The objects of one batch that are whole and were not told, and how much belt the next one lacks.
    fn candidates(
        &self,
        number: usize,
        ride: &RecipeRide,
        window: &Window,
        look: &Look<'_>,
    ) -> (Vec<Candidate>, Option<f64>) {
        let nothing = (Vec::new(), None);
        let era = &self.eras[number];
        let (Some(Some(taught)), Some(nearest)) = (&era.taught, ride.exits.first()) else {
            return nothing;
        };
        let run = window.run(Vec::new());
        let Some(passed) = Passed::find(&taught.template, nearest.spot.0, &run) else {
            return nothing;
        };
        let (way, template) = (&passed.way, &taught.template);
        let Some(trace) = passed.nearest() else {
            return nothing;
        };
        let seen_to = trace
            .seen()
            .last()
            .map_or(f64::NEG_INFINITY, |seen| seen.way);
        let last_probe = ride.exits.last().map_or(0.0, |exit| exit.distance.0);
        let eye = look.plan.eye.unwrap_or(0.0);
        let behind = (last_probe.max(eye) - nearest.distance.0).max(0.0) + SETTLED;
        let before = look.plan.station.heated_length.0 + nearest.distance.0;
        let known = self.done.map(|done| way.at(done) + 0.5 * template.length());
        let (mut candidates, mut lacking) = (Vec::new(), None);
        for object in passed.objects() {
            let lacks = object.place + template.trail + behind - seen_to;
            if lacks > 0.0 && !look.last {
                lacking = Some(lacks);
                break;
            }
            let Some(when) = way.when(object.place) else {
                continue;
            };
            let entered = way.when(object.place - before).unwrap_or(when);
            let out = way.when(object.place - nearest.distance.0).unwrap_or(when);
            if known.is_some_and(|known| object.place <= known) || !era.holds(entered) {
                continue;
            }
            candidates.push(Candidate {
                era: number,
                object: *object,
                passed: when,
                entered,
                out,
                shown: template.read_print(trace, object.place).map(|read| read.0),
            });
        }
        (candidates, lacking)
    }

    /// Makes a print of an object, unless it is a ride's.
    fn tell(&mut self, own: Candidate, window: Window, look: &Look<'_>) -> Option<Left> {
        let era = &self.eras[own.era];
        let ride = look.rides.get(&era.recipe)?;
        let nearest = ride.exits.first()?;
        let apart = look.plan.pitch().map_or(USUAL_APART, |pitch| APART * pitch);
        let to_eye = look.plan.eye.map_or(0.0, |eye| eye - nearest.distance.0);
        let step_at = look.belt.way(own.object.start) + to_eye;
        let near = nearest_to(&self.steps, |step| step.way, step_at, apart);
        let woke_after = era.taught.as_ref().and_then(|taught| taught.as_ref());
        let woke_at = look.belt.way(own.entered) + woke_after.map_or(0.0, |own| own.woke_after);
        // (A ride that woke in a batch before this one entered in it too.)
        let way_of = |ride: &(f64, Option<u64>)| match ride.1 {
            Some(batch) if batch < era.batch => f64::NEG_INFINITY,
            _ => ride.0,
        };
        if let Some(ridden) = nearest_to(&self.rides, way_of, woke_at, apart) {
            // The probe in its ink tells more of that print; the counter's step is told with it.
            self.rides.remove(ridden);
            if let Some(step) = near {
                self.steps.remove(step);
            }
            return None;
        }
        if let Some(told) = nearest_to(&self.told, |step| step.way, step_at, apart) {
            // It was on its way when the day was ended, and has its verdict: that no probe saw it.
            self.told.remove(told);
            return None;
        }
        let first = self
            .steps
            .iter()
            .position(|step| step.batch == Some(era.batch));
        let step = near.or(first.filter(|_| own.object.counted));
        let step = step.map(|step| self.steps.remove(step));
        let left = look.origin.plus_seconds(own.passed);
        let ridden = look.ridden.get(&era.recipe).copied();
        let age = left.seconds_since(ridden.unwrap_or_else(|| ride.ended()));
        let due = era.ride_every.filter(|every| age > every.0);
        let era = &self.eras[own.era];
        Some(Left::Print(Box::new(LeftPrint {
            batch: era.batch,
            recipe: era.recipe,
            laws: era.laws.clone(),
            probe: nearest.probe.clone(),
            start: own.object.start,
            end: own.object.end,
            heated: (own.entered, own.out),
            step,
            shown: own.shown,
            window: Window {
                object: (own.object.start, own.object.end),
                cut: own.object.cut,
                too_old: due.map(|every| (Seconds(age), every)),
                ..window
            },
        })))
    }

    /// Steps that no object took while it could.
    fn tell_steps(&mut self, look: &Look<'_>, way: f64, beyond: f64, left: &mut Vec<Left>) {
        let eye = look.plan.eye.unwrap_or(0.0);
        let patience = (beyond - eye).max(0.0) + SETTLED + GIVEN_UP;
        let patience = patience + look.plan.pitch().unwrap_or(0.0);
        let may_come = |step: &Step| way - step.way <= patience;
        self.told.retain(may_come);
        if look.last {
            let coming = self.steps.iter().filter(|step| may_come(step));
            self.told.extend(coming.copied());
        }
        let stale = |step: &Step| look.last || !may_come(step);
        let count = self.steps.iter().take_while(|step| stale(step)).count();
        left.extend(self.steps.drain(..count).map(Left::Unseen));
    }

    /// What was read lately, as a ride's probes saw it.
    fn window(&self, ride: &RecipeRide, look: &Look<'_>) -> Option<Window> {
        let mut window = window_of(ride, look.plan)?;
        for (exit, own) in ride.exits.iter().zip(&mut window.exits) {
            if let (Some(own), Some(readings)) = (own, self.exits.get(&exit.probe)) {
                own.clone_from(readings);
            }
        }
        window.speeds.clone_from(&self.speeds);
        window.count = look.plan.counted.then(|| self.count.clone());
        window.room = look.room;
        Some(window)
    }

    /// Forgets what lies too far back.
    fn forget(&mut self, look: &Look<'_>, way: f64, beyond: f64) {
        let kept = KEPT + beyond;
        let heated = look.plan.station.heated_length.0 + beyond;
        let exits = look.belt.when(way - kept);
        let others = look.belt.when(way - kept - heated);
        let drop_before = |readings: &mut Vec<(f64, f64)>, time: f64| {
            if time.is_finite() {
                // The one before still says what held from there on.
                let before = readings.partition_point(|reading| reading.0 < time);
                readings.drain(..before.saturating_sub(1));
            }
        };
        for readings in self.exits.values_mut() {
            drop_before(readings, exits);
        }
        drop_before(&mut self.speeds, others);
        drop_before(&mut self.count, others);
        self.rides.retain(|ride| way - ride.0 <= kept + heated);
    }
}

impl Era {
    /// Whether what entered the heat then is of this batch.
    fn holds(&self, entered: f64) -> bool {
        self.opened <= entered && self.closed.is_none_or(|closed| entered < closed)
    }
}

impl Taught {
    fn of(ride: &RecipeRide, plan: &ExitPlan) -> Option<Taught> {
        Some(Taught {
            template: ride.template(&plan.station).ok()?,
            woke_after: ride.woke_after(&plan.station),
        })
    }
}

/// A window without readings, as a ride and a station have it; `None` where the nearest probe is not declared
/// any more as it was when the ride was made.
fn window_of(ride: &RecipeRide, plan: &ExitPlan) -> Option<Window> {
    let nearest = ride.exits.first()?;
    let same = |exit: &super::ride::RecipeExit| {
        plan.exits.iter().any(|own| {
            own.probe == exit.probe && own.distance == exit.distance && own.spot == exit.spot
        })
    };
    let exits = ride.exits.iter().map(|exit| same(exit).then(Vec::new));
    let nominal = plan.station.belt.filter(|_| !plan.belt_declared);
    same(nearest).then(|| Window {
        exits: exits.collect(),
        nominal: nominal.unwrap_or(ride.belt).0,
        belt_declared: plan.belt_declared,
        eye: plan.eye.map(|eye| nearest.distance.0 - eye),
        pitch: plan.pitch(),
        max_gap: plan.max_gap.0,
        ..Window::default()
    })
}

/// Adds a reading; the oldest half goes where there are too many (a belt that stands for long). A source
/// that was played faster than true was ahead; what it said of times that are still to come goes.
fn push(readings: &mut Vec<(f64, f64)>, time: f64, value: f64) {
    while readings.last().is_some_and(|last| last.0 >= time) {
        readings.pop();
    }
    if readings.len() >= MOST_KEPT {
        readings.drain(..MOST_KEPT / 2);
    }
    readings.push((time, value));
}

/// The place in a list of what is nearest to a way, if it is near enough.
fn nearest_to<T>(list: &[T], way: impl Fn(&T) -> f64, wanted: f64, apart: f64) -> Option<usize> {
    let off = |one: &T| (way(one) - wanted).abs();
    let near = (0..list.len()).filter(|place| off(&list[*place]) <= apart);
    near.min_by(|a, b| off(&list[*a]).total_cmp(&off(&list[*b])))
}
