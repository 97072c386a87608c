//! A figure as SVG: its panels below each other, then what its signs mean.

use std::fmt::Write;

use inkdwell_config::display::Units;
use inkdwell_cure::judged::Verdict;

use super::drawing::Drawing;
use super::lettering::{text, width};
use super::marks::shape;
use super::panel::Panel;

pub(super) const WIDTH: f64 = 980.0;
pub(super) const PANEL_HEIGHT: f64 = 380.0;
pub(super) const LEFT: f64 = 64.0;
/// Room for the names of limits.
pub(super) const RIGHT: f64 = 226.0;
pub(super) const TOP: f64 = 90.0;
pub(super) const BOTTOM: f64 = 48.0;

const INK: &str = "#222222";
pub(super) const FAINT: &str = "#6b6b6b";
pub(super) const GRID: &str = "#e4e4e4";
pub(super) const TRACE: &str = "#0072B2";
pub(super) const CLOTH: &str = "#CC79A7";
pub(super) const CURE: &str = "#009E73";
pub(super) const HARM: &str = "#D55E00";

/// Height of a row of the legend.
const ROW: f64 = 22.0;

const CAUTION: &str = "Advice only: the ink maker's data sheet and a wash test decide.";

/// The whole figure.
pub(super) fn figure(panels: &[Panel], units: Units) -> String {
    let signs = rows(&signs(panels));
    let panels_end = PANEL_HEIGHT * panels.len() as f64;
    let height = panels_end + ROW * signs.len() as f64 + 40.0;
    let mut svg = String::new();
    let _ = write!(
        svg,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{WIDTH}\" height=\"{height}\" \
         viewBox=\"0 0 {WIDTH} {height}\" font-family=\"DejaVu Sans, Verdana, sans-serif\" \
         font-size=\"12\" fill=\"{INK}\">\n\
         <rect width=\"{WIDTH}\" height=\"{height}\" fill=\"#ffffff\"/>\n"
    );
    for (number, panel) in panels.iter().enumerate() {
        Drawing::new(panel, units, PANEL_HEIGHT * number as f64).draw(&mut svg);
    }
    let mut y = panels_end + 16.0;
    for row in signs {
        for (x, sign) in row {
            sign.draw(&mut svg, (x, y));
        }
        y += ROW;
    }
    let style = format!("fill=\"{FAINT}\" font-size=\"11\"");
    text(&mut svg, (LEFT, y + 4.0), "start", &style, CAUTION);
    svg.push_str("</svg>\n");
    svg
}

/// Something in the legend.
#[derive(Debug, Clone, Copy)]
enum Sign {
    Shape(Verdict),
    Area(&'static str, f64, &'static str),
    Line(&'static str, &'static str),
}

/// What occurs in the panels.
fn signs(panels: &[Panel]) -> Vec<Sign> {
    let order = [
        Verdict::Cured,
        Verdict::Gelled,
        Verdict::UnderCured,
        Verdict::UnderFlashed,
        Verdict::Overheated,
        Verdict::OverFlashed,
        Verdict::Unproven,
    ];
    let occurs = |verdict: &Verdict| {
        let has = |panel: &Panel| panel.marks.iter().any(|mark| mark.verdict == *verdict);
        panels.iter().any(has)
    };
    let mut signs: Vec<Sign> = order.into_iter().filter(occurs).map(Sign::Shape).collect();
    if panels.iter().any(|panel| !panel.cloth.is_empty()) {
        signs.push(Sign::Line(CLOTH, "unprinted cloth"));
    }
    signs.push(Sign::Area(CURE, 0.28, "time above the threshold"));
    signs.push(Sign::Area(TRACE, 0.2, "U (k = 2) round the trace"));
    signs
}

/// The signs in rows, each with its place from the left.
fn rows(signs: &[Sign]) -> Vec<Vec<(f64, Sign)>> {
    let mut rows = vec![Vec::new()];
    let mut x = LEFT;
    for sign in signs {
        let room = 22.0 + width(sign.words(), 12.0);
        if x + room > WIDTH - 16.0 {
            rows.push(Vec::new());
            x = LEFT;
        }
        if let Some(row) = rows.last_mut() {
            row.push((x, *sign));
        }
        x += room + 12.0;
    }
    rows
}

impl Sign {
    fn words(self) -> &'static str {
        match self {
            Sign::Shape(verdict) => verdict.name(),
            Sign::Area(_, _, words) | Sign::Line(_, words) => words,
        }
    }

    fn draw(self, svg: &mut String, (x, y): (f64, f64)) {
        match self {
            Sign::Shape(verdict) => shape(svg, (x + 7.0, y - 4.0), verdict),
            Sign::Area(colour, opacity, _) => {
                let _ = writeln!(
                    svg,
                    "<rect x=\"{x:.1}\" y=\"{:.1}\" width=\"14\" height=\"11\" fill=\"{colour}\" \
                     fill-opacity=\"{opacity}\"/>",
                    y - 9.5
                );
            }
            Sign::Line(colour, _) => {
                let _ = writeln!(
                    svg,
                    "<path d=\"M{x:.1},{:.1}h14\" stroke=\"{colour}\" stroke-width=\"2\"/>",
                    y - 4.0
                );
            }
        }
        text(svg, (x + 19.0, y), "start", "", self.words());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_legend_goes_on_in_the_next_row() {
        let all = [Sign::Shape(Verdict::UnderFlashed); 12];
        let rows = rows(&all);
        assert!(rows.len() > 1);
        for (x, sign) in rows.iter().flatten() {
            assert!(x + 19.0 + width(sign.words(), 12.0) < WIDTH);
        }
    }
}
