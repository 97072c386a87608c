//! What became of it all: read from the journal once the daemon has stopped.

use inkdwell_daemon::journal::{Batches, Holds, KeptHold, PassQuery, ReadError, Reader};

use super::folder::Folder;
use super::teller::{Tally, can_be_done};
use crate::terminal::Setting;

const CAUTION: &str = "\
Inkdwell watches and advises; it is no safety device. The ink maker's data sheet, a wash test, local codes \
and licensed practice come before any figure it shows.";

/// The end of the story.
pub(super) struct Summary {
    pub(super) text: String,
    /// Whether the journal is as it was written.
    pub(super) is_sound: bool,
}

pub(super) fn of(
    setting: Setting,
    folder: &Folder,
    reader: &Reader,
    tally: &Tally,
) -> Result<Summary, ReadError> {
    let verified = reader.verify(None, |_| ())?;
    let mut text = format!("\n{}\n\n", setting.strong("What became of it"));
    text += &table(reader)?;
    text.push('\n');
    for hold in reader.holds(Holds::Open)? {
        text += &setting.wrap("  ", 4, &held(reader, &hold)?);
        text.push('\n');
    }
    text.push('\n');
    text += &setting.wrap("  ", 2, &against_truth(tally));
    text.push('\n');
    match verified.broken.first() {
        // The head stays whole: it is what one writes down.
        None => {
            text += &format!(
                "  journal verified: {} records, {} readings, head\n    {}",
                verified.records, verified.readings, verified.head
            );
        }
        Some(broken) => {
            let broken = format!("journal NOT sound: {broken}");
            text += &setting.wrap("  ", 2, &broken);
        }
    }
    text.push_str("\n\n");
    text += &setting.wrap("  ", 2, CAUTION);
    text.push_str("\n\n");
    text += &where_all_lies(setting, folder);
    Ok(Summary {
        text,
        is_sound: verified.is_sound(),
    })
}

/// Where to find everything. The folder's name stays whole, so that it can be copied.
pub(super) fn where_all_lies(setting: Setting, folder: &Folder) -> String {
    let lead = "Shop file, scenarios, traces with their truth, and the journal in data:";
    let end = "They stay there until you remove that folder.";
    format!(
        "{}\n    {}\n{}\n",
        setting.wrap("  ", 2, lead),
        folder.path().display(),
        setting.wrap("  ", 2, end)
    )
}

/// A line for each batch.
fn table(reader: &Reader) -> Result<String, ReadError> {
    let mut text = format!(
        "  {:<16} {:>6} {:>6} {:>12} {:>11} {:>9} {:>9}\n",
        "batch", "prints", "cured", "under-cured", "overheated", "unproven", "measured"
    );
    for batch in reader.batches(Batches::All)? {
        let number = batch.batch.batch;
        let query = PassQuery {
            batch: Some(number),
            ..PassQuery::default()
        };
        let passes = reader.passes(&query)?;
        let judged = || passes.iter().filter_map(|kept| kept.pass.judged.as_ref());
        let of = |verdict: &str| figure(judged().filter(|own| own.verdict == verdict).count());
        text += &format!(
            "  {:<16} {:>6} {:>6} {:>12} {:>11} {:>9} {:>9}\n",
            format!("{number} {}", batch.batch.job),
            passes.len(),
            of("cured"),
            of("under-cured"),
            of("overheated"),
            of("unproven"),
            figure(judged().filter(|own| own.evidence == "measured").count()),
        );
    }
    Ok(text)
}

/// A count, zero as a dash.
fn figure(count: usize) -> String {
    match count {
        0 => "-".to_owned(),
        count => count.to_string(),
    }
}

fn held(reader: &Reader, hold: &KeptHold) -> Result<String, ReadError> {
    let mut prints = Vec::new();
    for pass in &hold.passes {
        let kept = reader.pass(*pass)?;
        let print = kept.and_then(|kept| kept.pass.print);
        prints.push(print.map_or("?".to_owned(), |print| print.to_string()));
    }
    let why = match hold.hold.evidence.as_str() {
        "none" => format!("{}, no probe saw it", hold.hold.verdict),
        _ => hold.hold.verdict.clone(),
    };
    Ok(format!(
        "hold {}, batch {}: {} {} ({why}; {})",
        hold.hold.hold,
        hold.hold.batch.unwrap_or(0),
        if prints.len() == 1 { "print" } else { "prints" },
        prints.join(", "),
        can_be_done(&hold.hold.verdict)
    ))
}

fn against_truth(tally: &Tally) -> String {
    let wrong = match tally.wrong {
        0 => "all of them are true".to_owned(),
        wrong => format!("{wrong} of them are WRONG"),
    };
    format!(
        "held against the simulation's truth: {} verdicts that claim to know, {wrong}; {} times Inkdwell \
         said that nobody knows",
        tally.sure, tally.unproven
    )
}
