//! What is in the heat: the curve against what it is held against, the doses filling up, belt and zones.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::{Celsius, MetresPerSecond};
use inkdwell_daemon::api::view::{StationNowView, TripView, ZoneNowView};
use inkdwell_daemon::record::Dose;
use ratatui::Frame;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::{Modifier, Style};
use ratatui::symbols::Marker;
use ratatui::text::{Line, Span, Text};
use ratatui::widgets::{Axis, Chart, Dataset, GraphType};

use super::{Scene, clipped, heading, hour, letters};

/// A curve shows a little more than is needed.
const MARGIN: f64 = 10.0;
/// From this height on a line below the curve names what it is held against.
const WITH_KEY: u16 = 12;

pub(super) fn draw(frame: &mut Frame<'_>, scene: &Scene, station: &StationNowView, area: Rect) {
    let width = usize::from(area.width);
    let settings = settings(scene, station, width);
    let trip = station.trip.as_ref();
    let doses = trip.map_or_else(Vec::new, |trip| doses(scene, trip, width));
    let key = trip.filter(|trip| area.height >= WITH_KEY && !trip.levels.is_empty());
    let [head, curve, lines, below, last] = Layout::vertical([
        Constraint::Length(1),
        Constraint::Min(0),
        Constraint::Length(u16::from(key.is_some())),
        Constraint::Length(doses.len() as u16),
        Constraint::Length(settings.len() as u16),
    ])
    .areas(area);
    frame.render_widget(heading(&clipped(&title(trip), width)), head);
    match trip {
        Some(trip) if curve.height >= 4 => chart(frame, scene, trip, curve),
        Some(_) => {}
        None => frame.render_widget("The curve comes with the first print.", curve),
    }
    if let Some(trip) = key {
        frame.render_widget(named(scene, trip), lines);
    }
    frame.render_widget(Text::from(doses), below);
    frame.render_widget(Text::from(settings), last);
}

/// The lines that the curve is held against, by their names.
fn named(scene: &Scene, trip: &TripView) -> Line<'static> {
    let mut spans = Vec::new();
    for level in &trip.levels {
        let (mark, tone) = match level.is_limit {
            true => ("╌╌ ", "over"),
            false => ("── ", "good"),
        };
        let at = scene.units().temperature(Celsius(level.celsius));
        spans.push(Span::styled(mark, scene.tone(tone)));
        spans.push(Span::from(format!("{} {at}  ", level.name)));
    }
    Line::from(spans)
}

fn title(trip: Option<&TripView>) -> String {
    match trip {
        None => "In the heat: nothing yet".to_owned(),
        Some(trip) => match (trip.running_s, trip.print) {
            (Some(running), _) => {
                // Clocks that differ make nothing negative.
                format!("In the heat: a print, for {:.0} s", running.max(0.0))
            }
            (None, Some(print)) => format!("In the heat: none; print {print} was last"),
            (None, None) => format!("In the heat: none since {}", hour(&trip.since.at)),
        },
    }
}

fn chart(frame: &mut Frame<'_>, scene: &Scene, trip: &TripView, area: Rect) {
    let units = scene.units();
    let number = |celsius: f64| units.temperature_number(Celsius(celsius));
    let points: Vec<(f64, f64)> = trip
        .points
        .iter()
        .map(|(time, celsius)| (*time, number(*celsius)))
        .collect();
    let Some(((first, mut coolest), (last, mut hottest))) = span(&points) else {
        frame.render_widget("No reading of it is kept.", area);
        return;
    };
    for level in &trip.levels {
        coolest = coolest.min(number(level.celsius));
        hottest = hottest.max(number(level.celsius));
    }
    let (coolest, hottest) = (coolest - MARGIN, hottest + MARGIN);
    let last = last.max(first + 1.0);
    let levels: Vec<(Vec<(f64, f64)>, Style)> = trip
        .levels
        .iter()
        .map(|level| {
            let at = number(level.celsius);
            // Needed is drawn through, a limit in dashes.
            let (count, tone) = if level.is_limit {
                (24, "over")
            } else {
                (240, "good")
            };
            let step = (last - first) / f64::from(count);
            let line = (0..=count).map(|n| (first + step * f64::from(n), at));
            (
                line.collect(),
                scene.tone(tone).remove_modifier(Modifier::BOLD),
            )
        })
        .collect();
    let mut sets: Vec<Dataset<'_>> = levels
        .iter()
        .map(|(line, style)| {
            let set = Dataset::default().data(line).style(*style);
            set.marker(Marker::Braille).graph_type(GraphType::Scatter)
        })
        .collect();
    let film = Dataset::default().data(&points).marker(Marker::Braille);
    sets.push(film.graph_type(GraphType::Line));
    let labels = |values: [f64; 2], unit: &str| {
        values
            .map(|value| Line::from(format!("{value:.0}{unit}")))
            .to_vec()
    };
    let x = Axis::default()
        .bounds([first, last])
        .labels(labels([first, last], " s"));
    let y = Axis::default()
        .bounds([coolest, hottest])
        .labels(labels([coolest, hottest], &format!(" {}", units.degree())));
    frame.render_widget(Chart::new(sets).x_axis(x).y_axis(y), area);
}

