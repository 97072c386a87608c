//! The shop file that a report rests on: the shop's name, time zone and units, and what each channel meant.

use inkdwell_config::shop::Shop;

use super::When;
use crate::journal::{KeptShop, ReadError, Reader, RecordNumber};
use crate::record::sha256_of;
use crate::time::Micros;
use crate::wall::WallTimes;

/// A shop file that was read.
#[derive(Debug, Clone)]
pub struct ShopFile {
    /// What it declares.
    pub shop: Shop,
    /// SHA-256 of its text, in hexadecimal.
    pub sha256: String,
    /// Its record, where it comes from the journal.
    pub record: Option<u64>,
}

impl ShopFile {
    /// One that somebody has named.
    pub fn named(shop: Shop) -> ShopFile {
        ShopFile {
            sha256: sha256_of(shop.text.as_bytes()),
            shop,
            record: None,
        }
    }

    fn kept(kept: KeptShop) -> ShopFile {
        // It was sound when the daemon took it; what a later version would refuse of it is left out.
        let shop = Shop::parse("journal", &kept.declared.text).value;
        ShopFile {
            shop,
            sha256: kept.declared.sha256,
            record: Some(kept.record.0),
        }
    }

    /// The last one that the journal holds; `None` where it holds none, since the daemon that began it kept none.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn newest(reader: &Reader) -> Result<Option<ShopFile>, ReadError> {
        let newest = reader.shop_as_of(Micros(i64::MAX), reader.head()?.number)?;
        Ok(newest.map(ShopFile::kept))
    }

    /// The one that held when a time ended, from the journal.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn held(reader: &Reader, when: &When) -> Result<Option<ShopFile>, ReadError> {
        let (walls, head) = (WallTimes::of(reader)?, reader.head()?);
        ShopFile::held_as_of(reader, when, &walls, head.number)
    }

    /// The same, as the records stood at one of them.
    pub(super) fn held_as_of(
        reader: &Reader,
        when: &When,
        walls: &WallTimes,
        as_of: RecordNumber,
    ) -> Result<Option<ShopFile>, ReadError> {
        let Some(newest) = reader.shop_as_of(Micros(i64::MAX), as_of)? else {
            return Ok(None);
        };
        let newest = ShopFile::kept(newest);
        let before = match when {
            When::Always => return Ok(Some(newest)),
            When::Batch(batch) => {
                let kept = reader.batch_as_of(*batch, as_of)?;
                let closed = kept.and_then(|kept| kept.closed);
                closed.map_or(Micros(i64::MAX), |(at, _)| at)
            }
            // A shop that has moved to another time zone since: its days then began by the one before.
            _ => {
                let stretch = when.stretch(newest.shop.timezone);
                stretch.map_or(Micros(i64::MAX), |own| own.steady(walls).1)
            }
        };
        let held = reader.shop_as_of(before, as_of)?;
        Ok(held.map(ShopFile::kept))
    }
}
