//! A figure as SVG.
//!
//! Colours are those of Okabe and Ito, which colour-blind people tell apart; every verdict has a shape
//! of its own besides.

use std::fmt::Write;

use inkdwell_config::display::Units;
use inkdwell_config::quantity::Celsius;
use inkdwell_cure::judged::Verdict;

use super::axis::{ticks, time_ticks};
use super::panel::{Level, Mark, Panel};
use super::thinned::Column;

const WIDTH: f64 = 900.0;
const PANEL_HEIGHT: f64 = 380.0;
const LEGEND_HEIGHT: f64 = 46.0;
const LEFT: f64 = 64.0;
const RIGHT: f64 = 150.0;
const TOP: f64 = 84.0;
const BOTTOM: f64 = 48.0;

const INK: &str = "#222222";
const FAINT: &str = "#6b6b6b";
const GRID: &str = "#e4e4e4";
const TRACE: &str = "#0072B2";
const CURE: &str = "#009E73";
const HARM: &str = "#D55E00";

/// The whole figure.
pub(super) fn figure(panels: &[Panel], units: Units) -> String {
    let height = PANEL_HEIGHT * panels.len().max(1) as f64 + LEGEND_HEIGHT;
    let mut svg = String::new();
    let _ = write!(
        svg,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{WIDTH}\" height=\"{height}\" \
         viewBox=\"0 0 {WIDTH} {height}\" font-family=\"DejaVu Sans, Verdana, sans-serif\" \
         font-size=\"12\" fill=\"{INK}\">\n\
         <rect width=\"{WIDTH}\" height=\"{height}\" fill=\"#ffffff\"/>\n"
    );
    if panels.is_empty() {
        text(
            &mut svg,
            WIDTH / 2.0,
            PANEL_HEIGHT / 2.0,
            "middle",
            FAINT,
            "No channel to draw.",
        );
    }
    for (number, panel) in panels.iter().enumerate() {
        Drawing::new(panel, units, PANEL_HEIGHT * number as f64).draw(&mut svg);
    }
    legend(&mut svg, panels, height - LEGEND_HEIGHT / 2.0);
    svg.push_str("</svg>\n");
    svg
}

fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            control if control.is_control() => safe.push(' '),
            other => safe.push(other),
        }
    }
    safe
}

fn text(svg: &mut String, x: f64, y: f64, anchor: &str, fill: &str, words: &str) {
    let words = escaped(words);
    let _ = writeln!(
        svg,
        "<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\" fill=\"{fill}\">{words}</text>"
    );
}

fn line(svg: &mut String, from: (f64, f64), to: (f64, f64), style: &str) {
    let _ = writeln!(
        svg,
        "<line x1=\"{:.1}\" y1=\"{:.1}\" x2=\"{:.1}\" y2=\"{:.1}\" {style}/>",
        from.0, from.1, to.0, to.1
    );
}

/// One panel with its scales.
struct Drawing<'a> {
    panel: &'a Panel,
    units: Units,
    top: f64,
    bottom: f64,
    time: (f64, f64),
    celsius: (f64, f64),
}

