//! Times written by a pattern of their own, such as `%d.%m.%Y %H:%M:%S`.

use chrono::Timelike;
use chrono::format::{Fixed, Item, Numeric, Parsed, StrftimeItems, parse};

use super::time::SECOND;

const DAY: i64 = 86_400 * SECOND;

/// What a pattern tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Tells {
    /// An instant: with its offset from UTC, or as seconds since 1970.
    Instant,
    /// A date and a time of day, of a zone that it does not say.
    DateAndClock,
    /// The time of day alone.
    Clock,
}

/// Reads times by a pattern.
#[derive(Debug)]
pub(super) struct Pattern {
    items: Vec<Item<'static>>,
    tells: Tells,
    /// Of a time of day alone: the last one in ns, and how many midnights have passed.
    clock: Option<(i64, i64)>,
}

impl Pattern {
    /// A pattern of the `strftime` kind; `None` where no time of day can be read by it.
    pub(super) fn new(pattern: &str) -> Option<Pattern> {
        let items = StrftimeItems::new(pattern).parse_to_owned().ok()?;
        let tells = what_it_tells(&items)?;
        Some(Pattern {
            items,
            tells,
            clock: None,
        })
    }

    /// Whether its nanoseconds count from 1970-01-01T00:00:00Z.
    pub(super) fn is_absolute(&self) -> bool {
        self.tells == Tells::Instant
    }

    /// The ns of a time, counted from an instant that is the same for all times of the pattern.
    pub(super) fn read(&mut self, text: &str) -> Option<i64> {
        let mut parsed = Parsed::new();
        parse(&mut parsed, text, self.items.iter()).ok()?;
        match self.tells {
            Tells::Instant => {
                let offset = parsed.offset().unwrap_or(0);
                let local = parsed.to_naive_datetime_with_offset(offset).ok()?;
                let instant = local.and_utc().timestamp_nanos_opt()?;
                instant.checked_sub(i64::from(offset) * SECOND)
            }
            Tells::DateAndClock => {
                let local = parsed.to_naive_datetime_with_offset(0).ok()?;
                local.and_utc().timestamp_nanos_opt()
            }
            Tells::Clock => {
                let clock = parsed.to_naive_time().ok()?;
                let seconds = i64::from(clock.num_seconds_from_midnight());
                self.after_midnights(seconds * SECOND + i64::from(clock.nanosecond()))
            }
        }
    }

    /// A step back of more than half a day is midnight.
    fn after_midnights(&mut self, now: i64) -> Option<i64> {
        let midnights = match self.clock {
            Some((last, midnights)) if now < last - DAY / 2 => midnights + 1,
            Some((_, midnights)) => midnights,
            None => 0,
        };
        self.clock = Some((now, midnights));
        now.checked_add(DAY.checked_mul(midnights)?)
    }
}

/// What a pattern tells by what is in it; `None` where it tells no time of day.
fn what_it_tells(items: &[Item<'_>]) -> Option<Tells> {
    let any = |is: fn(&Item<'_>) -> bool| items.iter().any(is);
    let instant = any(|item| {
        use Fixed::{RFC2822, RFC3339, TimezoneOffset, TimezoneOffsetColon, TimezoneOffsetZ};
        use Fixed::{TimezoneOffsetColonZ, TimezoneOffsetDoubleColon, TimezoneOffsetTripleColon};
        let zone = matches!(
            item,
            Item::Fixed(
                TimezoneOffset
                    | TimezoneOffsetColon
                    | TimezoneOffsetDoubleColon
                    | TimezoneOffsetTripleColon
                    | TimezoneOffsetColonZ
                    | TimezoneOffsetZ
                    | RFC2822
                    | RFC3339
            )
        );
        zone || matches!(item, Item::Numeric(Numeric::Timestamp, _))
    });
    let date = any(|item| {
        use Numeric::{Day, IsoYear, IsoYearMod100, Month, Ordinal, Year, YearMod100};
        let number = matches!(
            item,
            Item::Numeric(
                Day | Month | Ordinal | Year | YearMod100 | IsoYear | IsoYearMod100,
                _
            )
        );
        number
            || matches!(
                item,
                Item::Fixed(Fixed::ShortMonthName | Fixed::LongMonthName)
            )
    });
    let clock = any(|item| matches!(item, Item::Numeric(Numeric::Hour | Numeric::Hour12, _)));
    match (instant, date, clock) {
        (true, _, _) => Some(Tells::Instant),
        (false, true, true) => Some(Tells::DateAndClock),
        (false, false, true) => Some(Tells::Clock),
        (false, _, false) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seconds(pattern: &str, from: &str, to: &str) -> Option<f64> {
        let mut pattern = Pattern::new(pattern)?;
        let from = pattern.read(from)?;
        let to = pattern.read(to)?;
        Some((to - from) as f64 / SECOND as f64)
    }

    /// The differences follow from the calendar (2026 is no leap year) and the clock by hand.
    #[test]
    fn times_are_read_as_their_pattern_says() {
        for (pattern, from, to, expected) in [
            ("%H:%M:%S%.f", "23:59:59.5", "00:00:01", 1.5),
            ("%I:%M:%S %p", "11:59:59 PM", "12:00:01 AM", 2.0),
            (
                "%d.%m.%Y %H:%M:%S",
                "28.02.2026 23:59:59",
                "01.03.2026 00:00:01",
                2.0,
            ),
            ("%m/%d/%y %H:%M", "3/1/26 8:00", "3/1/26 8:01", 60.0),
            ("%H:%M:%S,%3f", "08:00:00,250", "08:00:00,500", 0.25),
            (
                "%d %b %Y %H:%M:%S %z",
                "1 Mar 2026 08:00:00 +0100",
                "1 Mar 2026 07:00:01 +0000",
                1.0,
            ),
            ("%s", "1772352000", "1772352001", 1.0),
        ] {
            assert_eq!(seconds(pattern, from, to), Some(expected), "{pattern}");
        }
    }

    /// 1 March 2026, 08:00 UTC, is 1 772 352 000 s after 1970 (GNU date).
    #[test]
    fn a_pattern_with_an_offset_tells_the_instant() {
        let mut zoned = Pattern::new("%Y-%m-%d %H:%M %:z").unwrap();
        assert_eq!(
            zoned.read("2026-03-01 09:00 +01:00"),
            Some(1_772_352_000 * SECOND)
        );
        assert!(zoned.is_absolute());
        assert!(!Pattern::new("%Y-%m-%d %H:%M").unwrap().is_absolute());
    }

    #[test]
    fn a_day_that_is_none_is_no_time_of_day() {
        let mut dated = Pattern::new("%d.%m.%Y %H:%M:%S").unwrap();
        for text in ["31.02.2026 10:00:00", "10:00:00", "01.03.2026", ""] {
            assert_eq!(dated.read(text), None, "{text}");
        }
        for pattern in ["%Q", "%M:%S", "%d.%m.%Y", "seconds", "%"] {
            assert!(Pattern::new(pattern).is_none(), "{pattern}");
        }
    }
}
