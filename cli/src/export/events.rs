//! Events: every record of the chain but the passes, which have a table of their own.

use inkdwell_daemon::api::view::sentence;
use inkdwell_daemon::journal::RecordQuery;
use inkdwell_daemon::record::Record;
use inkdwell_daemon::table::{Cell, Column, Kind, column};

use super::Wanted;
use super::table::Rows;
use crate::failure::Failure;

/// The columns.
pub(crate) const COLUMNS: [Column; 7] = [
    column("record", Kind::Whole, "its number in the chain"),
    column(
        "at",
        Kind::Moment,
        "when it was made, as the clock on the wall showed it, UTC",
    ),
    column(
        "steady_us",
        Kind::Whole,
        "the same in the daemon's steady time, microseconds since 1970",
    ),
    column("kind", Kind::Text, "what kind of record"),
    column("station", Kind::Text, "the station of an event"),
    column("sentence", Kind::Text, "an event in words"),
    column("body", Kind::Text, "the record as JSON"),
];

/// Gives every record in the order of time.
pub(crate) fn rows(
    wanted: &Wanted<'_>,
    rows: &mut impl Rows,
    each: &mut impl FnMut(),
) -> Result<(), Failure> {
    let (from, before) = wanted.steady();
    let query = RecordQuery {
        from,
        before,
        kinds: Vec::new(),
    };
    for kept in wanted.reader.records(query) {
        let kept = kept.map_err(|error| Failure::new(error.to_string()))?;
        each();
        if matches!(kept.record, Record::PassJudged(_)) || !wanted.holds(kept.at) {
            continue;
        }
        let body = serde_json::to_string(&kept.record)
            .map_err(|error| Failure::new(format!("record {}: {error}", kept.number.0)))?;
        let (station, told) = match &kept.record {
            Record::Occurred(event) => (event.station.clone(), Some(sentence(&event.what))),
            _ => (None, None),
        };
        rows.row(vec![
            Cell::count(kept.number.0),
            Cell::Moment(wanted.walls.shown(kept.at).0),
            Cell::Whole(kept.at.0),
            Cell::Text(kept.record.kind().to_owned()),
            Cell::text(station),
            Cell::text(told),
            Cell::Text(body),
        ])?;
    }
    Ok(())
}
