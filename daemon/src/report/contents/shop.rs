//! What concerns the whole shop, and how the report is checked.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::CelsiusDifference;

use super::super::picture;
use super::super::{CalibrationOf, Known, Probe, Report, Totals};
use super::times::{Clockface, lasting, time};
use super::{Block, Line, Row, Table, figures, heading, money, prose, words};

/// Chamber, alarms, probes, troubles.
pub(super) fn shop(report: &Report, units: Units) -> Vec<Block> {
    let mut blocks = vec![
        heading(2, "The shop"),
        prose(
            Line::of("Scrapped in all: ")
                .and(money(&report.scrapped))
                .say("."),
        ),
        heading(3, "Belt and chamber"),
    ];
    blocks.extend(chamber(report, units));
    blocks.extend(alarms(report));
    blocks.extend(probes(&report.probes, units));
    blocks.extend(troubles(&report.totals));
    blocks.extend(happenings(report));
    blocks
}

fn chamber(report: &Report, units: Units) -> Vec<Block> {
    let all = match &report.chamber {
        Known::Not { unknown } => return vec![prose(&**unknown)],
        Known::Is(all) => all,
    };
    let mut stations: Vec<Option<&str>> = all.iter().map(|own| own.station.as_deref()).collect();
    stations.sort_unstable();
    stations.dedup();
    let pictures = stations
        .into_iter()
        .filter_map(|station| picture::chamber(all, station, units));
    pictures.map(Block::Figure).collect()
}

fn of_shop(station: Option<&String>) -> Line {
    Line::of(station.map_or("shop", String::as_str))
}

fn alarms(report: &Report) -> Vec<Block> {
    let title = heading(3, "Alarms");
    let alarms = match &report.alarms {
        Known::Not { unknown } => return vec![title, prose(&**unknown)],
        Known::Is(alarms) if alarms.is_empty() => return vec![title, prose("None.")],
        Known::Is(alarms) => alarms,
    };
    let columns = vec![
        words("When", 1.0),
        words("Where", 0.8),
        words("What", 4.2),
        figures("Seen after", 0.9),
        figures("Normal after", 0.9),
    ];
    let after = |seconds: Option<f64>| Line::of(seconds.map_or("not yet".to_owned(), lasting));
    let face = Clockface::of(alarms.iter().map(|own| &own.at));
    let rows = alarms.iter().map(|own| {
        Row::from(vec![
            Line::of(face.tell(&own.at)),
            of_shop(own.station.as_ref()),
            Line::of(&*own.what),
            after(own.acknowledged_after_s),
            after(own.normal_after_s),
        ])
    });
    vec![title, Table::of("alarms", columns, rows.collect())]
}

fn probes(probes: &[Probe], units: Units) -> Vec<Block> {
    if probes.is_empty() {
        return Vec::new();
    }
    let columns = vec![
        words("Probe", 1.0),
        words("Place", 0.8),
        words("Station", 0.9),
        figures("Prints", 0.7),
        figures("U (k = 2)", 0.8),
        words("Calibrated", 3.4),
    ];
    let doubt = |own: Option<f64>| {
        own.map_or("–".to_owned(), |own| {
            units.difference(CelsiusDifference(own))
        })
    };
    let rows = probes.iter().map(|own| {
        Row::from(vec![
            Line::of(&*own.id),
            Line::of(&*own.place),
            Line::of(own.station.as_deref().unwrap_or("–")),
            Line::of(own.prints.to_string()),
            Line::of(doubt(own.uncertainty_c)),
            match &own.calibration {
                Known::Not { unknown } => Line::of(&**unknown),
                Known::Is(made) => calibrated(made, units),
            },
        ])
    });
    vec![
        heading(3, "Probes"),
        Table::of("probes", columns, rows.collect()),
    ]
}

