//! What a report is asked about, and which moments of the steady time that is.
//!
//! A day is a day on the calendar of the shop's time zone: 23 or 25 hours long where clocks are set for summer and
//! winter. A shop whose shift goes past midnight lets its days begin at another hour, and the day has the date on
//! which it began. A pass belongs to the day that the clock on the wall showed when it began.

use chrono::{DateTime, Datelike, Days, NaiveDate, NaiveTime, TimeDelta, TimeZone};
use chrono_tz::Tz;

use crate::time::Micros;
use crate::wall::WallTimes;

/// What is asked about.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Asked {
    /// When.
    pub when: When,
    /// Only this station.
    pub station: Option<String>,
    /// Only this job, by its name, capital letters or not.
    pub job: Option<String>,
}

/// When.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum When {
    /// Always: a job may have taken days.
    #[default]
    Always,
    /// One batch, whenever it was.
    Batch(u64),
    /// A day of the shop's calendar, beginning at an hour.
    Day {
        /// Its date.
        date: NaiveDate,
        /// The hour at which days begin there.
        begins: NaiveTime,
    },
    /// From the beginning of a day to the end of another.
    Days {
        /// The first one.
        first: NaiveDate,
        /// The last one.
        last: NaiveDate,
        /// The hour at which days begin there.
        begins: NaiveTime,
    },
    /// From a moment to another, the second excluded, as the clock on the wall showed them, in microseconds since 1970
    /// UTC.
    Range {
        /// The first.
        from: Micros,
        /// The first after.
        before: Micros,
    },
}

/// A stretch of time by the clock on the wall.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Stretch {
    /// The first moment that the clock showed, in microseconds since 1970 UTC.
    pub(super) from: Micros,
    /// The first after it.
    pub(super) before: Micros,
}

impl Stretch {
    /// Whether the wall clock showed a moment of it then.
    pub(super) fn contains(&self, at: Micros, walls: &WallTimes) -> bool {
        let shown = walls.shown(at);
        shown >= self.from && shown < self.before
    }

    /// Moments of the steady time that contain it, however the clock was set.
    pub(super) fn steady(&self, walls: &WallTimes) -> (Micros, Micros) {
        let (least, most) = walls.reach();
        let from = Micros(self.from.0.saturating_sub(most));
        (from, Micros(self.before.0.saturating_sub(least)))
    }
}

impl When {
    /// The stretch of time; `None` of all time and of a batch.
    pub(super) fn stretch(&self, zone: Tz) -> Option<Stretch> {
        match *self {
            When::Always | When::Batch(_) => None,
            When::Day { date, begins } => Some(Stretch {
                from: begin_of(date, begins, zone),
                before: begin_of(next(date), begins, zone),
            }),
            When::Days {
                first,
                last,
                begins,
            } => Some(Stretch {
                from: begin_of(first, begins, zone),
                before: begin_of(next(last), begins, zone),
            }),
            When::Range { from, before } => Some(Stretch { from, before }),
        }
    }

    /// From when to when, as the clock on the wall showed it, in microseconds since 1970 UTC, the second excluded; `None`
    /// of all time and of a batch.
    pub fn shown(&self, zone: Tz) -> Option<(Micros, Micros)> {
        self.stretch(zone)
            .map(|stretch| (stretch.from, stretch.before))
    }

    /// A word for it.
    pub(super) fn kind(&self) -> &'static str {
        match self {
            When::Always => "always",
            When::Batch(_) => "batch",
            When::Day { .. } => "day",
            When::Days { .. } => "days",
            When::Range { .. } => "range",
        }
    }

    /// In words.
    pub(super) fn title(&self, zone: Tz) -> String {
        match *self {
            When::Always => "All that was recorded".to_owned(),
            When::Batch(batch) => format!("Batch {batch}"),
            When::Day { date, begins } => format!("{}{}", long(date), from_hour(begins)),
            When::Days {
                first,
                last,
                begins,
            } => format!("{} to {}{}", long(first), long(last), from_hour(begins)),
            When::Range { from, before } => {
                format!("{} to {}", minute(from, zone), minute(before, zone))
            }
        }
    }
}

