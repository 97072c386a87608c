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
            let room = usize::from(area.height).saturating_sub(lines.len() + 1);
            // One line would tell nothing but that there are more.
            if room > 1 {
                lines.push(Line::from(""));
                let before = station.last.iter().skip(1).take(room);
                lines.extend(before.map(|left| row(scene, left, width)));
            }
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

/// One of those before the last, in a line.
fn row(scene: &Scene, left: &LeftView, width: usize) -> Line<'static> {
    let print = left
        .print
        .map_or_else(String::new, |print| print.to_string());
    let peak = left.peak_c.map_or_else(String::new, |peak| {
        format!(" {}", scene.units().temperature(Celsius(peak)))
    });
    let told = format!("{print:>4} {}{peak}", left.word);
    let mark = Span::styled(left.mark.clone(), scene.tone(&left.tone));
    Line::from(vec![
        mark,
        Span::from(clipped(&told, width.saturating_sub(1))),
    ])
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
