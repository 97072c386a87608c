//! The heat model of a recipe, and what it makes of the prints that leave.
//!
//! This is the part that takes time: a fit some seconds, a print some hundredths. It is pure and asks for
//! nothing but what it is given, so it may be done anywhere and at any time: the same ride and the same window
//! give the same verdict, bit for bit.

use inkdwell_config::fabric::Fabric;
use inkdwell_config::ink::Ink;
use inkdwell_config::quantity::{Celsius, Share};
use inkdwell_config::station::Station;

use super::ride::{RecipeRide, series};
use super::window::Window;
use crate::exit::judge::{Counted, no_evidence};
use crate::exit::objects::Object;
use crate::exit::run::{NOTED_DOUBT, Passed, REPEATS, SIGNAL_DOUBT, judge_passed};
use crate::exit::{Probe, Reference, ReferenceError};
use crate::heat::HeatError;
use crate::heat::fit::{ExitModel, Fit, FitError, Outlook, fit};
use crate::judged::JudgedPass;
use crate::plan::PrintLaws;
use crate::reason::Reason;
use crate::remark::Remark;

/// Why a ride bears no inferred evidence.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NoModel {
    /// The heat model does not fit it.
    #[error(transparent)]
    Fit(#[from] FitError),
    /// What the exit probes showed cannot be learned from.
    #[error(transparent)]
    Reference(#[from] ReferenceError),
    /// The heat model has no answer for it.
    #[error(transparent)]
    Heat(#[from] HeatError),
}

/// A recipe's ride with the heat model that was fitted to it.
#[derive(Debug)]
pub struct RecipeModel {
    ride: RecipeRide,
    station: Station,
    fit: Fit,
    exits: Vec<(Probe, Vec<(f64, f64)>)>,
}

impl RecipeModel {
    /// Fits the heat model to a ride. Takes seconds.
    ///
    /// # Errors
    /// When no model fits.
    pub fn fitted(
        mut ride: RecipeRide,
        station: &Station,
        ink: &Ink,
        fabric: &Fabric,
    ) -> Result<RecipeModel, NoModel> {
        let rides = [ride.to_fit()];
        let fit = fit(&rides, station, ink, fabric, Reference::fit_options(fabric))?;
        let nearest = ride.exits.first().ok_or(ReferenceError::NoBelt)?;
        let passed = fit.passes(0, nearest.distance);
        ride.passed = passed.ok_or(ReferenceError::NoBelt)?.0;
        let exits = ride.exits.iter();
        let exits = exits.map(|exit| (exit.probe(), series(&exit.shown)));
        Ok(RecipeModel {
            exits: exits.collect(),
            ride,
            station: station.clone(),
            fit,
        })
    }

    /// The ride, with when its print passed the nearest exit probe.
    pub fn ride(&self) -> &RecipeRide {
        &self.ride
    }

    /// Makes ready to infer.
    ///
    /// # Errors
    /// When the exit probes did not see the ridden print.
    pub fn ready(&self) -> Result<Inference<'_>, NoModel> {
        let exits = self.exits.iter();
        let exits: Vec<(Probe, &[(f64, f64)])> = exits
            .map(|(probe, shown)| (*probe, shown.as_slice()))
            .collect();
        let way = self.ride.way(&self.station);
        let pitch = self.station.print_pitch.map(|pitch| pitch.0);
        Ok(Inference {
            reference: Reference::learn(&self.fit, &exits, &way, pitch)?,
            spot: self.exits[0].0.spot.0,
            remarks: self.remarks(),
            belt_doubt: match way.is_measured() {
                true => SIGNAL_DOUBT,
                false => NOTED_DOUBT,
            },
            model: None,
        })
    }

    /// What every print that is inferred through it is told.
    fn remarks(&self) -> Vec<Remark> {
        let assumed = self
            .ride
            .assumed
            .map(|thermocouple| Remark::AssumedUncertainty {
                thermocouple,
                uncertainty: self.ride.uncertainty,
            });
        let undeclared = |exit: &super::ride::RecipeExit| exit.uncertainty.is_none();
        let repeats = self.ride.exits.iter().any(undeclared);
        let repeats = repeats.then_some(Remark::ExitRepeats {
            uncertainty: REPEATS,
        });
        assumed.into_iter().chain(repeats).collect()
    }
}

/// Ready to infer prints from one ride.
#[derive(Debug)]
pub struct Inference<'a> {
    reference: Reference<'a>,
    spot: f64,
    remarks: Vec<Remark>,
    /// How well the belt's speed is known.
    belt_doubt: Share,
    /// The heat model in the room in which it was used last.
    model: Option<(Celsius, ExitModel<'a>)>,
}

impl Inference<'_> {
    /// What the nearest exit probe showed of the ridden print.
    pub fn shown(&self) -> Option<Celsius> {
        let nearest = self.reference.shown().first().copied().flatten();
        nearest.map(|shown| shown.print)
    }

    /// What is to be expected of prints that follow the ride, in the room in which it was made.
    ///
    /// # Errors
    /// When the heat model has no answer.
    pub fn outlook(&self, room: Celsius) -> Result<Outlook, NoModel> {
        Ok(self.reference.model(room)?.outlook(self.belt_doubt)?)
    }

    /// Judges the print of a window. Its times are counted from its beginning, as in
    /// [`SeenPass`](super::super::SeenPass).
    pub fn judge(&mut self, window: &Window, laws: &PrintLaws) -> JudgedPass {
        let mut judged = self.judge_there(window, laws);
        let start = judged.start.0;
        (judged.start.0, judged.end.0) = (0.0, judged.end.0 - start);
        judged
    }

    fn judge_there(&mut self, window: &Window, laws: &PrintLaws) -> JudgedPass {
        if let Some((age, every)) = window.too_old {
            return window.without_evidence(laws, Reason::RideTooOld { age, every });
        }
        let run = window.run(self.remarks.clone());
        let found = Passed::find(self.reference.template(), self.spot, &run);
        let Some(passed) = found else {
            return window.without_evidence(laws, Reason::PrintNotSeen);
        };
        let wanted = |object: &Object| (object.start, object.end) == window.object;
        let room = window.room();
        let kept = self.model.take().filter(|(kept, _)| *kept == room);
        let model = kept.map_or_else(|| self.reference.model(room), |(_, model)| Ok(model));
        let Ok(mut model) = model else {
            return window.without_evidence(laws, Reason::PrintNotSeen);
        };
        let mut judged = None;
        let each = &mut |pass| judged = Some(pass);
        judge_passed(
            &self.reference,
            &run,
            &passed,
            laws,
            &mut model,
            wanted,
            each,
        );
        self.model = Some((room, model));
        judged.unwrap_or_else(|| window.without_evidence(laws, Reason::PrintNotSeen))
    }
}

impl Window {
    /// Its print, of which nothing can be said.
    fn without_evidence(&self, laws: &PrintLaws, reason: Reason) -> JudgedPass {
        let (start, end) = self.object;
        let within = |time: f64| time >= start && time <= end;
        let nearest = self.exits.first().and_then(Option::as_ref);
        let inside = nearest.into_iter().flatten();
        let inside = inside.filter(|reading| within(reading.0));
        let readings: Vec<f64> = inside.map(|reading| reading.1).collect();
        let good = readings
            .iter()
            .filter(|celsius| celsius.is_finite())
            .count();
        let counted = Counted {
            index: 1,
            object: Object {
                start,
                end,
                place: 0.0,
                cut: self.cut,
                counted: false,
            },
            samples: good as u64,
            faults: (readings.len() - good) as u64,
            gaps: 0,
        };
        no_evidence(&counted, laws, reason, Vec::new())
    }
}
