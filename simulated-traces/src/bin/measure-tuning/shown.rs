//! What one shop showed.

use std::collections::BTreeMap;

use inkdwell_cure::heat::fit::DoubtParts;
use inkdwell_cure::judged::Band;

/// How often something held, by its name.
pub type Held = BTreeMap<&'static str, (u32, u32)>;

/// What one shop showed.
#[derive(Default)]
pub struct Shown {
    /// Predicted less true peak of the film and of unprinted cloth.
    pub errors: Vec<f64>,
    pub cloth_errors: Vec<f64>,
    /// The same for drawn garments, over one standard deviation as the fit reckons it.
    pub pulls: Vec<f64>,
    pub held: Held,
    /// The fastest speed that is truly safe: for the garment in the middle, and for 95 % of the batch's.
    pub fastest: Option<f64>,
    pub fastest_for_most: Option<f64>,
    pub recommended: Option<Recommendation>,
    pub refused_for: Option<Refused>,
    pub worst_rms: f64,
    pub seconds: [f64; 2],
    pub said: String,
    /// Each prediction against one garment.
    pub details: Vec<String>,
}

/// A speed that was recommended, and how good it truly is.
pub struct Recommendation {
    pub belt: f64,
    pub middle_is_good: bool,
    pub good_share: f64,
    pub parts: Option<DoubtParts>,
}

/// Why nothing is recommended to a shop with a speed that is safe for its middle garment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refused {
    /// At no speed are 95 % of its garments truly good.
    NotForTheBatch,
    /// There most likely is a speed, but the doubt is wider than the window.
    Doubt,
    /// Not even a most likely one was found.
    NotEvenLikely,
}

/// Whether a band holds a value.
pub fn holds(band: Band, value: f64) -> bool {
    (band.low - 1e-9..=band.high + 1e-9).contains(&value)
}
