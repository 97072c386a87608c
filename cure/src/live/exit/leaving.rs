//! Telling the prints that have left a station, and those that were counted and not seen.

use super::super::time::Micros;
use super::plan::ExitPlan;
use super::ride::RecipeRide;
use super::watch::{ExitWatch, GIVEN_UP, Left, LeftPrint, Look, SETTLED, Step, Taught};
use super::window::Window;
use crate::exit::objects::Object;
use crate::exit::run::Passed;
use inkdwell_config::quantity::Seconds;

/// A ride or a step of the counter belongs to an object no further off than this share of the pitch, …
const APART: f64 = 0.45;
/// … else this, in metres.
const USUAL_APART: f64 = 0.3;

/// An object is told once two looks, so much belt apart, …
const CONFIRMED: f64 = 0.1;
/// … find it at one place, within this, …
const SAME_PLACE: f64 = 0.02;
/// … or once so much more belt has passed that waiting does not help; all in metres. (Where a print is as warm as the
/// belt its edges may be taken for a neighbour's until more of that is seen.)
const UNSURE: f64 = 0.5;
/// Where a counter runs, what does not lie where it counts is looked at for so much longer, in metres: it may be a part
/// of a print.
const UNCOUNTED: f64 = 0.75;
/// The eye sits at one place: where it counts is told from so many prints at least and at most, …
const EYE_FROM: (usize, usize) = (3, 9);
/// … and a print lies there within this, in metres.
const EYE_OFF: f64 = 0.06;

/// An object that is to be told. Its times are of its window, those of its belt of the station.
struct Candidate {
    era: usize,
    object: Object,
    /// When its place passed, when it entered the heat and when it was out of it.
    passed: f64,
    entered: f64,
    out: f64,
    shown: Option<f64>,
}

impl ExitWatch {
    /// Tells the prints that have left until a moment; how much belt the next one lacks, if it is in sight.
    pub(super) fn tell_prints(
        &mut self,
        look: &Look<'_>,
        (until, last): (Micros, bool),
        left: &mut Vec<Left>,
    ) -> Option<f64> {
        let mut least: Option<f64> = None;
        let mut found: Vec<(Candidate, Window, Micros)> = Vec::new();
        for number in 0..self.eras.len() {
            let era = &mut self.eras[number];
            let Some(ride) = look.rides.get(&era.recipe) else {
                continue;
            };
            let teach = || Taught::of(ride, look.plan);
            if era.taught.get_or_insert_with(teach).is_none() {
                continue;
            }
            let Some((window, began)) = self.window(ride, look, until) else {
                continue;
            };
            let began_at = look.seconds(began);
            let (candidates, sighted, lacking) =
                self.candidates(number, ride, (&window, began_at), (look, last));
            self.eras[number].sighted = sighted;
            least = match (least, lacking) {
                (Some(least), Some(lacking)) => Some(least.min(lacking)),
                (one, other) => one.or(other),
            };
            let own = candidates.into_iter();
            found.extend(own.map(|own| (own, window.clone(), began)));
        }
        found.sort_by(|a, b| a.0.passed.total_cmp(&b.0.passed));
        for (candidate, window, began) in found {
            self.done = Some(candidate.passed);
            left.extend(self.tell(candidate, (window, began), look));
        }
        least
    }

