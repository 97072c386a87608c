//! The least-squares problem of a fit: residuals of all rides, and of what is known before.
//!
//! With z the unknowns (see `unknowns`), r = [L⁻¹ (T(z) − T_read) over the bins of all rides; z], L as in
//! `discrepancy`. Besides what they share, each ride has a z of its own for the moment of its entry, and
//! for its garment's mass and moisture against the batch's.

use levenberg_marquardt::LeastSquaresProblem;
use nalgebra::{DMatrix, DVector, Dyn, Owned};

use inkdwell_config::quantity::{Celsius, Seconds, Share};

use super::discrepancy::{Discrepancy, Place};
use super::ride::{AFTER_HEAT, Bin, Series, Trip};
use super::unknowns::{Guess, MASS_SCATTER, MOISTURE_SCATTER, Unknown};
use crate::heat::HeatError;
use crate::heat::curve::Curve;
use crate::heat::history::History;
use crate::heat::print::Print;
use crate::heat::run::{Columns, Model};

/// One ride, ready to be fitted.
#[derive(Debug, Clone)]
pub(crate) struct Passage {
    pub(crate) trip: Trip,
    /// Its first guess of when it entered, in the file's time.
    pub(crate) entry: f64,
    pub(crate) film: Series,
    pub(crate) cloth: Series,
    pub(crate) room: Option<Celsius>,
    /// What is supposed to have befallen it.
    pub(crate) befallen: Option<Befallen>,
}

impl Passage {
    /// The film's bins, then the cloth's.
    pub(crate) fn bins(&self) -> impl Iterator<Item = &Bin> {
        self.film.bins.iter().chain(&self.cloth.bins)
    }

    /// How long its print is in a heat of so many metres, in seconds.
    pub(crate) fn stay(&self, heated: f64) -> f64 {
        self.trip.stay(heated)
    }

    fn places(&self, heated: f64, dries: bool) -> impl Iterator<Item = Place> {
        let stay = self.stay(heated);
        self.bins().enumerate().map(move |(number, bin)| Place {
            haste: self.trip.haste(),
            along: (bin.time - self.entry) / stay,
            on_cloth: number >= self.film.bins.len(),
            dries,
        })
    }
}

/// What each ride has of its own.
pub(crate) const OWN: usize = 3;
/// One standard deviation of how the garments of a batch scatter.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Garments {
    /// Of their mass, as a share.
    pub(crate) mass: Share,
    /// Of their water, as a share of the dry mass.
    pub(crate) moisture: Share,
}

/// No batch is more even than this.
const LEAST_SCATTER: f64 = 1e-3;
/// Spread of the entry about its first guess, in seconds.
const ENTRY_SPREAD: f64 = 3.0;
/// Step of z over which slopes are taken.
const STEP: f64 = 0.02;

/// The problem at one z.
#[derive(Debug, Clone)]
pub(crate) struct Problem {
    pub(crate) base: Guess,
    pub(crate) unknowns: Vec<Unknown>,
    pub(crate) passages: Vec<Passage>,
    pub(crate) z: DVector<f64>,
    pub(crate) discrepancy: Discrepancy,
    model: Model,
    /// How much more narrowly each z is known before than one spread.
    narrowness: DVector<f64>,
    /// Histories at z; `None` where the model has no answer.
    runs: Option<Vec<Shown>>,
}

/// Temperatures where a ride's probes are, in time from the entry.
#[derive(Debug, Clone)]
struct Shown {
    film: Curve,
    cloth: Option<Curve>,
}

