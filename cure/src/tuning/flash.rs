//! From a fit to an answer for a flash unit: how long the lamp may stay over a print.
//!
//! The longer the stay, the hotter the surface: the ink's gel window (or, where the lamp is the last heat, its
//! cure) sets the shortest stay, the gel window's upper end and the fabric the longest. A platen warms over a
//! run, and a print on a warm platen needs less.

use inkdwell_config::quantity::{Celsius, CelsiusDifference, Seconds};

use crate::heat::HeatError;
use crate::heat::fit::{Certainty, Fit, LimitName, NextRide, Prediction, Stays, Trip};

/// How long the lamp should stay.
#[derive(Debug, Clone, PartialEq)]
pub struct RecommendedStay {
    /// The stay.
    pub stay: Seconds,
    /// What one print of the batch would go through.
    pub predicted: Prediction,
}

/// The stays on a platen of some warmth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnPlaten {
    /// The platen's temperature.
    pub platen: Celsius,
    /// The proved stays; `None` where there are none.
    pub window: Option<Stays>,
    /// The most likely ones.
    pub window_best: Option<Stays>,
}

/// What would help where no stay is proved.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum FlashAdvice {
    /// A stay is most likely good, but the doubt (k = 2) of what ends it is larger than the room there is.
    LessDoubt {
        /// That doubt.
        doubt: CelsiusDifference,
    },
    /// Even far longer than was ridden, the print does not get what it needs.
    MoreHeat,
    /// It gets too much before it has what it needs.
    LessHeat,
}

/// The answer for a flash unit.
#[derive(Debug, Clone, PartialEq)]
pub struct FlashTuning {
    /// The stays at which every print is proved good, on a platen as warm as under the rides.
    pub window: Option<Stays>,
    /// The same without the guard.
    pub window_best: Option<Stays>,
    /// The shortest safe stay, a little in hand; flash units are in the way of the next colour.
    pub recommended: Option<RecommendedStay>,
    /// How the stays change as the platen warms.
    pub platens: Vec<OnPlaten>,
    /// The ride that would narrow the doubt at the short end most.
    pub next_ride: Option<NextRide>,
    /// What would help where no stay is proved.
    pub advice: Vec<FlashAdvice>,
}

/// Platens that an answer is given for: a cold one, and what they become over a run (common practice, no source).
pub const USUAL_PLATENS: [Celsius; 4] =
    [Celsius(30.0), Celsius(45.0), Celsius(60.0), Celsius(75.0)];

/// The recommended stay is longer than the shortest proved one by this share: timers and panels wander.
const IN_HAND: f64 = 0.02;
/// Timers are set in tenths of a second.
const STEPS_A_SECOND: f64 = 10.0;
/// How much longer than ridden is looked at before more heat is advised.
const BEYOND: f64 = 4.0;

/// Answers for a fit of rides under a flash unit; `ridden_on` is the platen's temperature under them, and
/// `platens` those that are asked for.
///
/// # Errors
/// Where the model has no answer.
pub fn tune_flash(
    fit: &Fit,
    ridden_on: Celsius,
    platens: &[Celsius],
) -> Result<FlashTuning, HeatError> {
    let window = fit.stays(Certainty::Proved)?;
    let window_best = fit.stays(Certainty::Likely)?;
    let recommended = window.map(|window| recommend(fit, window)).transpose()?;
    let mut on_platens = Vec::new();
    for platen in platens {
        let warmer = fit.on_warmer_platen(CelsiusDifference(platen.0 - ridden_on.0));
        on_platens.push(OnPlaten {
            platen: *platen,
            window: warmer.stays(Certainty::Proved)?,
            window_best: warmer.stays(Certainty::Likely)?,
        });
    }
    let next_ride = match window.or(window_best) {
        Some(stays) => {
            let at = Trip::Lamp(stays.shortest.stay);
            fit.next_ride(stays.shortest.limit, at, |trip| trip)?
        }
        None => None,
    };
    let advice = match window {
        Some(_) => Vec::new(),
        None => advise(fit, window_best)?,
    };
    Ok(FlashTuning {
        window,
        window_best,
        recommended,
        platens: on_platens,
        next_ride,
        advice,
    })
}

/// A little longer than the shortest, on a step of the timer, if the window has room for that.
fn recommend(fit: &Fit, window: Stays) -> Result<RecommendedStay, HeatError> {
    let shortest = window.shortest.stay.0;
    let longest = window.longest.map_or(f64::INFINITY, |end| end.stay.0);
    let wanted = ((1.0 + IN_HAND) * shortest * STEPS_A_SECOND).ceil() / STEPS_A_SECOND;
    let stay = Seconds(if wanted <= longest {
        wanted
    } else {
        (shortest * longest).sqrt()
    });
    Ok(RecommendedStay {
        stay,
        predicted: fit.predict(Trip::Lamp(stay))?,
    })
}

fn advise(fit: &Fit, likely: Option<Stays>) -> Result<Vec<FlashAdvice>, HeatError> {
    if let Some(stays) = likely {
        let margins = fit.margins(Trip::Lamp(stays.shortest.stay))?;
        let ends = [Some(stays.shortest), stays.longest].map(|end| end.map(|end| end.limit));
        let doubt = margins
            .iter()
            .filter(|margin| ends.contains(&Some(margin.limit)))
            .map(|margin| margin.doubt.0)
            .fold(0.0, f64::max);
        let doubt = CelsiusDifference(doubt);
        return Ok(vec![FlashAdvice::LessDoubt { doubt }]);
    }
    let stays = fit.rides().iter().filter_map(|ride| match ride.trip {
        Trip::Lamp(stay) => Some(stay.0),
        Trip::Belt(_) => None,
    });
    let Some(longest) = stays.reduce(f64::max) else {
        return Ok(Vec::new());
    };
    let margins = fit.likely_margins(Trip::Lamp(Seconds(BEYOND * longest)))?;
    let lacks = margins
        .iter()
        .any(|(limit, margin)| matches!(limit, LimitName::Gel | LimitName::Cure) && margin.0 < 0.0);
    Ok(vec![if lacks {
        FlashAdvice::MoreHeat
    } else {
        FlashAdvice::LessHeat
    }])
}
