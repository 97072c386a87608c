//! Shop files.

use rusqlite::{OptionalExtension, params};

use super::super::fault::ReadError;
use super::super::number::RecordNumber;
use super::super::reader::Reader;
use super::odd;
use super::passes::body;
use crate::record::{Record, ShopDeclared};
use crate::time::Micros;

/// A shop file that held.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptShop {
    /// What it says.
    pub declared: ShopDeclared,
    /// Its record.
    pub record: RecordNumber,
    /// From when on it held.
    pub at: Micros,
}

impl Reader {
    /// The shop file that held last before a moment, or, where none is known from so early, the first one after, as
    /// the records stood at one of them. `None` where the journal holds none: it was begun by a version that kept none.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn shop_as_of(
        &self,
        before: Micros,
        as_of: RecordNumber,
    ) -> Result<Option<KeptShop>, ReadError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT record.number, record.at, record.body FROM record
             WHERE record.number = coalesce(
                (SELECT record FROM shop_file WHERE at < ?1 AND record <= ?2
                 ORDER BY at DESC, record DESC LIMIT 1),
                (SELECT record FROM shop_file WHERE record <= ?2 ORDER BY at, record LIMIT 1))",
        )?;
        let row = statement.query_row(params![before.0, as_of], |row| {
            let number: RecordNumber = row.get(0)?;
            Ok((number, row.get(1)?, body(row, 2, number)))
        });
        let Some((number, at, record)) = row.optional()? else {
            return Ok(None);
        };
        let Record::ShopDeclared(declared) = record? else {
            return Err(odd(number));
        };
        Ok(Some(KeptShop {
            declared,
            record: number,
            at: Micros(at),
        }))
    }

    /// How many shop files held at some time between two, the second excluded, as the records stood at one of them.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn shops_between(
        &self,
        from: Micros,
        before: Micros,
        as_of: RecordNumber,
    ) -> Result<u64, ReadError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT (SELECT count(*) FROM shop_file WHERE at >= ?1 AND at < ?2 AND record <= ?3)
                  + EXISTS (SELECT 1 FROM shop_file WHERE at < ?1 AND record <= ?3)",
        )?;
        Ok(statement.query_row(params![from.0, before.0, as_of], |row| row.get(0))?)
    }
}