impl Problem {
    /// `None` where the rides' readings are no numbers to reckon with.
    pub(crate) fn new(
        base: Guess,
        unknowns: Vec<Unknown>,
        passages: Vec<Passage>,
        garments: Garments,
    ) -> Option<Problem> {
        let z = DVector::zeros(unknowns.len() + OWN * passages.len());
        let mut narrowness = DVector::repeat(z.len(), 1.0);
        for own in (unknowns.len()..z.len()).step_by(OWN) {
            narrowness[own + 1] = MASS_SCATTER / garments.mass.0.max(LEAST_SCATTER);
            narrowness[own + 2] = MOISTURE_SCATTER / garments.moisture.0.max(LEAST_SCATTER);
        }
        let model = Model {
            after: Seconds(AFTER_HEAT + 2.0),
            ..Model::default()
        };
        let heated = base.oven.heated_length().0;
        let dries = base.print.dries();
        let places: Vec<Vec<Place>> = passages
            .iter()
            .map(|passage| passage.places(heated, dries).collect())
            .collect();
        let noise: Vec<f64> = passages
            .iter()
            .flat_map(|passage| passage.bins().map(|bin| bin.noise))
            .collect();
        let discrepancy = Discrepancy::new(&places, &noise)?;
        Some(Problem {
            base,
            unknowns,
            passages,
            z,
            discrepancy,
            model,
            narrowness,
            runs: None,
        })
    }

    /// The oven and print at a z of what the rides share.
    pub(crate) fn guess(&self, z: &[f64]) -> Guess {
        let mut guess = self.base.clone();
        for (unknown, z) in self.unknowns.iter().zip(z) {
            unknown.apply(&mut guess, *z);
        }
        guess
    }

    /// Where the z of a ride's own begin.
    pub(crate) fn own(&self, ride: usize) -> usize {
        self.unknowns.len() + OWN * ride
    }

    /// The z of what the rides share.
    pub(crate) fn shared(&self) -> &[f64] {
        &self.z.as_slice()[..self.unknowns.len()]
    }

    /// When a ride entered, in the file's time.
    pub(crate) fn entry(&self, ride: usize) -> f64 {
        self.passages[ride].entry + ENTRY_SPREAD * self.z[self.own(ride)]
    }

    /// How long a ride's print was in the heat, in seconds.
    pub(crate) fn stay(&self, ride: usize) -> f64 {
        self.passages[ride].stay(self.base.oven.heated_length().0)
    }

    fn run_all(&self) -> Option<Vec<Shown>> {
        let guess = self.guess(self.shared());
        (0..self.passages.len())
            .map(|ride| self.show(ride, &guess).ok())
            .collect()
    }

    /// Runs one ride at a guess of what is shared, with its own garment.
    fn show(&self, ride: usize, guess: &Guess) -> Result<Shown, HeatError> {
        let history = self.history(ride, guess)?;
        Ok(Shown {
            film: self.passages[ride].trip.watched(&history).clone(),
            cloth: history.cloth.map(|cloth| cloth.top),
        })
    }

    fn history(&self, ride: usize, guess: &Guess) -> Result<History, HeatError> {
        let passage = &self.passages[ride];
        let own = self.own(ride);
        let mut print = own_garment(&guess.print, self.z[own + 1], self.z[own + 2]);
        let mut trip = passage.trip;
        match passage.befallen {
            Some(Befallen::Wetter(by)) => print.cloth.moisture.0 += by.0,
            Some(Befallen::Hastier(by)) => trip = trip.at_haste(trip.haste() + by.0),
            Some(Befallen::Out(_)) | None => {}
        }
        let mut oven = guess.oven.clone();
        if let Some(room) = passage.room {
            oven.room.temperature = room;
        }
        let journey = trip.journey(&oven, self.model.after, self.model.pace);
        let columns = if passage.cloth.bins.is_empty() {
            Columns::Print
        } else {
            Columns::PrintAndCloth
        };
        self.model.run(&oven, &print, &journey, columns)
    }

    /// The same problem where something befell a ride. When that entered is told by its first rise alone: the
    /// shape of the whole would mislead.
    pub(crate) fn suspecting(&self, ride: usize, befallen: Befallen) -> Problem {
        let mut other = self.clone();
        let own = self.own(ride);
        let entry = self.entry_by_first_rise(ride);
        other.passages[ride].entry = entry.unwrap_or_else(|| self.entry(ride));
        other.passages[ride].befallen = Some(befallen);
        other.z.rows_mut(own, OWN).fill(0.0);
        other
    }

