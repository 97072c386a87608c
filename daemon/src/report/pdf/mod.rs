//! The report as a PDF: tagged, with its fonts in it, its text selectable and searchable.

mod batch;
mod drawing;
mod letters;
mod paper;

use inkdwell_config::display::Units;
use inkdwell_config::quantity::CelsiusDifference;
use krilla::Document;
use krilla::metadata::Metadata;
use krilla::page::PageSettings;
use krilla::tagging::{Artifact, ArtifactType, ContentTag};

use super::picture::{FAINT, Kind, chamber};
use super::words::{per_cent, verdict_words};
use super::{Known, Report, VerdictCount};
use crate::api::view::Moment;
use letters::Face;
use paper::{MARGIN, Paper, SMALL, column, content};

/// ISO 216 A4, and for shops that read °F the Letter of ANSI/ASME Y14.1, in points.
const A4: (f32, f32) = (595.28, 841.89);
const LETTER: (f32, f32) = (612.0, 792.0);

/// Why there is no PDF.
#[derive(Debug, thiserror::Error)]
pub enum NoPdf {
    /// A font that is part of the program cannot be used.
    #[error("the program's fonts cannot be used; this is a fault of the program")]
    Font,
    /// The document could not be finished.
    #[error("the PDF cannot be made ({0}); this is a fault of the program")]
    Document(String),
}

/// A report as a PDF.
///
/// # Errors
/// When the document cannot be finished.
pub fn document(report: &Report) -> Result<Vec<u8>, NoPdf> {
    let (units, size) = match report.shop.us_units {
        true => (Units::Us, LETTER),
        false => (Units::Metric, A4),
    };
    let plain = Face::new(dejavu::sans::regular()).ok_or(NoPdf::Font)?;
    let bold = Face::new(dejavu::sans::bold()).ok_or(NoPdf::Font)?;
    let mut paper = Paper::new(size.0, size.1, plain, bold);
    written(&mut paper, report, units);
    drawn(paper, report)
}

/// Draws the pages that were laid out.
fn drawn(mut paper: Paper, report: &Report) -> Result<Vec<u8>, NoPdf> {
    let failed = |error: &dyn std::fmt::Debug| NoPdf::Document(format!("{error:?}"));
    let mut document = Document::new();
    let mut identifiers: Vec<Option<_>> = (0..paper.leaves()).map(|_| None).collect();
    let count = paper.pages.len();
    let title = title(report);
    for number in 0..count {
        let settings = PageSettings::from_wh(paper.width, paper.height);
        let mut page = document.start_page_with(settings.ok_or_else(|| failed(&"page size"))?);
        let mut surface = page.surface();
        for leaf in &paper.pages[number] {
            let identifier = surface.start_tagged(content(leaf.kind));
            for draw in &leaf.draws {
                drawing::draw(&mut surface, &paper, draw);
            }
            surface.end_tagged();
            if leaf.kind != paper::LeafKind::Ornament {
                identifiers[leaf.number] = Some(identifier);
            }
        }
        surface.start_tagged(ContentTag::Artifact(Artifact::with_kind(
            ArtifactType::Other,
        )));
        let foot = format!(
            "{title} · page {} of {count} · {}",
            number + 1,
            &report.journal.fingerprint
        );
        let at = (MARGIN, paper.height - MARGIN + 8.0);
        drawing::words(&mut surface, &paper.plain, at, 6.5, FAINT, &foot);
        surface.end_tagged();
        surface.finish();
        page.finish();
    }
    document.set_tag_tree(paper.structure(identifiers));
    let metadata = Metadata::new()
        .title(title)
        .language("en".to_owned())
        .creator(format!("Inkdwell {}", report.program))
        .description(report.answer.sentence.clone())
        .keywords(vec![
            report.journal.head.clone(),
            report.journal.fingerprint.clone(),
        ]);
    document.set_metadata(metadata);
    document.finish().map_err(|error| failed(&error))
}

fn title(report: &Report) -> String {
    let shop = report
        .shop
        .name
        .known()
        .map_or("Dryer report", String::as_str);
    format!("{shop}: {}", report.period.title)
}

