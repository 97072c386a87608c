//! What stands first: the answer, what to do, and all batches at a glance.

use super::super::words::per_cent;
use super::super::{Batch, Known, Report};
use super::{Block, Line, Row, Table, figures, heading, small, words};

/// Before any batch.
pub(super) fn first(report: &Report) -> Vec<Block> {
    let period = &report.period;
    let about = [
        report.shop.name.known().cloned(),
        Some(period.title.clone()),
        period.station.as_ref().map(|own| format!("station {own}")),
        period.job.as_ref().map(|own| format!("job “{own}”")),
    ];
    let about: Vec<String> = about.into_iter().flatten().collect();
    let mut blocks = vec![
        Block::About(about.join(" · ")),
        Block::Answer(report.answer.sentence.clone()),
    ];
    if !report.counts.is_empty() {
        blocks.push(Block::Counts(report.counts.clone()));
    }
    if !report.tomorrow.is_empty() {
        blocks.push(heading(2, "What to do tomorrow"));
        let steps = report.tomorrow.iter().map(|own| Line::marked(&own.what));
        blocks.push(Block::Steps(steps.collect()));
    }
    blocks.push(Block::Caution(report.caution.clone()));
    blocks.extend(report.remarks.iter().map(|own| small(Line::marked(own))));
    blocks.extend(overview(report));
    blocks
}

fn overview(report: &Report) -> Vec<Block> {
    if report.batches.len() < 2 {
        return Vec::new();
    }
    let columns = vec![
        figures("Batch", 0.8),
        words("Job", 1.6),
        words("Ink on fabric", 2.3),
        words("Station", 0.9),
        figures("Prints", 0.7),
        words("Verdicts", 1.7),
        figures("Good at least", 0.9),
        words("Holds", 0.9),
    ];
    let rows = report.batches.iter().map(|batch| {
        let share = match &batch.proof.good_at_least {
            Known::Is(share) => per_cent(*share),
            Known::Not { .. } => "not proved".to_owned(),
        };
        Row::from(vec![
            Line::default().link(format!("batch-{}", batch.batch), batch.batch.to_string()),
            Line::of(&*batch.job),
            Line::of(format!("{} on {}", batch.ink.name, batch.fabric.name)),
            Line::of(&*batch.station),
            Line::of(batch.proof.prints.to_string()),
            counts(batch),
            Line::of(share),
            Line::of(holds(batch)),
        ])
    });
    vec![
        heading(2, "Batches"),
        Table::of("batches", columns, rows.collect()),
        small(
            "Good at least: the exact binomial bound at 95 % confidence, from the prints that a probe saw.",
        ),
    ]
}

/// Each verdict on a line of its own.
fn counts(batch: &Batch) -> Line {
    let mut line = Line::default();
    for (place, count) in batch.counts.iter().enumerate() {
        if place > 0 {
            line = line.turn();
        }
        line = line
            .say(format!("{} ", count.prints))
            .verdict(&count.verdict, count.harm.as_deref());
    }
    line
}

fn holds(batch: &Batch) -> String {
    let open = batch.holds.iter().filter(|hold| hold.settled.is_none());
    match (batch.holds.len(), open.count()) {
        (0, _) => "none".to_owned(),
        (all, 0) => format!("{all}, settled"),
        (all, open) => format!("{all}, {open} open"),
    }
}
