//! Points, and the lines that they are written as (the line protocol of InfluxDB 2).
//!
//! Every point has a time and tags of its own, so that writing it twice changes nothing. Servers keep nanoseconds
//! and our times are microseconds: the last three digits are the record's number, which keeps apart what happened
//! at one station in the same microsecond.

use influxdb2::models::DataPoint;
use influxdb2::models::data_point::{DataPointBuilder, FieldValue, WriteDataPoint};

use crate::sink::compose::Letter;
use crate::sink::message::{Alarm, Event, Message, Verdict};
use crate::time::Micros;

/// The measurement of verdicts.
pub(super) const VERDICT: &str = "inkdwell_verdict";
/// The measurement of alarms.
pub(super) const ALARM: &str = "inkdwell_alarm";
/// The measurement of events.
pub(super) const EVENT: &str = "inkdwell_event";
/// The measurement of readings.
pub(super) const READING: &str = "inkdwell_reading";

/// A point that grows.
pub(super) struct Point(DataPointBuilder);

impl Point {
    pub(super) fn new(measurement: &str) -> Point {
        Point(DataPoint::builder(measurement))
    }

    /// A tag; an empty one is left out, since a line must not have any.
    pub(super) fn tag(self, name: &str, value: Option<&str>) -> Point {
        let value = plain(value.unwrap_or_default());
        match value.is_empty() {
            true => self,
            false => Point(self.0.tag(name, value)),
        }
    }

    /// A number; what is none is left out, since a line cannot say it.
    pub(super) fn number(self, name: &str, value: Option<f64>) -> Point {
        match value.filter(|value| value.is_finite()) {
            None => self,
            Some(value) => Point(self.0.field(name, value)),
        }
    }

    pub(super) fn whole(self, name: &str, value: Option<u64>) -> Point {
        match value.and_then(|value| i64::try_from(value).ok()) {
            None => self,
            Some(value) => Point(self.0.field(name, value)),
        }
    }

    pub(super) fn text(self, name: &str, value: Option<&str>) -> Point {
        match value {
            None => self,
            Some(value) => Point(self.0.field(name, FieldValue::String(plain(value)))),
        }
    }

    /// The line, with its line feed.
    ///
    /// # Errors
    /// When it has no field.
    pub(super) fn line(self, at: Micros, own: u64) -> Result<Vec<u8>, String> {
        let time =
            at.0.saturating_mul(1000)
                .saturating_add((own % 1000) as i64);
        let point = self.0.timestamp(time).build();
        let point = point.map_err(|error| error.to_string())?;
        let mut line = Vec::new();
        point
            .write_data_point_to(&mut line)
            .map_err(|error| error.to_string())?;
        Ok(line)
    }
}

/// The library escapes what separates the parts of a line, but neither backslashes, which would escape what comes
/// after them, nor line breaks, which would end the line.
fn plain(text: &str) -> String {
    let letter = |letter: char| match letter {
        '\\' => '/',
        letter if letter.is_control() => ' ',
        letter => letter,
    };
    text.trim().chars().map(letter).collect()
}

/// The line of a letter.
pub(super) fn line(letter: &Letter) -> Result<Vec<u8>, String> {
    let point = match &letter.message {
        Message::Verdict(verdict) => of_verdict(verdict),
        Message::Alarm(alarm) => of_alarm(alarm),
        Message::Event(event) => of_event(event),
    };
    point.line(letter.shown, letter.record)
}

fn of_verdict(verdict: &Verdict) -> Point {
    // A print without a batch is counted apart: nobody knows what it needed.
    let word = verdict.verdict.as_deref().unwrap_or("no-batch");
    let point = Point::new(VERDICT)
        .tag("shop", Some(&verdict.shop))
        .tag("station", Some(&verdict.station))
        .tag("verdict", Some(word))
        .tag("harm", verdict.harm.as_deref())
        .tag("evidence", verdict.evidence.as_deref())
        .tag("probe", verdict.probe.as_deref())
        .tag("ink", verdict.ink.as_deref())
        .tag("fabric", verdict.fabric.as_deref())
        .whole("prints", Some(1))
        .whole("pass", Some(verdict.pass))
        .whole("batch", verdict.batch)
        .whole("print", verdict.print)
        .text("id", Some(&verdict.id))
        .text("job", verdict.job.as_deref())
        .number("belt_m_per_min", verdict.belt_m_per_min)
        .number("peak_c", verdict.peak_c)
        .number("time_above_s", verdict.time_above_s)
        .number("uncertainty_c", verdict.uncertainty_c)
        .number("cure_low", verdict.cure.map(|cure| cure.low))
        .number("cure_best", verdict.cure.map(|cure| cure.best))
        .number("cure_high", verdict.cure.map(|cure| cure.high));
    verdict.harms.iter().fold(point, |point, seen| {
        let name = seen.harm.replace('-', "_");
        point.number(&format!("{name}_high"), Some(seen.dose.high))
    })
}

fn of_alarm(alarm: &Alarm) -> Point {
    Point::new(ALARM)
        .tag("shop", Some(&alarm.shop))
        .tag("station", alarm.station.as_deref())
        .tag("alarm", Some(&alarm.alarm))
        .tag("change", Some(&alarm.change))
        .tag("priority", Some(&alarm.priority))
        .whole("alarms", Some(1))
        .whole("count", Some(alarm.count))
        .text("id", Some(&alarm.id))
        .text("state", Some(&alarm.state))
        .text("words", Some(&alarm.words))
}

fn of_event(event: &Event) -> Point {
    Point::new(EVENT)
        .tag("shop", Some(&event.shop))
        .tag("station", event.station.as_deref())
        .tag("kind", Some(&event.kind))
        .whole("events", Some(1))
        .text("id", Some(&event.id))
        .text("text", Some(&event.text))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As the InfluxDB documentation describes the line protocol: measurement, tags in order, a space, fields, a
    /// space, the time in nanoseconds; commas, equals signs and spaces of tags behind backslashes, quotes of
    /// texts too. A line must have no line break but its last, no empty tag, and no number that is none.
    #[test]
    fn a_line_is_one_whatever_stands_in_it() {
        let line = Point::new(EVENT)
            .tag("shop", Some("Lantern Yard, east"))
            .tag("station", Some("a=b\\"))
            .tag("kind", None)
            .tag("harm", Some("  "))
            .text("text", Some("say \"hot\"\nand run\\"))
            .number("peak_c", Some(f64::NAN))
            .whole("events", Some(1))
            .line(Micros(1_772_452_800_000_001), 12_345);
        assert_eq!(
            String::from_utf8(line.unwrap()).unwrap(),
            "inkdwell_event,shop=Lantern\\ Yard\\,\\ east,station=a\\=b/ \
             events=1i,text=\"say \\\"hot\\\" and run/\" 1772452800000001345\n"
        );
        assert!(Point::new(EVENT).line(Micros(0), 0).is_err());
    }
}