type Corner = (f64, f64);

/// First time and coolest, last time and hottest.
fn span(points: &[(f64, f64)]) -> Option<(Corner, Corner)> {
    let first = points.first()?.0;
    let last = points.last()?.0;
    let coolest = points.iter().map(|point| point.1).reduce(f64::min)?;
    let hottest = points.iter().map(|point| point.1).reduce(f64::max)?;
    Some(((first, coolest), (last, hottest)))
}

/// Each dose as a bar that is full where the dose is 1, and its figure.
fn doses(scene: &Scene, trip: &TripView, width: usize) -> Vec<Line<'static>> {
    let cure = trip.cure.iter().map(|cure| ("cure", *cure, "good"));
    let harms = trip.harms.iter();
    let harms = harms.map(|harm| (harm.harm.as_str(), harm.dose, "over"));
    let all: Vec<(&str, Dose, &str)> = cure.chain(harms).collect();
    let name_width = all
        .iter()
        .map(|(name, ..)| letters(name))
        .max()
        .unwrap_or(0);
    let lines = all.iter().map(|(name, dose, tone)| {
        let figure = figure(*dose);
        let room = width
            .saturating_sub(name_width + letters(&figure) + 4)
            .clamp(0, 24);
        let full = (dose.low.clamp(0.0, 1.0) * room as f64).floor() as usize;
        let maybe = (dose.high.clamp(0.0, 1.0) * room as f64).ceil() as usize;
        Line::from(vec![
            Span::from(format!("{name:name_width$} ")),
            Span::styled("█".repeat(full), scene.tone(tone)),
            Span::styled("▒".repeat(maybe.saturating_sub(full)), scene.tone(tone)),
            Span::from("·".repeat(room.saturating_sub(maybe.max(full)))),
            Span::from(format!("▏{figure}")),
        ])
    });
    lines.collect()
}

/// Best, with low and high where they differ from it.
fn figure(dose: Dose) -> String {
    let number = |dose: f64| match dose {
        dose if dose < 10.0 => format!("{dose:.2}"),
        dose if dose < 1000.0 => format!("{dose:.0}"),
        _ => ">999".to_owned(),
    };
    let (low, best, high) = (number(dose.low), number(dose.best), number(dose.high));
    match low == high {
        true => best,
        false => format!("{best} ({low} to {high})"),
    }
}

fn settings(scene: &Scene, station: &StationNowView, width: usize) -> Vec<Line<'static>> {
    let units = scene.units();
    let mut lines = Vec::new();
    if station.kind == "belt-dryer" {
        let belt = match station.belt_m_per_min {
            None => "unknown".to_owned(),
            Some(belt) => {
                let speed = units.speed(MetresPerSecond(belt / 60.0));
                match station.belt_is_live {
                    true => speed,
                    false => format!("{speed} as declared"),
                }
            }
        };
        lines.push(Line::from(clipped(&format!("belt {belt}"), width)));
    }
    let zones: Vec<String> = station.zones.iter().map(|own| zone(own, units)).collect();
    let zones = zones.join(",  ");
    let zones = textwrap::wrap(&zones, width.max(1));
    lines.extend(
        zones
            .into_iter()
            .take(3)
            .map(|line| Line::from(line.replace('\u{a0}', " "))),
    );
    lines
}

fn zone(zone: &ZoneNowView, units: Units) -> String {
    let degrees = |celsius: f64| {
        let number = units.temperature_number(Celsius(celsius));
        // What rounds to nothing has no sign.
        format!("{:.0}\u{a0}{}", number.round() + 0.0, units.degree())
    };
    let shows = zone.shows_c.map_or_else(|| "silent".to_owned(), degrees);
    let set = zone.set_c.map_or_else(String::new, |set| {
        format!("\u{a0}(set\u{a0}{})", degrees(set))
    });
    format!(
        "{}\u{a0}{shows}{set}",
        zone.name.to_lowercase().replace(' ', "\u{a0}")
    )
}
