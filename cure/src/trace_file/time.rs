//! Reading the time column.

use chrono::NaiveDate;

use super::layout::TimeForm;
use super::number::{self, DecimalMark, Number};
use super::time_pattern::Pattern;

pub(super) const SECOND: i64 = 1_000_000_000;

/// Reads times of one form; keeps what makes the next one cheap.
#[derive(Debug)]
pub(super) struct TimeParser {
    form: TimeForm,
    mark: DecimalMark,
    /// How many seconds a number is worth.
    factor: f64,
    /// `YYYY-MM-DDTHH:MM` of the last RFC 3339 time and what it is worth in ns, the zone aside.
    minute: Option<([u8; 16], i64)>,
    pattern: Option<Pattern>,
}

/// A time as read: seconds, or nanoseconds since some fixed instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Instant {
    Seconds(f64),
    Nanoseconds(i64),
}

impl Instant {
    /// Seconds from an earlier time of the same file.
    #[inline]
    pub(super) fn since(self, first: Instant) -> f64 {
        match (self, first) {
            (Instant::Seconds(now), Instant::Seconds(then)) => now - then,
            (Instant::Nanoseconds(now), Instant::Nanoseconds(then)) => {
                match now.checked_sub(then) {
                    // Whole seconds and the rest apart are exact; centuries need no nanoseconds.
                    Some(between) => {
                        (between / SECOND) as f64 + (between % SECOND) as f64 / SECOND as f64
                    }
                    None => (now as f64 - then as f64) / SECOND as f64,
                }
            }
            _ => f64::NAN,
        }
    }
}

/// The pattern of a form, if it is one that no time could be read with.
pub(super) fn unreadable_pattern(form: &TimeForm) -> Option<&str> {
    match form {
        TimeForm::Pattern(pattern) if Pattern::new(pattern).is_none() => Some(pattern),
        _ => None,
    }
}

