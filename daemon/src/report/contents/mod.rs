//! What a report says, in its order, apart from how it looks: the page and the PDF are both made from these blocks.

mod batch;
mod first;
mod line;
mod shop;
mod times;

use inkdwell_config::display::Units;

use super::picture::Picture;
use super::words::prints;
use super::{Cost, Known, Report, VerdictCount};

pub(super) use line::{Line, Piece};

/// A piece of a report, one below the other.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Block {
    /// What it is about, over the answer.
    About(String),
    /// The answer.
    Answer(String),
    /// Prints by verdict, large.
    Counts(Vec<VerdictCount>),
    /// A heading of the second or third level, with the name that links go to.
    Heading {
        level: u16,
        id: Option<String>,
        text: String,
    },
    /// A paragraph.
    Prose(Line),
    /// A paragraph of what stands behind.
    Small(Line),
    /// What comes before any figure.
    Caution(String),
    /// What has to be looked at again.
    Review(String),
    /// Things to do, in their order.
    Steps(Vec<Line>),
    /// Names, each with what is so.
    Facts(Vec<(&'static str, Line)>),
    /// A table.
    Table(Table),
    /// A picture with its caption.
    Figure(Picture),
}

/// A table.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Table {
    /// What it lists.
    pub(super) told: &'static str,
    pub(super) columns: Vec<Column>,
    pub(super) rows: Vec<Row>,
}

/// A column.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Column {
    pub(super) head: String,
    /// Its share of the width of paper.
    pub(super) share: f32,
    /// Whether it holds figures, which stand to the right.
    pub(super) right: bool,
}

/// A row.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Row {
    /// The name that links go to.
    pub(super) id: Option<String>,
    pub(super) cells: Vec<Line>,
}

impl From<Vec<Line>> for Row {
    fn from(cells: Vec<Line>) -> Row {
        Row { id: None, cells }
    }
}

impl Table {
    fn of(told: &'static str, columns: Vec<Column>, rows: Vec<Row>) -> Block {
        Block::Table(Table {
            told,
            columns,
            rows,
        })
    }
}

/// A column of text.
fn words(head: impl Into<String>, share: f32) -> Column {
    Column {
        head: head.into(),
        share,
        right: false,
    }
}

/// A column of figures.
fn figures(head: impl Into<String>, share: f32) -> Column {
    Column {
        right: true,
        ..words(head, share)
    }
}

fn heading(level: u16, text: impl Into<String>) -> Block {
    Block::Heading {
        level,
        id: None,
        text: text.into(),
    }
}

fn prose(line: impl Into<Line>) -> Block {
    Block::Prose(line.into())
}

fn small(line: impl Into<Line>) -> Block {
    Block::Small(line.into())
}

/// The units that people read there.
pub(super) fn units(report: &Report) -> Units {
    match report.shop.us_units {
        true => Units::Us,
        false => Units::Metric,
    }
}

/// What a report is about, and of which shop.
pub(super) fn title(report: &Report) -> String {
    let name = report.shop.name.known();
    let shop = name.map_or("Dryer report", String::as_str);
    format!("{shop}: {}", report.period.title)
}

/// Everything that a report says.
pub(super) fn contents(report: &Report) -> Vec<Block> {
    let units = units(report);
    let mut blocks = first::first(report);
    for own in &report.batches {
        blocks.extend(batch::batch(own, units));
    }
    blocks.extend(shop::shop(report, units));
    blocks.extend(shop::integrity(report));
    blocks
}

/// What was scrapped.
fn money(cost: &Cost) -> Line {
    let count = || prints(cost.prints);
    match (&cost.money, cost.prints) {
        (_, 0) => Line::of("nothing"),
        (Known::Is(money), _) => Line::of(format!("{}, {money:.2} in blanks", count())),
        (Known::Not { unknown }, _) => Line::marked(&format!("{}; {unknown}", count())),
    }
}
