//! What an object of a batch looks like to an exit probe: learned from the one that the reference was
//! ridden with.
//!
//! Along the belt there is belt, the garment's leading margin, its print, its trailing margin, and belt
//! again. Each is nearly even, so the trace is explained by five levels with four edges between them:
//! those edges are taken at which the squares of what is left over are least. A margin that is left out
//! costs nothing, one that is there must explain more than noise would.

use super::bins::{BIN, Bins};
use super::trace::ExitTrace;

/// What an object of the batch looks like; ways are metres from the print's place (that in it at which the
/// reference's junction lay), positive for what passes the probe later.
#[derive(Debug, Clone, PartialEq)]
pub struct Template {
    /// Where the garment begins.
    pub lead: f64,
    /// Where the print begins.
    pub print_from: f64,
    /// Where the print ends.
    pub print_to: f64,
    /// Where the garment ends.
    pub trail: f64,
    /// By how much each part was warmer than the belt: leading margin, print, trailing margin, in °C.
    pub over_belt: [f64; 3],
    /// The belt's own temperature at the probe, in °C.
    pub belt: f64,
    /// Diameter of what the probe sees, in metres.
    pub spot: f64,
    /// What the print itself showed at its place, in °C.
    pub print: f64,
    /// What its margins showed, where they were told apart from print and belt, in °C.
    pub margin: Option<f64>,
    /// The print itself is read about here, its place or what of the print is nearest to it and clear of its
    /// edges, …
    pub read_at: f64,
    /// … so far to either side, in metres.
    pub half_window: f64,
}

/// Why an object cannot be learned.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum TemplateError {
    /// No sample of what passed when the ridden print did.
    #[error("the exit probe has no good sample of the time at which the ridden print passed it")]
    NotSeen,
    /// Nothing departs from the belt.
    #[error("nothing that differs from the belt passed the exit probe when the ridden print did")]
    NothingPassed,
}

/// The trace is looked at so far to either side of the print's place, in metres.
const REACH: f64 = 1.3;
/// Margins are at least so many times as long as the spot, which blurs every edge.
const SHORTEST_MARGIN: f64 = 1.4;
/// Levels closer than this are one, in °C, and what departs from the belt by less is no object.
const SAME_LEVEL: f64 = 2.0;
const LEAST_DEPARTURE: f64 = 0.8;
/// What is even is so within this, in °C, however quiet the probe.
const UNEVEN: f64 = 0.5;
/// When the ridden print passed is known so well, in metres of belt; the print is looked for so far away.
const PLACED: f64 = 0.05;
const PLACES: [f64; 5] = [0.0, -0.05, 0.05, -0.1, 0.1];
/// A print is read no further from its place, in metres, …
const WIDEST_WINDOW: f64 = 0.06;
/// … and no nearer to its edge.
const FROM_EDGE: f64 = 0.01;

impl Template {
    /// Learns an object from the trace of the reference. `place` is the belt's way when the place of the
    /// junction passed the probe, `spot` the diameter of what the probe sees, `pitch` how far prints follow
    /// each other where that is known, all in metres.
    ///
    /// # Errors
    /// Where nothing passed, or nothing was seen of it.
    pub fn learn(
        trace: &ExitTrace,
        place: f64,
        spot: f64,
        pitch: Option<f64>,
    ) -> Result<Template, TemplateError> {
        let reach = pitch.map_or(REACH, |pitch| REACH.min(pitch - 0.5 * spot).max(0.3));
        let belt = belt_about(trace, place).ok_or(TemplateError::NotSeen)?;
        let bins = Bins::new(trace, place, reach);
        let deviation = UNEVEN.max(trace.noise());
        let (edges, _) = PLACES
            .into_iter()
            .filter_map(|off| {
                let here = bins.at(off)?;
                let found = bins.edges(here, belt, (deviation, SHORTEST_MARGIN * spot))?;
                Some((found.0, found.1 + (off / PLACED).powi(2)))
            })
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .ok_or(TemplateError::NotSeen)?;
        let [lead, print_from, print_to, trail] = edges.map(|edge| bins.way(edge));
        let level = |from: usize, to: usize| bins.mean(from, to);
        let own = level(edges[1], edges[2]).ok_or(TemplateError::NotSeen)?;
        let margins = [
            level(edges[0], edges[1]).unwrap_or(own),
            level(edges[2], edges[3]).unwrap_or(own),
        ];
        let over_belt = [margins[0] - belt, own - belt, margins[1] - belt];
        if over_belt.iter().all(|over| over.abs() < LEAST_DEPARTURE) {
            return Err(TemplateError::NothingPassed);
        }
        let clear = 0.5 * spot + FROM_EDGE;
        let half_window = (0.5 * (print_to - print_from) - clear).clamp(0.5 * BIN, WIDEST_WINDOW);
        let (earliest, latest) = (
            print_from + clear + half_window,
            print_to - clear - half_window,
        );
        let read_at = if earliest < latest {
            f64::clamp(0.0, earliest, latest)
        } else {
            0.5 * (print_from + print_to)
        };
        let mut template = Template {
            lead,
            print_from,
            print_to,
            trail,
            over_belt,
            belt,
            spot,
            print: own,
            margin: None,
            read_at,
            half_window,
        };
        template.print = template
            .read_print(trace, place)
            .map_or(own, |reading| reading.0);
        template.margin = template
            .read_margin(trace, place, spot)
            .map(|reading| reading.0)
            .filter(|margin| (margin - template.print).abs() >= SAME_LEVEL);
        Ok(template)
    }

    /// Length of the garment along the belt, in metres.
    pub fn length(&self) -> f64 {
        self.trail - self.lead
    }