impl<'a> Drawing<'a> {
    fn new(panel: &'a Panel, units: Units, offset: f64) -> Drawing<'a> {
        let columns = panel.trace.columns();
        let first = columns.first().map_or(0.0, |column| column.time);
        let last = columns.last().map_or(1.0, |column| column.time);
        let levels = panel
            .limits
            .iter()
            .chain([&panel.threshold])
            .map(|level| level.celsius);
        let hottest = columns
            .iter()
            .map(|column| column.high)
            .chain(levels)
            .fold(50.0, f64::max);
        let coolest = columns.iter().map(|column| column.low).fold(20.0, f64::min);
        Drawing {
            panel,
            units,
            top: offset + TOP,
            bottom: offset + PANEL_HEIGHT - BOTTOM,
            time: (first, if last > first { last } else { first + 1.0 }),
            celsius: (
                (coolest / 20.0).floor() * 20.0,
                hottest + 0.10 * (hottest - coolest),
            ),
        }
    }

    fn x(&self, time: f64) -> f64 {
        let share = (time - self.time.0) / (self.time.1 - self.time.0);
        LEFT + share * (WIDTH - LEFT - RIGHT)
    }

    fn y(&self, celsius: f64) -> f64 {
        let share = (celsius - self.celsius.0) / (self.celsius.1 - self.celsius.0);
        self.bottom - share.clamp(-0.02, 1.02) * (self.bottom - self.top)
    }

    fn draw(&self, svg: &mut String) {
        let _ = writeln!(
            svg,
            "<text x=\"{LEFT}\" y=\"{:.1}\" font-size=\"15\" font-weight=\"bold\">{}</text>",
            self.top - 56.0,
            escaped(&self.panel.title)
        );
        text(
            svg,
            LEFT,
            self.top - 38.0,
            "start",
            FAINT,
            &self.panel.subtitle,
        );
        self.passes(svg);
        self.axes(svg);
        self.shade_time_above(svg);
        self.band(svg);
        self.levels(svg);
        self.trace(svg);
        self.marks(svg);
    }

    fn axes(&self, svg: &mut String) {
        let right = WIDTH - RIGHT;
        let number = |celsius: f64| self.units.temperature_number(Celsius(celsius));
        let back = |shown: f64| match self.units {
            Units::Metric => shown,
            Units::Us => (shown - 32.0) / 1.8,
        };
        for shown in ticks(number(self.celsius.0), number(self.celsius.1), 6.0) {
            let y = self.y(back(shown));
            line(svg, (LEFT, y), (right, y), &format!("stroke=\"{GRID}\""));
            text(svg, LEFT - 8.0, y + 4.0, "end", FAINT, &format!("{shown}"));
        }
        let (times, unit, name) = time_ticks(self.time.0, self.time.1, 8.0);
        for time in times {
            let x = self.x(time);
            line(
                svg,
                (x, self.bottom),
                (x, self.bottom + 5.0),
                &format!("stroke=\"{FAINT}\""),
            );
            let shown = (time / unit * 1000.0).round() / 1000.0;
            text(
                svg,
                x,
                self.bottom + 19.0,
                "middle",
                FAINT,
                &format!("{shown}"),
            );
        }
        let base = format!("stroke=\"{FAINT}\"");
        line(svg, (LEFT, self.bottom), (right, self.bottom), &base);
        text(
            svg,
            right,
            self.bottom + 37.0,
            "end",
            FAINT,
            &format!("time ({name})"),
        );
        text(
            svg,
            LEFT - 8.0,
            self.top - 6.0,
            "end",
            FAINT,
            self.units.degree(),
        );
    }

    /// A faint ground under each pass.
    fn passes(&self, svg: &mut String) {
        for mark in &self.panel.marks {
            let (from, to) = (self.x(mark.start), self.x(mark.end));
            let _ = writeln!(
                svg,
                "<rect x=\"{from:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"#f5f5f0\"/>",
                self.top,
                (to - from).max(0.5),
                self.bottom - self.top
            );
        }
    }

    /// Stretches of the trace without a gap.
    fn stretches(&self) -> impl Iterator<Item = &[Column]> {
        self.panel
            .trace
            .columns()
            .chunk_by(|_, next| !next.after_gap)
    }

    fn shade_time_above(&self, svg: &mut String) {
        let threshold = self.panel.threshold.celsius;
        let ground = self.y(threshold);
        for stretch in self.stretches() {
            for above in stretch.chunk_by(|a, b| (a.high >= threshold) == (b.high >= threshold)) {
                let (Some(first), Some(last)) = (above.first(), above.last()) else {
                    continue;
                };
                if first.high < threshold {
                    continue;
                }
                let mut path = format!("M{:.1},{ground:.1}", self.x(first.time));
                for column in above {
                    let _ = write!(
                        path,
                        "L{:.1},{:.1}",
                        self.x(column.time),
                        self.y(column.high)
                    );
                }
                let _ = write!(path, "L{:.1},{ground:.1}Z", self.x(last.time));
                let _ = writeln!(
                    svg,
                    "<path d=\"{path}\" fill=\"{CURE}\" fill-opacity=\"0.28\"/>"
                );
            }
        }
    }

    /// The uncertainty round the trace.
    fn band(&self, svg: &mut String) {
        let u = |celsius: f64| self.panel.plan.doubt.uncertainty.at(celsius);
        for stretch in self.stretches().filter(|stretch| stretch.len() > 1) {
            let mut path = String::new();
            for (number, column) in stretch.iter().enumerate() {
                let letter = if number == 0 { 'M' } else { 'L' };
                let y = self.y(column.high + u(column.high));
                let _ = write!(path, "{letter}{:.1},{y:.1}", self.x(column.time));
            }
            for column in stretch.iter().rev() {
                let y = self.y(column.low - u(column.low));
                let _ = write!(path, "L{:.1},{y:.1}", self.x(column.time));
            }
            let _ = writeln!(
                svg,
                "<path d=\"{path}Z\" fill=\"{TRACE}\" fill-opacity=\"0.18\"/>"
            );
        }
    }

    fn levels(&self, svg: &mut String) {
        let right = WIDTH - RIGHT;
        let mut labels: Vec<(f64, &str, String)> = Vec::new();
        let mut level = |svg: &mut String, level: &Level, colour: &'static str, dashes: &str| {
            let y = self.y(level.celsius);
            let style =
                format!("stroke=\"{colour}\" stroke-width=\"1.4\" stroke-dasharray=\"{dashes}\"");
            line(svg, (LEFT, y), (right, y), &style);
            let shown = self.units.temperature(Celsius(level.celsius));
            labels.push((y, colour, format!("{} {shown}", level.label)));
        };
        level(svg, &self.panel.threshold, CURE, "7 3");
        for limit in &self.panel.limits {
            level(svg, limit, HARM, "2 3");
        }
        labels.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut lowest = f64::NEG_INFINITY;
        for (y, colour, words) in labels {
            let y = (y + 4.0).max(lowest + 14.0);
            lowest = y;
            text(svg, right + 6.0, y, "start", colour, &words);
        }
    }

