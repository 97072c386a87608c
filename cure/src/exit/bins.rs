//! A trace about an object, evened out, and the edges that explain it best.

use super::trace::{ExitTrace, Seen};

/// Length of a bin along the belt, in metres.
pub(super) const BIN: f64 = 0.01;
/// Prints are at least so long, in metres.
const SHORTEST_PRINT: f64 = 0.05;
/// By how much a segment must explain more, as a sum of squares over its variance.
const SEGMENT_COST: f64 = 14.0;
/// Squares of a single bin of what is taken for belt count no more than these standard deviations.
const MOST_OFF: f64 = 40.0;

/// The trace about a place, evened out into short bins; empty ones are left out.
pub(super) struct Bins {
    /// Metres from the place, and °C.
    bins: Vec<(f64, f64)>,
    /// Σ and Σ² of the temperatures before each bin.
    sums: Vec<(f64, f64)>,
}

impl Bins {
    pub(super) fn new(trace: &ExitTrace, place: f64, reach: f64) -> Bins {
        let mut bins: Vec<(f64, f64)> = Vec::new();
        let mut open: Option<(i64, f64, f64, f64)> = None;
        let close = |open: Option<(i64, f64, f64, f64)>, bins: &mut Vec<(f64, f64)>| {
            if let Some((_, count, way, celsius)) = open {
                bins.push((way / count, celsius / count));
            }
        };
        for Seen { way, celsius, .. } in trace.on(place - reach, place + reach) {
            let way = way - place;
            let number = (way / BIN).floor() as i64;
            match &mut open {
                Some(bin) if bin.0 == number => {
                    bin.1 += 1.0;
                    bin.2 += way;
                    bin.3 += celsius;
                }
                _ => {
                    close(open.take(), &mut bins);
                    open = Some((number, 1.0, way, *celsius));
                }
            }
        }
        close(open, &mut bins);
        let mut sums = vec![(0.0, 0.0)];
        for bin in &bins {
            let last = sums[sums.len() - 1];
            sums.push((last.0 + bin.1, last.1 + bin.1 * bin.1));
        }
        Bins { bins, sums }
    }

    /// The bin at a way, if it is near enough.
    pub(super) fn at(&self, way: f64) -> Option<usize> {
        let nearest = (0..self.bins.len()).min_by(|a, b| {
            (self.bins[*a].0 - way)
                .abs()
                .total_cmp(&(self.bins[*b].0 - way).abs())
        });
        nearest.filter(|bin| (self.bins[*bin].0 - way).abs() < 2.0 * SHORTEST_PRINT)
    }

    /// The way at which a bin begins: half-way from the one before.
    pub(super) fn way(&self, bin: usize) -> f64 {
        match (bin.checked_sub(1), self.bins.get(bin)) {
            (Some(before), Some(own)) => 0.5 * (self.bins[before].0 + own.0),
            (None, Some(own)) => own.0,
            (_, None) => self.bins.last().map_or(0.0, |last| last.0),
        }
    }

    pub(super) fn mean(&self, from: usize, to: usize) -> Option<f64> {
        (to > from).then(|| (self.sums[to].0 - self.sums[from].0) / (to - from) as f64)
    }

    /// What is left over of the squares from one bin to before another.
    fn left_over(&self, from: usize, to: usize) -> f64 {
        let mean = self.mean(from, to).unwrap_or(0.0);
        let squares = self.sums[to].1 - self.sums[from].1;
        (squares - mean * mean * (to - from) as f64).max(0.0)
    }

    /// The first bins of leading margin, print, trailing margin and belt, the print holding the bin `here`.
    pub(super) fn edges(
        &self,
        here: usize,
        belt: f64,
        (deviation, least): (f64, f64),
    ) -> Option<([usize; 4], f64)> {
        let count = self.bins.len();
        let variance = deviation * deviation;
        // Squares of belt before each bin, each bin's bounded so that a neighbour's garment does not matter.
        let mut off = vec![0.0];
        for bin in &self.bins {
            let square = ((bin.1 - belt) / deviation).abs().min(MOST_OFF).powi(2);
            off.push(off[off.len() - 1] + square);
        }
        let long_enough = |from: usize, to: usize| self.way(to) - self.way(from) >= least;
        let segment = |from: usize, to: usize| self.left_over(from, to) / variance;
        let margin = |from: usize, to: usize| {
            (from == to || long_enough(from, to)).then(|| {
                let cost = if from == to { 0.0 } else { SEGMENT_COST };
                cost + segment(from, to)
            })
        };
        let best = |costs: &mut dyn Iterator<Item = (usize, f64)>| {
            costs.min_by(|a, b| a.1.total_cmp(&b.1))
        };
        // For each begin of the print the best begin of the garment, and for each end likewise.
        let leads: Vec<Option<(usize, f64)>> = (0..=here)
            .map(|from| {
                best(
                    &mut (0..=from)
                        .filter_map(|lead| Some((lead, off[lead] + margin(lead, from)?))),
                )
            })
            .collect();
        let trails: Vec<Option<(usize, f64)>> = (here + 1..=count)
            .map(|to| {
                best(&mut (to..=count).filter_map(|trail| {
                    Some((trail, off[count] - off[trail] + margin(to, trail)?))
                }))
            })
            .collect();
        let mut found: Option<([usize; 4], f64)> = None;
        for (from, lead) in leads.iter().enumerate() {
            for (after, trail) in trails.iter().enumerate() {
                let to = here + 1 + after;
                let (Some(lead), Some(trail)) = (lead, trail) else {
                    continue;
                };
                let thin = self.bins[to - 1].0 - self.bins[from].0 + BIN < SHORTEST_PRINT;
                if thin && to - from > 1 {
                    continue;
                }
                let cost = lead.1 + segment(from, to) + trail.1;
                if found.is_none_or(|found| cost < found.1) {
                    found = Some(([lead.0, from, to, trail.0], cost));
                }
            }
        }
        found
    }
}
