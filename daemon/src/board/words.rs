//! Words, marks and figures as every page has them; they are those of the command line.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::{Celsius, MetresPerSecond};
use maud::{Markup, html};

use crate::api::view::Clock;
use crate::record::{Dose, Judged};
use crate::time::Micros;

/// How a verdict looks: a shape, a colour's name and a word. No meaning rests on the colour alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Look {
    /// Its shape.
    pub(super) mark: &'static str,
    /// The name of its colour in the style.
    pub(super) tone: &'static str,
    /// Its word.
    pub(super) word: &'static str,
}

/// That of a verdict and its harm; of none, where no batch was open.
pub(super) fn look(verdict: Option<&str>, harm: Option<&str>) -> Look {
    let (mark, tone, word) = match (verdict, harm) {
        (Some("cured"), _) => ("●", "good", "cured"),
        (Some("gelled"), _) => ("●", "good", "gelled"),
        (Some("under-cured"), _) => ("▽", "under", "under-cured"),
        (Some("under-flashed"), _) => ("▽", "under", "under-flashed"),
        (Some("overheated"), Some("scorch")) => ("▲", "over", "scorched"),
        (Some("overheated"), Some("dye-migration")) => ("▲", "over", "dye migrated"),
        (Some("overheated"), Some("shrinkage")) => ("▲", "over", "shrunk"),
        (Some("overheated"), Some("melt")) => ("▲", "over", "melted"),
        (Some("overheated"), _) => ("▲", "over", "overheated"),
        (Some("over-flashed"), _) => ("▲", "over", "over-flashed"),
        (Some(_), _) => ("◇", "unproven", "unproven"),
        (None, _) => ("·", "none", "not judged"),
    };
    Look { mark, tone, word }
}

/// That of what was said of a print.
pub(super) fn look_of(judged: Option<&Judged>) -> Look {
    look(
        judged.map(|judged| judged.verdict.as_str()),
        judged.and_then(|judged| judged.harm.as_deref()),
    )
}

/// A mark with its word for those who do not see it.
pub(super) fn mark(look: Look) -> Markup {
    html! {
        span class={ "mark " (look.tone) } aria-hidden="true" { (look.mark) }
        span .unseen { (look.word) " " }
    }
}

/// The hour of the shop's wall clock, such as 09:41:07.
pub(super) fn hour(at: Micros, clock: &Clock) -> String {
    let written = clock.moment(at).at;
    let after = written.split('T').nth(1).unwrap_or_default();
    after.chars().take(8).collect()
}

/// Day and minute of the shop's wall clock, such as 2026-01-31 09:41.
pub(super) fn day_and_minute(at: Micros, clock: &Clock) -> String {
    let written = clock.moment(at).at;
    let minute: String = written.chars().take(16).collect();
    minute.replace('T', " ")
}

/// A temperature to the degree, such as `168 °C`.
pub(super) fn degrees(celsius: f64, units: Units) -> String {
    let number = units.temperature_number(Celsius(celsius));
    // What rounds to nothing has no sign.
    format!("{:.0} {}", number.round() + 0.0, units.degree())
}

/// A belt speed from metres a minute.
pub(super) fn speed(m_per_min: f64, units: Units) -> String {
    units.speed(MetresPerSecond(m_per_min / 60.0))
}

/// Best, with low and high where they differ from it.
pub(super) fn dose(dose: Dose) -> String {
    let number = |dose: f64| match dose {
        dose if dose < 10.0 => format!("{dose:.2}"),
        dose if dose < 1000.0 => format!("{dose:.0}"),
        _ => ">999".to_owned(),
    };
    let (low, best, high) = (number(dose.low), number(dose.best), number(dose.high));
    if low == high {
        best
    } else {
        format!("{best} ({low} to {high})")
    }
}

/// Seconds, with a decimal where they are few.
pub(super) fn seconds(time: f64) -> String {
    if time < 10.0 {
        format!("{time:.1} s")
    } else {
        format!("{time:.0} s")
    }
}

/// Prints by their numbers, runs of them drawn together: `3, 5 to 9`; of many only the first, and how many more.
pub(super) fn numbers(mut numbers: Vec<u64>) -> String {
    const MOST: usize = 8;
    numbers.sort_unstable();
    numbers.dedup();
    let mut runs: Vec<(u64, u64)> = Vec::new();
    for number in numbers {
        match runs.last_mut() {
            Some((_, last)) if *last + 1 == number => *last = number,
            _ => runs.push((number, number)),
        }
    }
    let shown = runs
        .iter()
        .take(MOST)
        .map(|(first, last)| match last - first {
            0 => first.to_string(),
            1 => format!("{first}, {last}"),
            _ => format!("{first} to {last}"),
        });
    let text = shown.collect::<Vec<_>>().join(", ");
    let more: u64 = runs
        .iter()
        .skip(MOST)
        .map(|(first, last)| last - first + 1)
        .sum();
    match more {
        0 => text,
        more => format!("{text} and {more} more"),
    }
}

/// A text whose first letter is a capital.
pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters
        .next()
        .map(|letter| letter.to_uppercase().to_string());
    format!("{}{}", first.unwrap_or_default(), letters.as_str())
}

/// `1 print`, `2 prints`.
pub(super) fn counted(count: u64, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_verdict_has_a_shape_and_a_tone_of_its_own() {
        let looks = ["cured", "under-cured", "overheated", "unproven"];
        let looks = looks.map(|verdict| look(Some(verdict), None));
        for (number, one) in looks.iter().enumerate() {
            for other in &looks[..number] {
                assert!(one.mark != other.mark && one.tone != other.tone);
            }
        }
        assert_eq!(look(Some("overheated"), Some("scorch")).word, "scorched");
        assert_eq!(look(None, None).word, "not judged");
    }

    #[test]
    fn numbers_are_drawn_together() {
        assert_eq!(numbers(vec![5, 3, 6, 7, 7]), "3, 5 to 7");
        assert_eq!(numbers(vec![1, 2]), "1, 2");
        assert_eq!(
            numbers((0..20).map(|number| number * 2).collect()),
            "0, 2, 4, 6, 8, 10, 12, 14 and 12 more"
        );
    }

    #[test]
    fn figures_are_those_of_the_shop_s_units() {
        // 160 °C = 320 °F exactly.
        assert_eq!(degrees(160.0, Units::Metric), "160 °C");
        assert_eq!(degrees(160.0, Units::Us), "320 °F");
        assert_eq!(degrees(-0.2, Units::Metric), "0 °C");
        // 1 ft = 0.3048 m exactly.
        assert_eq!(speed(3.048, Units::Us), "10.00 ft/min");
        let band = Dose {
            low: 0.9,
            best: 1.0,
            high: 1.25,
        };
        assert_eq!(dose(band), "1.00 (0.90 to 1.25)");
    }
}
