//! What is to be done, the most urgent first.

use inkdwell_daemon::api::view::StationNowView;
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
    let room = usize::from(area.height);
    for (number, to_do) in station.to_do.iter().enumerate() {
        let left = station.to_do.len() - number;
        if lines.len() + 2 > room && left > 0 {
            lines.truncate(room.saturating_sub(1));
            lines.push(Line::from(format!("… and {left} more: press h")));
            break;
        }
        let mark = to_do.mark.as_deref().unwrap_or("→");
        let what = format!("{mark} {}", to_do.what);
        let tone = scene.tone(&to_do.tone);
        let what = wrapped(&what, area.width, 2).into_iter();
        lines.extend(what.map(|line| Line::styled(line, tone)));
        let more = wrapped(&to_do.more, area.width.saturating_sub(2), MOST).into_iter();
        lines.extend(more.map(|line| Line::from(format!("  {line}"))));
    }
    frame.render_widget(Text::from(lines), area);
}
