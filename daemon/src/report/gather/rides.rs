//! Rides as curves.

use super::super::{Known, ReportError, Ride};
use super::{Desk, NO_SHOP_FILE, Run};
use crate::journal::KeptPass;
use crate::record::Place;
use crate::shown::temperatures as readings;
use crate::time::Micros;

/// So many rides of a batch are drawn.
const MOST: usize = 6;
/// A curve has about so many points at most.
const POINTS: usize = 240;

impl Desk<'_> {
    /// The first and the last ride of a batch, and those between that were weakest and hottest.
    pub(super) fn rides(&self, run: &Run<'_>) -> Result<Known<Vec<Ride>>, ReportError> {
        let Some(file) = self.shop else {
            return Ok(Known::not(NO_SHOP_FILE));
        };
        if !self.curved {
            return Ok(Known::not(
                "Too many batches to draw each; ask by the day or by the batch.",
            ));
        }
        let chosen = chosen(&run.passes);
        if chosen.is_empty() {
            return Ok(Known::not("No probe rode with a print of this batch."));
        }
        let mut rides = Vec::new();
        let mut forgotten = 0;
        for kept in chosen {
            let pass = &kept.pass;
            let probe = file
                .shop
                .probes
                .iter()
                .find(|probe| Some(&probe.id) == pass.probe.as_ref());
            let (Some(probe), true, Some(judged)) = (probe, kept.readings_kept, &pass.judged)
            else {
                forgotten += 1;
                continue;
            };
            let curve = readings(self.reader, probe, pass.start, pass.end)?;
            rides.push(Ride {
                pass: pass.pass,
                print: pass.print.filter(|print| *print > 0),
                verdict: judged.verdict.clone(),
                harm: judged.harm.clone(),
                curve: thinned(&curve, pass.start),
            });
        }
        if rides.is_empty() {
            return Ok(Known::not(format!(
                "The readings of {forgotten} of these rides are not kept any more, or the shop file does not declare \
                 their probe."
            )));
        }
        Ok(Known::Is(rides))
    }
}

/// Which rides are worth drawing, in the order of time.
fn chosen(passes: &[KeptPass]) -> Vec<&KeptPass> {
    let rides: Vec<&KeptPass> = passes
        .iter()
        .filter(|kept| matches!(kept.pass.place, Place::Ride | Place::Flash))
        .filter(|kept| kept.pass.judged.is_some())
        .collect();
    if rides.len() <= MOST {
        return rides;
    }
    let of = |kept: &KeptPass, figure: fn(&crate::record::Judged) -> Option<f64>| {
        kept.pass.judged.as_ref().and_then(figure)
    };
    let cure = |kept: &&&KeptPass| of(kept, |judged| Some(judged.cure?.low)).unwrap_or(f64::MAX);
    let peak = |kept: &&&KeptPass| of(kept, |judged| Some(judged.peak_c)).unwrap_or(f64::MIN);
    let weakest = rides.iter().min_by(|a, b| cure(a).total_cmp(&cure(b)));
    let hottest = rides.iter().max_by(|a, b| peak(a).total_cmp(&peak(b)));
    let spread = (0..MOST - 2).map(|place| &rides[place * (rides.len() - 1) / (MOST - 3)]);
    let mut chosen: Vec<&KeptPass> = weakest
        .into_iter()
        .chain(hottest)
        .chain(spread)
        .copied()
        .collect();
    chosen.sort_by_key(|kept| (kept.pass.start, kept.pass.pass));
    chosen.dedup_by_key(|kept| kept.pass.pass);
    chosen
}

/// The curve in few points: of each piece its coolest and its hottest, in their order, so that no peak is lost. To a
/// thousandth of a degree and of a second, which is less than any probe tells.
fn thinned(curve: &[(Micros, f64)], start: Micros) -> Vec<(f64, f64)> {
    let round = |number: f64| (number * 1e3).round() / 1e3;
    let point = |(at, celsius): &(Micros, f64)| (round(at.seconds_since(start)), round(*celsius));
    if curve.len() <= POINTS {
        return curve.iter().map(point).collect();
    }
    let piece = (2 * curve.len()).div_ceil(POINTS);
    let mut points: Vec<(f64, f64)> = Vec::with_capacity(POINTS + 2);
    for piece in curve.chunks(piece) {
        let coolest = piece.iter().min_by(|a, b| a.1.total_cmp(&b.1));
        let hottest = piece.iter().max_by(|a, b| a.1.total_cmp(&b.1));
        let mut ends: Vec<&(Micros, f64)> = coolest.into_iter().chain(hottest).collect();
        ends.sort_by_key(|(at, _)| *at);
        ends.dedup_by_key(|(at, _)| *at);
        points.extend(ends.into_iter().map(point));
    }
    points
}
