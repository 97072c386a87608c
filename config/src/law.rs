//! Laws as they are declared: how long a temperature has to last, for curing or for harm.

use crate::quantity::{Celsius, Seconds};
use crate::reading::{Node, TableReader};

/// A time-temperature law. Cure and harm use the same two kinds.
///
/// A value of this type is valid: what is declared was checked when it was read.
#[derive(Debug, Clone, PartialEq)]
pub enum Law {
    /// Enough is `duration` at or above `at`.
    Hold {
        /// The temperature that counts.
        at: Celsius,
        /// How long it has to last; more than zero.
        duration: Seconds,
    },
    /// Enough is `t` seconds at `T`, for each point `(T, t)`; between two points ln t is linear in
    /// 1/T with T in kelvin. At least two points, rising in T and falling in t.
    Equivalents {
        /// The points in rising order of temperature.
        points: Vec<(Celsius, Seconds)>,
    },
}

#[derive(Clone, Copy)]
enum Kind {
    Hold,
    Equivalents,
}

impl Law {
    /// The coolest temperature that counts, and how long it may last or has to.
    pub fn coolest(&self) -> (Celsius, Seconds) {
        match self {
            Law::Hold { at, duration } => (*at, *duration),
            Law::Equivalents { points } => points[0],
        }
    }

    /// Reads the keys `law`, `at`, `for` and `points` of a table.
    pub(crate) fn read(table: &TableReader<'_>) -> Option<Law> {
        let kinds = [("hold", Kind::Hold), ("equivalents", Kind::Equivalents)];
        let kind = table
            .required("law", "\"hold\" or \"equivalents\"")?
            .choice(&kinds)?;
        match kind {
            Kind::Hold => {
                let at = table
                    .required("at", "\"160 C\"")
                    .and_then(|node| node.quantity());
                let duration = table.required("for", "\"5 s\"").and_then(|node| {
                    let duration: Seconds = node.quantity()?;
                    if duration.0 <= 0.0 {
                        node.report("a law needs some time", "write for example \"5 s\"");
                        return None;
                    }
                    Some(duration)
                });
                Some(Law::Hold {
                    at: at?,
                    duration: duration?,
                })
            }
            Kind::Equivalents => {
                let example = "[[\"150 C\", \"180 s\"], [\"160 C\", \"90 s\"]]";
                let points = read_points(&table.required("points", example)?)?;
                Some(Law::Equivalents { points })
            }
        }
    }
}

fn read_points(node: &Node<'_>) -> Option<Vec<(Celsius, Seconds)>> {
    let elements = node.elements()?;
    let read: Vec<Option<(Celsius, Seconds)>> = elements.iter().map(read_point).collect();
    let mut sound = true;
    for number in 1..read.len() {
        if let (Some(before), Some(point)) = (read[number - 1], read[number]) {
            sound &= rises(&elements[number], before, point);
        }
    }
    if elements.len() < 2 {
        node.report(
            "a law of equivalents needs two points or more",
            "add a hotter, shorter point",
        );
        return None;
    }
    let points = read.into_iter().collect::<Option<Vec<_>>>()?;
    sound.then_some(points)
}

fn read_point(node: &Node<'_>) -> Option<(Celsius, Seconds)> {
    let parts = node.elements()?;
    let [temperature, time] = parts.as_slice() else {
        node.report(
            "a point is a temperature and a time",
            "write [\"160 C\", \"90 s\"]",
        );
        return None;
    };
    let (celsius, seconds) = (
        temperature.quantity::<Celsius>(),
        time.quantity::<Seconds>(),
    );
    let (celsius, seconds) = (celsius?, seconds?);
    if seconds.0 <= 0.0 {
        time.report("a point needs some time", "write for example \"90 s\"");
        return None;
    }
    Some((celsius, seconds))
}

/// Whether a point lies hotter and shorter than the one before; says so where it does not.
fn rises(node: &Node<'_>, before: (Celsius, Seconds), point: (Celsius, Seconds)) -> bool {
    let hotter = point.0.0 > before.0.0;
    let shorter = point.1.0 < before.1.0;
    if !hotter {
        node.report(
            format!(
                "{:.1} C is not hotter than the {:.1} C before it",
                point.0.0, before.0.0
            ),
            "write the points from the coolest to the hottest",
        );
    } else if !shorter {
        node.report(
            format!(
                "{} s is not shorter than the {} s before it",
                point.1.0, before.1.0
            ),
            "a hotter point needs less time",
        );
    }
    hotter && shorter
}
