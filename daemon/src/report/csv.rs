//! A report's prints as lines of a table, each column with its unit in its name.

use super::{Batch, Print, Report};

use crate::table::{Cell, Column, Kind, column, csv_head, csv_line};

/// The columns.
pub const COLUMNS: [Column; 29] = [
    column("batch", Kind::Whole, "the batch"),
    column("job", Kind::Text, "its job"),
    column("station", Kind::Text, "the station's id"),
    column("ink", Kind::Text, "the ink's id"),
    column("fabric", Kind::Text, "the fabric's id"),
    column("pass", Kind::Whole, "its number in the journal"),
    column("print", Kind::Whole, "its number in the batch"),
    column(
        "record",
        Kind::Whole,
        "the record of its verdict in the chain",
    ),
    column(
        "at",
        Kind::Text,
        "when it went into the heat, as the clock on the wall showed it",
    ),
    column(
        "steady_s",
        Kind::Number,
        "the same in the daemon's steady time, seconds since 1970",
    ),
    column(
        "place",
        Kind::Text,
        "how it was seen: ride, exit, flash, count",
    ),
    column("evidence", Kind::Text, "measured, inferred, none"),
    column("verdict", Kind::Text, "the verdict"),
    column("harm", Kind::Text, "the worst harm, where it is overheated"),
    column("peak_c", Kind::Number, "hottest good sample, °C"),
    column(
        "time_above_s",
        Kind::Number,
        "time at or above the ink's threshold, s",
    ),
    column(
        "uncertainty_c",
        Kind::Number,
        "largest expanded uncertainty (k = 2), °C",
    ),
    column("cure_low", Kind::Number, "cure dose at T - U; 1 is enough"),
    column("cure_best", Kind::Number, "cure dose at T"),
    column("cure_high", Kind::Number, "cure dose at T + U"),
    column(
        "worst_harm",
        Kind::Text,
        "the harm with the largest dose at T + U",
    ),
    column(
        "worst_harm_low",
        Kind::Number,
        "its dose at T - U; 1 is the limit",
    ),
    column("worst_harm_best", Kind::Number, "its dose at T"),
    column("worst_harm_high", Kind::Number, "its dose at T + U"),
    column("belt_m_per_min", Kind::Number, "the belt's speed, m/min"),
    column("faults", Kind::Whole, "bad samples"),
    column("gaps", Kind::Whole, "gaps"),
    column("holds", Kind::Text, "the holds that it is in"),
    column("reasons", Kind::Text, "why it is no better"),
];

/// Every print, a line each, under a line of the columns' names (RFC 4180).
pub fn prints(report: &Report) -> String {
    let mut text = csv_head(&COLUMNS);
    for batch in &report.batches {
        for print in &batch.prints {
            text += &csv_line(row(batch, print));
        }
    }
    text
}

fn row(batch: &Batch, print: &Print) -> Vec<Cell> {
    let worst = print
        .harms
        .iter()
        .max_by(|a, b| a.dose.high.total_cmp(&b.dose.high));
    let place = serde_json::to_value(print.place).unwrap_or_default();
    let holds: Vec<String> = print.holds.iter().map(u64::to_string).collect();
    vec![
        Cell::count(batch.batch),
        typed(&batch.job),
        typed(&batch.station),
        typed(&batch.ink.id),
        typed(&batch.fabric.id),
        Cell::count(print.pass),
        Cell::some_count(print.print),
        Cell::count(print.record),
        Cell::Text(print.at.at.clone()),
        Cell::Number(print.at.steady_s),
        Cell::text(place.as_str()),
        Cell::Text(print.evidence.clone()),
        Cell::Text(print.verdict.clone()),
        Cell::text(print.harm.clone()),
        Cell::number(print.peak_c),
        Cell::number(print.time_above_s),
        Cell::number(print.uncertainty_c),
        Cell::number(print.cure.map(|dose| dose.low)),
        Cell::number(print.cure.map(|dose| dose.best)),
        Cell::number(print.cure.map(|dose| dose.high)),
        Cell::text(worst.map(|own| own.harm.clone())),
        Cell::number(worst.map(|own| own.dose.low)),
        Cell::number(worst.map(|own| own.dose.best)),
        Cell::number(worst.map(|own| own.dose.high)),
        Cell::number(print.belt_m_per_min),
        Cell::count(print.faults),
        Cell::count(print.gaps),
        Cell::Text(holds.join(" ")),
        typed(&print.reasons.join(" ")),
    ]
}

/// What people typed. Where a spreadsheet would take it for a formula it is led by an apostrophe.
fn typed(text: &str) -> Cell {
    Cell::Text(match text.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        true => format!("'{text}"),
        false => text.to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_that_was_typed_is_a_formula() {
        let text = |text: &str| Cell::Text(text.to_owned());
        assert_eq!(typed("Night market"), text("Night market"));
        assert_eq!(typed("=cmd()"), text("'=cmd()"));
    }
}
