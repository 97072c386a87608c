//! A run past the exit probes: every print found, inferred and judged.

use inkdwell_config::quantity::{CelsiusDifference, Metres, MetresPerSecond, Seconds, Share};

use super::belt_search::belt_between;
use super::find::{Line, find, pace};
use super::judge::{Counted, judge, no_evidence};
use super::objects::Object;
use super::reference::{Reference, shown};
use super::template::Template;
use super::trace::ExitTrace;
use super::way::Way;
use crate::heat::fit::{ExitCause, ExitModel, Inferred, Leaving, Passing, Shown};
use crate::judged::JudgedPass;
use crate::plan::PrintLaws;
use crate::reason::Reason;
use crate::remark::Remark;

/// How far a speed that is only noted is doubted, k = 2.
pub const NOTED_DOUBT: Share = Share(0.15);
/// How far a belt signal is, k = 2: the same one told the reference's speed, so that what it is off all the
/// time cancels. Common practice, no source.
pub const SIGNAL_DOUBT: Share = Share(0.01);
/// A speed that stays within this share is steady.
const STEADY: f64 = 0.015;
/// Objects that are shorter or longer by more than this share tell of another speed.
const SEEMS_OTHER: f64 = 0.05;
/// No evidence without the belt over more than this share of a print's way.
const MOST_UNSEEN: f64 = 0.5;

/// A run as it was recorded.
#[derive(Debug, Clone)]
pub struct Run<'a> {
    /// Readings of each exit probe of the reference, in its order: seconds and °C, NaN where bad.
    pub exits: Vec<Option<&'a [(f64, f64)]>>,
    /// The belt.
    pub way: Way,
    /// Whether the station declares a belt signal.
    pub belt_declared: bool,
    /// Readings of the print counter.
    pub count: Option<&'a [(f64, f64)]>,
    /// How far before the nearest probe the counter's eye sits, in metres, where that is declared.
    pub eye: Option<f64>,
    /// From print to print along a lane, in metres, where that is declared.
    pub pitch: Option<f64>,
    /// Samples further apart are a gap.
    pub max_gap: Seconds,
    /// What every pass is told.
    pub remarks: Vec<Remark>,
}

/// What lies in a run: its belt, what each probe saw along it, and every object that passed the nearest.
#[derive(Debug, Clone)]
pub struct Passed {
    pub(crate) way: Way,
    traces: Vec<Option<ExitTrace>>,
    objects: Vec<Object>,
    /// The bare belt beside each of them, in °C, where it was seen.
    beside: Vec<Option<f64>>,
    /// What the objects say of the belt.
    seems: Vec<Remark>,
}

impl Passed {
    /// Finds every object of the shape of a template; `spot` is the diameter of what the nearest probe
    /// sees, in metres. `None` where the nearest probe gave nothing.
    pub fn find(template: &Template, spot: f64, run: &Run<'_>) -> Option<Passed> {
        let readings = run.exits.first().copied().flatten()?;
        let mut seems = Vec::new();
        let way = if run.way.is_measured() {
            run.way.clone()
        } else {
            let factor = pace(readings, &run.way, template, spot, run.pitch);
            if (factor - 1.0).abs() > SEEMS_OTHER {
                seems.push(Remark::BeltSeems { times: factor });
            }
            run.way.faster(factor)
        };
        let traces: Vec<Option<ExitTrace>> = run
            .exits
            .iter()
            .map(|readings| readings.map(|readings| ExitTrace::new(readings, &way)))
            .collect();
        let line = Line {
            pitch: run.pitch,
            spot,
            count: run.count,
            eye: run.eye,
        };
        let nearest = traces.first().and_then(Option::as_ref)?;
        let (belt, covered) = belt_between(nearest, template, spot, run.pitch);
        let found = find(nearest, &way, (template, &belt, &covered), line);
        let (objects, beside) = found.into_iter().unzip();
        Some(Passed {
            way,
            traces,
            objects,
            beside,
            seems,
        })
    }

    /// What passed, in order.
    pub fn objects(&self) -> &[Object] {
        &self.objects
    }

    /// What the nearest probe saw.
    pub(crate) fn nearest(&self) -> Option<&ExitTrace> {
        self.traces.first().and_then(Option::as_ref)
    }
}

/// Judges every print of a run, giving each to `each` in the order in which they passed. `model` is the
/// reference's ([`Reference::model`]); it remembers what it looked at for further runs in the same room.
pub fn judge_run(
    (reference, model): (&Reference<'_>, &mut ExitModel<'_>),
    run: &Run<'_>,
    laws: &PrintLaws,
    each: &mut impl FnMut(JudgedPass),
) {
    let spot = reference.probes[0].spot.0;
    let Some(passed) = Passed::find(&reference.template, spot, run) else {
        return;
    };
    judge_passed(reference, run, &passed, laws, model, |_| true, each);
}

/// Judges those prints of a run that are wanted. `model` is the reference's ([`Reference::model`]).
pub fn judge_passed(
    reference: &Reference<'_>,
    run: &Run<'_>,
    passed: &Passed,
    laws: &PrintLaws,
    model: &mut ExitModel<'_>,
    wanted: impl Fn(&Object) -> bool,
    each: &mut impl FnMut(JudgedPass),
) {
    let Some(nearest) = passed.nearest() else {
        return;
    };
    let desk = Desk {
        reference,
        run,
        laws,
        way: &passed.way,
        traces: &passed.traces,
        nearest,
        seems: passed.seems.clone(),
    };
    let found = passed.objects.iter().zip(&passed.beside);
    for (number, (object, belt)) in (1..).zip(found) {
        if wanted(object) {
            each(desk.judge(number, (object, *belt), model));
        }
    }
}