    /// The objects of one batch that are to be told; when those passed that are whole and not sure yet; and how much
    /// belt the next one lacks.
    fn candidates(
        &self,
        number: usize,
        ride: &RecipeRide,
        (window, began): (&Window, f64),
        (look, last): (&Look<'_>, bool),
    ) -> (Vec<Candidate>, Vec<f64>, Option<f64>) {
        let nothing = (Vec::new(), Vec::new(), None);
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
        let behind = behind(ride, look.plan);
        let before = look.plan.station.heated_length.0 + nearest.distance.0;
        let known = self
            .done
            .map(|done| way.at(done - began) + 0.5 * template.length());
        let (mut candidates, mut sighted) = (Vec::new(), Vec::new());
        let mut lacking: Option<f64> = None;
        for object in passed.objects() {
            let leading = began + object.start;
            let counted = !look.plan.counted || self.is_counted(leading, ride, look);
            let doubted = if counted { 0.0 } else { UNCOUNTED };
            let lacks = object.place + template.trail + behind + doubted - seen_to;
            if lacks > 0.0 && !last {
                lacking.get_or_insert(lacks);
                break;
            }
            let Some(when) = way.when(object.place) else {
                continue;
            };
            let entered = way.when(object.place - before).unwrap_or(when) + began;
            let out = way.when(object.place - nearest.distance.0).unwrap_or(when) + began;
            if known.is_some_and(|known| object.place <= known) || !era.holds(entered) {
                continue;
            }
            let there = |seen: &f64| (way.at(seen - began) - object.place).abs() <= SAME_PLACE;
            let sure = last || lacks < -UNSURE || era.sighted.iter().any(there);
            if !sure || !sighted.is_empty() {
                // Those behind it wait for it: prints are told in the order in which they left.
                sighted.push(when + began);
                lacking = Some(CONFIRMED);
                continue;
            }
            candidates.push(Candidate {
                era: number,
                object: *object,
                passed: when + began,
                entered,
                out,
                shown: template.read_print(trace, object.place).map(|read| read.0),
            });
        }
        (candidates, sighted, lacking)
    }

    /// Whether the counter has counted what begins at a time, where it counted those before.
    fn is_counted(&self, leading: f64, ride: &RecipeRide, look: &Look<'_>) -> bool {
        let (step_at, apart) = step_of(leading, ride, look);
        let way_of = |step: &Step| look.belt.way(step.time);
        // One that has a ride, or was told already, is no step any more.
        let Some(near) = nearest_to(&self.steps, way_of, step_at, apart) else {
            return nearest_to(&self.told, way_of, step_at, apart).is_some();
        };
        let mut usual: Vec<f64> = self.eye_off.iter().copied().collect();
        usual.sort_by(f64::total_cmp);
        let off = way_of(&self.steps[near]) - step_at;
        usual.len() < EYE_FROM.0 || (off - usual[usual.len() / 2]).abs() <= EYE_OFF
    }

    /// Makes a print of an object, unless it is a ride's or was told already.
    fn tell(
        &mut self,
        own: Candidate,
        (window, began): (Window, Micros),
        look: &Look<'_>,
    ) -> Option<Left> {
        let era = &self.eras[own.era];
        let ride = look.rides.get(&era.recipe)?;
        let nearest = ride.exits.first()?;
        let leading = look.seconds(began) + own.object.start;
        let (step_at, apart) = step_of(leading, ride, look);
        let way_of = |step: &Step| look.belt.way(step.time);
        let near = nearest_to(&self.steps, way_of, step_at, apart);
        let woke_after = era.taught.as_ref().and_then(|taught| taught.as_ref());
        let woke_at = look.belt.way(own.entered) + woke_after.map_or(0.0, |own| own.woke_after);
        // (A ride that woke in a batch before this one entered in it too.)
        let woke = |ride: &(f64, Option<u64>)| match ride.1 {
            Some(batch) if batch < era.batch => f64::NEG_INFINITY,
            _ => look.belt.way(ride.0),
        };
        if let Some(ridden) = nearest_to(&self.rides, woke, woke_at, apart) {
            // The probe in its ink tells more of that print; the counter's step is told with it.
            self.rides.remove(ridden);
            if let Some(step) = near {
                self.steps.remove(step);
            }
            return None;
        }
        let off = |step: &Step| (way_of(step) - step_at).abs();
        if let Some(told) = nearest_to(&self.told, way_of, step_at, apart)
            && near.is_none_or(|near| off(&self.told[told]) < off(&self.steps[near]))
        {
            // It has its verdict already: that no probe saw it.
            self.told.remove(told);
            return None;
        }
        let mut steps = self.steps.iter();
        let first = steps.position(|step| step.batch == Some(era.batch));
        if let Some(near) = near {
            if self.eye_off.len() == EYE_FROM.1 {
                self.eye_off.pop_front();
            }
            self.eye_off.push_back(way_of(&self.steps[near]) - step_at);
        }
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
            start: began.plus_seconds(own.object.start),
            end: began.plus_seconds(own.object.end),
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
    pub(super) fn tell_steps(
        &mut self,
        look: &Look<'_>,
        (way, last): (f64, bool),
        beyond: f64,
        left: &mut Vec<Left>,
    ) {
        let eye = look.plan.eye.unwrap_or(0.0);
        let patience = (beyond - eye).max(0.0) + SETTLED + GIVEN_UP;
        let patience = patience + look.plan.pitch().unwrap_or(0.0);
        let stale = |step: &Step| last || way - look.belt.way(step.time) > patience;
        let count = self.steps.iter().take_while(|step| stale(step)).count();
        self.told.extend(self.steps[..count].iter().copied());
        left.extend(self.steps.drain(..count).map(Left::Unseen));
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

/// The way of the belt at which the counter should count what begins at a time, and how far it may be off.
fn step_of(leading: f64, ride: &RecipeRide, look: &Look<'_>) -> (f64, f64) {
    let apart = look.plan.pitch().map_or(USUAL_APART, |pitch| APART * pitch);
    let nearest = ride.exits.first().map_or(0.0, |exit| exit.distance.0);
    let to_eye = look.plan.eye.map_or(0.0, |eye| eye - nearest);
    (look.belt.way(leading) + to_eye, apart)
}

/// So much belt has to have passed the nearest probe behind an object before all is known of it, in metres.
fn behind(ride: &RecipeRide, plan: &ExitPlan) -> f64 {
    let nearest = ride.exits.first().map_or(0.0, |exit| exit.distance.0);
    let last_probe = ride.exits.last().map_or(0.0, |exit| exit.distance.0);
    let eye = plan.eye.unwrap_or(0.0);
    (last_probe.max(eye) - nearest).max(0.0) + SETTLED
}

/// The place in a list of what is nearest to a way, if it is near enough.
fn nearest_to<T>(list: &[T], way: impl Fn(&T) -> f64, wanted: f64, apart: f64) -> Option<usize> {
    let off = |one: &T| (way(one) - wanted).abs();
    let near = (0..list.len()).filter(|place| off(&list[*place]) <= apart);
    near.min_by(|a, b| off(&list[*a]).total_cmp(&off(&list[*b])))
}
