//! An answer as a picture: peak and doses over belt speed (or the stay under a lamp) with their bands, the
//! window shaded, the rides as points; and the film's history as it is recommended.

use std::fmt::Write;

use inkdwell_config::display::Units;
use inkdwell_config::quantity::{Celsius, CelsiusDifference};
use inkdwell_cure::heat::fit::Prediction;
use inkdwell_cure::judged::Band;

use crate::plot::axis::ticks;
use crate::plot::lettering::{escaped, text};

const WIDTH: f64 = 900.0;
const PANEL: f64 = 250.0;
const LEFT: f64 = 70.0;
const RIGHT: f64 = 170.0;
const TOP: f64 = 62.0;
const GAP: f64 = 74.0;

const FAINT: &str = "#6b6b6b";
const FILM: &str = "#0072B2";
const CLOTH: &str = "#CC79A7";
const CURE: &str = "#009E73";
const HARMS: [&str; 3] = ["#D55E00", "#8C510A", "#E69F00"];
const SHADE: &str = "#e9f5ef";

/// Everything that a picture shows.
pub(super) struct Chart<'a> {
    pub(super) title: String,
    pub(super) units: Units,
    /// What is below the picture, such as `belt (m/min)`.
    pub(super) below: String,
    /// Predictions in the order of what they are drawn over.
    pub(super) curve: Vec<(f64, Prediction)>,
    /// The proved window; an end that nothing limits is missing.
    pub(super) window: Option<(Option<f64>, Option<f64>)>,
    /// Rides with their peaks in °C.
    pub(super) rides: Vec<(f64, f64)>,
    /// Where the film is judged, such as `in the ink`.
    pub(super) film: &'static str,
    /// Temperatures in °C to be reached or not, with their names.
    pub(super) levels: Vec<(f64, &'static str)>,
    /// Whether the cure dose counts.
    pub(super) with_cure: bool,
    /// Seconds of the history that are shown.
    pub(super) history: f64,
    /// The recommended print's history with its heading.
    pub(super) recommended: Option<(String, &'a Prediction)>,
}

/// A range of numbers and where it lies on the picture.
#[derive(Clone, Copy)]
struct Scale {
    from: f64,
    to: f64,
    at_from: f64,
    at_to: f64,
}

impl Scale {
    fn of(self, value: f64) -> f64 {
        let share = (value.clamp(self.from, self.to) - self.from) / (self.to - self.from);
        self.at_from + share * (self.at_to - self.at_from)
    }
}

impl Chart<'_> {
    /// The drawing as SVG.
    pub(super) fn draw(&self) -> String {
        let panels = if self.recommended.is_some() { 3.0 } else { 2.0 };
        let height = TOP + panels * (PANEL + GAP);
        let mut svg = String::new();
        let _ = writeln!(
            svg,
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{WIDTH}\" height=\"{height}\" \
             viewBox=\"0 0 {WIDTH} {height}\" font-family=\"DejaVu Sans, Verdana, sans-serif\" \
             font-size=\"12\">\n<rect width=\"{WIDTH}\" height=\"{height}\" fill=\"#ffffff\"/>\n\
             <text x=\"18\" y=\"26\" font-size=\"15\" font-weight=\"bold\">{}</text>",
            escaped(&self.title)
        );
        let ends = self.curve.first().zip(self.curve.last());
        let (from, to) = ends.map_or((0.0, 1.0), |(first, last)| (first.0, last.0));
        let x = Scale {
            from,
            to,
            at_from: LEFT,
            at_to: WIDTH - RIGHT,
        };
        self.peaks(&mut svg, x, TOP);
        self.doses(&mut svg, x, TOP + PANEL + GAP);
        if let Some((heading, prediction)) = &self.recommended {
            self.history(&mut svg, heading, prediction, TOP + 2.0 * (PANEL + GAP));
        }
        svg.push_str("</svg>\n");
        svg
    }

    fn shown(&self, celsius: f64) -> f64 {
        self.units.temperature_number(Celsius(celsius))
    }

    /// Axes, heading and the shaded window of one panel.
    fn frame(&self, svg: &mut String, x: Scale, y: Scale, heading: &str) {
        if let Some((from, to)) = self.window {
            let from = from.map_or(x.at_from, |from| x.of(from));
            let to = to.map_or(x.at_to, |to| x.of(to));
            let _ = writeln!(
                svg,
                "<rect x=\"{from:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"{SHADE}\"/>",
                y.at_to,
                (to - from).max(1.0),
                y.at_from - y.at_to
            );
        }
        axes(svg, x, y, heading, &self.below);
    }

    /// A band of each prediction, on the picture.
    fn points(
        &self,
        x: Scale,
        y: impl Fn(f64) -> f64,
        pick: impl Fn(&Prediction) -> Option<Band>,
    ) -> Vec<(f64, [f64; 3])> {
        let at = |band: Band| [band.low, band.best, band.high].map(&y);
        let shown = |(place, prediction): &(f64, Prediction)| {
            pick(prediction).map(|band| (x.of(*place), at(band)))
        };
        self.curve.iter().filter_map(shown).collect()
    }

    fn peaks(&self, svg: &mut String, x: Scale, top: f64) {
        let all = self
            .curve
            .iter()
            .flat_map(|(_, p)| [p.peak.low, p.peak.high, p.cloth_peak.low, p.cloth_peak.high]);
        let all = all.chain(self.rides.iter().map(|ride| ride.1));
        let all = all
            .filter(|value| value.is_finite())
            .map(|value| self.shown(value));
        let (least, most) = all.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| {
            (a.min(v), b.max(v))
        });
        let y = Scale {
            from: least - 3.0,
            to: most + 3.0,
            at_from: top + PANEL,
            at_to: top,
        };
        self.frame(svg, x, y, &format!("peak ({})", self.units.degree()));
        let place = |celsius: f64| y.of(self.shown(celsius));
        let cloth = self.points(x, place, |p| Some(p.cloth_peak));
        let film = self.points(x, place, |p| Some(p.peak));
        band(svg, &cloth, CLOTH);
        band(svg, &film, FILM);
        for (celsius, _) in &self.levels {
            let at = place(*celsius);
            rule(
                svg,
                (x.at_from, at),
                (x.at_to, at),
                CURE,
                "stroke-dasharray=\"7 3\"",
            );
        }
        for (at, peak) in &self.rides {
            let _ = writeln!(
                svg,
                "<circle cx=\"{:.1}\" cy=\"{:.1}\" r=\"4.5\" fill=\"#ffffff\" stroke=\"#222222\" \
                 stroke-width=\"1.6\"/>",
                x.of(*at),
                place(*peak),
            );
        }
        let end = |line: &[(f64, [f64; 3])]| line.last().map_or(top, |point| point.1[1]);
        let mut labels = vec![
            (end(&film), FILM, self.film.to_owned()),
            (end(&cloth), CLOTH, "unprinted cloth".to_owned()),
        ];
        labels.extend(self.levels.iter().map(|(celsius, name)| {
            let shown = self.units.temperature(Celsius(*celsius));
            (place(*celsius), CURE, format!("{name} {shown}"))
        }));
        labels.push((top + PANEL, "#222222", "○ rides".to_owned()));
        labels_apart(svg, labels);
        if self.window.is_some() {
            text(
                svg,
                (WIDTH - RIGHT, top - 10.0),
                "end",
                &faint(),
                "shaded: proved good",
            );
        }
    }

    fn doses(&self, svg: &mut String, x: Scale, top: f64) {
        let y = Scale {
            from: 0.0,
            to: 3.0,
            at_from: top + PANEL,
            at_to: top,
        };
        let heading = "dose (1 is what the ink needs, or the fabric can take)";
        self.frame(svg, x, y, heading);
        let one = y.of(1.0);
        rule(
            svg,
            (x.at_from, one),
            (x.at_to, one),
            "#222222",
            "stroke-dasharray=\"6 3\"",
        );
        let mut labels = Vec::new();
        if self.with_cure {
            band(
                svg,
                &self.points(x, |dose| y.of(dose), |p| Some(p.cure)),
                CURE,
            );
            labels.push((top + 8.0, CURE, "cure".to_owned()));
        }
        let harms = self.curve.first().map_or(&[][..], |(_, p)| &p.harms);
        for (number, harm) in harms.iter().enumerate() {
            let colour = HARMS[number % HARMS.len()];
            let pick = |p: &Prediction| p.harms.get(number).map(|harm| harm.dose);
            band(svg, &self.points(x, |dose| y.of(dose), pick), colour);
            labels.push((top + 8.0, colour, harm.harm.name().to_owned()));
        }
        labels_apart(svg, labels);
    }

    fn history(&self, svg: &mut String, heading: &str, prediction: &Prediction, top: f64) {
        let shown_film = prediction
            .film
            .iter()
            .filter(|at| at.time.0 <= self.history);
        let film: Vec<_> = shown_film.collect();
        let hottest = film
            .iter()
            .map(|at| self.shown(at.film.0 + at.doubt.0))
            .chain(self.levels.iter().map(|level| self.shown(level.0)))
            .fold(f64::NEG_INFINITY, f64::max);
        let ends = film.first().zip(film.last());
        let (start, end) = ends.map_or((0.0, 1.0), |(first, last)| (first.time.0, last.time.0));
        let x = Scale {
            from: start,
            to: end,
            at_from: LEFT,
            at_to: WIDTH - RIGHT,
        };
        let y = Scale {
            from: self.shown(20.0),
            to: hottest + self.units.difference_number(CelsiusDifference(5.0)),
            at_from: top + PANEL,
            at_to: top,
        };
        axes(svg, x, y, heading, "time from where the heat begins (s)");
        let points: Vec<(f64, [f64; 3])> = film
            .iter()
            .map(|at| {
                let side = |side: f64| y.of(self.shown(at.film.0 + side * at.doubt.0));
                (x.of(at.time.0), [-1.0, 0.0, 1.0].map(side))
            })
            .collect();
        band(svg, &points, FILM);
        let mut labels = Vec::new();
        for (celsius, name) in &self.levels {
            let at = y.of(self.shown(*celsius));
            rule(
                svg,
                (x.at_from, at),
                (x.at_to, at),
                CURE,
                "stroke-dasharray=\"7 3\"",
            );
            let shown = self.units.temperature(Celsius(*celsius));
            labels.push((at, CURE, format!("{name} {shown}")));
        }
        labels_apart(svg, labels);
    }
}

