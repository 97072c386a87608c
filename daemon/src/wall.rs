//! What the clock on the wall showed at a moment of the steady time.
//!
//! The journal tells it: when the daemon starts, its steady time begins where the wall clock stands, and
//! whenever the two part by half a second or more, that is an event. So a time is shown as the people saw it
//! who were there, also before the clock was set.

use chrono::{DateTime, SecondsFormat, TimeZone};

use crate::journal::{ReadError, Reader, RecordNumber, RecordQuery};
use crate::record::{Occurrence, Record};
use crate::time::Micros;

/// From a moment on the wall clock was this far ahead.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Since {
    from: Micros,
    ahead: i64,
}

/// How the wall clock went.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct WallTimes {
    /// Rising.
    steps: Vec<Since>,
    /// The last record that was looked at.
    seen: RecordNumber,
}

impl WallTimes {
    /// As the journal tells it up to now.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn of(reader: &Reader) -> Result<WallTimes, ReadError> {
        let mut times = WallTimes {
            steps: Vec::new(),
            seen: reader.head()?.number,
        };
        let events = RecordQuery {
            kinds: vec!["occurred"],
            ..RecordQuery::default()
        };
        for kept in reader.records(events) {
            let kept = kept?;
            times.note(kept.at, &kept.record);
        }
        Ok(times)
    }

    /// Takes in what the journal has told since.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn follow(&mut self, reader: &Reader) -> Result<(), ReadError> {
        let head = reader.head()?.number;
        while self.seen < head {
            let next = RecordNumber(self.seen.0 + 1);
            let kept = reader.record(next)?;
            self.note(kept.at, &kept.record);
            self.seen = next;
        }
        Ok(())
    }

    /// Takes in one record. What was known before is not noted again.
    fn note(&mut self, at: Micros, record: &Record) {
        let Record::Occurred(occurred) = record else {
            return;
        };
        let ahead = match occurred.what {
            Occurrence::Started { .. } => 0,
            Occurrence::ClockStepped { ahead_us } => ahead_us,
            _ => return,
        };
        let place = self.steps.partition_point(|step| step.from <= at);
        let step = Since { from: at, ahead };
        if place == 0 || self.steps[place - 1] != step {
            self.steps.insert(place, step);
        }
    }

    /// What the wall clock showed then, in microseconds since 1970-01-01 00:00 UTC.
    pub fn shown(&self, at: Micros) -> Micros {
        let after = self.steps.partition_point(|step| step.from <= at);
        let ahead = after
            .checked_sub(1)
            .map_or(0, |last| self.steps[last].ahead);
        Micros(at.0.saturating_add(ahead))
    }

    /// When the wall clock showed this; the last such moment, where it was set back over it.
    pub fn when(&self, shown: Micros) -> Micros {
        let mut steps = self.steps.iter().rev();
        let moment = steps.find_map(|step| {
            let moment = Micros(shown.0.saturating_sub(step.ahead));
            (moment >= step.from).then_some(moment)
        });
        moment.unwrap_or(shown)
    }

    /// By how much the wall clock was ahead of the steady time, at the least and at the most, in microseconds.
    pub fn reach(&self) -> (i64, i64) {
        let ahead = self.steps.iter().map(|step| step.ahead);
        ahead.fold((0, 0), |(least, most), ahead| {
            (least.min(ahead), most.max(ahead))
        })
    }

    /// What the wall clock showed then, as RFC 3339 in a time zone, to the millisecond.
    pub fn written(&self, at: Micros, zone: impl TimeZone) -> String {
        let shown = self.shown(at);
        match DateTime::from_timestamp_micros(shown.0) {
            Some(time) => time
                .with_timezone(&zone)
                .fixed_offset()
                .to_rfc3339_opts(SecondsFormat::Millis, false),
            // More than a quarter of a million years from now.
            None => String::from("+262142-12-31T23:59:59.999+00:00"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::journal::{self, Batch, Settings};
    use crate::record::Occurred;

    const HOUR: i64 = 3_600_000_000;
    /// 2026-03-02 12:00:00 UTC.
    const NOON: i64 = 1_772_452_800_000_000;

    fn occurred(what: Occurrence) -> Record {
        Record::Occurred(Occurred {
            station: None,
            what,
        })
    }

    fn started() -> Record {
        let version = "0.1.0".to_owned();
        occurred(Occurrence::Started { version })
    }

    fn stepped(ahead_us: i64) -> Record {
        occurred(Occurrence::ClockStepped { ahead_us })
    }

    fn after(hours: i64) -> Micros {
        Micros(NOON + hours * HOUR)
    }

    /// Started at noon; at one the clock is set back an hour; at three a new start; at four set two hours
    /// forward.
    fn day() -> WallTimes {
        let mut times = WallTimes::default();
        times.note(after(0), &started());
        times.note(after(1), &stepped(-HOUR));
        times.note(after(3), &started());
        times.note(after(4), &stepped(2 * HOUR));
        times
    }

    #[test]
    fn a_moment_is_shown_by_the_clock_as_it_stood_then() {
        let times = day();
        let zone = chrono_tz_vienna();
        for (hours, shown) in [
            (-1, "2026-03-02T12:00:00.000+01:00"),
            (0, "2026-03-02T13:00:00.000+01:00"),
            (1, "2026-03-02T13:00:00.000+01:00"),
            (2, "2026-03-02T14:00:00.000+01:00"),
            (3, "2026-03-02T16:00:00.000+01:00"),
            (4, "2026-03-02T19:00:00.000+01:00"),
        ] {
            assert_eq!(times.written(after(hours), zone), shown, "{hours}");
        }
    }

    /// The zone of the shipped example, without a dependency for its sake.
    fn chrono_tz_vienna() -> impl TimeZone + Copy {
        let text = "[shop]\nname = \"Our shop\"\ntimezone = \"Europe/Vienna\"\n";
        inkdwell_config::shop::Shop::parse("shop.toml", text)
            .value
            .timezone
    }

    #[test]
    fn what_the_wall_showed_is_found_again_also_where_it_showed_it_twice() {
        let times = day();
        for hours in [-2, 2, 3, 5] {
            assert_eq!(times.when(times.shown(after(hours))), after(hours));
        }
        // Half past twelve came twice: the clock had been set back over it.
        let half = Micros(after(0).0 + HOUR / 2);
        assert_eq!(times.shown(half), half);
        assert_eq!(times.when(half), Micros(half.0 + HOUR));
    }

    #[test]
    fn the_journal_tells_it_at_once_and_bit_by_bit() {
        let folder = tempfile::tempdir().unwrap();
        let settings = Settings {
            keep_free: Some(0),
            ..Settings::default()
        };
        let (mut writer, readers) = journal::open(folder.path(), settings).unwrap();
        let reader = readers.reader().unwrap();
        let mut times = WallTimes::of(&reader).unwrap();
        for (hours, record) in [
            (0, started()),
            (1, stepped(-HOUR)),
            (3, started()),
            (4, stepped(2 * HOUR)),
        ] {
            let batch = Batch {
                records: vec![(after(hours), record)],
                ..Batch::default()
            };
            writer.commit(&batch).unwrap();
            times.follow(&reader).unwrap();
        }
        let whole = WallTimes::of(&reader).unwrap();
        assert_eq!(times, whole);
        assert_eq!(times.steps, day().steps);
    }
}
