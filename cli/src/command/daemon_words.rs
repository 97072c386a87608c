//! What the commands that ask the daemon say alike.

use inkdwell_daemon::api::view::{Count, Decided, Moment};
use inkdwell_daemon::record::Judged;

use crate::terminal::Setting;

/// A moment: `2026-03-02 14:05:11`, by the clock on the shop's wall.
pub(super) fn time(moment: &Moment) -> String {
    let written: String = moment.at.chars().take(19).collect();
    written.replace('T', " ")
}

/// The time of the day alone: `14:05:11`.
pub(super) fn hour(moment: &Moment) -> String {
    moment.at.chars().skip(11).take(8).collect()
}

/// `2026-03-02 14:05:11 by Mara`.
pub(super) fn decided(decided: &Decided) -> String {
    format!("{} by {}", time(&decided.at), decided.by)
}

/// A verdict as people read it: the harm's word instead of `overheated`.
pub(super) fn verdict(verdict: &str, harm: Option<&str>) -> String {
    match harm {
        Some("scorch") => "scorched".to_owned(),
        Some("melt") => "melted".to_owned(),
        Some("shrinkage") => "shrunk".to_owned(),
        Some("dye-migration") => "dye migrated".to_owned(),
        Some(other) => other.to_owned(),
        None => verdict.to_owned(),
    }
}

/// The verdict of a pass, or that nobody knows.
pub(super) fn judged(judged: Option<&Judged>) -> String {
    judged.map_or_else(
        || "no batch".to_owned(),
        |judged| verdict(&judged.verdict, judged.harm.as_deref()),
    )
}

/// `2 cured, 1 under-cured`.
pub(super) fn counts(counts: &[Count]) -> String {
    let counts: Vec<String> = counts
        .iter()
        .map(|count| {
            let word = count.verdict.as_deref().unwrap_or("not judged");
            format!("{} {}", count.prints, verdict(word, count.harm.as_deref()))
        })
        .collect();
    match counts.is_empty() {
        true => "none yet".to_owned(),
        false => counts.join(", "),
    }
}

/// One of something, or so many.
pub(super) fn so_many(count: usize, one: &str) -> String {
    match count {
        1 => format!("1 {one}"),
        count => format!("{count} {one}s"),
    }
}

/// A name and what stands behind it, wrapped.
pub(super) fn line(name: &str, what: &str, setting: Setting) -> String {
    setting.wrap(&format!("{name:<14}"), 14, what) + "\n"
}

/// The caution, set apart.
pub(super) fn caution(caution: &str, setting: Setting) -> String {
    setting.faint(&setting.wrap("", 0, caution)) + "\n"
}
