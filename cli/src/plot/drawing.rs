//! One panel of a figure: axes, limits, the trace with its uncertainty, and its passes.

use std::fmt::Write;

use inkdwell_config::display::Units;
use inkdwell_config::quantity::Celsius;

use super::axis::{ticks, time_ticks};
use super::figure::{
    BOTTOM, CLOTH, CURE, FAINT, GRID, HARM, LEFT, PANEL_HEIGHT, RIGHT, TOP, TRACE, WIDTH,
};
use super::lettering::{fitted, text};
use super::marks;
use super::panel::{Level, Panel};
use super::thinned::{Column, Thinned};

/// Between the baselines of two labels.
const LINE: f64 = 15.0;

/// One panel with its scales.
pub(super) struct Drawing<'a> {
    panel: &'a Panel,
    units: Units,
    top: f64,
    bottom: f64,
    time: (f64, f64),
    celsius: (f64, f64),
}

fn line(svg: &mut String, from: (f64, f64), to: (f64, f64), style: &str) {
    let _ = writeln!(
        svg,
        "<line x1=\"{:.1}\" y1=\"{:.1}\" x2=\"{:.1}\" y2=\"{:.1}\" {style}/>",
        from.0, from.1, to.0, to.1
    );
}

/// Stretches of a trace without a gap.
fn stretches(trace: &Thinned) -> impl Iterator<Item = &[Column]> {
    trace.columns().chunk_by(|_, next| !next.after_gap)
}