    /// From where to where on the belt it lies whose place is at a way, in metres.
    pub(super) fn about(&self, place: f64) -> (f64, f64) {
        (place + self.lead, place + self.trail)
    }

    /// How far its parts departed from the belt at most, in °C.
    pub fn departure(&self) -> f64 {
        let departures = self.over_belt.iter().map(|over| over.abs());
        departures.fold(0.0, f64::max)
    }

    /// What a probe shows of the print itself, its place at a way of the belt, with the standard deviation
    /// of noise, in °C. Where samples are so sparse that none falls on the place, all of the print's own
    /// part stands in.
    pub fn read_print(&self, trace: &ExitTrace, place: f64) -> Option<(f64, f64)> {
        let middle = place + self.read_at;
        let near = trace.mean_on(middle - self.half_window, middle + self.half_window);
        near.or_else(|| {
            let (from, to) = (self.print_from + FROM_EDGE, self.print_to - FROM_EDGE);
            (to > from)
                .then(|| trace.mean_on(place + from, place + to))
                .flatten()
        })
    }

    /// What all of the print's own part shows at a place, clear of its edges by half a spot, in °C.
    pub(super) fn level(&self, trace: &ExitTrace, place: f64) -> Option<f64> {
        let (from, to) = (place + self.print_from, place + self.print_to);
        self.clear_of(trace, from, to)
    }

    /// What is shown between objects at two places, in °C.
    pub(super) fn level_between(&self, trace: &ExitTrace, place: f64, next: f64) -> Option<f64> {
        self.clear_of(trace, place + self.trail, next + self.lead)
    }

    /// The mean from one edge to another, clear of both by half a spot.
    fn clear_of(&self, trace: &ExitTrace, from: f64, to: f64) -> Option<f64> {
        let clear = 0.5 * self.spot + FROM_EDGE;
        let (from, to) = (from + clear, to - clear);
        let mean = (to > from).then(|| trace.mean_on(from, to))?;
        mean.map(|mean| mean.0)
    }

    /// What it shows of the margins, each clear of its edges by half a spot.
    pub fn read_margin(&self, trace: &ExitTrace, place: f64, spot: f64) -> Option<(f64, f64)> {
        let clear = 0.5 * spot + FROM_EDGE;
        let parts = [(self.lead, self.print_from), (self.print_to, self.trail)];
        let read: Vec<(f64, f64)> = parts
            .into_iter()
            .filter(|(from, to)| to - from > 2.0 * clear)
            .filter_map(|(from, to)| trace.mean_on(place + from + clear, place + to - clear))
            .collect();
        let count = read.len() as f64;
        (!read.is_empty()).then(|| {
            let mean = read.iter().map(|part| part.0).sum::<f64>() / count;
            let noise = read.iter().map(|part| part.1 * part.1).sum::<f64>().sqrt() / count;
            (mean, noise)
        })
    }
}

/// The belt's own temperature: the median of what was seen well away from the object.
fn belt_about(trace: &ExitTrace, place: f64) -> Option<f64> {
    let away = |least: f64| -> Vec<f64> {
        let seen = trace.seen().iter();
        seen.filter(|seen| (seen.way - place).abs() > least)
            .map(|seen| seen.celsius)
            .collect()
    };
    let mut levels = away(0.9);
    if levels.is_empty() {
        levels = away(0.45);
    }
    let middle = levels.len() / 2;
    (!levels.is_empty()).then(|| *levels.select_nth_unstable_by(middle, f64::total_cmp).1)
}

#[cfg(test)]
mod tests {
    use super::super::way::Way;
    use super::*;

    /// A garment of 0.62 m with a print of 0.32 m in its middle, seen by a spot of 3 cm, on a belt of 90 °C.
    fn trace(bare: f64, print: f64, speed: f64) -> ExitTrace {
        let readings: Vec<(f64, f64)> = (0..400)
            .map(|number| {
                let time = 0.2 * f64::from(number);
                let from_middle = (time * speed - 2.0).abs();
                let level = match from_middle {
                    away if away < 0.16 => print,
                    away if away < 0.31 => bare,
                    _ => 90.0,
                };
                let wobble = 0.3 * ((time * 977.0).sin() + (time * 1373.0).cos());
                (time, level + wobble)
            })
            .collect();
        ExitTrace::new(&readings, &Way::steady(speed))
    }

    #[test]
    fn the_parts_of_an_object_are_found_whatever_is_warmer() {
        // Geometry: the junction lies 4 cm behind the print's middle.
        for (bare, print) in [(120.0, 145.0), (80.0, 90.2), (90.0, 75.0), (110.0, 91.0)] {
            for speed in [0.03, 0.05, 0.09] {
                let learned =
                    Template::learn(&trace(bare, print, speed), 2.04, 0.03, None).unwrap();
                let expected = if bare == 90.0 {
                    [-0.2, -0.2, 0.12, 0.12]
                } else {
                    [-0.35, -0.2, 0.12, 0.27]
                };
                let found = [
                    learned.lead,
                    learned.print_from,
                    learned.print_to,
                    learned.trail,
                ];
                for (found, expected) in found.iter().zip(expected) {
                    assert!(
                        (found - expected).abs() < 0.02,
                        "{bare} {print} {learned:?}"
                    );
                }
                assert!((learned.print - print).abs() < 0.5, "{learned:?}");
                assert_eq!(learned.margin.is_some(), bare != 90.0);
            }
        }
    }

    #[test]
    fn an_even_belt_shows_no_object() {
        let nothing = Template::learn(&trace(90.0, 90.0, 0.05), 2.0, 0.03, None);
        assert_eq!(nothing, Err(TemplateError::NothingPassed));
        let early = Template::learn(&trace(120.0, 140.0, 0.05), 30.0, 0.03, None);
        assert_eq!(early, Err(TemplateError::NotSeen));
    }
}
