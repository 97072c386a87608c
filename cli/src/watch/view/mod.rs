//! How everything looks.
//!
//! From top to bottom as the eye goes: the state in large words, readable from across the room; then what is
//! in the heat beside what has left it and what is to be done; then the batch, and the keys.

mod dialog;
mod heat;
mod help;
mod left;
mod overview;
mod says;
#[cfg(test)]
pub(super) mod tests;
mod todo;

use std::time::Instant;

use inkdwell_config::display::Units;
use inkdwell_daemon::api::view::{NowView, ProgressView, StationNowView, ToDoView};
use ratatui::Frame;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::{Color, Modifier, Style, Stylize};
use ratatui::text::{Line, Span};
use ratatui::widgets::Paragraph;

use super::keys::Mode;

/// The daemon is not heard.
#[derive(Debug)]
pub(super) struct Lost {
    pub(super) since: Instant,
    pub(super) why: String,
}

/// Everything that is on the screen.
#[derive(Debug)]
pub(super) struct Scene {
    /// How everything is, or was when it was heard last.
    pub(super) now: Option<NowView>,
    pub(super) lost: Option<Lost>,
    /// The station that is looked at; all of them where it is none.
    pub(super) only: Option<String>,
    pub(super) mode: Mode,
    /// What was said last, and when.
    pub(super) said: Option<(String, Instant)>,
    /// Who sits at the keys.
    pub(super) by: Option<String>,
    colour: bool,
}

impl Scene {
    pub(super) fn new(colour: bool) -> Scene {
        Scene {
            now: None,
            lost: None,
            only: None,
            mode: Mode::Looking,
            said: None,
            by: None,
            colour,
        }
    }

    /// Looks at one station.
    pub(super) fn one(&mut self, now: NowView, number: usize) {
        self.only = now.stations.get(number).map(|own| own.station.clone());
        self.now = Some(now);
    }

    pub(super) fn say(&mut self, sentence: String) {
        self.said = Some((sentence, Instant::now()));
    }

    /// The station that is looked at; `None` while all of them are.
    pub(super) fn shown(&self) -> Option<&StationNowView> {
        let stations = &self.now.as_ref()?.stations;
        match &self.only {
            Some(only) => stations.iter().find(|own| own.station == *only),
            None if stations.len() == 1 => stations.first(),
            None => None,
        }
    }

    /// Goes on to the next station, or back; all of them stand between the last and the first.
    pub(super) fn turn(&mut self, by: isize) {
        let Some(now) = &self.now else {
            return;
        };
        let places = now.stations.len() as isize + 1;
        let own = self.only.as_ref();
        let place = own.and_then(|only| now.stations.iter().position(|own| own.station == *only));
        let place = place.map_or(0, |place| place as isize + 1);
        let next = (place + by).rem_euclid(places);
        let chosen = usize::try_from(next - 1).ok();
        self.only = chosen.map(|number| now.stations[number].station.clone());
    }

    /// What is to be done on the screen.
    fn to_do(&self) -> impl Iterator<Item = &ToDoView> {
        let stations = match (self.shown(), &self.now) {
            (Some(one), _) => std::slice::from_ref(one),
            (None, Some(now)) => &now.stations,
            (None, None) => &[],
        };
        stations.iter().flat_map(|station| &station.to_do)
    }

    /// The open holds on the screen.
    pub(super) fn holds(&self) -> Vec<u64> {
        self.to_do().filter_map(|to_do| to_do.hold).collect()
    }

    /// The alarms on the screen; one of the whole shop stands at every station, and here once.
    pub(super) fn alarms(&self) -> Vec<&ToDoView> {
        let mut alarms: Vec<&ToDoView> = Vec::new();
        for to_do in self.to_do().filter(|to_do| to_do.alarm.is_some()) {
            if !alarms.iter().any(|own| own.alarm == to_do.alarm) {
                alarms.push(to_do);
            }
        }
        alarms
    }

    fn units(&self) -> Units {
        match self.now.as_ref().is_some_and(|now| now.us_units) {
            true => Units::Us,
            false => Units::Metric,
        }
    }

    /// How a tone looks. No meaning rests on it alone.
    fn tone(&self, tone: &str) -> Style {
        let style = Style::new().add_modifier(Modifier::BOLD);
        if !self.colour {
            return style;
        }
        match tone {
            "good" => style.fg(Color::Cyan),
            "under" => style.fg(Color::Blue),
            "over" => style.fg(Color::Red),
            "unproven" => style.fg(Color::Yellow),
            _ => style,
        }
    }
}

/// Draws everything.
pub(super) fn draw(frame: &mut Frame<'_>, scene: &Scene) {
    let area = frame.area();
    let [head, body, foot] = Layout::vertical([
        Constraint::Length(1),
        Constraint::Min(0),
        Constraint::Length(2),
    ])
    .areas(area);
    draw_head(frame, scene, head);
    match (scene.shown(), &scene.now) {
        (Some(station), _) => draw_station(frame, scene, station, body),
        (None, Some(now)) => overview::draw(frame, scene, now, body),
        (None, None) => frame.render_widget("Looking for the daemon ...", body),
    }
    draw_foot(frame, scene, foot);
    match &scene.mode {
        Mode::Looking => {}
        Mode::Help => help::draw(frame, scene, area),
        Mode::Settling(form) => dialog::settle(frame, scene, form, area),
        Mode::Batch(form) => dialog::batch(frame, scene, form, area),
        Mode::Shelving(form) => dialog::shelve(frame, scene, form, area),
    }
}

