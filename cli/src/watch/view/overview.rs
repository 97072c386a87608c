//! All stations, one below the other.

use inkdwell_daemon::api::view::{NowView, StationNowView};
use ratatui::Frame;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::Stylize;
use ratatui::text::{Line, Text};

use super::{Scene, clipped, left, progress, says, wrapped};

/// A station takes so many lines.
const LINES: u16 = 6;

pub(super) fn draw(frame: &mut Frame<'_>, scene: &Scene, now: &NowView, area: Rect) {
    if now.stations.is_empty() {
        frame.render_widget("The shop file declares no station yet.", area);
        return;
    }
    let room = usize::from((area.height / LINES).max(1));
    let fit = now.stations.len().min(room);
    let mut rows = vec![Constraint::Length(LINES); fit];
    rows.push(Constraint::Min(0));
    let rows = Layout::vertical(rows).split(area);
    for (station, row) in now.stations.iter().zip(rows.iter()).take(fit) {
        one(frame, scene, station, *row);
    }
    let more = now.stations.len() - fit;
    if more > 0 {
        let text = format!("… and {more} more: Tab goes to each");
        let last = Rect {
            y: area.bottom() - 1,
            height: 1,
            ..area
        };
        frame.render_widget(Line::from(text).italic(), last);
    }
}

fn one(frame: &mut Frame<'_>, scene: &Scene, station: &StationNowView, area: Rect) {
    let [name, state, rest] = Layout::vertical([
        Constraint::Length(1),
        Constraint::Length(2),
        Constraint::Min(0),
    ])
    .areas(area);
    let width = usize::from(area.width);
    frame.render_widget(
        Line::from(clipped(&station.name, width))
            .bold()
            .underlined(),
        name,
    );
    says::draw(frame, scene, &station.says, state, false);
    let mut lines = vec![left::strip(scene, &station.last, width)];
    lines.push(match station.to_do.first() {
        None => progress(scene, station.batch.as_ref(), area.width),
        Some(to_do) => {
            let what = format!("→ {} {}", to_do.what, to_do.more);
            let what = wrapped(&what, area.width, 1).concat();
            Line::styled(what, scene.tone(&to_do.tone))
        }
    });
    frame.render_widget(Text::from(lines), rest);
}