impl<'a> Drawing<'a> {
    /// A panel whose upper edge is at `offset`.
    pub(super) fn new(panel: &'a Panel, units: Units, offset: f64) -> Drawing<'a> {
        let columns = || {
            std::iter::once(&panel.trace)
                .chain(&panel.cloth)
                .flat_map(Thinned::columns)
        };
        let first = columns()
            .map(|column| column.time)
            .fold(f64::INFINITY, f64::min);
        let last = columns()
            .map(|column| column.time)
            .fold(f64::NEG_INFINITY, f64::max);
        let levels = panel
            .limits
            .iter()
            .chain([&panel.threshold])
            .map(|level| level.celsius);
        let hottest = columns()
            .map(|column| column.high)
            .chain(levels)
            .fold(50.0, f64::max);
        let coolest = columns().map(|column| column.low).fold(20.0, f64::min);
        Drawing {
            panel,
            units,
            top: offset + TOP,
            bottom: offset + PANEL_HEIGHT - BOTTOM,
            time: if last > first {
                (first, last)
            } else {
                (0.0, 1.0)
            },
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
        self.bottom - share.clamp(0.0, 1.0) * (self.bottom - self.top)
    }

    pub(super) fn draw(&self, svg: &mut String) {
        let room = WIDTH - LEFT - 16.0;
        let title = fitted(&self.panel.title, 15.0 * 1.1, room);
        text(
            svg,
            (LEFT, self.top - 56.0),
            "start",
            "font-size=\"15\" font-weight=\"bold\"",
            &title,
        );
        let subtitle = fitted(&self.panel.subtitle, 12.0, room);
        text(
            svg,
            (LEFT, self.top - 38.0),
            "start",
            &fill(FAINT),
            &subtitle,
        );
        self.passes(svg);
        self.temperature_axis(svg);
        self.time_axis(svg);
        self.shade_time_above(svg);
        self.band(svg);
        self.levels(svg);
        for cloth in &self.panel.cloth {
            self.trace(svg, cloth, CLOTH, 1.2);
        }
        self.trace(svg, &self.panel.trace, TRACE, 1.6);
    }

    fn temperature_axis(&self, svg: &mut String) {
        let number = |celsius: f64| self.units.temperature_number(Celsius(celsius));
        let back = |shown: f64| match self.units {
            Units::Metric => shown,
            Units::Us => (shown - 32.0) / 1.8,
        };
        for shown in ticks(number(self.celsius.0), number(self.celsius.1), 6.0) {
            let y = self.y(back(shown));
            line(
                svg,
                (LEFT, y),
                (WIDTH - RIGHT, y),
                &format!("stroke=\"{GRID}\""),
            );
            text(
                svg,
                (LEFT - 8.0, y + 4.0),
                "end",
                &fill(FAINT),
                &format!("{shown}"),
            );
        }
        let unit = (LEFT - 8.0, self.top - 12.0);
        text(svg, unit, "end", &fill(FAINT), self.units.degree());
    }

    fn time_axis(&self, svg: &mut String) {
        let right = WIDTH - RIGHT;
        let (times, unit, name) = time_ticks(self.time.0, self.time.1, 8.0);
        let stroke = format!("stroke=\"{FAINT}\"");
        for time in times {
            let x = self.x(time);
            line(svg, (x, self.bottom), (x, self.bottom + 5.0), &stroke);
            let shown = (time / unit * 1000.0).round() / 1000.0;
            text(
                svg,
                (x, self.bottom + 19.0),
                "middle",
                &fill(FAINT),
                &format!("{shown}"),
            );
        }
        line(svg, (LEFT, self.bottom), (right, self.bottom), &stroke);
        let words = format!("time ({name})");
        text(
            svg,
            (right, self.bottom + 37.0),
            "end",
            &fill(FAINT),
            &words,
        );
    }

    /// A faint ground under each pass, a bar of its verdict's colour above, and shapes with numbers.
    fn passes(&self, svg: &mut String) {
        let places = marks::merged(&self.panel.marks, |time| self.x(time));
        for place in &places {
            let (from, width) = (place.from, (place.to - place.from).max(0.5));
            // Passes that touch are kept apart by a hair.
            let bar = if width > 3.0 { width - 1.0 } else { width };
            let colour = marks::colour(place.verdict);
            let (top, height) = (self.top, self.bottom - self.top);
            let _ = writeln!(
                svg,
                "<rect x=\"{from:.1}\" y=\"{top:.1}\" width=\"{bar:.1}\" height=\"{height:.1}\" \
                 fill=\"#f5f5f0\"/>\n<rect x=\"{from:.1}\" y=\"{:.1}\" width=\"{bar:.1}\" height=\"3\" \
                 fill=\"{colour}\"/>",
                top - 3.0
            );
        }
        marks::row(svg, &places, self.top - 14.0, (LEFT, WIDTH - RIGHT));
    }

    fn shade_time_above(&self, svg: &mut String) {
        let threshold = self.panel.threshold.celsius;
        for stretch in stretches(&self.panel.trace) {
            let mut outline: Vec<(f64, f64)> = Vec::new();
            for pair in stretch.windows(2) {
                let ((t0, a), (t1, b)) =
                    ((pair[0].time, pair[0].high), (pair[1].time, pair[1].high));
                let crossing = t0 + (threshold - a) / (b - a) * (t1 - t0);
                match (a >= threshold, b >= threshold) {
                    (true, true) if outline.is_empty() => {
                        outline.extend([(t0, threshold), (t0, a), (t1, b)])
                    }
                    (true, true) => outline.push((t1, b)),
                    (false, true) => outline.extend([(crossing, threshold), (t1, b)]),
                    (true, false) => {
                        outline.push((crossing, threshold));
                        self.shade(svg, &mut outline);
                    }
                    (false, false) => {}
                }
            }
            if let Some((last, _)) = outline.last().copied() {
                outline.push((last, threshold));
                self.shade(svg, &mut outline);
            }
        }
    }

    fn shade(&self, svg: &mut String, outline: &mut Vec<(f64, f64)>) {
        let path = self.path(outline.drain(..));
        let _ = writeln!(
            svg,
            "<path d=\"{path}Z\" fill=\"{CURE}\" fill-opacity=\"0.28\"/>"
        );
    }

    fn path(&self, points: impl Iterator<Item = (f64, f64)>) -> String {
        let mut path = String::new();
        for (time, celsius) in points {
            let letter = if path.is_empty() { 'M' } else { 'L' };
            let _ = write!(path, "{letter}{:.1},{:.1}", self.x(time), self.y(celsius));
        }
        path
    }

    /// The uncertainty round the trace.
    fn band(&self, svg: &mut String) {
        let u = |celsius: f64| self.panel.plan.doubt.uncertainty.at(celsius);
        for stretch in stretches(&self.panel.trace).filter(|stretch| stretch.len() > 1) {
            let above = stretch
                .iter()
                .map(|column| (column.time, column.high + u(column.high)));
            let below = stretch
                .iter()
                .rev()
                .map(|column| (column.time, column.low - u(column.low)));
            let path = self.path(above.chain(below));
            let _ = writeln!(
                svg,
                "<path d=\"{path}Z\" fill=\"{TRACE}\" fill-opacity=\"0.2\"/>"
            );
        }
    }

    /// The threshold and the limits, with their names beside the panel.
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
        let wanted: Vec<f64> = labels.iter().map(|label| label.0).collect();
        for (at, (y, colour, words)) in apart(&wanted, self.bottom).into_iter().zip(labels) {
            let stroke = format!("stroke=\"{colour}\"");
            line(svg, (right, y), (right + 10.0, at), &stroke);
            text(
                svg,
                (right + 14.0, at + 4.0),
                "start",
                &fill(colour),
                &words,
            );
        }
    }

    fn trace(&self, svg: &mut String, trace: &Thinned, colour: &str, breadth: f64) {
        for stretch in stretches(trace) {
            let points = stretch.iter().flat_map(|column| {
                let low = (column.high - column.low > 0.5).then_some((column.time, column.low));
                [Some((column.time, column.high)), low]
                    .into_iter()
                    .flatten()
            });
            let mut path = self.path(points);
            if stretch.len() == 1 {
                // A sample between two gaps is a dot.
                path.push_str("h0");
            }
            let _ = writeln!(
                svg,
                "<path d=\"{path}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{breadth}\" \
                 stroke-linejoin=\"round\" stroke-linecap=\"round\"/>"
            );
        }
    }
}

fn fill(colour: &str) -> String {
    format!("fill=\"{colour}\"")
}

/// Heights of labels in the order of the wanted ones, at least a line apart and none below `bottom`.
fn apart(wanted: &[f64], bottom: f64) -> Vec<f64> {
    let mut heights: Vec<f64> = Vec::with_capacity(wanted.len());
    for &height in wanted {
        let above = heights
            .last()
            .map_or(f64::NEG_INFINITY, |above| above + LINE);
        heights.push(height.max(above));
    }
    let mut lowest = bottom;
    for height in heights.iter_mut().rev() {
        *height = height.min(lowest);
        lowest = *height - LINE;
    }
    heights
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_never_touch() {
        for wanted in [&[10.0, 11.0, 12.0, 200.0][..], &[95.0, 96.0, 97.0], &[50.0]] {
            let heights = apart(wanted, 100.0_f64.max(wanted[wanted.len() - 1]));
            assert!(
                heights
                    .windows(2)
                    .all(|pair| pair[1] - pair[0] >= LINE - 1e-9),
                "{heights:?}"
            );
        }
        assert_eq!(apart(&[95.0, 96.0], 100.0), [85.0, 100.0]);
        assert_eq!(apart(&[20.0, 60.0], 100.0), [20.0, 60.0]);
    }
}
