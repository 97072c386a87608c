//! What is typed: settling a hold, opening and closing a batch.

use inkdwell_daemon::api::view::ToDoView;
use inkdwell_daemon::record::Settled;
use ratatui::Frame;
use ratatui::layout::{Constraint, Flex, Layout, Rect};
use ratatui::style::Stylize;
use ratatui::text::{Line, Text};
use ratatui::widgets::{Block, Clear};

use super::super::keys::{BatchForm, FIELDS, Settling, Shelving, USUAL_MINUTES, most_minutes};
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
        within(area, 66, 14),
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
        let fields = FIELDS.iter().zip(&form.fields).take(form.asked());
        for (number, (name, text)) in fields.enumerate() {
            let is_typed = number == form.field;
            let mut line = Line::from(format!("{name:10}"));
            line.extend(field(text, is_typed, width.saturating_sub(10)));
            lines.push(line);
        }
        lines.push(Line::from(""));
        lines.push(Line::from("Tab goes on, Enter behind the last opens it."));
        let told = "Job, ink and fabric are needed; ink and fabric by their ids (`inkdwell inks`, \
                    `inkdwell fabrics`), a recipe by its number.";
        let told = wrapped(told, inner.width, 3).into_iter();
        lines.extend(told.map(Line::from));
    }
    if form.sent {
        lines.push(Line::from("..."));
    }
    frame.render_widget(Text::from(lines), inner);
}

pub(super) fn shelve(frame: &mut Frame<'_>, scene: &Scene, form: &Shelving, area: Rect) {
    let alarms = scene.alarms();
    let inner = opened(frame, "Put an alarm aside", within(area, 68, 15));
    let width = usize::from(inner.width);
    let own = alarms
        .iter()
        .position(|to_do| to_do.alarm.as_ref() == Some(&form.alarm));
    // The chosen one stays in sight.
    let room = usize::from(inner.height.saturating_sub(6)).max(1);
    let first = own.unwrap_or(0).saturating_sub(room - 1);
    let mut lines = Vec::new();
    for (number, to_do) in alarms.iter().enumerate().skip(first).take(room) {
        let is_chosen = own == Some(number);
        let chosen = if is_chosen { "▶" } else { " " };
        let name = to_do.alarm.as_deref().unwrap_or_default();
        let line = Line::from(clipped(&format!("{chosen} {name}"), width));
        lines.push(if is_chosen { line.bold() } else { line });
    }
    if own.is_none() {
        let gone = format!("{} stands no more; Esc goes back.", form.alarm);
        lines.push(Line::from(clipped(&gone, width)));
    }
    let most = most_minutes(scene);
    let minutes = match (form.minutes.as_str(), form.is_at_why) {
        ("", true) => USUAL_MINUTES.min(most).to_string(),
        (typed, _) => typed.to_owned(),
    };
    let mut time = Line::from("minutes   ");
    time.extend(field(&minutes, !form.is_at_why, 8));
    time.extend(Line::from(format!(
        "  ({USUAL_MINUTES} if none are typed; {most} at most)"
    )));
    let mut why = Line::from("why       ");
    why.extend(field(&form.why, form.is_at_why, width.saturating_sub(10)));
    lines.extend([Line::from(""), time, why, Line::from("")]);
    let cause = "Its cause goes on meanwhile: somebody keeps an eye on it.";
    lines.push(Line::from(clipped(cause, width)).italic());
    let keys = "↑ ↓ another alarm   Tab goes on   Enter behind the reason does it";
    lines.push(Line::from(clipped(
        if form.sent { "..." } else { keys },
        width,
    )));
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
