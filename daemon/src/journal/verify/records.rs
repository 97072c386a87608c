//! The chain of records.

use rusqlite::{Connection, Row, params};

use super::super::chain::{Hash, Head, record_hash};
use super::super::number::RecordNumber;
use super::{Broken, Verification, Watch};
use crate::time::Micros;

/// A record as it lies there.
struct Lying {
    number: u64,
    at: Micros,
    body: String,
    hash: Option<Hash>,
}

impl Lying {
    fn of(row: &Row<'_>) -> rusqlite::Result<Lying> {
        Ok(Lying {
            number: row.get(0)?,
            at: Micros(row.get(1)?),
            body: row.get(2)?,
            hash: Hash::of_column(row.get_ref(3)?.as_blob()?),
        })
    }

    /// Whether it is what was once written with this number behind that hash.
    fn belongs(&self, before: Hash, number: u64) -> bool {
        self.hash
            == Some(record_hash(
                before,
                RecordNumber(number),
                self.at,
                &self.body,
            ))
    }
}

/// Goes over the chain to its first broken link.
pub(super) fn go_over(
    connection: &Connection,
    expected: Option<Head>,
    found: &mut Verification,
    watch: &mut Watch<'_>,
) -> rusqlite::Result<Option<Broken>> {
    let mut records =
        connection.prepare("SELECT number, at, body, hash FROM record ORDER BY number")?;
    let mut rows = records.query([])?;
    let (mut number, mut before) = (0, Hash::default());
    let mut met = expected.is_none_or(|expected| expected == Head::default());
    while let Some(row) = rows.next()? {
        let lying = Lying::of(row)?;
        number += 1;
        if number > found.head.number.0 {
            let (record, at) = (lying.number, lying.at);
            return Ok(Some(Broken::Added { record, at }));
        }
        if lying.number != number {
            let (first, last) = (number, lying.number - 1);
            return Ok(Some(Broken::Missing { first, last }));
        }
        match lying.hash {
            Some(hash) if lying.belongs(before, number) => before = hash,
            _ => return diagnose(connection, before, &lying, found.head).map(Some),
        }
        met |= expected.is_some_and(|head| head.number.0 == number && head.hash == before);
        found.records = number;
        watch.done(1);
    }
    if number < found.head.number.0 {
        let (first, last) = (number + 1, found.head.number.0);
        return Ok(Some(Broken::CutOff { first, last }));
    }
    if before != found.head.hash {
        return Ok(Some(Broken::OtherEnd { record: number }));
    }
    Ok(match expected {
        Some(expected) if !met => Some(Broken::OtherHead { expected }),
        _ => None,
    })
}

/// What has happened to a record that does not follow from the one before.
fn diagnose(
    connection: &Connection,
    before: Hash,
    lying: &Lying,
    head: Head,
) -> rusqlite::Result<Broken> {
    let (record, at) = (lying.number, lying.at);
    let mut later = connection
        .prepare("SELECT number, at, body, hash FROM record WHERE number > ?1 ORDER BY number")?;
    let mut rows = later.query(params![record])?;
    let mut next = None;
    while let Some(row) = rows.next()? {
        let other = Lying::of(row)?;
        if other.belongs(before, record) {
            let is_next = other.number == record + 1;
            let swapped = other
                .hash
                .is_some_and(|hash| lying.belongs(hash, record + 1));
            return Ok(match is_next && !swapped {
                true => Broken::Inserted { record, at },
                false => Broken::Reordered {
                    record,
                    at,
                    belongs: other.number,
                },
            });
        }
        next.get_or_insert(other);
    }
    // Behind a record that was taken out, each still follows from the one before with its number of then.
    let closed_up = match (&next, lying.hash) {
        (_, None) => false,
        (Some(next), Some(hash)) => next.belongs(hash, record + 2),
        (None, Some(hash)) => hash == head.hash && head.number.0 == record + 1,
    };
    Ok(match closed_up {
        true => Broken::ClosedUp { record, at },
        false => Broken::Changed { record, at },
    })
}
