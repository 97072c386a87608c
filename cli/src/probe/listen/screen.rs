//! The live view: what each channel shows, and below it what comes beside what it is taken for.

use std::collections::VecDeque;
use std::time::{Duration, Instant};

use ratatui::DefaultTerminal;
use ratatui::Frame;
use ratatui::crossterm::event::{self, Event, KeyCode, KeyEventKind, KeyModifiers};
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::{Modifier, Style};
use ratatui::text::{Line, Span};
use ratatui::widgets::{Paragraph, Row, Table, Wrap};
use tokio::sync::mpsc::Receiver;
use tokio::sync::mpsc::error::TryRecvError;

use super::declared_at::Known;
use super::heard::Heard;
use super::lines::{counts, rate, sides};
use super::shown::shown;
use super::tally::Tally;
use crate::failure::Failure;

/// Keys and what was heard are looked for this often.
const TURN: Duration = Duration::from_millis(50);
/// The clock goes on though nothing is heard.
const REDRAW: Duration = Duration::from_millis(500);
/// So many of the last things that were heard can be on a screen.
const KEPT: usize = 400;

/// Everything that is on the screen.
pub(super) struct Scene<'a> {
    pub(super) name: String,
    pub(super) known: &'a Known,
    pub(super) tally: Tally,
    last: VecDeque<(String, Option<String>)>,
    begun: Instant,
    /// What is wrong now, if anything.
    trouble: Option<String>,
    held: bool,
}

impl Scene<'_> {
    pub(super) fn new(name: String, known: &Known) -> Scene<'_> {
        Scene {
            name,
            known,
            tally: Tally::default(),
            last: VecDeque::new(),
            begun: Instant::now(),
            trouble: None,
            held: false,
        }
    }

    pub(super) fn take(&mut self, heard: &Heard) {
        self.tally.count(self.begun.elapsed(), heard);
        match heard {
            Heard::Trouble(why) => self.trouble = Some(shown(why.as_bytes())),
            Heard::Open(_) => self.trouble = None,
            heard if matches!(heard.taken(), Some(Ok(_))) => self.trouble = None,
            _ => {}
        }
        if self.held {
            return;
        }
        if self.last.len() == KEPT {
            self.last.pop_front();
        }
        self.last.push_back(sides(heard));
    }
}

/// Shows what is heard until somebody ends it, the time is over, or the wire cannot be heard any more.
pub(super) fn show(
    scene: &mut Scene<'_>,
    heard: &mut Receiver<Heard>,
    until: Option<Duration>,
) -> Result<(), Failure> {
    let mut terminal = ratatui::try_init()
        .map_err(|error| Failure::new(format!("the terminal cannot be had ({error})")))?;
    let ended = follow(&mut terminal, scene, heard, until);
    ratatui::restore();
    ended.map_err(|error| Failure::new(format!("the terminal is gone ({error})")))
}

fn follow(
    terminal: &mut DefaultTerminal,
    scene: &mut Scene<'_>,
    heard: &mut Receiver<Heard>,
    until: Option<Duration>,
) -> std::io::Result<()> {
    let mut drawn: Option<Instant> = None;
    loop {
        let mut changed = false;
        // A flood is drawn once in a turn, not once a line.
        for _ in 0..2000 {
            match heard.try_recv() {
                Ok(heard) => scene.take(&heard),
                Err(TryRecvError::Empty) => break,
                Err(TryRecvError::Disconnected) => return Ok(()),
            }
            changed = true;
        }
        if until.is_some_and(|until| scene.begun.elapsed() >= until) {
            return Ok(());
        }
        if event::poll(TURN)? {
            changed = true;
            match event::read()? {
                Event::Key(key) if key.kind != KeyEventKind::Release => {
                    let control = key.modifiers.contains(KeyModifiers::CONTROL);
                    match key.code {
                        KeyCode::Char('c') if control => return Ok(()),
                        KeyCode::Char('q') | KeyCode::Esc => return Ok(()),
                        KeyCode::Char(' ') => scene.held = !scene.held,
                        _ => {}
                    }
                }
                _ => {}
            }
        }
        if changed || drawn.is_none_or(|drawn| drawn.elapsed() >= REDRAW) {
            terminal.draw(|frame| draw(frame, scene))?;
            drawn = Some(Instant::now());
        }
    }
}

