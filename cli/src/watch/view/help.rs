//! The keys and the marks.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::style::Stylize;
use ratatui::text::{Line, Text};

use super::Scene;
use super::dialog::{opened, within};

const WORDS: [(&str, &str); 8] = [
    (
        "Tab, → ←",
        "the next station, the one before; all of them in between",
    ),
    ("a", "acknowledge the first alarm: somebody has seen it"),
    ("z", "shelve an alarm: which, for how long, and why"),
    ("h", "settle a hold: prints that were pulled"),
    ("b", "open or close a batch"),
    ("?", "this"),
    ("Esc", "back"),
    ("q", "end; the daemon goes on watching"),
];

const MARKS: [(&str, &str, &str); 5] = [
    ("●", "good", "proved cured, or gelled"),
    ("▽", "under", "under-cured, or flashed too little"),
    (
        "▲",
        "over",
        "overheated: scorched, dye migrated, shrunk, melted",
    ),
    ("◇", "unproven", "not proved either way"),
    ("·", "none", "not judged: no batch was open"),
];

pub(super) fn draw(frame: &mut Frame<'_>, scene: &Scene, area: Rect) {
    let mut lines: Vec<Line<'_>> = WORDS
        .iter()
        .map(|(key, what)| Line::from(format!("{key:10}{what}")))
        .collect();
    lines.push(Line::from(""));
    for (mark, tone, what) in MARKS {
        lines.push(Line::from(vec![
            ratatui::text::Span::styled(format!("{mark:10}"), scene.tone(tone)),
            what.into(),
        ]));
    }
    lines.push(Line::from(""));
    let caution = scene.now.as_ref().map_or("", |now| now.caution.as_str());
    let inside = within(area, 68, lines.len() as u16 + 6);
    let inner = opened(frame, "Keys and marks", inside);
    let caution = super::wrapped(caution, inner.width, 4).into_iter();
    lines.extend(caution.map(|line| Line::from(line).italic()));
    frame.render_widget(Text::from(lines), inner);
}