    fn entry_by_first_rise(&self, ride: usize) -> Option<f64> {
        let bins = &self.passages[ride].film.bins;
        let risen = bins.first()?.celsius + FIRST_RISE;
        let read = bins.windows(2).find(|pair| pair[1].celsius >= risen)?;
        let share = (risen - read[0].celsius) / (read[1].celsius - read[0].celsius);
        let read = read[0].time + share * (read[1].time - read[0].time);
        let film = &self.runs.as_ref()?.get(ride)?.film;
        let computed = film.points(2).find(|point| point.1.0 >= risen)?;
        Some(read - computed.0.0)
    }

    /// What lagging probes would show at each bin of a ride: the film's, then the cloth's.
    fn values(&self, ride: usize, shown: &Shown, lag: Seconds, entry: f64) -> Vec<f64> {
        let passage = &self.passages[ride];
        let mut values = Vec::with_capacity(passage.film.bins.len() + passage.cloth.bins.len());
        let film = (&passage.film, Some(&shown.film));
        for (series, curve) in [film, (&passage.cloth, shown.cloth.as_ref())] {
            if let Some(curve) = curve {
                let times = series.bins.iter().map(|bin| bin.time - entry);
                curve.lagging(lag).sample(times, &mut values);
            }
        }
        if let Some(Befallen::Out(share)) = passage.befallen {
            let room = passage.room.unwrap_or(self.base.oven.room.temperature).0;
            cool_from(
                &mut values,
                passage,
                entry + share.0 * self.stay(ride),
                room,
            );
        }
        values
    }

    /// Model less measurement, in °C.
    pub(crate) fn misfits(&self, ride: usize) -> Option<Vec<Misfit>> {
        let runs = self.runs.as_ref()?;
        let entry = self.entry(ride);
        let lag = self.guess(self.shared()).lag;
        let values = self.values(ride, &runs[ride], lag, entry);
        let passage = &self.passages[ride];
        Some(
            passage
                .bins()
                .zip(values)
                .enumerate()
                .map(|(number, (bin, value))| Misfit {
                    on_film: number < passage.film.bins.len(),
                    time: bin.time - entry,
                    celsius: value - bin.celsius,
                })
                .collect(),
        )
    }

    /// Enters the slopes of a ride's misfits by z, from a row of the matrix on.
    fn slopes(&self, ride: usize, matrix: &mut DMatrix<f64>, row: usize) -> Option<()> {
        let shown = &self.runs.as_ref()?[ride];
        let passage = &self.passages[ride];
        let (entry, lag) = (self.entry(ride), self.guess(self.shared()).lag);
        let base = self.values(ride, shown, lag, entry);
        let mut enter = |column: usize, values: &[f64], scale: f64| {
            for (i, value) in values.iter().enumerate() {
                matrix[(row + i, column)] = scale * (value - base[i]) / STEP;
            }
        };
        let own = self.own(ride);
        for (column, unknown) in self.unknowns.iter().enumerate() {
            if *unknown == Unknown::BareAbsorptivity && passage.cloth.bins.is_empty() {
                continue;
            }
            let mut z = self.shared().to_vec();
            z[column] += STEP;
            let guess = self.guess(&z);
            let values = if *unknown == Unknown::Lag {
                self.values(ride, shown, guess.lag, entry)
            } else {
                self.values(ride, &self.show(ride, &guess).ok()?, lag, entry)
            };
            enter(column, &values, 1.0);
            // The garment's own mass and moisture act as the batch's do.
            let spread = unknown.spread() * Unknown::bent(self.z[column]).1;
            match unknown {
                Unknown::Mass => enter(own + 1, &values, MASS_SCATTER / spread),
                Unknown::Moisture => {
                    let scatter = moisture_scatter(&self.base.print);
                    enter(own + 2, &values, scatter / spread);
                }
                _ => {}
            }
        }
        let later = self.values(ride, shown, lag, entry + STEP * ENTRY_SPREAD);
        enter(own, &later, 1.0);
        Some(())
    }

    /// How many bins there are in all.
    fn bins(&self) -> usize {
        self.passages
            .iter()
            .map(|passage| passage.bins().count())
            .sum()
    }

    /// L⁻¹ (T(z) − T_read).
    pub(crate) fn whitened(&self) -> Option<DVector<f64>> {
        let mut all = Vec::with_capacity(self.bins());
        for ride in 0..self.passages.len() {
            all.extend(self.misfits(ride)?.iter().map(|misfit| misfit.celsius));
        }
        let mut all = DVector::from_vec(all);
        self.discrepancy.whiten(&mut all);
        Some(all)
    }