/// What comes takes so many hundredths of the width; what it is taken for, the rest.
const RAW: u16 = 42;
const STRONG: Style = Style::new().add_modifier(Modifier::BOLD);

fn draw(frame: &mut Frame<'_>, scene: &Scene<'_>) {
    let channels = scene.tally.channels.len().clamp(1, 8) as u16;
    let counted = counts(&scene.tally);
    let trouble = u16::from(scene.trouble.is_some()) * 2;
    let foot = (counted.len() as u16).clamp(1, 5) + 1;
    let [head, wrong, table, wire, sum] = Layout::vertical([
        Constraint::Length(2),
        Constraint::Length(trouble),
        Constraint::Length(channels + 2),
        Constraint::Min(3),
        Constraint::Length(foot),
    ])
    .areas(frame.area());
    draw_head(frame, scene, head);
    if let Some(trouble) = &scene.trouble {
        let words = Paragraph::new(trouble.as_str()).style(STRONG);
        frame.render_widget(words.wrap(Wrap { trim: true }), wrong);
    }
    draw_channels(frame, scene, table);
    draw_wire(frame, scene, wire);
    let [counts_at, keys_at] =
        Layout::vertical([Constraint::Min(0), Constraint::Length(1)]).areas(sum);
    frame.render_widget(Paragraph::new(counted.join("\n")), counts_at);
    let keys = match scene.held {
        true => "HELD: what comes is counted, not shown. Space goes on, q ends",
        false => "Space holds what is shown, q or Ctrl-C ends",
    };
    frame.render_widget(Line::from(keys), keys_at);
}

fn draw_head(frame: &mut Frame<'_>, scene: &Scene<'_>, area: Rect) {
    let seconds = scene.begun.elapsed().as_secs();
    let clock = format!("{} min {:02} s", seconds / 60, seconds % 60);
    let [name_at, clock_at] =
        Layout::horizontal([Constraint::Min(0), Constraint::Length(clock.len() as u16)])
            .areas(area);
    let name = shown(scene.name.as_bytes());
    frame.render_widget(Line::from(Span::styled(name, STRONG)), name_at);
    frame.render_widget(Line::from(clock), clock_at);
}

fn draw_channels(frame: &mut Frame<'_>, scene: &Scene<'_>, area: Rect) {
    let silent = scene
        .known
        .channels()
        .filter(|name| !scene.tally.channels.contains_key(*name));
    let heard = scene.tally.channels.iter().map(|(name, channel)| {
        Row::new([
            shown(name.as_bytes()),
            channel.shows(),
            rate(channel.rate()),
            scene.known.what_is(name).to_owned(),
        ])
    });
    let silent = silent.map(|name| {
        Row::new([
            shown(name.as_bytes()),
            "not heard".to_owned(),
            "-".to_owned(),
            scene.known.what_is(name).to_owned(),
        ])
    });
    let widths = [
        Constraint::Length(20),
        Constraint::Length(16),
        Constraint::Length(9),
        Constraint::Min(0),
    ];
    let heads = Row::new(["channel", "shows", "a second", "what it is"]).style(STRONG);
    frame.render_widget(Table::new(heard.chain(silent), widths).header(heads), area);
}