/// Labels beside a panel, from above and at least a line apart.
fn labels_apart(svg: &mut String, mut labels: Vec<(f64, &str, String)>) {
    labels.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut lowest = f64::NEG_INFINITY;
    for (wanted, colour, words) in labels {
        lowest = wanted.max(lowest + 17.0);
        label(svg, lowest, colour, &words);
    }
}

fn axes(svg: &mut String, x: Scale, y: Scale, heading: &str, below: &str) {
    text(
        svg,
        (18.0, y.at_to - 10.0),
        "start",
        "font-weight=\"bold\"",
        heading,
    );
    for tick in ticks(y.from, y.to, 5.0) {
        let at = y.of(tick);
        rule(svg, (x.at_from, at), (x.at_to, at), "#e4e4e4", "");
        text(svg, (LEFT - 8.0, at + 4.0), "end", &faint(), &number(tick));
    }
    for tick in ticks(x.from, x.to, 8.0) {
        let at = x.of(tick);
        rule(svg, (at, y.at_from), (at, y.at_from + 5.0), FAINT, "");
        text(
            svg,
            (at, y.at_from + 18.0),
            "middle",
            &faint(),
            &number(tick),
        );
    }
    rule(svg, (x.at_from, y.at_from), (x.at_to, y.at_from), FAINT, "");
    text(svg, (x.at_to, y.at_from + 34.0), "end", &faint(), below);
}

