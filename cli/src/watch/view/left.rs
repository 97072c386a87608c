//! What has left the heat: the last print, and those before it as a strip of marks.

use inkdwell_config::quantity::Celsius;
use inkdwell_daemon::api::view::{LeftView, StationNowView};
use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::{Line, Span, Text};

use super::{Scene, clipped, heading, hour};

/// It takes so many lines where little room is.
pub(super) const LINES: u16 = 4;

pub(super) fn draw(frame: &mut Frame<'_>, scene: &Scene, station: &StationNowView, area: Rect) {
    let width = usize::from(area.width);
    let mut lines = vec![heading("Out of the heat")];
    match station.last.first() {
        None => lines.push(Line::from("nothing yet")),
        Some(last) => {
            lines.push(strip(scene, &station.last, width));
            let inferred = last.evidence.as_deref() == Some("inferred");
            let how = if inferred { ", inferred" } else { "" };
            let word = format!("{} {}, {}{how}", last.mark, last.name, last.word);
            lines.push(Line::styled(clipped(&word, width), scene.tone(&last.tone)));
            lines.push(Line::from(clipped(&figures(scene, last), width)));
        }
    }
    frame.render_widget(Text::from(lines), area);
}

/// The marks of the last prints, the newest next to the heat that it came from.
pub(super) fn strip(scene: &Scene, last: &[LeftView], width: usize) -> Line<'static> {
    let marks = last.iter().take(width / 2);
    let marks = marks.map(|left| Span::styled(format!("{} ", left.mark), scene.tone(&left.tone)));
    Line::from(marks.collect::<Vec<_>>())
}

fn figures(scene: &Scene, last: &LeftView) -> String {
    let out = hour(&last.out.at);
    match (last.peak_c, last.evidence.as_deref()) {
        (Some(peak), Some(evidence)) if evidence != "none" => {
            format!(
                "out {out}, peak {}",
                scene.units().temperature(Celsius(peak))
            )
        }
        (_, Some("none")) => format!("out {out}, no probe saw it"),
        _ => format!("out {out}"),
    }
}
