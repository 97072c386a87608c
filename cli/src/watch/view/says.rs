//! The state in large words.

use inkdwell_daemon::api::view::SaysView;
use ratatui::Frame;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::Stylize;
use ratatui::text::{Line, Text};
use tui_big_text::{BigText, PixelSize};

use super::{Scene, wrapped};

/// A large letter takes so many columns.
const LETTER: u16 = 4;

/// Draws it: large if there is room, else in one line.
pub(super) fn draw(frame: &mut Frame<'_>, scene: &Scene, says: &SaysView, area: Rect, large: bool) {
    let lost = scene.lost.as_ref().map(|lost| {
        let seconds = lost.since.elapsed().as_secs();
        SaysView {
            mark: "✕".to_owned(),
            tone: "over".to_owned(),
            large: "No contact".to_owned(),
            small: format!(
                "The daemon has not answered for {seconds} s; what stands here is old. {}",
                lost.why
            ),
        }
    });
    let says = lost.as_ref().unwrap_or(says);
    let style = scene.tone(&says.tone);
    let fits =
        says.large.is_ascii() && says.large.len() as u16 * LETTER <= area.width.saturating_sub(4);
    if !(large && fits) {
        let mut lines = vec![Line::styled(format!("{} {}", says.mark, says.large), style)];
        let more = wrapped(
            &says.small,
            area.width,
            usize::from(area.height.saturating_sub(1)),
        );
        lines.extend(more.into_iter().map(Line::from));
        frame.render_widget(Text::from(lines), area);
        return;
    }
    let [_, words, small] = Layout::vertical([
        Constraint::Length(1),
        Constraint::Length(4),
        Constraint::Length(2),
    ])
    .areas(area);
    let [mark, words] =
        Layout::horizontal([Constraint::Length(3), Constraint::Min(0)]).areas(words);
    let marks = vec![Line::from(""), Line::styled(says.mark.clone(), style)];
    frame.render_widget(Text::from(marks), mark);
    let big = BigText::builder()
        .pixel_size(PixelSize::Quadrant)
        .style(style)
        .lines(vec![Line::from(says.large.clone())])
        .build();
    frame.render_widget(big, words);
    let more = wrapped(&says.small, small.width, usize::from(small.height));
    let more: Vec<Line<'_>> = more
        .into_iter()
        .map(|line| Line::from(line).bold())
        .collect();
    frame.render_widget(Text::from(more), small);
}
