//! The report as a PDF: tagged, with its fonts in it, its text selectable and searchable.

mod drawing;
mod letters;
mod paper;

use krilla::Document;
use krilla::metadata::Metadata;
use krilla::page::PageSettings;
use krilla::tagging::{Artifact, ArtifactType, ContentTag};

use super::contents::{Block, contents, title};
use super::picture::{FAINT, Kind};
use super::words::verdict_words;
use super::{Report, VerdictCount};
use letters::Face;
use paper::{MARGIN, Paper, content};

/// The paper that a report is printed on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sheet {
    /// ISO 216 A4.
    A4,
    /// The Letter of ANSI/ASME Y14.1.
    Letter,
}

impl Sheet {
    /// The one that lies in the shop's printer: Letter where people read °F.
    pub fn of_shop(report: &Report) -> Sheet {
        match report.shop.us_units {
            true => Sheet::Letter,
            false => Sheet::A4,
        }
    }

    /// Width and height in points.
    fn size(self) -> (f32, f32) {
        match self {
            Sheet::A4 => (595.28, 841.89),
            Sheet::Letter => (612.0, 792.0),
        }
    }
}

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

/// A report as a PDF, on the paper of the shop.
///
/// # Errors
/// When the document cannot be finished.
pub fn document(report: &Report) -> Result<Vec<u8>, NoPdf> {
    document_on(report, Sheet::of_shop(report))
}

/// A report as a PDF, on a paper.
///
/// # Errors
/// When the document cannot be finished.
pub fn document_on(report: &Report, sheet: Sheet) -> Result<Vec<u8>, NoPdf> {
    let plain = Face::new(dejavu::sans::regular()).ok_or(NoPdf::Font)?;
    let bold = Face::new(dejavu::sans::bold()).ok_or(NoPdf::Font)?;
    let (width, height) = sheet.size();
    let mut paper = Paper::new(width, height, plain, bold);
    for own in contents(report) {
        put(&mut paper, own);
    }
    drawn(paper, report)
}

/// Puts a block on paper.
fn put(paper: &mut Paper, block: Block) {
    match block {
        Block::About(text) => paper.about(&text),
        Block::Answer(text) => paper.heading(1, &text),
        Block::Counts(own) => paper.prose(&counts(&own)),
        Block::Heading { level, text, .. } => paper.heading(level, &text),
        Block::Prose(line) => paper.prose(&line.plain()),
        Block::Small(line) => paper.faint(&line.plain()),
        Block::Caution(text) => {
            paper.skip(4.0);
            paper.prose(&text);
        }
        Block::Review(text) => paper.prose(&format!("→ {text}")),
        Block::Steps(steps) => {
            for (place, step) in (1..).zip(&steps) {
                paper.prose(&format!("{place}. {}", step.plain()));
            }
        }
        Block::Facts(facts) => paper.facts(&facts),
        Block::Table(table) => paper.table(&table),
        Block::Figure(picture) => paper.picture(picture),
    }
}

/// `● 10 cured   ▽ 3 under-cured`.
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
