//! Sources, channels and words by number, so that a reading need not repeat them.

use std::collections::HashMap;

use rusqlite::{Connection, params};

use super::number::{ChannelNumber, SourceNumber, WordNumber};

/// No journal needs more words. A broken device can say something else with every line; what it says beyond
/// this is kept as [`OTHER`].
const MOST_WORDS: usize = 10_000;
/// Longer words are cut.
const LONGEST_WORD: usize = 32;
/// Stands for every word beyond the most.
pub const OTHER: &str = "(something else)";

/// The numbers given out, and those that no commit has written yet.
#[derive(Debug, Default)]
pub(super) struct Names {
    sources: HashMap<String, SourceNumber>,
    channels: HashMap<(SourceNumber, String), ChannelNumber>,
    words: HashMap<String, WordNumber>,
    unwritten: Vec<Name>,
}

#[derive(Debug)]
enum Name {
    Source(SourceNumber, String),
    Channel(ChannelNumber, SourceNumber, String),
    Word(WordNumber, String),
}

impl Names {
    /// Those that are in the journal.
    pub(super) fn read(connection: &Connection) -> rusqlite::Result<Names> {
        let mut names = Names::default();
        let mut sources = connection.prepare("SELECT number, id FROM source")?;
        for row in sources.query_map([], |row| Ok((row.get(1)?, row.get(0)?)))? {
            let (id, number) = row?;
            names.sources.insert(id, number);
        }
        let mut channels = connection.prepare("SELECT number, source, name FROM channel")?;
        for row in channels.query_map([], |row| Ok(((row.get(1)?, row.get(2)?), row.get(0)?)))? {
            let (name, number) = row?;
            names.channels.insert(name, number);
        }
        let mut words = connection.prepare("SELECT number, word FROM word")?;
        for row in words.query_map([], |row| Ok((row.get(1)?, row.get(0)?)))? {
            let (word, number) = row?;
            names.words.insert(word, number);
        }
        Ok(names)
    }

    pub(super) fn source(&mut self, id: &str) -> SourceNumber {
        if let Some(number) = self.sources.get(id) {
            return *number;
        }
        let number = SourceNumber(next(self.sources.values().map(|number| number.0)));
        self.sources.insert(id.to_owned(), number);
        self.unwritten.push(Name::Source(number, id.to_owned()));
        number
    }

    pub(super) fn channel(&mut self, source_id: &str, channel: &str) -> ChannelNumber {
        let source = self.source(source_id);
        let name = (source, channel.to_owned());
        if let Some(number) = self.channels.get(&name) {
            return *number;
        }
        let number = ChannelNumber(next(self.channels.values().map(|number| number.0)));
        self.unwritten
            .push(Name::Channel(number, source, channel.to_owned()));
        self.channels.insert(name, number);
        number
    }

    pub(super) fn word(&mut self, word: &str) -> WordNumber {
        let end = word.char_indices().nth(LONGEST_WORD);
        let cut = end.map_or(word, |(end, _)| &word[..end]);
        if let Some(number) = self.words.get(cut) {
            return *number;
        }
        if self.words.len() >= MOST_WORDS && cut != OTHER {
            return self.word(OTHER);
        }
        let number = WordNumber(next(self.words.values().map(|number| number.0)));
        self.words.insert(cut.to_owned(), number);
        self.unwritten.push(Name::Word(number, cut.to_owned()));
        number
    }

    /// Writes what is not written yet. It stays unwritten until [`Names::written`] says that the commit
    /// has happened.
    pub(super) fn write(&self, connection: &Connection) -> rusqlite::Result<()> {
        for name in &self.unwritten {
            match name {
                Name::Source(number, id) => connection
                    .prepare_cached("INSERT INTO source (number, id) VALUES (?1, ?2)")?
                    .execute(params![number, id])?,
                Name::Channel(number, source, name) => connection
                    .prepare_cached(
                        "INSERT INTO channel (number, source, name) VALUES (?1, ?2, ?3)",
                    )?
                    .execute(params![number, source, name])?,
                Name::Word(number, word) => connection
                    .prepare_cached("INSERT INTO word (number, word) VALUES (?1, ?2)")?
                    .execute(params![number, word])?,
            };
        }
        Ok(())
    }

    /// The commit has happened.
    pub(super) fn written(&mut self) {
        self.unwritten.clear();
    }
}

fn next(taken: impl Iterator<Item = u32>) -> u32 {
    taken.max().unwrap_or(0) + 1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn endless_words_do_not_fill_the_journal() {
        let mut names = Names::default();
        let open = names.word("OPEN");
        for count in 0..2 * MOST_WORDS {
            names.word(&format!("garble {count}"));
        }
        assert_eq!(names.word("OPEN"), open);
        assert_eq!(names.word("never seen"), names.word(OTHER));
        assert!(names.words.len() <= MOST_WORDS + 1);
    }

    #[test]
    fn long_words_are_cut_between_letters() {
        let mut names = Names::default();
        let long = "ö".repeat(40);
        assert_eq!(names.word(&long), names.word(&"ö".repeat(32)));
    }
}