fn calibrated(made: &CalibrationOf, units: Units) -> Line {
    let mut line = Line::of(format!("{} by {}", made.date, made.by));
    if let Some(own) = made.uncertainty_c {
        line = line.say(format!(", U {}", units.difference(CelsiusDifference(own))));
    }
    if let Some(due) = &made.due {
        line = line.say(format!(", due {due}"));
    }
    match made.due_in_days.is_some_and(|days| days < 0) {
        true => line.say(" ").strong("overdue"),
        false => line,
    }
}

/// Troubles that came, each with its number; what did not come is said in one line.
fn troubles(totals: &Totals) -> Vec<Block> {
    let counted = [
        ("bad samples in passes", totals.faults),
        ("gaps in passes", totals.gaps),
        ("passes seen only in part", totals.cut),
        ("prints counted that no probe saw", totals.unseen),
        ("outages of sources", totals.outages),
        ("times that the wall clock was set", totals.clock_steps),
        ("readings too late to be judged", totals.late_readings),
        (
            "readings lost because they came too fast",
            totals.turned_away,
        ),
    ];
    let mut told: Vec<String> = counted
        .iter()
        .filter(|(_, count)| *count > 0)
        .map(|(what, count)| match *what {
            "outages of sources" => {
                format!("{what}: {count}, {} in all", lasting(totals.outage_s))
            }
            what => format!("{what}: {count}"),
        })
        .collect();
    if totals.disk_full_s > 0.0 {
        told.push(format!("disk full for {}", lasting(totals.disk_full_s)));
    }
    let mut none: Vec<&str> = counted
        .iter()
        .filter(|(_, count)| *count == 0)
        .map(|(what, _)| *what)
        .collect();
    if totals.disk_full_s == 0.0 {
        none.push("full disk");
    }
    let mut blocks = vec![heading(3, "Gaps, faults and outages")];
    if !told.is_empty() {
        blocks.push(prose(capital(&told.join("; ")) + "."));
    }
    if !none.is_empty() {
        blocks.push(super::small(format!("None: {}.", none.join(", "))));
    }
    blocks
}

/// With a capital letter.
fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(char::to_uppercase);
    first.into_iter().flatten().chain(letters).collect()
}

fn happenings(report: &Report) -> Vec<Block> {
    if report.happenings.is_empty() {
        return Vec::new();
    }
    let columns = vec![
        words("When", 1.0),
        words("Where", 0.8),
        words("What", 5.2),
        figures("Record", 0.7),
    ];
    let face = Clockface::of(report.happenings.iter().map(|own| &own.at));
    let rows = report.happenings.iter().map(|own| {
        Row::from(vec![
            Line::of(face.tell(&own.at)),
            of_shop(own.station.as_ref()),
            Line::of(&*own.what),
            Line::of(own.record.to_string()),
        ])
    });
    vec![
        heading(3, "What happened"),
        Table::of("what happened", columns, rows.collect()),
    ]
}

/// How the report is checked.
pub(super) fn integrity(report: &Report) -> Vec<Block> {
    let hash = |text: &str| Line::default().hash(text);
    let mut facts = vec![
        ("Chain's head", hash(&report.journal.head)),
        ("Fingerprint", hash(&report.journal.fingerprint)),
        (
            "Made",
            Line::of(format!(
                "{} ({}), Inkdwell {}",
                time(&report.made),
                report.shop.timezone,
                report.program
            )),
        ),
    ];
    if let Some(digest) = &report.shop.file_sha256 {
        let kept = match report.shop.file_record {
            Some(record) => Line::of(format!("record {record}, SHA-256 ")),
            None => Line::of("named with the call, SHA-256 "),
        };
        facts.push(("Shop file", kept.hash(digest)));
    }
    vec![
        heading(2, "How this report is checked"),
        Block::Facts(facts),
        prose(
            Line::of(
                "Every verdict, decision and event is a record in a chain of hashes; the head is its last link. Each \
                 print above names its record. ",
            )
            .code("inkdwell verify REPORT --data FOLDER")
            .say(
                " goes over the chain and tells whether the journal still supports every figure of the report: of its \
                 page or its JSON, which have the same fingerprint as its PDF.",
            ),
        ),
    ]
}