    fn trace(&self, svg: &mut String) {
        for stretch in self.stretches() {
            let mut path = String::new();
            for (number, column) in stretch.iter().enumerate() {
                let letter = if number == 0 { 'M' } else { 'L' };
                let x = self.x(column.time);
                let _ = write!(path, "{letter}{x:.1},{:.1}", self.y(column.high));
                if column.high - column.low > 0.5 {
                    let _ = write!(path, "L{x:.1},{:.1}", self.y(column.low));
                }
            }
            let _ = writeln!(
                svg,
                "<path d=\"{path}\" fill=\"none\" stroke=\"{TRACE}\" stroke-width=\"1.6\" \
                 stroke-linejoin=\"round\"/>"
            );
        }
    }

    /// Above each pass its number and its verdict's shape, as long as they have room.
    fn marks(&self, svg: &mut String) {
        let y = self.top - 10.0;
        let mut free_from = f64::NEG_INFINITY;
        for mark in &self.panel.marks {
            let x = self.x(0.5 * (mark.start + mark.end));
            let room = 14.0 + 4.0 * mark.index.to_string().len() as f64;
            if x - room < free_from {
                shape(svg, (x, y), mark.verdict, 3.0);
                continue;
            }
            free_from = x + room;
            shape(svg, (x - 8.0, y), mark.verdict, 6.0);
            self.number(svg, mark, x, y);
        }
    }

    fn number(&self, svg: &mut String, mark: &Mark, x: f64, y: f64) {
        let _ = writeln!(
            svg,
            "<text x=\"{:.1}\" y=\"{:.1}\" font-weight=\"bold\">{}</text>",
            x + 2.0,
            y + 4.5,
            mark.index
        );
    }
}

/// A verdict's shape: round for what is good, a point down for too little heat, a point up for too
/// much, standing on its corner for what is not proved.
fn shape(svg: &mut String, (x, y): (f64, f64), verdict: Verdict, r: f64) {
    let points = |points: &[(f64, f64)]| {
        let points: Vec<String> = points
            .iter()
            .map(|(dx, dy)| format!("{:.1},{:.1}", x + dx * r, y + dy * r))
            .collect();
        points.join(" ")
    };
    let (colour, form) = match verdict {
        Verdict::Cured | Verdict::Gelled => {
            let form = format!("<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{:.1}\"", r * 0.9);
            ("#009E73", form)
        }
        Verdict::UnderCured | Verdict::UnderFlashed => {
            let points = points(&[(-1.0, -0.8), (1.0, -0.8), (0.0, 1.0)]);
            ("#0072B2", format!("<polygon points=\"{points}\""))
        }
        Verdict::Overheated | Verdict::OverFlashed => {
            let points = points(&[(-1.0, 0.8), (1.0, 0.8), (0.0, -1.0)]);
            ("#D55E00", format!("<polygon points=\"{points}\""))
        }
        Verdict::Unproven => {
            let points = points(&[(0.0, -1.1), (1.1, 0.0), (0.0, 1.1), (-1.1, 0.0)]);
            ("#E69F00", format!("<polygon points=\"{points}\""))
        }
    };
    let _ = writeln!(
        svg,
        "{form} fill=\"{colour}\" stroke=\"#222222\" stroke-width=\"0.8\"/>"
    );
}

/// The shapes that occur, with their words, and what the shades are.
fn legend(svg: &mut String, panels: &[Panel], y: f64) {
    let order = [
        Verdict::Cured,
        Verdict::Gelled,
        Verdict::UnderCured,
        Verdict::UnderFlashed,
        Verdict::Overheated,
        Verdict::OverFlashed,
        Verdict::Unproven,
    ];
    let occurs = |verdict: Verdict| {
        panels
            .iter()
            .any(|panel| panel.marks.iter().any(|m| m.verdict == verdict))
    };
    let mut x = LEFT;
    for verdict in order.into_iter().filter(|verdict| occurs(*verdict)) {
        shape(svg, (x + 6.0, y - 4.0), verdict, 6.0);
        text(svg, x + 18.0, y, "start", INK, verdict.name());
        x += 34.0 + 7.4 * verdict.name().len() as f64;
    }
    for (colour, opacity, words) in [
        (CURE, 0.28, "time above"),
        (TRACE, 0.18, "U (k = 2) round the trace"),
    ] {
        let _ = writeln!(
            svg,
            "<rect x=\"{x:.1}\" y=\"{:.1}\" width=\"14\" height=\"11\" fill=\"{colour}\" fill-opacity=\"{opacity}\"/>",
            y - 9.0
        );
        text(svg, x + 19.0, y, "start", INK, words);
        x += 36.0 + 7.0 * words.len() as f64;
    }
}
