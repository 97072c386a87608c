//! Where a sink reads the journal: in a thread that may wait, with a reader that is kept.

use std::collections::BTreeSet;

use super::compose::{Composer, Letter};
use crate::api::view::Clock;
use crate::journal::{AsideNumber, ReadError, Reader, Readers, RecordNumber};
use crate::time::Micros;
use crate::wall::WallTimes;

/// Records that are read at once.
const AT_ONCE: u64 = 256;

/// What a blocking thread needs to read; it goes there and comes back.
pub(super) struct Desk {
    reader: Option<Reader>,
    walls: Option<WallTimes>,
    composer: Composer,
}

/// What is to be read.
#[derive(Debug)]
pub(super) struct Wanted {
    pub(super) sink: String,
    pub(super) after: RecordNumber,
    /// Records younger than this wait still.
    pub(super) horizon: Option<Micros>,
    /// What was set aside and is asked for again is wanted too, but for what is settled of it already.
    pub(super) again: Option<BTreeSet<AsideNumber>>,
}

/// What was read.
#[derive(Debug)]
pub(super) struct Fetched {
    pub(super) letters: Vec<Letter>,
    /// The last record that was read for them.
    pub(super) read: RecordNumber,
    /// Whether what is asked for again was looked for.
    pub(super) looked_again: bool,
    /// What is to be sent once more.
    pub(super) again: Vec<Letter>,
    /// What was asked for once more, and this sink sends no such thing any more.
    pub(super) needless: Vec<AsideNumber>,
}

impl Desk {
    pub(super) fn new(composer: Composer) -> Desk {
        Desk {
            reader: None,
            walls: None,
            composer,
        }
    }

    /// Reads letters.
    pub(super) fn fetch(
        &mut self,
        readers: &Readers,
        zone: chrono_tz::Tz,
        wanted: &Wanted,
    ) -> Result<Fetched, String> {
        self.look(readers, zone, |reader, clock, composer| {
            fetch(reader, clock, composer, wanted)
        })
    }

    /// Asks the journal.
    pub(super) fn look<T>(
        &mut self,
        readers: &Readers,
        zone: chrono_tz::Tz,
        question: impl Fn(&Reader, &Clock, &mut Composer) -> Result<T, ReadError>,
    ) -> Result<T, String> {
        let reader = match self.reader.take() {
            Some(reader) => reader,
            None => readers.reader().map_err(|error| error.to_string())?,
        };
        let said = |error: ReadError| error.to_string();
        let walls = match self.walls.take() {
            Some(mut walls) => walls.follow(&reader).map(|()| walls).map_err(said)?,
            None => WallTimes::of(&reader).map_err(said)?,
        };
        let clock = Clock { walls, zone };
        let answer = question(&reader, &clock, &mut self.composer).map_err(said);
        self.walls = Some(clock.walls);
        self.reader = Some(reader);
        answer
    }
}

fn fetch(
    reader: &Reader,
    clock: &Clock,
    composer: &mut Composer,
    wanted: &Wanted,
) -> Result<Fetched, ReadError> {
    let mut fetched = Fetched {
        letters: Vec::new(),
        read: wanted.after,
        looked_again: wanted.again.is_some(),
        again: Vec::new(),
        needless: Vec::new(),
    };
    if let Some(settled) = &wanted.again {
        once_more(reader, clock, composer, &wanted.sink, settled, &mut fetched)?;
    }
    for record in reader.records_after(wanted.after, AT_ONCE)? {
        if wanted
            .horizon
            .is_some_and(|horizon| record.kept.at > horizon)
        {
            break;
        }
        fetched.read = record.kept.number;
        let letter = composer.letter(reader, clock, &record)?;
        fetched.letters.extend(letter);
    }
    Ok(fetched)
}

fn once_more(
    reader: &Reader,
    clock: &Clock,
    composer: &mut Composer,
    sink: &str,
    settled: &BTreeSet<AsideNumber>,
    fetched: &mut Fetched,
) -> Result<(), ReadError> {
    let asked = reader.asked_again(sink, true, AT_ONCE + settled.len() as u64)?;
    let open = asked.iter().filter(|own| !settled.contains(&own.number));
    for aside in open {
        let letter = match aside.record {
            Some(number) => {
                let before = RecordNumber(number.0.saturating_sub(1));
                let found = reader.records_after(before, 1)?;
                let record = found.first().filter(|own| own.kept.number == number);
                record
                    .map(|record| composer.letter(reader, clock, record))
                    .transpose()?
                    .flatten()
            }
            None => None,
        };
        match letter {
            Some(letter) => fetched.again.push(Letter {
                aside: Some(aside.number),
                ..letter
            }),
            None => fetched.needless.push(aside.number),
        }
    }
    Ok(())
}
