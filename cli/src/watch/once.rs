//! What is seen now, as plain text.

use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::buffer::Buffer;

use super::WatchArguments;
use super::contact::look;
use super::view::{self, Scene};
use crate::Outcome;
use crate::client::Client;
use crate::failure::Failure;
use crate::terminal::print;

/// A station is drawn in so many lines.
const LINES: u16 = 24;

pub(super) fn run(typed: &WatchArguments) -> Result<Outcome, Failure> {
    let client = Client::find(&typed.daemon)?;
    let now = look(&client, typed.station.as_deref())?;
    let width = terminal_size::terminal_size().map_or(80, |(width, _)| width.0);
    let mut text = String::new();
    for number in 0..now.stations.len() {
        let mut scene = Scene::new(false);
        scene.one(now.clone(), number);
        text += &drawn(&scene, width.clamp(60, 160), LINES)?;
        text.push('\n');
    }
    text += &now.caution;
    text.push('\n');
    print(&text)?;
    let held = now.stations.iter().flat_map(|station| &station.to_do);
    Ok(match held.into_iter().any(|to_do| to_do.hold.is_some()) {
        true => Outcome::Finding,
        false => Outcome::Fine,
    })
}

fn drawn(scene: &Scene, width: u16, height: u16) -> Result<String, Failure> {
    let odd = |error| Failure::new(format!("the picture cannot be drawn ({error})"));
    let mut terminal = Terminal::new(TestBackend::new(width, height)).map_err(odd)?;
    terminal
        .draw(|frame| view::draw(frame, scene))
        .map_err(odd)?;
    Ok(plain(terminal.backend().buffer()))
}

/// The letters of a screen, without what is empty at the ends of lines and below.
pub(super) fn plain(buffer: &Buffer) -> String {
    let area = buffer.area;
    let lines = (area.top()..area.bottom()).map(|y| {
        let cells = (area.left()..area.right()).map(|x| buffer[(x, y)].symbol());
        cells.collect::<String>().trim_end().to_owned()
    });
    let text = lines.collect::<Vec<_>>().join("\n");
    text.trim_end().to_owned() + "\n"
}
