//! What a report says in words.

use inkdwell_config::display::Units;
use inkdwell_config::law::Law;

/// A verdict as people read it: the harm's word instead of `overheated`.
pub fn verdict_words(verdict: &str, harm: Option<&str>) -> String {
    match harm {
        Some("scorch") => "scorched".to_owned(),
        Some("melt") => "melted".to_owned(),
        Some("shrinkage") => "shrunk".to_owned(),
        Some("dye-migration") => "dye migrated".to_owned(),
        Some(other) => other.to_owned(),
        None => verdict.to_owned(),
    }
}

/// Whether nothing more has to be done about a print.
pub(super) fn is_good(verdict: &str) -> bool {
    matches!(verdict, "cured" | "gelled")
}

/// A law in words.
pub(super) fn law(law: &Law, units: Units) -> String {
    match law {
        Law::Hold { at, duration } => {
            format!(
                "{} s at {} or above",
                short(duration.0),
                units.temperature(*at)
            )
        }
        Law::Equivalents { points } => {
            let points = points
                .iter()
                .map(|(at, time)| format!("{} s at {}", short(time.0), units.temperature(*at)));
            points.collect::<Vec<_>>().join(", or ")
        }
    }
}

/// One print, or so many.
pub(super) fn prints(count: u64) -> String {
    match count {
        1 => "1 print".to_owned(),
        count => format!("{count} prints"),
    }
}

/// One decimal, or none where it would be zero.
pub(super) fn short(number: f64) -> String {
    let text = format!("{number:.1}");
    text.strip_suffix(".0").map(str::to_owned).unwrap_or(text)
}

/// A share in per cent, rounded down so that it never says more than is so.
pub(super) fn per_cent(share: f64) -> String {
    let tenths = (share * 1000.0 + 1e-9).floor();
    format!("{} %", short(tenths / 10.0))
}
