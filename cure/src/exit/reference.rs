//! What the reference ride teaches: the object, and what each probe showed of its print.

use inkdwell_config::fabric::Fabric;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, Metres, Share};

use super::belt::beside;
use super::belt_search::belt_between;
use super::template::{Template, TemplateError};
use super::trace::ExitTrace;
use super::way::Way;
use crate::heat::HeatError;
use crate::heat::fit::{ExitModel, ExitProbe, Fit, FitOptions, Shown};

/// An exit probe, as it is declared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Probe {
    /// From the end of the heated length to its spot.
    pub distance: Metres,
    /// Diameter of what it sees.
    pub spot: Metres,
    /// Expanded uncertainty (k = 2) with which it shows one print against another.
    pub uncertainty: CelsiusDifference,
}

impl Probe {
    pub(super) fn for_model(&self) -> ExitProbe {
        ExitProbe {
            distance: self.distance,
            uncertainty: self.uncertainty,
        }
    }
}

/// The reference ride, ready to hold runs against.
#[derive(Debug, Clone)]
pub struct Reference<'a> {
    pub(super) fit: &'a Fit,
    /// Nearest to the heat first; at least one.
    pub(super) probes: Vec<Probe>,
    pub(super) template: Template,
    /// What each probe showed of the ridden print.
    pub(super) shown: Vec<Option<Shown>>,
}

/// How far the water of garments of one fabric differs between rooms and days, k = 2, as a share of its regain: what
/// 0.02 is of cotton's. No source.
const OF_REGAIN: f64 = 0.25;

/// Why a ride is no reference.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ReferenceError {
    /// The ride was none on a belt.
    #[error("the reference is no ride on a belt")]
    NoBelt,
    /// The belt never brought the ridden print to the probe.
    #[error("the belt stood still before the ridden print came to the exit probe")]
    NeverCame,
    /// Its object cannot be learned.
    #[error(transparent)]
    Template(#[from] TemplateError),
}

impl<'a> Reference<'a> {
    /// What a fit is told that exit evidence rests on. A garment may be by 10 % of its mass and by 0.02 of water
    /// off the one that was ridden (k = 2), but by no more than a quarter of what water its fabric holds.
    pub fn fit_options(fabric: &Fabric) -> FitOptions {
        let usual = FitOptions::default();
        let regain = usual.regain_scatter.0.min(OF_REGAIN * fabric.regain.0);
        Self::fit_options_for(usual.mass_scatter, Share(regain))
    }

    /// The same where it is known how far one garment of the batch may be from the one that was ridden (k = 2).
    /// Two garments that each scatter by s about the batch's middle differ by √2 s.
    pub fn fit_options_for(mass: Share, regain: Share) -> FitOptions {
        FitOptions {
            mass_scatter: Share(mass.0 * std::f64::consts::FRAC_1_SQRT_2),
            regain_scatter: Share(regain.0 * std::f64::consts::FRAC_1_SQRT_2),
            ..FitOptions::default()
        }
    }

    /// Learns from the first ride of a fit. `probes` come with their readings in the ride's trace (seconds
    /// and °C, NaN where bad), nearest to the heat first; `pitch` is how far prints follow each other, in
    /// metres.
    ///
    /// # Errors
    /// Where the nearest probe shows no object as the ridden print passes.
    pub fn learn(
        fit: &'a Fit,
        probes: &[(Probe, &[(f64, f64)])],
        way: &Way,
        pitch: Option<f64>,
    ) -> Result<Reference<'a>, ReferenceError> {
        let (nearest, readings) = probes.first().ok_or(ReferenceError::NoBelt)?;
        let time = fit
            .passes(0, nearest.distance)
            .ok_or(ReferenceError::NoBelt)?;
        let place = way.at(time.0);
        let trace = ExitTrace::new(readings, way);
        let template = Template::learn(&trace, place, nearest.spot.0, pitch)?;
        let shown = probes
            .iter()
            .map(|(probe, readings)| {
                let trace = ExitTrace::new(readings, way);
                let further = probe.distance.0 - nearest.distance.0;
                let belt = (further == 0.0).then(|| {
                    let (_, covered) = belt_between(&trace, &template, probe.spot.0, pitch);
                    beside(&trace, &covered, template.about(place))
                });
                shown(&template, &trace, place + further, probe, belt.flatten())
            })
            .collect();
        Ok(Reference {
            fit,
            probes: probes.iter().map(|(probe, _)| *probe).collect(),
            template,
            shown,
        })
    }

    /// The model that infers from it what later prints went through, in a room of such a temperature.
    ///
    /// # Errors
    /// Where the heat model has no answer for the reference itself.
    pub fn model(&self, room: Celsius) -> Result<ExitModel<'a>, HeatError> {
        let probes = self.probes.iter().map(|probe| probe.for_model());
        ExitModel::new(self.fit, probes.collect(), self.shown.clone(), room)
    }

    /// What an object of the batch looks like to the nearest probe.
    pub fn template(&self) -> &Template {
        &self.template
    }

    /// What each probe showed of the ridden print; `None` where it did not see it.
    pub fn shown(&self) -> &[Option<Shown>] {
        &self.shown
    }
}

/// What a probe showed of the print whose place is at a way of the belt, the bare belt beside it being at some °C.
pub(super) fn shown(
    template: &Template,
    trace: &ExitTrace,
    place: f64,
    probe: &Probe,
    belt: Option<f64>,
) -> Option<Shown> {
    let (print, noise) = template.read_print(trace, place)?;
    let margin = template
        .margin
        .and_then(|_| template.read_margin(trace, place, probe.spot.0));
    Some(Shown {
        print: Celsius(print),
        margin: margin.map(|margin| Celsius(margin.0)),
        belt: belt.map(Celsius),
        noise,
    })
}
