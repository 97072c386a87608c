//! What is typed: settling a hold, opening and closing a batch.

use inkdwell_daemon::api::view::ToDoView;
use inkdwell_daemon::record::Settled;
use ratatui::Frame;
use ratatui::layout::{Constraint, Flex, Layout, Rect};
use ratatui::style::Stylize;
use ratatui::text::{Line, Text};
use ratatui::widgets::{Block, Clear};

use super::super::keys::{BatchForm, FIELDS, Settling, Shelving};
use super::{Scene, clipped, wrapped};

/// A place in the middle, no larger than the screen.
pub(super) fn within(area: Rect, width: u16, height: u16) -> Rect {
    let [row] = Layout::vertical([Constraint::Max(height)])
        .flex(Flex::Center)
        .areas(area);
    let [place] = Layout::horizontal([Constraint::Max(width)])
        .flex(Flex::Center)
        .areas(row);
    place
}

/// Clears a place, frames it, and gives what is inside.
pub(super) fn opened(frame: &mut Frame<'_>, title: &str, area: Rect) -> Rect {
    let block = Block::bordered().title(format!(" {title} ").bold());
    let inner = block.inner(area);
    frame.render_widget(Clear, area);
    frame.render_widget(block, area);
    inner
}

pub(super) fn settle(frame: &mut Frame<'_>, scene: &Scene, form: &Settling, area: Rect) {
    let stations = scene.now.iter().flat_map(|now| &now.stations);
    let holds = scene.holds();
    let to_do = stations.flat_map(|station| &station.to_do);
    let held: Vec<&ToDoView> = to_do
        .filter(|to_do| to_do.hold.is_some_and(|hold| holds.contains(&hold)))
        .collect();
    let inner = opened(frame, "Settle a hold", within(area, 72, 16));
    let width = usize::from(inner.width);
    // The chosen one stays in sight.
    let room = usize::from(inner.height.saturating_sub(6)).max(1);
    let first = form.chosen.saturating_sub(room - 1);
    let mut lines: Vec<Line<'_>> = Vec::new();
    for (number, to_do) in held.iter().enumerate().skip(first).take(room) {
        let is_chosen = number == form.chosen;
        let text = format!(
            "{} hold {}: {}",
            if is_chosen { "▶" } else { " " },
            to_do.hold.unwrap_or_default(),
            to_do.what
        );
        let line = Line::from(clipped(&text, width));
        lines.push(if is_chosen { line.bold() } else { line });
    }
    if let Some(to_do) = held.get(form.chosen) {
        let more = wrapped(&to_do.more, inner.width, 2).into_iter();
        lines.extend(more.map(|line| Line::from(line).italic()));
    }
    lines.push(Line::from(""));
    match form.outcome {
        None => lines.push(Line::from(
            "r sent through again   s scrapped   g found good",
        )),
        Some(outcome) => {
            lines.push(Line::from(match outcome {
                Settled::ReRun => "Sent through the heat once more. Why?",
                Settled::Scrapped => "Scrapped. Why?",
                Settled::Released => "Found good by other means. Why?",
            }));
            lines.push(field(&form.why, true, width));
        }
    }
    if form.sent {
        lines.push(Line::from("..."));
    }
    frame.render_widget(Text::from(lines), inner);
}

pub(super) fn batch(frame: &mut Frame<'_>, scene: &Scene, form: &BatchForm, area: Rect) {
    let inner = opened(
        frame,
        &format!("Batch at {}", form.station),
        within(area, 64, 12),
    );
    let width = usize::from(inner.width);
    let mut lines = Vec::new();
    if let Some(open) = form.open {
        let job = scene.shown().and_then(|own| own.batch.as_ref());
        let job = job.map_or("", |batch| &batch.job);
        lines.push(Line::from(clipped(
            &format!("Batch {open}, {job}, is open."),
            width,
        )));
        lines.push(Line::from(""));
        lines.push(Line::from(
            "Enter closes it   n opens the next, which closes it too",
        ));
    } else {
        for (number, (name, text)) in FIELDS.iter().zip(&form.fields).enumerate() {
            let is_typed = number == form.field;
            let mut line = Line::from(format!("{name:10}"));
            line.extend(field(text, is_typed, width.saturating_sub(10)));
            lines.push(line);
        }
        lines.push(Line::from(""));
        lines.push(Line::from("Tab goes on, Enter behind the last opens it."));
        lines.push(Line::from(
            "Ink and fabric by their ids: `inkdwell inks`, `inkdwell fabrics`.",
        ));
    }
    if form.sent {
        lines.push(Line::from("..."));
    }
    frame.render_widget(Text::from(lines), inner);
}

pub(super) fn shelve(frame: &mut Frame<'_>, form: &Shelving, area: Rect) {
    let inner = opened(frame, "Shelve an alarm", within(area, 64, 8));
    let width = usize::from(inner.width);
    let mut lines = vec![
        Line::from(clipped(
            &format!("{} says nothing for an hour. Why?", form.alarm),
            width,
        )),
        field(&form.why, true, width),
        Line::from(""),
        Line::from("Its cause goes on meanwhile: somebody keeps an eye on it.").italic(),
    ];
    if form.sent {
        lines.push(Line::from("..."));
    }
    frame.render_widget(Text::from(lines), inner);
}

/// A field with its end in sight.
fn field(text: &str, is_typed: bool, width: usize) -> Line<'static> {
    let room = width.saturating_sub(2);
    let skipped = text.chars().count().saturating_sub(room);
    let shown: String = text.chars().skip(skipped).collect();
    let cursor = if is_typed { "▏" } else { "" };
    let line = Line::from(format!("{shown}{cursor}"));
    if is_typed { line.bold() } else { line }
}
