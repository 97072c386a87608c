//! Reading the time column.

use chrono::{DateTime, NaiveDate, NaiveDateTime, NaiveTime, Timelike};

use super::layout::TimeForm;

const SECOND: i64 = 1_000_000_000;
const DAY: i64 = 86_400 * SECOND;

/// Reads times of one form; keeps what makes the next one cheap.
#[derive(Debug, Clone)]
pub(super) struct TimeParser {
    form: TimeForm,
    decimal_comma: bool,
    /// `YYYY-MM-DDTHH:MM` of the last RFC 3339 time and what it is worth in ns, the zone aside.
    minute: ([u8; 16], i64),
    /// The last time of a pattern without date, and how many midnights have passed.
    clock: Option<(i64, i64)>,
}

/// A time as read: seconds, or nanoseconds since some fixed instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Instant {
    Seconds(f64),
    Nanoseconds(i64),
}

impl Instant {
    /// Seconds from an earlier time of the same file.
    pub(super) fn since(self, first: Instant) -> f64 {
        match (self, first) {
            (Instant::Seconds(now), Instant::Seconds(then)) => now - then,
            (Instant::Nanoseconds(now), Instant::Nanoseconds(then)) => {
                let nanoseconds = now.wrapping_sub(then);
                (nanoseconds / SECOND) as f64 + (nanoseconds % SECOND) as f64 / SECOND as f64
            }
            _ => f64::NAN,
        }
    }
}

impl TimeParser {
    pub(super) fn new(form: TimeForm, decimal_comma: bool) -> TimeParser {
        TimeParser {
            form,
            decimal_comma,
            minute: ([0; 16], 0),
            clock: None,
        }
    }

    /// What a cell should have held.
    pub(super) fn expected(&self) -> String {
        match &self.form {
            TimeForm::Seconds => "a number of seconds".to_owned(),
            TimeForm::Milliseconds => "a number of milliseconds".to_owned(),
            TimeForm::Minutes => "a number of minutes".to_owned(),
            TimeForm::Rfc3339 => "a time such as 2026-03-01T08:30:00.5Z".to_owned(),
            TimeForm::Pattern(pattern) => format!("a time written as {pattern}"),
        }
    }

    #[inline]
    pub(super) fn parse(&mut self, cell: &[u8]) -> Option<Instant> {
        let factor = match &self.form {
            TimeForm::Seconds => 1.0,
            TimeForm::Milliseconds => 1e-3,
            TimeForm::Minutes => 60.0,
            TimeForm::Rfc3339 => return self.rfc3339(cell).map(Instant::Nanoseconds),
            TimeForm::Pattern(_) => return self.pattern(cell).map(Instant::Nanoseconds),
        };
        let number = super::reader::number(cell, self.decimal_comma)?;
        number
            .is_finite()
            .then_some(Instant::Seconds(number * factor))
    }

    fn rfc3339(&mut self, cell: &[u8]) -> Option<i64> {
        let minute = cell.get(..16)?;
        if minute != self.minute.0 {
            self.minute = (minute.try_into().ok()?, start_of_minute(minute)?);
        }
        let (&[b':', tens, ones], rest) = cell.get(16..)?.split_first_chunk::<3>()? else {
            return None;
        };
        let seconds = digit(tens)? * 10 + digit(ones)?;
        let (fraction, zone) = fraction(rest)?;
        if seconds > 60 {
            return None;
        }
        Some(self.minute.1 + seconds * SECOND + fraction - offset(zone)?)
    }

    fn pattern(&mut self, cell: &[u8]) -> Option<i64> {
        let TimeForm::Pattern(pattern) = &self.form else {
            return None;
        };
        let text = std::str::from_utf8(cell).ok()?;
        if let Ok(zoned) = DateTime::parse_from_str(text, pattern) {
            return zoned.timestamp_nanos_opt();
        }
        if let Ok(local) = NaiveDateTime::parse_from_str(text, pattern) {
            return local.and_utc().timestamp_nanos_opt();
        }
        let clock = NaiveTime::parse_from_str(text, pattern).ok()?;
        let now =
            i64::from(clock.num_seconds_from_midnight()) * SECOND + i64::from(clock.nanosecond());
        let midnights = match self.clock {
            Some((last, midnights)) if now < last - DAY / 2 => midnights + 1,
            Some((_, midnights)) => midnights,
            None => 0,
        };
        self.clock = Some((now, midnights));
        Some(midnights * DAY + now)
    }
}

