//! Every print of a batch in order: its peak within the limits of control, and its cure dose over 1.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::Celsius;

use super::super::{Batch, Chart, Figures, Print};
use super::axis::{Panel, around, plain};
use super::{FAINT, INK, Kind, LEFT, LIMIT, Picture, RIGHT, Shape};

/// More prints than this cannot be told apart: then of the good ones only how far they reach is drawn.
const APART: usize = 300;
/// The scale of peaks is at least so long, in degrees.
const SHORTEST: f64 = 8.0;
/// Doses are drawn from a hundredth to ten thousand.
const DOSES: (f64, f64) = (-2.0, 4.0);

/// Draws the prints of one kind of evidence; `None` where they are not listed.
pub(in super::super) fn prints(batch: &Batch, figures: &Figures, units: Units) -> Option<Picture> {
    let seen: Vec<(f64, &Print)> = batch
        .prints
        .iter()
        .zip(1_u32..)
        .filter(|(print, _)| print.evidence == figures.evidence)
        .map(|(print, place)| {
            (
                print.print.map_or(f64::from(place), |own| own as f64),
                print,
            )
        })
        .collect();
    let shown = |celsius: f64| units.temperature_number(Celsius(celsius));
    let peaks = seen.iter().filter_map(|(_, print)| print.peak_c).map(shown);
    let chart = figures.chart.known();
    let limits = chart.map(|chart| [shown(chart.lower_c), shown(chart.upper_c)]);
    let (least, greatest) = around(peaks.chain(limits.into_iter().flatten()), 0.08)?;
    // A tenth of a degree is not to look like a mountain.
    let short = (SHORTEST - (greatest - least)).max(0.0) / 2.0;
    let y = (least - short, greatest + short);
    let (first, last) = (seen.first()?.0, seen.last()?.0);
    let x = (first - 0.5, last + 0.5);
    let dosed = figures.cure_best.is_some();
    let mut picture = Picture::new(if dosed { 330.0 } else { 200.0 });
    let upper = Panel::new(24.0, 168.0, x, y);
    let below = if dosed { "" } else { "print" };
    let nothing = |_: f64| String::new();
    let tell: &dyn Fn(f64) -> String = if dosed { &nothing } else { &whole };
    upper.draw(
        &mut picture,
        &format!("peak, {}", units.degree()),
        below,
        tell,
    );
    if let Some(chart) = chart {
        control(&mut picture, &upper, chart, &shown);
        patterns(&mut picture, &upper, chart, &seen, &shown);
    }
    if let Some(threshold) = batch.ink.threshold_c {
        upper.across(&mut picture, shown(threshold), LIMIT, "cure counts");
    }
    let figure = |print: &Print| print.peak_c.map(shown);
    points(&mut picture, &upper, &seen, &figure);
    if dosed {
        let doses = seen.iter().filter_map(|(_, print)| print.cure.as_ref());
        let logs = doses.flat_map(|dose| [log(dose.low), log(dose.high), 0.0]);
        let mut lower = Panel::new(210.0, 298.0, x, around(logs, 0.08)?);
        lower.powers = true;
        lower.draw(&mut picture, "cure dose, 1 is enough", "print", &whole);
        lower.across(&mut picture, 0.0, LIMIT, "enough");
        bands(&mut picture, &lower, &seen);
    }
    picture.told = format!(
        "Peak{} of {} {} prints in order, with control limits.",
        if dosed { " and cure dose" } else { "" },
        seen.len(),
        figures.evidence
    );
    picture.caption = caption(figures, chart, dosed, seen.len());
    Some(picture)
}

fn caption(figures: &Figures, chart: Option<&Chart>, dosed: bool, count: usize) -> String {
    let mut text = format!(
        "Every {} print in order: ● proved good, ▽ too little, ▲ too much, ◇ not proved.",
        figures.evidence
    );
    if count > APART {
        text += " So many cannot be told apart: upright lines say how far the good ones reach.";
    }
    match chart {
        Some(chart) => {
            text += " Dashed grey: mean and control limits, between which chance keeps 997 of 1000 prints.";
            text += match (chart.stable, chart.patterns.is_empty()) {
                (true, true) => " No pattern: the process is stable.",
                (true, false) => {
                    " Shaded: patterns, no more than chance explains; the process is stable."
                }
                (false, _) => {
                    " Shaded: patterns that chance does not explain; the process is not stable."
                }
            };
        }
        None => {
            if let super::super::Known::Not { unknown } = &figures.chart {
                text += &format!(" No control limits: {}", uncapitalised(unknown));
            }
        }
    }
    if dosed {
        text += " Below, each print's cure dose from the low to the high end of its uncertainty: what is cured stands wholly \
                 above 1.";
    }
    text
}

/// The number of a print; nothing between two.
fn whole(place: f64) -> String {
    match place.fract() == 0.0 && place > 0.0 {
        true => plain(place),
        false => String::new(),
    }
}