fn faint() -> String {
    format!("fill=\"{FAINT}\"")
}

fn number(value: f64) -> String {
    format!("{}", (value * 1000.0).round() / 1000.0)
}

fn rule(svg: &mut String, from: (f64, f64), to: (f64, f64), colour: &str, more: &str) {
    let _ = writeln!(
        svg,
        "<line x1=\"{:.1}\" y1=\"{:.1}\" x2=\"{:.1}\" y2=\"{:.1}\" stroke=\"{colour}\" {more}/>",
        from.0, from.1, to.0, to.1
    );
}

/// A band with its middle line.
fn band(svg: &mut String, points: &[(f64, [f64; 3])], colour: &str) {
    let path = |pick: &dyn Fn(&[f64; 3]) -> f64, backwards: bool| {
        let mut words: Vec<String> = points
            .iter()
            .map(|(x, values)| format!("{x:.1},{:.1}", pick(values)))
            .collect();
        if backwards {
            words.reverse();
        }
        words.join(" ")
    };
    let _ = writeln!(
        svg,
        "<polygon points=\"{} {}\" fill=\"{colour}\" fill-opacity=\"0.16\"/>\n\
         <polyline points=\"{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"1.8\"/>",
        path(&|values| values[0], false),
        path(&|values| values[2], true),
        path(&|values| values[1], false),
    );
}

fn label(svg: &mut String, y: f64, colour: &str, words: &str) {
    text(
        svg,
        (WIDTH - RIGHT + 8.0, y + 4.0),
        "start",
        &format!("fill=\"{colour}\""),
        words,
    );
}
