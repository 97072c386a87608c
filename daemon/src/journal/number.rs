//! Numbers that the journal gives out; each stays the same over restarts.

use rusqlite::ToSql;
use rusqlite::types::{FromSql, FromSqlResult, ToSqlOutput, ValueRef};

/// Makes a number that SQLite takes and gives.
macro_rules! numbered {
    ($(#[$meaning:meta])* $name:ident($whole:ty)) => {
        $(#[$meaning])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
        pub struct $name(pub $whole);

        impl ToSql for $name {
            fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
                self.0.to_sql()
            }
        }

        impl FromSql for $name {
            fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
                <$whole>::column_result(value).map($name)
            }
        }
    };
}

numbered! {
    /// A source, by its id.
    SourceNumber(u32)
}
numbered! {
    /// A channel of a source.
    ChannelNumber(u32)
}
numbered! {
    /// Something that a device said in place of a number, such as OPEN.
    WordNumber(u32)
}
numbered! {
    /// A commit: 1 is the first, and each is greater than the one before.
    CommitNumber(u64)
}
numbered! {
    /// A record of evidence: 1 is the first, each is one more.
    RecordNumber(u64)
}
numbered! {
    /// Something that a way out has set aside.
    AsideNumber(u64)
}
numbered! {
    /// A stretch of packed readings: 1 is the first, each is one more.
    StretchNumber(u64)
}