/// Shop, station and time.
fn draw_head(frame: &mut Frame<'_>, scene: &Scene, area: Rect) {
    let Some(now) = &scene.now else {
        return;
    };
    let place = scene.shown().map_or("all stations", |own| &own.name);
    let clock = hour(&now.now.at);
    let width = usize::from(area.width);
    let left = clipped(
        &format!("{} · {place}", now.shop),
        width.saturating_sub(clock.len() + 2),
    );
    let gap = width.saturating_sub(letters(&left) + clock.len());
    let line = Line::from(vec![
        Span::from(left).bold(),
        Span::from(" ".repeat(gap)),
        Span::from(clock),
    ]);
    frame.render_widget(line, area);
}

/// The state, and below it the three parts.
fn draw_station(frame: &mut Frame<'_>, scene: &Scene, station: &StationNowView, area: Rect) {
    let large = area.height >= 20 && area.width >= 60;
    let state = if large { 7 } else { 3 };
    let [state, rest, batch] = Layout::vertical([
        Constraint::Length(state),
        Constraint::Min(0),
        Constraint::Length(1),
    ])
    .areas(area);
    says::draw(frame, scene, &station.says, state, large);
    if rest.width >= 110 {
        let [in_heat, out, to_do] = Layout::horizontal([
            Constraint::Fill(5),
            Constraint::Fill(3),
            Constraint::Fill(4),
        ])
        .spacing(2)
        .areas(rest);
        heat::draw(frame, scene, station, in_heat);
        left::draw(frame, scene, station, out);
        todo::draw(frame, scene, station, to_do);
    } else {
        let [in_heat, beside] =
            Layout::horizontal([Constraint::Percentage(52), Constraint::Fill(1)])
                .spacing(2)
                .areas(rest);
        let [out, to_do] =
            Layout::vertical([Constraint::Length(left::LINES), Constraint::Min(0)]).areas(beside);
        heat::draw(frame, scene, station, in_heat);
        left::draw(frame, scene, station, out);
        todo::draw(frame, scene, station, to_do);
    }
    frame.render_widget(progress(scene, station.batch.as_ref(), batch.width), batch);
}

/// How far the batch is, in a line.
fn progress(scene: &Scene, batch: Option<&ProgressView>, width: u16) -> Line<'static> {
    let Some(batch) = batch else {
        return Line::from("No batch is open; b opens one.").italic();
    };
    let done = match batch.of {
        Some(of) => format!("{} of {of} done", batch.done),
        None => format!("{} done", batch.done),
    };
    let counts = format!("  {done}, {} good, ", batch.good);
    let pull = format!("{} to pull", batch.to_pull);
    let bar = batch
        .of
        .filter(|of| *of > 0)
        .map(|of| bar(batch.done, of, 12));
    let room = usize::from(width)
        .saturating_sub(letters(&counts) + letters(&pull) + if bar.is_some() { 14 } else { 0 });
    let mut line = vec![
        Span::from(clipped(&batch.job, room)).bold(),
        Span::from(counts),
        match batch.to_pull {
            0 => Span::from(pull),
            _ => Span::styled(pull, scene.tone("over")),
        },
    ];
    line.extend(bar.map(|bar| Span::from(format!("  {bar}"))));
    Line::from(line)
}

/// A share as a bar of so many letters.
fn bar(part: u64, of: u64, width: u64) -> String {
    let full = (part.min(of) * width / of.max(1)) as usize;
    "█".repeat(full) + &"░".repeat(width as usize - full)
}

/// What was said last, and the keys.
fn draw_foot(frame: &mut Frame<'_>, scene: &Scene, area: Rect) {
    let said = scene.said.as_ref().map_or("", |(said, _)| said);
    let width = usize::from(area.width);
    let keys = match (
        &scene.mode,
        scene.now.as_ref().map_or(0, |now| now.stations.len()),
    ) {
        (Mode::Looking, 2..) => {
            "? keys   a seen   z shelve   h holds   b batch   Tab next station   q end"
        }
        (Mode::Looking, _) => "? keys   a seen   z shelve   h holds   b batch   q end",
        _ => "Esc back",
    };
    let lines = vec![
        Line::from(clipped(said, width)).bold(),
        Line::from(clipped(keys, width)).dim(),
    ];
    frame.render_widget(Paragraph::new(lines), area);
}

/// The hour of a moment's wall clock.
fn hour(at: &str) -> String {
    at.chars().skip(11).take(8).collect()
}

/// How many columns a text takes, as far as this program's words go.
fn letters(text: &str) -> usize {
    text.chars().count()
}

/// A text with no control characters, cut where the room ends.
fn clipped(text: &str, width: usize) -> String {
    let text: String = text
        .chars()
        .map(|letter| if letter.is_control() { ' ' } else { letter })
        .collect();
    if letters(&text) <= width {
        return text;
    }
    let cut: String = text.chars().take(width.saturating_sub(1)).collect();
    match width {
        0 => String::new(),
        _ => cut + "…",
    }
}

/// A text in lines of at most so many columns, at most so many lines.
fn wrapped(text: &str, width: u16, most: usize) -> Vec<String> {
    let clean: String = text
        .chars()
        .map(|letter| if letter.is_control() { ' ' } else { letter })
        .collect();
    let lines = textwrap::wrap(&clean, usize::from(width.max(1)));
    let more = lines.len() > most;
    let mut lines: Vec<String> = lines.into_iter().take(most).map(String::from).collect();
    if let (true, Some(last)) = (more, lines.last_mut()) {
        let room = usize::from(width).saturating_sub(1);
        *last = last.chars().take(room).collect::<String>() + "…";
    }
    lines
}

/// The heading of a part.
fn heading(text: &str) -> Line<'static> {
    Line::from(text.to_owned()).bold().underlined()
}