/// The last things that came, the newest at the bottom.
fn draw_wire(frame: &mut Frame<'_>, scene: &Scene<'_>, area: Rect) {
    let [head, body] = Layout::vertical([Constraint::Length(1), Constraint::Min(0)]).areas(area);
    let columns = [Constraint::Percentage(RAW), Constraint::Min(0)];
    let heads = Row::new(["what comes", "what it is taken for"]).style(STRONG);
    frame.render_widget(Table::new([heads], columns), head);
    let (mut rows, mut left) = (Vec::new(), usize::from(body.height));
    let raw_width = usize::from(body.width * RAW / 100).saturating_sub(1).max(1);
    let taken_width = usize::from(body.width).saturating_sub(raw_width + 3).max(1);
    for (raw, taken) in scene.last.iter().rev() {
        let raw = cut(raw, raw_width);
        let taken = cut(taken.as_deref().unwrap_or_default(), taken_width);
        let height = raw.len().max(taken.len()).max(1);
        if left < height {
            break;
        }
        left -= height;
        let row = Row::new([raw.join("\n"), taken.join("\n")]);
        rows.push(row.height(height as u16));
    }
    rows.reverse();
    frame.render_widget(Table::new(rows, columns).column_spacing(1), body);
}

/// A text in pieces of so many letters; three of them at most.
fn cut(text: &str, width: usize) -> Vec<String> {
    let letters: Vec<char> = text.chars().collect();
    let pieces = letters.chunks(width).take(3);
    pieces.map(|piece| piece.iter().collect()).collect()
}

#[cfg(test)]
mod tests {
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;

    use super::*;
    use crate::probe::listen::heard::Reading;
    use inkdwell_daemon::intake::Value;

    fn text(scene: &Scene<'_>, columns: u16, rows: u16) -> String {
        let mut terminal = Terminal::new(TestBackend::new(columns, rows)).unwrap();
        terminal.draw(|frame| draw(frame, scene)).unwrap();
        let buffer = terminal.backend().buffer();
        let lines = buffer.content().chunks(usize::from(columns));
        let lines = lines.map(|cells| cells.iter().map(|cell| cell.symbol()).collect::<String>());
        lines.collect::<Vec<_>>().join("\n")
    }

    fn line(raw: &[u8], taken: Result<f64, &str>) -> Heard {
        let reading = |number| Reading {
            channel: "film".to_owned(),
            value: Value::Number(number),
            unit: Some("C".to_owned()),
        };
        Heard::Line {
            raw: raw.to_vec(),
            noise: usize::from(taken.is_err()),
            taken: taken
                .map(|number| vec![reading(number)])
                .map_err(str::to_owned),
        }
    }

    #[test]
    fn what_comes_stands_beside_what_it_is_taken_for_at_any_size() {
        let known = Known::default();
        let mut scene = Scene::new("the serial port /dev/ttyUSB0".to_owned(), &known);
        scene.take(&line(b"168.2 C", Ok(168.2)));
        scene.take(&line(b"\x1b[2J\xff68", Err("bytes of noise in it: 2")));
        let whole = text(&scene, 80, 24);
        for words in [
            "the serial port /dev/ttyUSB0",
            "film                 168.2 C",
            "<1B>[2J<FF>68",
            "not taken: bytes of noise in it: 2",
            "bytes of noise: 1",
            "q or Ctrl-C ends",
        ] {
            assert!(whole.contains(words), "{words}\n{whole}");
        }
        assert!(!whole.contains('\u{1b}'));
        for (columns, rows) in [(1, 1), (20, 3), (40, 10), (200, 60)] {
            text(&scene, columns, rows);
        }
    }

    #[test]
    fn what_is_held_is_counted_but_stands_still() {
        let known = Known::default();
        let mut scene = Scene::new("a port".to_owned(), &known);
        scene.take(&line(b"168.2", Ok(168.2)));
        scene.held = true;
        scene.take(&line(b"169.9", Ok(169.9)));
        let whole = text(&scene, 80, 24);
        assert!(
            !whole.contains("169.9  ") && whole.contains("HELD"),
            "{whole}"
        );
        assert_eq!(scene.tally.readings, 2);
    }
}
