//! Verdicts in a figure: a shape and a colour for each, above their passes.
//!
//! The colours are those of Okabe and Ito, which colour-blind people tell apart; no two kinds of
//! verdict share a shape.

use std::fmt::Write;

use inkdwell_cure::judged::Verdict;

use super::lettering::{text, width};
use super::panel::Mark;

/// Half the size of a shape.
const SIZE: f64 = 6.0;
/// What is narrower cannot be seen by itself.
const NARROW: f64 = 0.3;

/// The colour of a verdict.
pub(super) fn colour(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Cured | Verdict::Gelled => "#009E73",
        Verdict::UnderCured | Verdict::UnderFlashed => "#0072B2",
        Verdict::Overheated | Verdict::OverFlashed => "#D55E00",
        Verdict::Unproven => "#E69F00",
    }
}

/// A verdict's shape: round for what is good, a point down for too little heat, a point up for too
/// much, standing on its corner and hollow for what is not proved.
pub(super) fn shape(svg: &mut String, (x, y): (f64, f64), verdict: Verdict) {
    let points = |points: &[(f64, f64)]| {
        let points: Vec<String> = points
            .iter()
            .map(|(dx, dy)| format!("{:.1},{:.1}", x + dx * SIZE, y + dy * SIZE))
            .collect();
        format!("<polygon points=\"{}\"", points.join(" "))
    };
    let form = match verdict {
        Verdict::Cured | Verdict::Gelled => {
            format!(
                "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{:.1}\"",
                SIZE * 0.9
            )
        }
        Verdict::UnderCured | Verdict::UnderFlashed => {
            points(&[(-1.0, -0.8), (1.0, -0.8), (0.0, 1.0)])
        }
        Verdict::Overheated | Verdict::OverFlashed => {
            points(&[(-1.0, 0.8), (1.0, 0.8), (0.0, -1.0)])
        }
        Verdict::Unproven => points(&[(-1.0, 0.0), (0.0, -1.1), (1.0, 0.0), (0.0, 1.1)]),
    };
    let colour = colour(verdict);
    let (fill, stroke, breadth) = match verdict {
        Verdict::Unproven => ("#ffffff", colour, 2.0),
        _ => (colour, "#222222", 0.8),
    };
    let _ = writeln!(
        svg,
        "{form} fill=\"{fill}\" stroke=\"{stroke}\" stroke-width=\"{breadth}\"/>"
    );
}

/// Where a pass lies in a figure, or several that cannot be told apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Place {
    pub(super) from: f64,
    pub(super) to: f64,
    /// The numbers of its first and its last pass.
    pub(super) numbers: (u64, u64),
    pub(super) verdict: Verdict,
}

/// Passes side by side that cannot be told apart, as one; the rest as they are.
pub(super) fn merged(marks: &[Mark], x: impl Fn(f64) -> f64) -> Vec<Place> {
    let mut places: Vec<Place> = Vec::new();
    for mark in marks {
        let (from, to) = (x(mark.start), x(mark.end));
        let narrow = to - from < NARROW;
        match places.last_mut() {
            Some(last) if narrow && last.verdict == mark.verdict && from - last.to < NARROW => {
                last.to = to;
                last.numbers.1 = mark.index;
            }
            _ => places.push(Place {
                from,
                to,
                numbers: (mark.index, mark.index),
                verdict: mark.verdict,
            }),
        }
    }
    places
}

/// Shapes with their numbers in a row at height `y` between `left` and `right`, as many as there is
/// room for: first those of prints that are not proved good.
pub(super) fn row(svg: &mut String, places: &[Place], y: f64, (left, right): (f64, f64)) {
    let mut order: Vec<&Place> = places.iter().collect();
    order.sort_by_key(|place| place.verdict.is_good());
    let mut taken: Vec<(f64, f64)> = Vec::new();
    for place in order {
        let number = match place.numbers {
            (first, last) if first == last => first.to_string(),
            (first, last) => format!("{first}–{last}"),
        };
        let words = 3.0 + width(&number, 12.0);
        let centre = 0.5 * (place.from + place.to) - 0.5 * words;
        let from = (centre - SIZE).clamp(left, (right - words - 2.0 * SIZE).max(left));
        let to = from + 2.0 * SIZE + words;
        if taken.iter().any(|(a, b)| from < b + 4.0 && to > a - 4.0) {
            continue;
        }
        taken.push((from, to));
        shape(svg, (from + SIZE, y), place.verdict);
        let at = (from + 2.0 * SIZE + 3.0, y + 4.5);
        text(svg, at, "start", "font-weight=\"bold\"", &number);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn marks(count: u32) -> Vec<Mark> {
        let mark = |number: u32| Mark {
            start: f64::from(number) * 10.0,
            end: f64::from(number) * 10.0 + 5.0,
            index: u64::from(number) + 1,
            verdict: if number == 777 {
                Verdict::UnderCured
            } else {
                Verdict::Cured
            },
        };
        (0..count).map(mark).collect()
    }

    #[test]
    fn a_bad_print_among_a_thousand_keeps_its_shape_and_number() {
        let places = merged(&marks(1000), |time| time * 0.07);
        let mut svg = String::new();
        row(&mut svg, &places, 20.0, (0.0, 700.0));
        assert!(svg.contains(">778<"), "{svg}");
        assert!(svg.matches("<circle").count() < 40);
    }

    #[test]
    fn what_cannot_be_told_apart_is_drawn_once() {
        assert_eq!(merged(&marks(1000), |time| time * 0.01).len(), 3);
        assert_eq!(merged(&marks(10), |time| time).len(), 10);
        // Passes that touch, but are wide enough to be seen.
        let touching: Vec<Mark> = marks(10)
            .into_iter()
            .map(|mark| Mark {
                end: mark.start + 10.0,
                ..mark
            })
            .collect();
        assert_eq!(merged(&touching, |time| time).len(), 10);
    }
}
