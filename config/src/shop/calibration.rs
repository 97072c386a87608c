//! The calibration of a probe.

use crate::quantity::{Celsius, CelsiusDifference};
use crate::reading::Node;

/// A calibration of a probe.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibration {
    /// Pairs of what the probe showed and what it should have shown, rising.
    pub points: Vec<(Celsius, Celsius)>,
    /// The expanded uncertainty (k = 2) of the calibration.
    pub uncertainty: Option<CelsiusDifference>,
    /// The day it was made, as YYYY-MM-DD.
    pub date: chrono::NaiveDate,
    /// Who made it.
    pub by: String,
    /// The day by which it has to be made again.
    pub due: Option<chrono::NaiveDate>,
}

impl Calibration {
    pub(super) fn read(node: &Node<'_>) -> Option<Calibration> {
        let table = node.table()?;
        let points = table
            .required("points", "[[\"100 C\", \"101.2 C\"]]")
            .and_then(|node| read_points(&node));
        let uncertainty = table
            .optional("uncertainty")
            .and_then(|node| read_uncertainty(&node));
        let date = table
            .required("date", "\"2026-01-31\"")
            .and_then(|node| node.day());
        let by = table
            .required("by", "\"who made it\"")
            .and_then(|node| node.words());
        let due_node = table.optional("due");
        let due = due_node.as_ref().and_then(Node::day);
        table.finish();
        if let (Some(date), Some(due), Some(node)) = (date, due, due_node)
            && due <= date
        {
            node.report(
                format!("{} is not after the day of the calibration", node.written()),
                "write the day by which it has to be made again",
            );
        }
        Some(Calibration {
            points: points?,
            uncertainty,
            date: date?,
            by: by?,
            due,
        })
    }
}

/// An expanded uncertainty (k = 2); zero is allowed.
pub(super) fn read_uncertainty(node: &Node<'_>) -> Option<CelsiusDifference> {
    let uncertainty: CelsiusDifference = node.quantity()?;
    if uncertainty.0 < 0.0 {
        node.report(
            "an uncertainty is not negative",
            "write for example \"1.5 C\"",
        );
        return None;
    }
    Some(uncertainty)
}

fn read_points(node: &Node<'_>) -> Option<Vec<(Celsius, Celsius)>> {
    let elements = node.elements()?;
    if elements.is_empty() {
        node.report(
            "names no point",
            "add at least one, [\"100 C\", \"101.2 C\"]",
        );
        return None;
    }
    let points: Vec<Option<(Celsius, Celsius)>> = elements.iter().map(read_point).collect();
    let points = points.into_iter().collect::<Option<Vec<_>>>()?;
    let mut sound = true;
    for (pair, element) in points.windows(2).zip(&elements[1..]) {
        if let [before, point] = pair
            && (point.0 <= before.0 || point.1 <= before.1)
        {
            element.report(
                format!("{} is not above the point before it", element.written()),
                "write the points rising, in what was shown and in what was true",
            );
            sound = false;
        }
    }
    sound.then_some(points)
}

fn read_point(node: &Node<'_>) -> Option<(Celsius, Celsius)> {
    let pair = node.elements()?;
    let [shown, real] = pair.as_slice() else {
        node.report(
            "a point is what the probe showed and what was true",
            "write [\"100 C\", \"101.2 C\"]",
        );
        return None;
    };
    let (shown, real) = (shown.quantity(), real.quantity());
    Some((shown?, real?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::testing::{each_is_named, sound};

    const CALIBRATED: &str = r#"
[[probe]]
id = "hand"
place = "room"
uncertainty = "0 C"

[probe.calibration]
points = [["100 C", "101.2 C"], ["320 F", "323.6 F"]]
uncertainty = "0.9 F"
date = "2026-02-02"
by = "the shop"
due = 2027-02-02
"#;

    fn day(year: i32) -> chrono::NaiveDate {
        chrono::NaiveDate::from_ymd_opt(year, 2, 2).unwrap()
    }

    /// 323.6 F is 162 C; 0.9 F is half a kelvin. A day may be in quotes or TOML's own.
    #[test]
    fn a_calibration_is_read_with_all_its_keys() {
        let probe = sound(CALIBRATED).probes[0].clone();
        assert_eq!(probe.uncertainty, Some(CelsiusDifference(0.0)));
        let expected = Calibration {
            points: [(100.0, 101.2), (160.0, 162.0)]
                .map(|(shown, real)| (Celsius(shown), Celsius(real)))
                .to_vec(),
            uncertainty: Some(CelsiusDifference(0.5)),
            date: day(2026),
            by: "the shop".to_owned(),
            due: Some(day(2027)),
        };
        assert_eq!(probe.calibration, Some(expected));
    }

    #[test]
    fn what_cannot_be_is_named() {
        let points = "[[\"100 C\", \"101.2 C\"], [\"320 F\", \"323.6 F\"]]";
        let backwards = "[[\"100 C\", \"101.2 C\"], [\"99 C\", \"102 C\"]]";
        each_is_named(
            CALIBRATED,
            &[
                (
                    points,
                    backwards,
                    "probe[0].calibration.points[1]: [\"99 C\", \"102 C\"] is not above the point before it",
                ),
                (points, "[]", "probe[0].calibration.points: names no point"),
                (
                    points,
                    "[[\"100 C\"]]",
                    "probe[0].calibration.points[0]: a point is what the probe showed",
                ),
                (
                    "\"0.9 F\"",
                    "\"-1 C\"",
                    "probe[0].calibration.uncertainty: an uncertainty is not negative",
                ),
                (
                    "\"2026-02-02\"",
                    "\"2.2.2026\"",
                    "probe[0].calibration.date: \"2.2.2026\" is no day; write it as",
                ),
                (
                    "\"2026-02-02\"",
                    "\"2026-02-30\"",
                    "probe[0].calibration.date: \"2026-02-30\" is no day",
                ),
                (
                    "2027-02-02",
                    "2026-02-01",
                    "probe[0].calibration.due: 2026-02-01 is not after",
                ),
                (
                    "by = \"the shop\"",
                    "by = \"\"",
                    "probe[0].calibration.by: is empty",
                ),
            ],
        );
    }
}
