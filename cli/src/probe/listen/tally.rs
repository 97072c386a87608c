//! What was heard since listening began, counted.

use std::collections::{BTreeMap, VecDeque};
use std::time::Duration;

use inkdwell_daemon::intake::Value;

use super::heard::{Heard, Reading};
use super::shown::shown;

/// A rate is over so many of the last readings.
const OVER: usize = 20;
/// So many channels, and so many reasons, are kept apart.
const MOST: usize = 256;

/// One channel.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Channel {
    pub(crate) last: Value,
    pub(crate) unit: Option<String>,
    pub(crate) readings: u64,
    /// When its last readings came.
    times: VecDeque<Duration>,
}

impl Channel {
    /// Readings a second of late; `None` before the second.
    pub(crate) fn rate(&self) -> Option<f64> {
        let (first, last) = (self.times.front()?, self.times.back()?);
        let seconds = last.checked_sub(*first)?.as_secs_f64();
        let intervals = self.times.len().saturating_sub(1);
        (seconds > 0.0 && intervals > 0).then(|| intervals as f64 / seconds)
    }

    /// The last value with its unit, fit to be shown.
    pub(crate) fn shows(&self) -> String {
        told(&self.last, self.unit.as_deref())
    }
}

/// A value with its unit, fit to be shown.
pub(crate) fn told(value: &Value, unit: Option<&str>) -> String {
    match value {
        Value::NoNumber(word) => format!("{:?}", shown(word.as_bytes())),
        Value::Number(number) => match unit {
            Some(unit) => format!("{number} {}", shown(unit.as_bytes())),
            None => number.to_string(),
        },
    }
}

/// Everything counted.
#[derive(Debug, Default)]
pub(crate) struct Tally {
    pub(crate) bytes: u64,
    /// Lines, messages, or questions.
    pub(crate) things: u64,
    pub(crate) readings: u64,
    /// Bytes that no text has.
    pub(crate) noise: u64,
    /// Lines whose beginning nobody heard.
    pub(crate) halves: u64,
    /// Thousands of bytes without a line's end.
    pub(crate) endless: u64,
    /// Why things were not taken, and how often.
    pub(crate) refused: BTreeMap<String, u64>,
    pub(crate) channels: BTreeMap<String, Channel>,
    /// Lost wires and silent devices.
    pub(crate) troubles: u64,
}

impl Tally {
    /// Counts something that was heard so long after the beginning.
    pub(crate) fn count(&mut self, at: Duration, heard: &Heard) {
        self.bytes += heard.bytes() as u64;
        match heard {
            Heard::Half(_) => self.halves += 1,
            Heard::Endless => self.endless += 1,
            Heard::Trouble(_) => self.troubles += 1,
            Heard::Line { noise, .. } => self.noise += *noise as u64,
            _ => {}
        }
        match heard.taken() {
            None => {}
            Some(Ok(readings)) => {
                self.things += 1;
                readings
                    .iter()
                    .for_each(|reading| self.reading(at, reading));
            }
            Some(Err(why)) => {
                self.things += 1;
                let known = self.refused.contains_key(why);
                let why = match known || self.refused.len() < MOST {
                    true => why.clone(),
                    false => "other reasons".to_owned(),
                };
                *self.refused.entry(why).or_default() += 1;
            }
        }
    }

    fn reading(&mut self, at: Duration, reading: &Reading) {
        self.readings += 1;
        let room = self.channels.len() < MOST;
        if !room && !self.channels.contains_key(&reading.channel) {
            return;
        }
        let entry = self.channels.entry(reading.channel.clone());
        let channel = entry.or_insert_with(|| Channel {
            last: reading.value.clone(),
            unit: None,
            readings: 0,
            times: VecDeque::new(),
        });
        channel.last = reading.value.clone();
        if reading.unit.is_some() {
            channel.unit = reading.unit.clone();
        }
        channel.readings += 1;
        if channel.times.len() == OVER {
            channel.times.pop_front();
        }
        channel.times.push_back(at);
    }

    /// What was not taken, in all.
    pub(crate) fn not_taken(&self) -> u64 {
        self.refused.values().sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(taken: Result<&[(&str, f64)], &str>) -> Heard {
        let reading = |(channel, number): &(&str, f64)| Reading {
            channel: (*channel).to_owned(),
            value: Value::Number(*number),
            unit: None,
        };
        Heard::Line {
            raw: b"168.2,95".to_vec(),
            noise: usize::from(taken.is_err()),
            taken: taken
                .map(|readings| readings.iter().map(reading).collect())
                .map_err(str::to_owned),
        }
    }

    /// Eleven readings half a second apart are ten intervals in five seconds: two a second.
    #[test]
    fn rates_are_of_the_last_readings() {
        let mut tally = Tally::default();
        for half in 0..11_u32 {
            let at = Duration::from_millis(500) * half;
            tally.count(at, &line(Ok(&[("film", 168.0)])));
        }
        assert_eq!(tally.channels["film"].rate(), Some(2.0));
        // Then ten a second, for longer than a rate looks back.
        for tenth in 1..=30_u32 {
            let at = Duration::from_secs(5) + Duration::from_millis(100) * tenth;
            tally.count(at, &line(Ok(&[("film", 168.0)])));
        }
        let rate = tally.channels["film"].rate().unwrap();
        assert!((rate - 10.0).abs() < 1e-9, "{rate}");
        assert_eq!((tally.things, tally.readings), (41, 41));
    }

    #[test]
    fn one_reading_has_no_rate() {
        let mut tally = Tally::default();
        tally.count(
            Duration::ZERO,
            &line(Ok(&[("film", 168.0), ("exit", 95.5)])),
        );
        assert_eq!(tally.channels["film"].rate(), None);
        assert_eq!(tally.channels["exit"].shows(), "95.5");
    }

    #[test]
    fn what_is_not_taken_is_counted_by_its_reason_and_no_flood_of_reasons_is_kept() {
        let mut tally = Tally::default();
        for number in 0..2 * MOST {
            tally.count(Duration::ZERO, &line(Err(&format!("reason {number}"))));
        }
        tally.count(Duration::ZERO, &Heard::Half(b"8.2,95".to_vec()));
        assert!(tally.refused.len() <= MOST + 1);
        assert_eq!(tally.not_taken(), 2 * MOST as u64);
        assert_eq!((tally.halves, tally.noise), (1, 2 * MOST as u64));
    }

    #[test]
    fn a_word_is_shown_in_quotes_and_cannot_break_out_of_them() {
        let word = Value::NoNumber("\u{1b}[2J\"OPEN".into());
        assert_eq!(told(&word, Some("C")), "\"<1B>[2J\\\"OPEN\"");
        assert_eq!(told(&Value::Number(168.2), Some("C")), "168.2 C");
    }
}