/// Puts everything on paper.
fn written(paper: &mut Paper, report: &Report, units: Units) {
    let period = &report.period;
    let parts = [
        report.shop.name.known().cloned(),
        Some(period.title.clone()),
        period.station.as_ref().map(|own| format!("station {own}")),
        period.job.as_ref().map(|own| format!("job “{own}”")),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    paper.paragraph(&parts.join(" · "), 9.0, FAINT, 0.0);
    paper.heading(1, &report.answer.sentence);
    paper.prose(&counts(&report.counts));
    if !report.tomorrow.is_empty() {
        paper.heading(3, "What to do tomorrow");
        for (place, advice) in (1..).zip(&report.tomorrow) {
            paper.prose(&format!("{place}. {}", advice.what.replace('`', "")));
        }
    }
    paper.skip(4.0);
    paper.prose(&report.caution);
    for remark in &report.remarks {
        paper.faint(&remark.replace('`', ""));
    }
    overview(paper, report);
    for own in &report.batches {
        batch::batch(paper, own, units);
    }
    shop(paper, report, units);
    integrity(paper, report);
}

/// `● 10 cured, ▽ 3 under-cured`.
fn counts(counts: &[VerdictCount]) -> String {
    let told = counts.iter().map(|count| {
        let word = verdict_words(&count.verdict, count.harm.as_deref());
        format!(
            "{} {} {word}",
            Kind::of(&count.verdict).sign(),
            count.prints
        )
    });
    told.collect::<Vec<_>>().join("   ")
}

fn overview(paper: &mut Paper, report: &Report) {
    if report.batches.len() < 2 {
        return;
    }
    paper.heading(2, "Batches");
    let columns = [
        column("Batch", 0.6, true),
        column("Job", 1.7, false),
        column("Ink on fabric", 2.4, false),
        column("Station", 0.9, false),
        column("Prints", 0.7, true),
        column("Verdicts", 2.0, false),
        column("Good at least", 0.9, true),
    ];
    let rows: Vec<Vec<String>> = report
        .batches
        .iter()
        .map(|batch| {
            let share = batch.proof.good_at_least.known();
            vec![
                batch.batch.to_string(),
                batch.job.clone(),
                format!("{} on {}", batch.ink.name, batch.fabric.name),
                batch.station.clone(),
                batch.proof.prints.to_string(),
                counts(&batch.counts),
                share.map_or("nothing".to_owned(), |share| per_cent(*share)),
            ]
        })
        .collect();
    paper.table(&columns, &rows);
    paper.faint("Good at least: the exact binomial bound at 95 % confidence, from the prints that a probe saw.");
}

fn shop(paper: &mut Paper, report: &Report, units: Units) {
    paper.heading(2, "The shop");
    paper.prose(&format!("Scrapped in all: {}.", money(&report.scrapped)));
    paper.heading(3, "Belt and chamber");
    match &report.chamber {
        Known::Not { unknown } => paper.prose(unknown),
        Known::Is(all) => {
            let mut stations: Vec<Option<&str>> =
                all.iter().map(|own| own.station.as_deref()).collect();
            stations.sort_unstable();
            stations.dedup();
            for station in stations {
                if let Some(picture) = chamber(all, station, units) {
                    paper.picture(picture);
                }
            }
        }
    }
    alarms(paper, report);
    probes(paper, report, units);
    if !report.happenings.is_empty() {
        paper.heading(3, "What happened");
        let columns = [
            column("When", 1.4, false),
            column("Where", 0.9, false),
            column("What", 5.0, false),
            column("Record", 0.7, true),
        ];
        let rows: Vec<Vec<String>> = report
            .happenings
            .iter()
            .map(|own| {
                let station = own.station.clone().unwrap_or("shop".to_owned());
                vec![
                    time(&own.at),
                    station,
                    own.what.clone(),
                    own.record.to_string(),
                ]
            })
            .collect();
        paper.table(&columns, &rows);
    }
}

fn alarms(paper: &mut Paper, report: &Report) {
    paper.heading(3, "Alarms");
    let after =
        |seconds: Option<f64>| seconds.map_or("not yet".to_owned(), |own| format!("{own:.0} s"));
    match &report.alarms {
        Known::Not { unknown } => paper.prose(unknown),
        Known::Is(alarms) if alarms.is_empty() => paper.prose("None."),
        Known::Is(alarms) => {
            let columns = [
                column("When", 1.4, false),
                column("Where", 0.9, false),
                column("What", 3.6, false),
                column("Acknowledged after", 1.1, true),
                column("Normal after", 1.0, true),
            ];
            let rows: Vec<Vec<String>> = alarms
                .iter()
                .map(|own| {
                    vec![
                        time(&own.at),
                        own.station.clone().unwrap_or("shop".to_owned()),
                        own.what.clone(),
                        after(own.acknowledged_after_s),
                        after(own.normal_after_s),
                    ]
                })
                .collect();
            paper.table(&columns, &rows);
        }
    }
}

fn probes(paper: &mut Paper, report: &Report, units: Units) {
    if !report.probes.is_empty() {
        paper.heading(3, "Probes");
        let columns = [
            column("Probe", 1.0, false),
            column("Place", 0.8, false),
            column("Station", 0.9, false),
            column("Prints", 0.7, true),
            column("U (k = 2)", 0.8, true),
            column("Calibrated", 3.4, false),
        ];
        let rows: Vec<Vec<String>> = report
            .probes
            .iter()
            .map(|own| {
                let doubt = own.uncertainty_c.map_or("–".to_owned(), |own| {
                    units.difference(CelsiusDifference(own))
                });
                let calibrated = match &own.calibration {
                    Known::Not { unknown } => unknown.clone(),
                    Known::Is(made) => {
                        let due = made
                            .due
                            .as_ref()
                            .map_or(String::new(), |due| format!(", due {due}"));
                        format!("{} by {}{due}", made.date, made.by)
                    }
                };
                let station = own.station.clone().unwrap_or("–".to_owned());
                vec![
                    own.id.clone(),
                    own.place.clone(),
                    station,
                    own.prints.to_string(),
                    doubt,
                    calibrated,
                ]
            })
            .collect();
        paper.table(&columns, &rows);
    }
    let totals = &report.totals;
    paper.heading(3, "Gaps, faults and outages");
    paper.prose(&format!(
        "In passes {} bad samples and {} gaps; {} passes seen only in part; {} prints counted that no probe saw; {} outages \
         of sources, {:.0} s in all; the wall clock set {} times; {} readings too late to be judged, {} lost; disk full for \
         {:.0} s.",
        totals.faults,
        totals.gaps,
        totals.cut,
        totals.unseen,
        totals.outages,
        totals.outage_s,
        totals.clock_steps,
        totals.late_readings,
        totals.turned_away,
        totals.disk_full_s
    ));
}

fn integrity(paper: &mut Paper, report: &Report) {
    paper.heading(2, "How this report is checked");
    let columns = [column("", 1.0, false), column("", 5.0, false)];
    let mut rows = vec![
        vec!["Chain's head".to_owned(), report.journal.head.clone()],
        vec!["Fingerprint".to_owned(), report.journal.fingerprint.clone()],
        vec![
            "Made".to_owned(),
            format!(
                "{} ({}), Inkdwell {}",
                time(&report.made),
                report.shop.timezone,
                report.program
            ),
        ],
    ];
    if let Some(digest) = &report.shop.file_sha256 {
        rows.push(vec!["Shop file".to_owned(), digest.clone()]);
    }
    paper.table(&columns, &rows);
    paper.paragraph(
        "Every verdict, decision and event is a record in a chain of hashes; the head is its last link. inkdwell verify holds \
         the JSON or the page of this report, which has the same fingerprint, against the journal.",
        SMALL,
        FAINT,
        0.0,
    );
}

/// `2026-03-02 14:05:11`, by the clock on the wall.
fn time(moment: &Moment) -> String {
    let written: String = moment.at.chars().take(19).collect();
    written.replace('T', " ")
}

/// The time of the day alone.
fn hour(moment: &Moment) -> String {
    moment.at.chars().skip(11).take(8).collect()
}

fn money(cost: &super::Cost) -> String {
    match (&cost.money, cost.prints) {
        (_, 0) => "nothing".to_owned(),
        (Known::Is(money), count) => {
            format!("{}, {money:.2} in blanks", super::words::prints(count))
        }
        (Known::Not { unknown }, count) => {
            format!("{}; {unknown}", super::words::prints(count)).replace('`', "")
        }
    }
}
