//! Passes: every print's trip through the heat, with its figures and its verdict.

use inkdwell_daemon::journal::{KeptPass, PassQuery};
use inkdwell_daemon::table::{Cell, Column, Kind, column};

use super::Wanted;
use super::table::Rows;
use crate::failure::Failure;

/// The columns.
pub(crate) const COLUMNS: [Column; 40] = [
    column("pass", Kind::Whole, "its number in this journal"),
    column(
        "record",
        Kind::Whole,
        "the record of its verdict in the chain",
    ),
    column("batch", Kind::Whole, "the batch"),
    column("print", Kind::Whole, "its number in the batch"),
    column("station", Kind::Text, "the station's id"),
    column("probe", Kind::Text, "the probe that saw it"),
    column(
        "place",
        Kind::Text,
        "how it was seen: ride, exit, flash, count",
    ),
    column(
        "start",
        Kind::Moment,
        "when it began, as the clock on the wall showed it, UTC",
    ),
    column(
        "start_steady_us",
        Kind::Whole,
        "the same in the daemon's steady time, microseconds since 1970",
    ),
    column(
        "end_steady_us",
        Kind::Whole,
        "when it ended, in the steady time",
    ),
    column("belt_m_per_min", Kind::Number, "the belt's speed, m/min"),
    column("evidence", Kind::Text, "measured, inferred, none"),
    column("verdict", Kind::Text, "the verdict; empty without a batch"),
    column("harm", Kind::Text, "the worst harm, where it is overheated"),
    column("cut", Kind::Truth, "whether it was seen only in part"),
    column("samples", Kind::Whole, "good samples"),
    column("faults", Kind::Whole, "bad samples"),
    column("gaps", Kind::Whole, "gaps"),
    column("peak_c", Kind::Number, "hottest good sample, °C"),
    column(
        "threshold_c",
        Kind::Number,
        "where time above counts from, °C",
    ),
    column("time_above_s", Kind::Number, "time at or above it, s"),
    column("max_rise_c_per_s", Kind::Number, "steepest rise, °C/s"),
    column(
        "uncertainty_c",
        Kind::Number,
        "largest expanded uncertainty (k = 2), °C",
    ),
    column("cure_low", Kind::Number, "cure dose at T - U; 1 is enough"),
    column("cure_best", Kind::Number, "cure dose at T"),
    column("cure_high", Kind::Number, "cure dose at T + U"),
    column(
        "scorch_low",
        Kind::Number,
        "harm dose at T - U; 1 is the limit",
    ),
    column("scorch_best", Kind::Number, "harm dose at T"),
    column("scorch_high", Kind::Number, "harm dose at T + U"),
    column(
        "dye_migration_low",
        Kind::Number,
        "harm dose at T - U; 1 is the limit",
    ),
    column("dye_migration_best", Kind::Number, "harm dose at T"),
    column("dye_migration_high", Kind::Number, "harm dose at T + U"),
    column(
        "shrinkage_low",
        Kind::Number,
        "harm dose at T - U; 1 is the limit",
    ),
    column("shrinkage_best", Kind::Number, "harm dose at T"),
    column("shrinkage_high", Kind::Number, "harm dose at T + U"),
    column(
        "melt_low",
        Kind::Number,
        "harm dose at T - U; 1 is the limit",
    ),
    column("melt_best", Kind::Number, "harm dose at T"),
    column("melt_high", Kind::Number, "harm dose at T + U"),
    column(
        "assigned",
        Kind::Truth,
        "whether it was given its batch afterwards",
    ),
    column("reasons", Kind::Text, "why it is no better"),
];

/// The harms in the order of their columns.
const HARMS: [&str; 4] = ["scorch", "dye-migration", "shrinkage", "melt"];

/// Gives every pass in the order in which they began.
pub(crate) fn rows(
    wanted: &Wanted<'_>,
    rows: &mut impl Rows,
    each: &mut impl FnMut(),
) -> Result<(), Failure> {
    let failed = |error: inkdwell_daemon::journal::ReadError| Failure::new(error.to_string());
    let (from, before) = wanted.steady();
    let query = PassQuery {
        from: Some(from),
        before: Some(before),
        ..PassQuery::default()
    };
    let head = wanted.reader.head().map_err(failed)?;
    let mut written = Ok(());
    let gone_over = wanted.reader.each_pass_as_of(&query, head.number, |kept| {
        each();
        if written.is_ok() && wanted.holds(kept.pass.start) {
            written = rows.row(row(wanted, kept));
        }
    });
    gone_over.map_err(failed)?;
    written
}

fn row(wanted: &Wanted<'_>, kept: KeptPass) -> Vec<Cell> {
    let pass = kept.pass;
    let judged = pass.judged.as_ref();
    let seen = judged.filter(|judged| judged.evidence != "none");
    let number =
        |figure: fn(&inkdwell_daemon::record::Judged) -> f64| Cell::number(seen.map(figure));
    let place = serde_json::to_value(pass.place).unwrap_or_default();
    let record = kept.assigned.unwrap_or(kept.record);
    let mut cells = vec![
        Cell::count(pass.pass),
        Cell::count(record.0),
        Cell::some_count(pass.batch),
        Cell::some_count(pass.print.filter(|print| *print > 0)),
        Cell::Text(pass.station.clone()),
        Cell::text(pass.probe.clone()),
        Cell::text(place.as_str()),
        Cell::Moment(wanted.walls.shown(pass.start).0),
        Cell::Whole(pass.start.0),
        Cell::Whole(pass.end.0),
        Cell::number(pass.belt_m_per_min),
        Cell::text(judged.map(|judged| judged.evidence.clone())),
        Cell::text(judged.map(|judged| judged.verdict.clone())),
        Cell::text(judged.and_then(|judged| judged.harm.clone())),
        seen.map_or(Cell::None, |judged| Cell::Truth(judged.cut)),
        Cell::some_count(seen.map(|judged| judged.samples)),
        Cell::some_count(seen.map(|judged| judged.faults)),
        Cell::some_count(seen.map(|judged| judged.gaps)),
        number(|judged| judged.peak_c),
        number(|judged| judged.threshold_c),
        number(|judged| judged.time_above_s),
        number(|judged| judged.max_rise_c_per_s),
        number(|judged| judged.uncertainty_c),
    ];
    let cure = seen.and_then(|judged| judged.cure);
    let harm = |name: &str| {
        let harms = seen.map(|judged| judged.harms.iter());
        let own = harms.and_then(|mut harms| harms.find(|harm| harm.harm == name));
        own.map(|harm| harm.dose)
    };
    for dose in [cure].into_iter().chain(HARMS.map(harm)) {
        cells.push(Cell::number(dose.map(|dose| dose.low)));
        cells.push(Cell::number(dose.map(|dose| dose.best)));
        cells.push(Cell::number(dose.map(|dose| dose.high)));
    }
    cells.push(Cell::Truth(kept.assigned.is_some()));
    cells.push(Cell::text(judged.map(|judged| judged.reasons.join(" "))));
    cells
}