    /// What readings and prior knowledge tell of z, given L⁻¹ J: the inverse of its covariance.
    pub(crate) fn information(&self, whitened_slopes: &DMatrix<f64>) -> DMatrix<f64> {
        let prior = DMatrix::from_diagonal(&self.narrowness.component_mul(&self.narrowness));
        whitened_slopes.tr_mul(whitened_slopes) + prior
    }

    /// Half the slope of the sum of squares by z, with the slopes of the residuals that L⁻¹ J gives.
    pub(crate) fn steepest(&self, whitened_slopes: &DMatrix<f64>) -> Option<DVector<f64>> {
        let squares = self.narrowness.component_mul(&self.narrowness);
        let prior = self.z.component_mul(&squares);
        Some(whitened_slopes.tr_mul(&self.whitened()?) + prior)
    }

    /// L⁻¹ J.
    pub(crate) fn whitened_slopes(&self) -> Option<DMatrix<f64>> {
        let mut matrix = DMatrix::zeros(self.bins(), self.z.len());
        let mut row = 0;
        for ride in 0..self.passages.len() {
            self.slopes(ride, &mut matrix, row)?;
            row += self.passages[ride].bins().count();
        }
        self.discrepancy.whiten_all(&mut matrix);
        Some(matrix)
    }
}

/// Something that a fit is not told of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Befallen {
    /// The garment held more water, by so much of its dry mass.
    Wetter(Share),
    /// The belt ran faster (or the lamp left sooner) than noted, by so much in ln.
    Hastier(Share),
    /// The print, or its probe, left the heat after such a share of its way.
    Out(Share),
}

/// Degrees of a first rise.
const FIRST_RISE: f64 = 15.0;
/// Seconds in which a print out of the heat loses 63 % of its warmth. Common practice, no source.
const COOLING: f64 = 25.0;

/// Lets a ride's values cool in the room from a moment on.
fn cool_from(values: &mut [f64], passage: &Passage, from: f64, room: f64) {
    let film = passage.film.bins.len();
    for (bins, offset) in [(&passage.film.bins, 0), (&passage.cloth.bins, film)] {
        let mut left = None;
        for (number, bin) in bins.iter().enumerate().filter(|(_, bin)| bin.time > from) {
            let value = &mut values[offset + number];
            let left = *left.get_or_insert(*value);
            *value = room + (left - room) * (-(bin.time - from) / COOLING).exp();
        }
    }
}

/// Model less measurement at one bin.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Misfit {
    pub(crate) on_film: bool,
    /// From the entry into the heat.
    pub(crate) time: f64,
    pub(crate) celsius: f64,
}

/// Moisture's scatter as a factor, from its scatter of the dry mass.
pub(crate) fn moisture_scatter(print: &Print) -> f64 {
    (MOISTURE_SCATTER / print.cloth.moisture.0.max(1e-6)).min(0.5)
}

/// The batch's print with one garment's mass and moisture.
pub(crate) fn own_garment(print: &Print, mass: f64, moisture: f64) -> Print {
    let mut own = *print;
    own.cloth.mass.0 *= (MASS_SCATTER * mass).exp();
    own.cloth.moisture.0 *= (moisture_scatter(print) * moisture).exp();
    own
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Problem {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, z: &DVector<f64>) {
        self.z.copy_from(z);
        self.runs = self.run_all();
    }

    fn params(&self) -> DVector<f64> {
        self.z.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        let whitened = self.whitened()?;
        let before = self.z.component_mul(&self.narrowness);
        let all = whitened.iter().chain(before.iter()).copied();
        Some(DVector::from_iterator(whitened.len() + self.z.len(), all))
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let slopes = self.whitened_slopes()?;
        let (bins, unknowns) = slopes.shape();
        let mut matrix = slopes.resize_vertically(bins + unknowns, 0.0);
        for column in 0..unknowns {
            matrix[(bins + column, column)] = self.narrowness[column];
        }
        Some(matrix)
    }
}
