//! What a record changes in the tables that are made from the records.

use rusqlite::{Connection, params};

use super::fault::CommitError;
use super::number::RecordNumber;
use crate::record::{
    BatchOpened, HoldJoined, HoldOpened, Occurrence, PassAssigned, PassJudged, RecipeLocked, Record,
};
use crate::time::Micros;

/// Where a record goes.
struct Into<'a> {
    connection: &'a Connection,
    record: RecordNumber,
    at: Micros,
}

/// Writes what a record says into the projections.
///
/// # Errors
/// When it contradicts what is there: a number that is taken, or something that is not there.
pub(super) fn apply(
    connection: &Connection,
    number: RecordNumber,
    at: Micros,
    record: &Record,
) -> Result<(), CommitError> {
    let into = Into {
        connection,
        record: number,
        at,
    };
    let done = match record {
        Record::PassJudged(pass) => into.pass_judged(pass),
        Record::PassAssigned(pass) => into.pass_assigned(pass),
        Record::BatchOpened(batch) => into.batch_opened(batch),
        Record::BatchClosed(closed) => into.change(
            "UPDATE batch SET closed = ?1 WHERE number = ?2 AND closed IS NULL",
            closed.batch,
            "no such batch is open",
        ),
        Record::BatchNoted(note) => into.change(
            "INSERT INTO batch_note (record, batch) SELECT ?1, number FROM batch WHERE number = ?2",
            note.batch,
            "there is no such batch",
        ),
        // It stands in the records alone; only its batch has to be there.
        Record::SignedOff(test) => into.exactly_one(
            "UPDATE batch SET number = number WHERE number = ?1",
            params![test.batch],
            test.batch,
            "there is no such batch",
        ),
        Record::HoldOpened(hold) => into.hold_opened(hold),
        Record::HoldJoined(joined) => into.hold_joined(joined),
        Record::HoldSettled(settled) => into.change(
            "UPDATE hold SET settled = ?1 WHERE number = ?2 AND settled IS NULL",
            settled.hold,
            "no such hold is open",
        ),
        Record::RecipeLocked(recipe) => into.recipe_locked(recipe),
        Record::RecipeRetired(retired) => into.change(
            "UPDATE recipe SET retired = ?1 WHERE number = ?2 AND retired IS NULL",
            retired.recipe,
            "no such recipe is in force",
        ),
        Record::Calibrated(calibrated) => into.once(
            "INSERT INTO calibration (record, probe) VALUES (?1, ?2)",
            params![number, calibrated.probe],
        ),
        Record::Occurred(occurred) => into.once(
            "INSERT INTO event (record, at, station, what) VALUES (?1, ?2, ?3, ?4)",
            params![number, at.0, occurred.station, word(&occurred.what)],
        ),
        Record::ShopDeclared(declared) => into.once(
            "INSERT INTO shop_file (record, at, sha256) VALUES (?1, ?2, ?3)",
            params![number, at.0, declared.sha256],
        ),
        Record::AlarmChanged(changed) => into.once(
            "INSERT INTO alarm (id, record, state, station) VALUES (?1, ?2, ?3, ?4)
             ON CONFLICT (id) DO UPDATE SET record = ?2, state = ?3, station = ?4",
            params![changed.alarm, number, changed.state.name(), changed.station],
        ),
    };
    done.map_err(|wrong| match wrong {
        Wrong::Contradiction(why) => CommitError::Contradiction {
            kind: record.kind(),
            why,
        },
        Wrong::Sql(error) => CommitError::from(error),
    })
}

/// The word of an occurrence, as its JSON has it.
fn word(what: &Occurrence) -> Option<String> {
    let json = serde_json::to_value(what).ok()?;
    json.get("event")?.as_str().map(str::to_owned)
}

enum Wrong {
    Contradiction(String),
    Sql(rusqlite::Error),
}

impl From<rusqlite::Error> for Wrong {
    fn from(error: rusqlite::Error) -> Wrong {
        match error.sqlite_error_code() {
            Some(rusqlite::ErrorCode::ConstraintViolation) => {
                Wrong::Contradiction(format!("its number is taken ({error})"))
            }
            _ => Wrong::Sql(error),
        }
    }
}

impl Into<'_> {
    fn once(&self, sql: &str, values: impl rusqlite::Params) -> Result<(), Wrong> {
        self.connection.prepare_cached(sql)?.execute(values)?;
        Ok(())
    }

    /// Changes exactly one row: the record is `?1`, the number `?2`.
    fn change(&self, sql: &str, number: u64, otherwise: &str) -> Result<(), Wrong> {
        self.exactly_one(sql, params![self.record, number], number, otherwise)
    }

    fn exactly_one(
        &self,
        sql: &str,
        values: impl rusqlite::Params,
        number: u64,
        otherwise: &str,
    ) -> Result<(), Wrong> {
        match self.connection.prepare_cached(sql)?.execute(values)? {
            1 => Ok(()),
            _ => Err(Wrong::Contradiction(format!("{otherwise}: {number}"))),
        }
    }

    fn pass_judged(&self, pass: &PassJudged) -> Result<(), Wrong> {
        let judged = pass.judged.as_ref();
        self.once(
            "INSERT INTO pass (number, record, start_at, station, batch, verdict, harm)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
            params![
                pass.pass,
                self.record,
                pass.start.0,
                pass.station,
                pass.batch,
                judged.map(|judged| &judged.verdict),
                judged.and_then(|judged| judged.harm.as_ref()),
            ],
        )
    }

    fn pass_assigned(&self, pass: &PassAssigned) -> Result<(), Wrong> {
        let values = params![
            self.record,
            pass.pass,
            pass.batch,
            pass.judged.verdict,
            pass.judged.harm,
        ];
        let sql = "UPDATE pass SET assigned = ?1, batch = ?3, verdict = ?4, harm = ?5
                   WHERE number = ?2";
        self.exactly_one(sql, values, pass.pass, "there is no such pass")
    }

    fn batch_opened(&self, batch: &BatchOpened) -> Result<(), Wrong> {
        self.once(
            "INSERT INTO batch (number, record, station, opened) VALUES (?1, ?2, ?3, ?4)",
            params![batch.batch, self.record, batch.station, self.at.0],
        )
    }

    fn hold_opened(&self, hold: &HoldOpened) -> Result<(), Wrong> {
        self.once(
            "INSERT INTO hold (number, record, station, batch, opened)
             VALUES (?1, ?2, ?3, ?4, ?5)",
            params![hold.hold, self.record, hold.station, hold.batch, self.at.0],
        )
    }

    fn hold_joined(&self, joined: &HoldJoined) -> Result<(), Wrong> {
        let sql = "INSERT INTO hold_member (hold, pass, record)
                   SELECT number, ?3, ?1 FROM hold WHERE number = ?2";
        let values = params![self.record, joined.hold, joined.pass];
        self.exactly_one(sql, values, joined.hold, "there is no such hold")
    }

    fn recipe_locked(&self, recipe: &RecipeLocked) -> Result<(), Wrong> {
        self.once(
            "INSERT INTO recipe (number, record, station, ink, fabric)
             VALUES (?1, ?2, ?3, ?4, ?5)",
            params![
                recipe.recipe,
                self.record,
                recipe.station,
                recipe.ink,
                recipe.fabric
            ],
        )
    }
}