fn digit(byte: u8) -> Option<i64> {
    byte.is_ascii_digit().then(|| i64::from(byte - b'0'))
}

fn digits(bytes: &[u8]) -> Option<i64> {
    bytes
        .iter()
        .try_fold(0, |sum, byte| Some(sum * 10 + digit(*byte)?))
}

/// The start of `YYYY-MM-DDTHH:MM` in ns since 1970, its zone aside.
fn start_of_minute(text: &[u8]) -> Option<i64> {
    let marks = [(4, b"-"), (7, b"-"), (13, b":")];
    let marked = marks.iter().all(|(at, mark)| text[*at] == mark[0]);
    if !marked || !matches!(text[10], b'T' | b't' | b' ') {
        return None;
    }
    let (year, month, day) = (
        digits(&text[..4])?,
        digits(&text[5..7])?,
        digits(&text[8..10])?,
    );
    let date = NaiveDate::from_ymd_opt(year as i32, month as u32, day as u32)?;
    let (hour, minute) = (digits(&text[11..13])?, digits(&text[14..16])?);
    date.and_hms_opt(hour as u32, minute as u32, 0)?
        .and_utc()
        .timestamp_nanos_opt()
}

/// The nanoseconds of `.123…`, if there are any, and what follows.
fn fraction(rest: &[u8]) -> Option<(i64, &[u8])> {
    let Some((b'.' | b',', rest)) = rest.split_first() else {
        return Some((0, rest));
    };
    let count = rest.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let kept = &rest[..count.min(9)];
    let scale = 10_i64.pow(9 - kept.len() as u32);
    (count > 0).then_some(())?;
    Some((digits(kept)? * scale, &rest[count..]))
}

/// The zone's offset in ns.
fn offset(zone: &[u8]) -> Option<i64> {
    match zone {
        [b'Z' | b'z'] => Some(0),
        [sign @ (b'+' | b'-'), a, b, b':', c, d] => {
            let (hours, minutes) = (digits(&[*a, *b])?, digits(&[*c, *d])?);
            (hours < 24 && minutes < 60).then_some(())?;
            let size = (hours * 3600 + minutes * 60) * SECOND;
            Some(if *sign == b'-' { -size } else { size })
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn nanoseconds(text: &str) -> Option<i64> {
        TimeParser::new(TimeForm::Rfc3339, false).rfc3339(text.as_bytes())
    }

    /// Examples of RFC 3339, section 5.8.
    #[test]
    fn the_examples_of_the_rfc_are_read() {
        for text in [
            "1985-04-12T23:20:50.52Z",
            "1996-12-19T16:39:57-08:00",
            "1990-12-31T23:59:60Z",
            "1990-12-31T15:59:60-08:00",
            "1937-01-01T12:00:27.87+00:20",
        ] {
            let expected = DateTime::parse_from_rfc3339(text)
                .unwrap()
                .timestamp_nanos_opt()
                .unwrap();
            assert!(
                (nanoseconds(text).unwrap() - expected).abs() <= SECOND,
                "{text}"
            );
        }
        for text in [
            "",
            "1985-04-12",
            "1985-13-12T23:20:50Z",
            "1985-04-12T23:20:50",
            "x",
        ] {
            assert_eq!(nanoseconds(text), None, "{text}");
        }
    }

    #[test]
    fn a_clock_without_date_goes_on_over_midnight() {
        let mut parser = TimeParser::new(TimeForm::Pattern("%H:%M:%S%.f".into()), false);
        let first = parser.parse(b"23:59:59.5").unwrap();
        assert_eq!(parser.parse(b"00:00:01").unwrap().since(first), 1.5);
        let mut parser = TimeParser::new(TimeForm::Pattern("%d.%m.%Y %H:%M:%S".into()), false);
        let first = parser.parse(b"28.02.2026 23:59:59").unwrap();
        assert_eq!(
            parser.parse(b"01.03.2026 00:00:01").unwrap().since(first),
            2.0
        );
    }

    proptest! {
        /// chrono reads the same times.
        #[test]
        fn times_agree_with_chrono(
            second in 0..4_000_000_000_i64, nano in 0..1_000_000_000_u32, zone in -1439..1439_i32,
        ) {
            let zone = chrono::FixedOffset::east_opt(zone * 60).unwrap();
            let time = DateTime::from_timestamp(second, nano).unwrap().with_timezone(&zone);
            prop_assert_eq!(nanoseconds(&time.to_rfc3339()), time.timestamp_nanos_opt());
        }
    }
}