fn next(date: NaiveDate) -> NaiveDate {
    date.checked_add_days(Days::new(1)).unwrap_or(date)
}

fn long(date: NaiveDate) -> String {
    format!(
        "{} {} {}",
        date.format("%A"),
        date.day(),
        date.format("%B %Y")
    )
}

fn from_hour(begins: NaiveTime) -> String {
    match begins == NaiveTime::MIN {
        true => String::new(),
        false => format!(", from {}", begins.format("%H:%M")),
    }
}

fn minute(at: Micros, zone: Tz) -> String {
    let time = DateTime::from_timestamp_micros(at.0).unwrap_or_default();
    time.with_timezone(&zone)
        .format("%Y-%m-%d %H:%M")
        .to_string()
}

/// When a day begins. Where clocks skip that hour it begins with the first moment after; where it comes twice, with
/// the first.
pub(super) fn begin_of(date: NaiveDate, begins: NaiveTime, zone: Tz) -> Micros {
    let mut local = date.and_time(begins);
    // Nowhere are clocks set by more than a day.
    for _ in 0..=24 * 4 {
        if let Some(begun) = zone.from_local_datetime(&local).earliest() {
            return Micros(begun.timestamp_micros());
        }
        local += TimeDelta::minutes(15);
    }
    Micros(date.and_time(begins).and_utc().timestamp_micros())
}

/// The date of the day that holds a moment.
pub fn day_of(shown: Micros, begins: NaiveTime, zone: Tz) -> NaiveDate {
    let time = DateTime::from_timestamp_micros(shown.0).unwrap_or_default();
    let date = time.with_timezone(&zone).date_naive();
    match begin_of(date, begins, zone) > shown {
        true => date.checked_sub_days(Days::new(1)).unwrap_or(date),
        false => date,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOUR: i64 = 3_600_000_000;

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn hours(day: &str, zone: Tz, begins: NaiveTime) -> f64 {
        let date = date(day);
        let stretch = When::Day { date, begins }.stretch(zone).unwrap();
        (stretch.before.0 - stretch.from.0) as f64 / HOUR as f64
    }

    /// Directive 2000/84/EC: summer time begins on the last Sunday of March and ends on that of October, at 1:00 UTC.
    /// In Havana clocks went from 0:00 to 1:00 on 2024-03-10 (tz database), so that this day had no midnight.
    #[test]
    fn a_day_is_as_long_as_the_calendar_makes_it() {
        let vienna: Tz = "Europe/Vienna".parse().unwrap();
        let havana: Tz = "America/Havana".parse().unwrap();
        assert_eq!(hours("2026-03-29", vienna, NaiveTime::MIN), 23.0);
        assert_eq!(hours("2026-10-25", vienna, NaiveTime::MIN), 25.0);
        assert_eq!(hours("2026-10-26", vienna, NaiveTime::MIN), 24.0);
        assert_eq!(hours("2024-03-10", havana, NaiveTime::MIN), 23.0);
        assert_eq!(hours("2024-03-09", havana, NaiveTime::MIN), 24.0);
    }

    #[test]
    fn a_shift_past_midnight_belongs_to_the_day_on_which_it_began() {
        let vienna: Tz = "Europe/Vienna".parse().unwrap();
        let six = NaiveTime::from_hms_opt(6, 0, 0).unwrap();
        let at = |text: &str| {
            let time = DateTime::parse_from_rfc3339(text).unwrap();
            Micros(time.timestamp_micros())
        };
        let night = at("2026-10-25T02:30:00+01:00");
        assert_eq!(day_of(night, NaiveTime::MIN, vienna), date("2026-10-25"));
        assert_eq!(day_of(night, six, vienna), date("2026-10-24"));
        let stretch = When::Day {
            date: date("2026-10-24"),
            begins: six,
        }
        .stretch(vienna)
        .unwrap();
        assert_eq!(stretch.from, at("2026-10-24T06:00:00+02:00"));
        assert_eq!(stretch.before, at("2026-10-25T06:00:00+01:00"));
        assert_eq!(hours("2026-10-24", vienna, six), 25.0);
    }
}
