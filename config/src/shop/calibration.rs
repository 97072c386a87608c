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