/// What one run is judged with.
struct Desk<'a> {
    reference: &'a Reference<'a>,
    run: &'a Run<'a>,
    way: &'a Way,
    laws: &'a PrintLaws,
    traces: &'a [Option<ExitTrace>],
    nearest: &'a ExitTrace,
    /// What the objects say of the belt.
    seems: Vec<Remark>,
}

impl Desk<'_> {
    /// Judges an object, the bare belt beside it being at some °C.
    fn judge(
        &self,
        index: u64,
        (object, belt): (&Object, Option<f64>),
        model: &mut ExitModel<'_>,
    ) -> JudgedPass {
        let counted = Counted {
            index,
            object: *object,
            samples: self.nearest.samples(object.start, object.end).len() as u64,
            faults: self.nearest.faults(object.start, object.end),
            gaps: self
                .nearest
                .gaps(object.start, object.end, self.run.max_gap.0),
        };
        let mut remarks = self.seems.clone();
        remarks.extend(self.run.remarks.iter().cloned());
        let nothing = |reason, remarks| no_evidence(&counted, self.laws, reason, remarks);
        if self.run.belt_declared && !self.run.way.is_measured() {
            return nothing(Reason::NoBeltSignal, remarks);
        }
        let shown = self.shown(object, belt);
        let Some(first) = shown.iter().flatten().next().copied() else {
            return nothing(Reason::PrintNotSeen, remarks);
        };
        if let Some(first) = shown[0] {
            remarks.insert(0, Remark::LeftAt { shown: first.print });
        }
        let leaving = match self.leaving(object, shown) {
            Ok(leaving) => leaving,
            Err(reason) => return nothing(reason, remarks),
        };
        let second = leaving.shown.iter().flatten().count() > 1;
        match model.infer(&leaving) {
            Ok(inferred) => {
                let presumed = Remark::PresumesGarment { seen_twice: second };
                remarks.insert(0, presumed);
                let explained = explained(&inferred);
                remarks.extend(explained);
                if second {
                    remarks.insert(
                        1,
                        Remark::MassTold {
                            times: inferred.mass,
                        },
                    );
                }
                judge(&inferred, &counted, self.laws, remarks)
            }
            Err(_) => {
                let shown = first.print;
                nothing(Reason::ExitUnexplained { shown }, remarks)
            }
        }
    }

    /// What each probe showed of a print.
    fn shown(&self, object: &Object, belt: Option<f64>) -> Vec<Option<Shown>> {
        let probes = &self.reference.probes;
        let of = |(number, trace): (usize, &Option<ExitTrace>)| {
            let further = probes[number].distance.0 - probes[0].distance.0;
            let place = object.place + further;
            shown(
                &self.reference.template,
                trace.as_ref()?,
                place,
                &probes[number],
                belt.filter(|_| number == 0),
            )
        };
        self.traces.iter().enumerate().map(of).collect()
    }

    /// How a print went, with what was shown of it.
    fn leaving(&self, object: &Object, shown: Vec<Option<Shown>>) -> Result<Leaving, Reason> {
        let (fit, way) = (self.reference.fit, self.way);
        let heated = fit.oven().heated_length().0;
        let before = heated + self.reference.probes[0].distance.0;
        let entry = object.place - before;
        let points = way.between(entry, object.place);
        let (Some(points), Some(begin)) = (points, way.when(entry)) else {
            return Err(Reason::PrintNotSeen);
        };
        let seconds = points[points.len() - 1].1;
        let base = if way.is_measured() {
            let unseen = way.unseen(begin, begin + seconds);
            if unseen > MOST_UNSEEN * seconds {
                let unseen = Seconds(unseen);
                return Err(Reason::BeltNotSeen { unseen });
            }
            SIGNAL_DOUBT.0.hypot(NOTED_DOUBT.0 * unseen / seconds)
        } else {
            NOTED_DOUBT.0
        };
        let last = self.reference.probes.len() - 1;
        let passing = if is_steady(&points) {
            Passing::Steady(MetresPerSecond(before / seconds))
        } else {
            // To the last probe that sees it, so that its cooling is followed too.
            let beyond =
                self.reference.probes[last].distance.0 - self.reference.probes[0].distance.0;
            let points = way.between(entry, object.place + beyond).unwrap_or(points);
            let changing = points
                .into_iter()
                .map(|(metres, seconds)| (Metres(metres), Seconds(seconds)));
            Passing::Changing(changing.collect())
        };
        Ok(fit.leaving(passing, Share(base), shown))
    }
}

/// What is worth saying of why a print left as it did.
fn explained(inferred: &Inferred) -> Option<Remark> {
    (inferred.cause != ExitCause::AsRidden).then_some(Remark::Explained {
        cause: inferred.cause,
        per_cent: 100.0 * inferred.likely,
        hotter: inferred.hotter,
        mass: inferred.mass,
    })
}

/// Whether a way in time (metres, seconds) is nearly straight.
fn is_steady(points: &[(f64, f64)]) -> bool {
    let (metres, seconds) = points[points.len() - 1];
    points
        .iter()
        .all(|point| (point.1 - seconds * point.0 / metres).abs() <= STEADY * seconds)
}

/// The doubt of an exit probe that repeats itself, k = 2, where nothing else is declared: ±0.5 % of a reading
/// of 120 °C, rectangular. Common practice for infrared probes, no source.
pub const REPEATS: CelsiusDifference = CelsiusDifference(0.7);
