//! The tables, and how a journal of an earlier version becomes one of this.

use rusqlite::Connection;

/// Marks the file as a journal of this program: "Inkd".
pub(super) const APPLICATION: i32 = 0x496e_6b64;

/// The steps from one version to the next; the number of a version is the number of steps behind it. A step
/// that has been released is never changed.
const STEPS: &[&str] = &[
    concat!(
        include_str!("schema/readings.sql"),
        include_str!("schema/evidence.sql"),
        include_str!("schema/projections.sql"),
    ),
    include_str!("schema/alarms.sql"),
    include_str!("schema/outbox.sql"),
    include_str!("schema/again.sql"),
    include_str!("schema/shop.sql"),
];

/// The tables that are made from the records of evidence, on their own.
pub(super) const PROJECTIONS: &str = concat!(
    include_str!("schema/projections.sql"),
    include_str!("schema/alarms.sql"),
    include_str!("schema/shop.sql"),
);

/// The version that this program writes.
pub(super) fn version() -> i32 {
    i32::try_from(STEPS.len()).unwrap_or(i32::MAX)
}

/// What a file says that it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// A new file.
    Empty,
    /// A journal of this version or another.
    Journal(i32),
    /// Another program's file.
    Foreign,
}

pub(super) fn kind(connection: &Connection) -> rusqlite::Result<Kind> {
    let pragma = |name| connection.pragma_query_value(None, name, |row| row.get::<_, i32>(0));
    let (application, version) = (pragma("application_id")?, pragma("user_version")?);
    let sql = "SELECT count(*) FROM sqlite_schema";
    let tables: u64 = connection.query_row(sql, [], |row| row.get(0))?;
    Ok(match (application, version, tables) {
        (APPLICATION, version, _) => Kind::Journal(version),
        (0, 0, 0) => Kind::Empty,
        _ => Kind::Foreign,
    })
}

/// Takes a journal from one version to this program's; each step happens wholly or not at all.
pub(super) fn migrate(connection: &mut Connection, from: i32) -> rusqlite::Result<()> {
    let done = usize::try_from(from).unwrap_or(0);
    for (step, to) in STEPS.iter().zip(1..).skip(done) {
        let transaction = connection.transaction()?;
        transaction.execute_batch(step)?;
        transaction.pragma_update(None, "application_id", APPLICATION)?;
        transaction.pragma_update(None, "user_version", to)?;
        transaction.commit()?;
    }
    Ok(())
}