impl TimeParser {
    pub(super) fn new(form: TimeForm, mark: DecimalMark) -> TimeParser {
        let factor = match &form {
            TimeForm::Milliseconds => 1e-3,
            TimeForm::Minutes => 60.0,
            _ => 1.0,
        };
        let pattern = match &form {
            TimeForm::Pattern(pattern) => Pattern::new(pattern),
            _ => None,
        };
        TimeParser {
            form,
            mark,
            factor,
            minute: None,
            pattern,
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

    /// Whether its nanoseconds count from 1970-01-01T00:00:00Z.
    pub(super) fn is_absolute(&self) -> bool {
        let pattern = self.pattern.as_ref();
        self.form == TimeForm::Rfc3339 || pattern.is_some_and(Pattern::is_absolute)
    }

    /// Whether times can be read where a row begins, before it is taken apart.
    pub(super) fn is_plain(&self) -> bool {
        self.pattern.is_none()
    }

    /// Reads a whole cell.
    pub(super) fn parse(&mut self, cell: &[u8]) -> Option<Instant> {
        match &self.form {
            TimeForm::Rfc3339 => {
                let (instant, taken) = self.rfc3339(cell)?;
                (taken == cell.len()).then_some(Instant::Nanoseconds(instant))
            }
            TimeForm::Pattern(_) => {
                let text = std::str::from_utf8(cell).ok()?;
                self.pattern.as_mut()?.read(text).map(Instant::Nanoseconds)
            }
            _ => match self.mark.read(cell) {
                Number::Value(number) => Some(Instant::Seconds(number * self.factor)),
                _ => None,
            },
        }
    }

    /// Reads the time at the beginning of `text`, and says how many bytes it takes.
    #[inline]
    pub(super) fn leading(&mut self, text: &[u8]) -> Option<(Instant, usize)> {
        if self.form == TimeForm::Rfc3339 {
            let (instant, taken) = self.rfc3339(text)?;
            return Some((Instant::Nanoseconds(instant), taken));
        }
        let (number, taken) = number::leading(text, self.mark.byte())?;
        Some((Instant::Seconds(number * self.factor), taken))
    }

    #[inline]
    fn rfc3339(&mut self, text: &[u8]) -> Option<(i64, usize)> {
        let (minute, rest) = text.split_first_chunk::<16>()?;
        let start = match &self.minute {
            Some((known, start)) if known == minute => *start,
            _ => {
                let start = start_of_minute(minute)?;
                self.minute = Some((*minute, start));
                start
            }
        };
        let (&[b':', tens, ones], rest) = rest.split_first_chunk::<3>()? else {
            return None;
        };
        // A leap second is the sixtieth.
        let seconds = digit(tens)? * 10 + digit(ones)?;
        let (fraction, rest) = fraction(rest)?;
        let (offset, rest) = offset(rest)?;
        let instant = start.checked_add(seconds * SECOND + fraction - offset)?;
        (seconds <= 60).then_some((instant, text.len() - rest.len()))
    }
}

#[inline]
fn digit(byte: u8) -> Option<i64> {
    byte.is_ascii_digit().then(|| i64::from(byte - b'0'))
}

#[inline]
fn digits(bytes: &[u8]) -> Option<i64> {
    bytes
        .iter()
        .try_fold(0, |sum, byte| Some(sum * 10 + digit(*byte)?))
}

/// The start of `YYYY-MM-DDTHH:MM` in ns since 1970, its zone aside.
fn start_of_minute(text: &[u8; 16]) -> Option<i64> {
    let [
        y0,
        y1,
        y2,
        y3,
        b'-',
        m0,
        m1,
        b'-',
        d0,
        d1,
        mark,
        h0,
        h1,
        b':',
        n0,
        n1,
    ] = *text
    else {
        return None;
    };
    if !matches!(mark, b'T' | b't' | b' ') {
        return None;
    }
    let number = |bytes: &[u8]| digits(bytes).and_then(|number| u32::try_from(number).ok());
    let year = number(&[y0, y1, y2, y3]).and_then(|year| i32::try_from(year).ok())?;
    let date = NaiveDate::from_ymd_opt(year, number(&[m0, m1])?, number(&[d0, d1])?)?;
    date.and_hms_opt(number(&[h0, h1])?, number(&[n0, n1])?, 0)?
        .and_utc()
        .timestamp_nanos_opt()
}

/// The nanoseconds of `.123…`, if there are any, and what follows.
#[inline]
fn fraction(text: &[u8]) -> Option<(i64, &[u8])> {
    let Some((b'.', rest)) = text.split_first() else {
        return Some((0, text));
    };
    let count = rest.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let (all, rest) = rest.split_at_checked(count)?;
    let kept = all.get(..9).unwrap_or(all);
    let missing = 9 - u32::try_from(kept.len()).ok()?;
    (count > 0).then_some((digits(kept)? * 10_i64.pow(missing), rest))
}

/// The zone's offset in ns, and what follows.
#[inline]
fn offset(text: &[u8]) -> Option<(i64, &[u8])> {
    match text {
        [b'Z' | b'z', rest @ ..] => Some((0, rest)),
        [sign @ (b'+' | b'-'), a, b, b':', c, d, rest @ ..] => {
            let (hours, minutes) = (digits(&[*a, *b])?, digits(&[*c, *d])?);
            let size = (hours * 3600 + minutes * 60) * SECOND;
            let offset = if *sign == b'-' { -size } else { size };
            (hours < 24 && minutes < 60).then_some((offset, rest))
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::DateTime;
    use proptest::prelude::*;

    fn nanoseconds(text: &str) -> Option<i64> {
        let mut parser = TimeParser::new(TimeForm::Rfc3339, DecimalMark::new(false));
        match parser.parse(text.as_bytes())? {
            Instant::Nanoseconds(nanoseconds) => Some(nanoseconds),
            Instant::Seconds(_) => None,
        }
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
            "1985-04-12T23:20:50,5Z",
            "1985-04-12T23:20:50.Z",
            "1985-04-12T23:20:61Z",
            "1985-04-12T23:20:50Zulu",
            "1985-04-12T24:20:50Z",
            "1985-04-12T23:20:50+24:00",
            "0001-01-01T00:00:00Z",
            "\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0:50Z",
            "x",
        ] {
            assert_eq!(nanoseconds(text), None, "{text}");
        }
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