fn uncapitalised(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters
        .next()
        .map(|letter| letter.to_lowercase().to_string());
    first.unwrap_or_default() + letters.as_str()
}

fn log(dose: f64) -> f64 {
    dose.max(1e-9).log10().clamp(DOSES.0, DOSES.1)
}

fn control(picture: &mut Picture, panel: &Panel, chart: &Chart, shown: &dyn Fn(f64) -> f64) {
    for (at, width) in [
        (chart.lower_c, 1.0),
        (chart.centre_c, 0.8),
        (chart.upper_c, 1.0),
    ] {
        let y = panel.y(shown(at));
        picture.line(vec![(LEFT, y), (RIGHT, y)], FAINT, width, true);
    }
}

/// Shades what is no chance.
fn patterns(
    picture: &mut Picture,
    panel: &Panel,
    chart: &Chart,
    seen: &[(f64, &Print)],
    shown: &dyn Fn(f64) -> f64,
) {
    let place = |pass: u64| {
        let own = seen.iter().find(|(_, print)| print.pass == pass);
        own.map(|(place, _)| *place)
    };
    for pattern in &chart.patterns {
        let (Some(first), Some(last)) = (place(pattern.first_pass), place(pattern.last_pass))
        else {
            continue;
        };
        let (left, right) = (
            panel.x(first - 0.5).max(LEFT),
            panel.x(last + 0.5).min(RIGHT),
        );
        let (top, bottom) = (panel.top, panel.y(shown(chart.lower_c)).max(panel.bottom));
        picture.shapes.push(Shape::Area {
            points: vec![(left, top), (right, top), (right, bottom), (left, bottom)],
            colour: LIMIT,
            opacity: 0.16,
        });
    }
}

/// Marks for single prints; of very many good ones how far they reach.
fn points(
    picture: &mut Picture,
    panel: &Panel,
    seen: &[(f64, &Print)],
    figure: &dyn Fn(&Print) -> Option<f64>,
) {
    let many = seen.len() > APART;
    let size = if seen.len() > 80 { 3.0 } else { 4.5 };
    if many {
        for (x, least, greatest) in columns(panel, seen, figure) {
            let colour = Kind::Good.colour();
            picture.line(
                vec![(x, panel.y(least) + 0.5), (x, panel.y(greatest) - 0.5)],
                colour,
                1.2,
                false,
            );
        }
    } else {
        let line = seen.iter().filter_map(|(place, print)| {
            let y = panel.y(figure(print)?);
            Some((panel.x(*place), y))
        });
        picture.line(line.collect(), FAINT, 0.6, false);
    }
    for (place, print) in seen {
        let kind = Kind::of(&print.verdict);
        if let (Some(figure), false) = (figure(print), many && kind == Kind::Good) {
            picture.mark((panel.x(*place), panel.y(figure)), kind, size);
        }
    }
}

/// The good prints by column of the picture: least and greatest.
fn columns(
    panel: &Panel,
    seen: &[(f64, &Print)],
    figure: &dyn Fn(&Print) -> Option<f64>,
) -> Vec<(f64, f64, f64)> {
    let mut columns: Vec<(f64, f64, f64)> = Vec::new();
    for (place, print) in seen {
        let (Some(figure), Kind::Good) = (figure(print), Kind::of(&print.verdict)) else {
            continue;
        };
        let x = panel.x(*place).round();
        match columns.last_mut() {
            Some(last) if last.0 == x => {
                last.1 = last.1.min(figure);
                last.2 = last.2.max(figure);
            }
            _ => columns.push((x, figure, figure)),
        }
    }
    columns
}

/// Doses from their low to their high end.
fn bands(picture: &mut Picture, panel: &Panel, seen: &[(f64, &Print)]) {
    let many = seen.len() > APART;
    if many {
        let low = columns(panel, seen, &|print| print.cure.map(|dose| log(dose.low)));
        let high = columns(panel, seen, &|print| print.cure.map(|dose| log(dose.high)));
        for (low, high) in low.iter().zip(&high) {
            let colour = Kind::Good.colour();
            picture.line(
                vec![(low.0, panel.y(low.1)), (low.0, panel.y(high.2))],
                colour,
                1.2,
                false,
            );
        }
    }
    for (place, print) in seen {
        let kind = Kind::of(&print.verdict);
        let (Some(dose), false) = (print.cure, many && kind == Kind::Good) else {
            continue;
        };
        let x = panel.x(*place);
        let ends = vec![(x, panel.y(log(dose.low))), (x, panel.y(log(dose.high)))];
        picture.line(ends, kind.colour(), 2.0, false);
        picture.line(
            vec![
                (x - 2.5, panel.y(log(dose.best))),
                (x + 2.5, panel.y(log(dose.best))),
            ],
            INK,
            1.2,
            false,
        );
    }
}
