//! Whether the tables that are made from the records say what the records say: they are made once more, in
//! a place of their own, and compared.

use rusqlite::types::Value;
use rusqlite::{Connection, Row, Rows};

use super::super::fault::{CommitError, ReadError};
use super::super::number::RecordNumber;
use super::super::project;
use super::super::schema::PROJECTIONS;
use super::{Broken, Watch};
use crate::record::Record;
use crate::time::Micros;

pub(super) fn go_over(
    connection: &Connection,
    watch: &mut Watch<'_>,
) -> Result<Option<Broken>, ReadError> {
    let anew = place()?;
    if let Some(broken) = make(connection, &anew, watch)? {
        return Ok(Some(broken));
    }
    let mut names = anew.prepare("SELECT name FROM sqlite_schema WHERE type = 'table'")?;
    let tables: Vec<String> = names
        .query_map([], |row| row.get(0))?
        .collect::<Result<_, _>>()?;
    for table in tables {
        if let Some(broken) = compare(connection, &anew, &table)? {
            return Ok(Some(broken));
        }
    }
    Ok(None)
}

/// An empty place: a temporary file of SQLite's own, which is gone when it is dropped.
fn place() -> rusqlite::Result<Connection> {
    let anew = Connection::open("")?;
    anew.pragma_update(None, "synchronous", "OFF")?;
    anew.set_prepared_statement_cache_capacity(32);
    let tables = PROJECTIONS
        .split_inclusive(';')
        .filter(|statement| statement.contains("CREATE TABLE"));
    for table in tables {
        anew.execute_batch(table)?;
    }
    Ok(anew)
}

fn make(
    connection: &Connection,
    anew: &Connection,
    watch: &mut Watch<'_>,
) -> Result<Option<Broken>, ReadError> {
    anew.execute_batch("BEGIN")?;
    let mut records =
        connection.prepare("SELECT number, at, body, kind FROM record ORDER BY number")?;
    let mut rows = records.query([])?;
    while let Some(row) = rows.next()? {
        let number: RecordNumber = row.get(0)?;
        let body = row.get_ref(2)?.as_str().map_err(rusqlite::Error::from)?;
        let wrong = |what: String| {
            let table = "record".to_owned();
            let what = format!("record {}: {what}", number.0);
            Ok(Some(Broken::Table { table, what }))
        };
        let record: Record = match serde_json::from_str(body) {
            Ok(record) => record,
            Err(error) => return wrong(format!("it cannot be understood ({error})")),
        };
        if row.get_ref(3)?.as_str().map_err(rusqlite::Error::from)? != record.kind() {
            return wrong("it is listed under another kind".to_owned());
        }
        match project::apply(anew, number, Micros(row.get(1)?), &record) {
            Ok(()) => {}
            Err(CommitError::Storage(error)) => return Err(error.into()),
            Err(error) => return wrong(error.to_string()),
        }
        watch.done(2);
    }
    anew.execute_batch("COMMIT")?;
    Ok(None)
}

fn compare(
    connection: &Connection,
    anew: &Connection,
    table: &str,
) -> Result<Option<Broken>, ReadError> {
    let sql = format!("SELECT * FROM {table} ORDER BY 1, 2");
    let (mut kept, mut made) = (connection.prepare(&sql)?, anew.prepare(&sql)?);
    let columns = kept.column_count();
    let (mut kept, mut made) = (kept.query([])?, made.query([])?);
    loop {
        let (kept, made) = (next(&mut kept, columns)?, next(&mut made, columns)?);
        let what = match (&kept, &made) {
            (None, None) => return Ok(None),
            (Some(kept), Some(made)) if kept == made => continue,
            (Some(kept), Some(made)) if kept[0] == made[0] => {
                format!("row {} differs", named(kept))
            }
            (Some(kept), Some(made)) => {
                format!(
                    "row {} stands where row {} should",
                    named(kept),
                    named(made)
                )
            }
            (Some(kept), None) => format!("row {} is one too many", named(kept)),
            (None, Some(made)) => format!("row {} is missing", named(made)),
        };
        let table = table.to_owned();
        return Ok(Some(Broken::Table { table, what }));
    }
}

fn next(rows: &mut Rows<'_>, columns: usize) -> rusqlite::Result<Option<Vec<Value>>> {
    let values = |row: &Row<'_>| (0..columns).map(|column| row.get(column)).collect();
    rows.next()?.map(values).transpose()
}

fn named(row: &[Value]) -> String {
    match row.first() {
        Some(Value::Integer(number)) => number.to_string(),
        _ => "?".to_owned(),
    }
}
