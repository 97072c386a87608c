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
    /// The coolest temperature that counts, and how long it may last or has to. (A law without points,
    /// which no file can declare, counts at no temperature.)
    pub fn coolest(&self) -> (Celsius, Seconds) {
        const NEVER: (Celsius, Seconds) = (Celsius(f64::INFINITY), Seconds(f64::INFINITY));
        match self {
            Law::Hold { at, duration } => (*at, *duration),
            Law::Equivalents { points } => points.first().copied().unwrap_or(NEVER),
        }
    }

    /// Reads the keys `law`, `at`, `for` and `points` of a table.
    pub(crate) fn read(table: &TableReader<'_>) -> Option<Law> {
        let kinds = [("hold", Kind::Hold), ("equivalents", Kind::Equivalents)];
        let kind = table
            .required("law", "\"hold\" or \"equivalents\"")
            .and_then(|node| node.choice(&kinds));
        match kind {
            Some(Kind::Hold) => read_hold(table),
            Some(Kind::Equivalents) => {
                let example = "[[\"150 C\", \"180 s\"], [\"160 C\", \"90 s\"]]";
                let points = table.required("points", example);
                let points = points.and_then(|node| read_points(&node))?;
                Some(Law::Equivalents { points })
            }
            None => {
                table.pass_over(&["at", "for", "points"]);
                None
            }
        }
    }
}

fn read_hold(table: &TableReader<'_>) -> Option<Law> {
    let at = table
        .required("at", "\"160 C\"")
        .and_then(|node| node.quantity());
    let duration = table
        .required("for", "\"5 s\"")
        .and_then(|node| node.above_zero());
    Some(Law::Hold {
        at: at?,
        duration: duration?,
    })
}

