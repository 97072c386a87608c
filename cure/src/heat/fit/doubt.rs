//! What the doubt of a margin is made of.

use inkdwell_config::quantity::CelsiusDifference;

use super::Fit;
use super::carry::{Extent, FIRST_MARGIN};
use super::limit::LimitName;
use super::ride::Trip;
use crate::heat::HeatError;

/// The parts of a margin's doubt, each at k = 2. Their squares add up to the square of the whole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DoubtParts {
    /// The margin itself.
    pub margin: CelsiusDifference,
    /// What the rides leave open about oven, ink and the batch's middle garment.
    pub unknowns: CelsiusDifference,
    /// What the rides leave open about the model's own error there, and what each print has of it alone.
    pub model: CelsiusDifference,
    /// How far the mass of one garment scatters about the batch's.
    pub mass: CelsiusDifference,
    /// How far its water does.
    pub moisture: CelsiusDifference,
    /// The probe that all rides were read with.
    pub probe: CelsiusDifference,
}

impl Fit {
    /// What the doubt of a limit's margin on a trip is made of; `None` where the fit has no such limit.
    ///
    /// # Errors
    /// Where the model has no answer.
    pub fn doubt_parts(
        &self,
        limit: LimitName,
        trip: Trip,
    ) -> Result<Option<DoubtParts>, HeatError> {
        let Some(number) = self.limits.iter().position(|own| own.name == limit) else {
            return Ok(None);
        };
        let carried = self.carry(trip, Extent::Margins)?;
        let asked = self.dependence(&carried, FIRST_MARGIN + number);
        let part = |variance: f64| CelsiusDifference(2.0 * variance.max(0.0).sqrt());
        let unknowns = self.of_unknowns(&asked, &asked);
        Ok(Some(DoubtParts {
            margin: CelsiusDifference(carried.values[FIRST_MARGIN + number]),
            unknowns: part(unknowns),
            model: part(self.covariance(&asked, &asked) + self.own(&asked) - unknowns),
            mass: part(asked.scatter[0]),
            moisture: part(asked.scatter[1]),
            probe: part(self.probe.powi(2)),
        }))
    }
}
