//! What is to be done, the most urgent first.

use inkdwell_daemon::api::view::{StationNowView, ToDoView};
use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::{Line, Text};

use super::{Scene, heading, wrapped};

/// How many lines of what is to be done, and of what else is to be known of it, from much room to little.
const LINES: [(usize, usize); 5] = [(2, 4), (2, 2), (2, 1), (2, 0), (1, 0)];

pub(super) fn draw(frame: &mut Frame<'_>, scene: &Scene, station: &StationNowView, area: Rect) {
    let mut lines = vec![heading("To do")];
    if station.to_do.is_empty() {
        lines.push(Line::from("Nothing. Keep printing."));
    }
    let room = usize::from(area.height.saturating_sub(1));
    // Where not all of it fits, less is told of each thing: none is to be missed.
    let mut told: Vec<Line<'static>> = Vec::new();
    for most in LINES {
        let to_do = station.to_do.iter();
        told = to_do
            .flat_map(|to_do| self::told(scene, to_do, area.width, most))
            .collect();
        if told.len() <= room {
            break;
        }
    }
    if told.len() > room {
        let more = told.len() - room.saturating_sub(1);
        told.truncate(room.saturating_sub(1));
        told.push(Line::from(format!("… and {more} more")));
    }
    lines.extend(told);
    frame.render_widget(Text::from(lines), area);
}

/// A thing that is to be done, in at most so many lines, and what else is to be known of it.
fn told(
    scene: &Scene,
    to_do: &ToDoView,
    width: u16,
    (most, most_more): (usize, usize),
) -> Vec<Line<'static>> {
    let mark = to_do.mark.as_deref().unwrap_or("→");
    let what = format!("{mark} {}", to_do.what);
    let tone = scene.tone(&to_do.tone);
    let what = wrapped(&what, width, most).into_iter();
    let mut lines: Vec<Line<'static>> = what.map(|line| Line::styled(line, tone)).collect();
    if most_more > 0 {
        let more = wrapped(&to_do.more, width.saturating_sub(2), most_more).into_iter();
        lines.extend(more.map(|line| Line::from(format!("  {line}"))));
    }
    lines
}