fn read_points(node: &Node<'_>) -> Option<Vec<(Celsius, Seconds)>> {
    let elements = node.elements()?;
    let read: Vec<Option<(Celsius, Seconds)>> = elements.iter().map(read_point).collect();
    let pairs = read.windows(2).zip(&elements[1.min(elements.len())..]);
    let mut sound = true;
    for (pair, element) in pairs {
        if let [Some(before), Some(point)] = pair {
            sound &= rises(element, *before, *point);
        }
    }
    if elements.len() < 2 {
        node.report(
            "a law of equivalents needs two points or more",
            "add a hotter, shorter point, or use law = \"hold\"",
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
    let (celsius, seconds) = (temperature.quantity(), time.above_zero());
    Some((celsius?, seconds?))
}

/// Whether a point lies hotter and shorter than the one before; says so where it does not.
fn rises(node: &Node<'_>, before: (Celsius, Seconds), point: (Celsius, Seconds)) -> bool {
    let hotter = point.0.0 > before.0.0;
    let shorter = point.1.0 < before.1.0;
    if !hotter {
        node.report(
            format!("{} is not hotter than the point before it", node.written()),
            "write the points from the coolest to the hottest",
        );
    } else if !shorter {
        node.report(
            format!("{} is not shorter than the point before it", node.written()),
            "give the hotter point less time",
        );
    }
    hotter && shorter
}

#[cfg(test)]
mod tests {
    use crate::fabric::Fabric;
    use crate::library::Library;
    use crate::problem::Checked;

    use super::*;

    /// Reads a law as a fabric's only harm.
    fn read(law: &str) -> Checked<Vec<Fabric>> {
        let text = format!(
            "[[fabric]]\nid = \"f\"\nmass = \"180 g/m2\"\nregain = 0.08\nsource = \"test\"\n\
             harms = [ {{ harm = \"scorch\", {law} }} ]\n"
        );
        let checked = Library::parse("x", &text);
        Checked {
            value: checked.value.fabrics().to_vec(),
            problems: checked.problems,
            warnings: checked.warnings,
        }
    }

    fn law(text: &str) -> Law {
        read(text).value[0].harms[0].law.clone()
    }

    /// Key, what is wrong and remedy of every problem.
    fn problems(law: &str) -> Vec<String> {
        let problems = read(law).problems;
        let line = |problem: &crate::problem::Problem| {
            format!("{}: {}; {}", problem.key, problem.what, problem.remedy)
        };
        problems.iter().map(line).collect()
    }

    #[test]
    fn both_kinds_are_read() {
        assert_eq!(
            law("law = \"hold\", at = \"320 F\", for = \"5 s\""),
            Law::Hold {
                at: Celsius(160.0),
                duration: Seconds(5.0)
            }
        );
        let points = "[[\"150 C\", \"3 min\"], [\"160 C\", \"90 s\"], [\"170 C\", \"50 s\"]]";
        let law = law(&format!("law = \"equivalents\", points = {points}"));
        let read = [(150.0, 180.0), (160.0, 90.0), (170.0, 50.0)];
        assert_eq!(
            law,
            Law::Equivalents {
                points: read.map(|(at, time)| (Celsius(at), Seconds(time))).to_vec()
            }
        );
        assert_eq!(law.coolest(), (Celsius(150.0), Seconds(180.0)));
    }

    #[test]
    fn the_offending_point_is_named() {
        let points = |points: &str| problems(&format!("law = \"equivalents\", points = {points}"));
        for (written, offending) in [
            (
                "[[\"160 C\", \"90 s\"], [\"150 C\", \"50 s\"]]",
                "points[1]: [\"150 C\", \"50 s\"] is not hotter",
            ),
            (
                "[[\"160 C\", \"90 s\"], [\"320 F\", \"50 s\"]]",
                "points[1]: [\"320 F\", \"50 s\"] is not hotter",
            ),
            (
                "[[\"150 C\", \"90 s\"], [\"160 C\", \"50 s\"], [\"170 C\", \"50 s\"]]",
                "points[2]: [\"170 C\", \"50 s\"] is not shorter",
            ),
            (
                "[[\"150 C\", \"90 s\"], [\"160 C\"]]",
                "points[1]: a point is a temperature and a time",
            ),
            (
                "[[\"150 C\", \"90 s\"], [160, \"50 s\"]]",
                "points[1][0]: 160 has no unit",
            ),
            (
                "[[\"150 C\", \"90 s\"], [\"160 C\", \"0 s\"]]",
                "points[1][1]: \"0 s\" is not above zero",
            ),
            (
                "[[\"150 C\", \"90 s\"]]",
                "points: a law of equivalents needs two points or more",
            ),
            (
                "[]",
                "points: a law of equivalents needs two points or more",
            ),
            ("\"150 C\"", "points: \"150 C\" is a text; write a list"),
        ] {
            let found = points(written);
            let expected = format!("fabric[0].harms[0].{offending}");
            assert!(found[0].starts_with(&expected), "{written}: {found:?}");
        }
        // Every offending point, not the first alone.
        let found = points("[[\"150 C\", \"90 s\"], [\"140 C\", \"95 s\"], [\"130 C\", \"20 s\"]]");
        assert_eq!(found.len(), 2, "{found:?}");
    }

    #[test]
    fn an_unknown_kind_is_one_problem() {
        let found = problems("law = \"holds\", at = \"160 C\", for = \"5 s\"");
        assert_eq!(
            found,
            ["fabric[0].harms[0].law: \"holds\" is unknown here; did you mean \"hold\"?"]
        );
        let found = problems("at = \"160 C\", for = \"5 s\"");
        assert_eq!(found.len(), 1, "{found:?}");
        assert!(found[0].contains("law: is missing"), "{found:?}");
        let found = problems("law = \"hold\"");
        assert_eq!(found.len(), 2, "{found:?}");
        let found = problems("law = \"hold\", at = \"160 C\", for = \"0 s\"");
        assert!(
            found[0].contains("for: \"0 s\" is not above zero"),
            "{found:?}"
        );
    }

    /// A harm law that begins with less than five minutes deserves a look.
    #[test]
    fn a_harm_that_begins_quickly_is_warned_of() {
        let warnings = |law| read(law).warnings.len();
        assert_eq!(
            warnings(
                "law = \"equivalents\", points = [[\"190 C\", \"299 s\"], [\"204 C\", \"30 s\"]]"
            ),
            1
        );
        assert_eq!(
            warnings(
                "law = \"equivalents\", points = [[\"190 C\", \"5 min\"], [\"204 C\", \"30 s\"]]"
            ),
            0
        );
        assert_eq!(
            warnings("law = \"hold\", at = \"190 C\", for = \"30 s\""),
            1
        );
        assert_eq!(
            warnings("law = \"hold\", at = \"190 C\", for = \"5 min\""),
            0
        );
    }
}
