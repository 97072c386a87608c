//! What is to be done, the most urgent first.

use inkdwell_daemon::api::view::{StationNowView, ToDoView};
use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::{Line, Text};

use super::{Scene, heading, wrapped};

/// The most lines of one thing.
const MOST: usize = 4;

pub(super) fn draw(frame: &mut Frame<'_>, scene: &Scene, station: &StationNowView, area: Rect) {
    let mut lines = vec![heading("To do")];
    if station.to_do.is_empty() {
        lines.push(Line::from("Nothing. Keep printing."));
    }
    let all = |scene: &Scene, most: usize| {
        let to_do = station.to_do.iter();
        let told = to_do.flat_map(|to_do| told(scene, to_do, area.width, most));
        told.collect::<Vec<_>>()
    };
    let room = usize::from(area.height.saturating_sub(1));
    let full = all(scene, MOST);
    // Where not all of it fits, each thing is told in a line: none is to be missed.
    let mut told = if full.len() <= room {
        full
    } else {
        all(scene, 0)
    };
    if told.len() > room {
        let more = told.len() - room.saturating_sub(1);
        told.truncate(room.saturating_sub(1));
        told.push(Line::from(format!("… and {more} more")));
    }
    lines.extend(told);
    frame.render_widget(Text::from(lines), area);
}

/// A thing that is to be done, and at most so many lines of what else is to be known of it.
fn told(scene: &Scene, to_do: &ToDoView, width: u16, most: usize) -> Vec<Line<'static>> {
    let mark = to_do.mark.as_deref().unwrap_or("→");
    let what = format!("{mark} {}", to_do.what);
    let tone = scene.tone(&to_do.tone);
    let what = wrapped(&what, width, if most == 0 { 1 } else { 2 }).into_iter();
    let mut lines: Vec<Line<'static>> = what.map(|line| Line::styled(line, tone)).collect();
    if most > 0 {
        let more = wrapped(&to_do.more, width.saturating_sub(2), most).into_iter();
        lines.extend(more.map(|line| Line::from(format!("  {line}"))));
    }
    lines
}
