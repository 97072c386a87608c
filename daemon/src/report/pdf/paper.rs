//! Paper: what stands on which page and where, and what it is for those who cannot see it.
//!
//! Everything is laid out first, as leaves: pieces of a page that belong to one element of the document's structure. Then
//! the pages are drawn, and the structure is tied to what was drawn.

use std::num::NonZeroU16;

use krilla::tagging::{
    ContentTag, Identifier, SpanTag, TableHeaderScope, Tag, TagGroup, TagKind, TagTree,
};

use super::super::contents::{Column, Line, Table};
use super::super::picture::{Colour, FAINT, HAIR, INK, Picture};
use super::letters::Face;

/// Points that are left free at the sides, above and below.
pub(super) const MARGIN: f32 = 44.0;
/// A line is so many times as high as its letters.
const LEADING: f32 = 1.38;
/// Letters of prose and of tables.
pub(super) const PROSE: f32 = 9.5;
pub(super) const SMALL: f32 = 7.8;

/// What is drawn in a leaf.
pub(super) enum Draw {
    /// A line of text at its base line.
    Text {
        x: f32,
        y: f32,
        size: f32,
        bold: bool,
        colour: Colour,
        text: String,
    },
    /// A rule from left to right.
    Rule {
        x: f32,
        y: f32,
        width: f32,
        thick: f32,
        colour: Colour,
    },
    /// A picture with its top left corner, and by what it is scaled.
    Picture {
        x: f32,
        y: f32,
        scale: f32,
        picture: Picture,
    },
}

/// A piece of a page.
pub(super) struct Leaf {
    /// Whether it is text, a picture, or nothing but ornament.
    pub(super) kind: LeafKind,
    pub(super) draws: Vec<Draw>,
    /// Its number in the structure.
    pub(super) number: usize,
}

/// What a leaf is.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum LeafKind {
    Text,
    Figure,
    Ornament,
}

/// An element of the structure.
enum Element {
    Leaf(usize),
    Group(TagKind, Vec<Element>),
}

/// The pages as they grow.
pub(super) struct Paper {
    pub(super) width: f32,
    pub(super) height: f32,
    pub(super) plain: Face,
    pub(super) bold: Face,
    pub(super) pages: Vec<Vec<Leaf>>,
    y: f32,
    leaves: usize,
    structure: Vec<Element>,
}

impl Paper {
    pub(super) fn new(width: f32, height: f32, plain: Face, bold: Face) -> Paper {
        Paper {
            width,
            height,
            plain,
            bold,
            pages: vec![Vec::new()],
            y: MARGIN,
            leaves: 0,
            structure: Vec::new(),
        }
    }

    /// The room between the margins.
    pub(super) fn room(&self) -> f32 {
        self.width - 2.0 * MARGIN
    }

    fn bottom(&self) -> f32 {
        self.height - MARGIN - 14.0
    }

    fn turn(&mut self) {
        self.pages.push(Vec::new());
        self.y = MARGIN;
    }

    /// Turns the page unless there is so much room left.
    pub(super) fn need(&mut self, room: f32) {
        if self.y + room > self.bottom() && self.y > MARGIN {
            self.turn();
        }
    }

    pub(super) fn skip(&mut self, by: f32) {
        if self.y > MARGIN {
            self.y += by;
        }
    }

    fn leaf(&mut self, kind: LeafKind, draws: Vec<Draw>) -> Element {
        let number = self.leaves;
        self.leaves += 1;
        if let Some(page) = self.pages.last_mut() {
            page.push(Leaf {
                kind,
                draws,
                number,
            });
        }
        Element::Leaf(number)
    }

    /// Lines of text from a place on; they may go over to the next page.
    fn text(
        &mut self,
        text: &str,
        size: f32,
        bold: bool,
        colour: Colour,
        indent: f32,
    ) -> Vec<Element> {
        let face = if bold { &self.bold } else { &self.plain };
        let lines = face.lines(text, size, self.room() - indent);
        let mut elements = Vec::new();
        for line in lines {
            self.need(size * LEADING);
            self.y += size * LEADING;
            let draw = Draw::Text {
                x: MARGIN + indent,
                y: self.y - size * 0.3,
                size,
                bold,
                colour,
                text: line,
            };
            elements.push(self.leaf(LeafKind::Text, vec![draw]));
        }
        elements
    }

    /// A heading of a level from 1.
    pub(super) fn heading(&mut self, level: u16, text: &str) {
        let size = match level {
            1 => 19.0,
            2 => 13.5,
            _ => 10.5,
        };
        self.skip(if level == 1 { 4.0 } else { 12.0 });
        self.need(size * LEADING + 48.0);
        if level == 2 {
            let rule = Draw::Rule {
                x: MARGIN,
                y: self.y,
                width: self.room(),
                thick: 1.4,
                colour: INK,
            };
            self.leaf(LeafKind::Ornament, vec![rule]);
            self.y += 4.0;
        }
        let lines = self.text(text, size, true, INK, 0.0);
        let level = NonZeroU16::new(level).unwrap_or(NonZeroU16::MIN);
        let tag = Tag::Hn(level, Some(text.to_owned()));
        self.structure.push(Element::Group(tag.into(), lines));
        self.y += 3.0;
    }

    /// A paragraph.
    pub(super) fn prose(&mut self, text: &str) {
        self.paragraph(text, PROSE, INK, 0.0);
    }

    /// A paragraph of what stands behind.
    pub(super) fn faint(&mut self, text: &str) {
        self.paragraph(text, SMALL, FAINT, 0.0);
    }

    pub(super) fn paragraph(&mut self, text: &str, size: f32, colour: Colour, indent: f32) {
        let lines = self.text(text, size, false, colour, indent);
        self.structure.push(Element::Group(Tag::P.into(), lines));
        self.y += 2.5;
    }

    /// What a report is about, above its answer.
    pub(super) fn about(&mut self, text: &str) {
        self.paragraph(text, 9.0, FAINT, 0.0);
    }

    /// A table; its head is repeated on every page.
    pub(super) fn table(&mut self, table: &Table) {
        let head: Vec<String> = table.columns.iter().map(|own| own.head.clone()).collect();
        let rows = table
            .rows
            .iter()
            .map(|row| row.cells.iter().map(Line::plain));
        let rows: Vec<Vec<String>> = rows.map(Iterator::collect).collect();
        self.rows(&table.columns, Some(&head), &rows);
    }

    /// Names, each with what is so.
    pub(super) fn facts(&mut self, facts: &[(&'static str, Line)]) {
        let column = |share| Column {
            head: String::new(),
            share,
            right: false,
        };
        let rows = facts
            .iter()
            .map(|(name, line)| vec![(*name).to_owned(), line.plain()]);
        let rows: Vec<Vec<String>> = rows.collect();
        self.rows(&[column(1.0), column(6.0)], None, &rows);
    }

    fn rows(&mut self, columns: &[Column], head: Option<&[String]>, rows: &[Vec<String>]) {
        let mut groups = Vec::new();
        if let Some(head) = head {
            self.need(3.0 * SMALL * LEADING);
            let cells = self.row(columns, head, true, LeafKind::Text);
            let cells = cells.into_iter().map(|cell| {
                let tag = Tag::TH(TableHeaderScope::Column);
                Element::Group(tag.into(), vec![cell])
            });
            groups.push(Element::Group(Tag::TR.into(), cells.collect()));
        }
        for row in rows {
            let high = self.high(columns, row);
            if self.y + high > self.bottom() && self.y > MARGIN {
                self.turn();
                if let Some(head) = head {
                    self.row(columns, head, true, LeafKind::Ornament);
                }
            }
            let cells = self.row(columns, row, false, LeafKind::Text);
            let cells = cells
                .into_iter()
                .map(|cell| Element::Group(Tag::TD.into(), vec![cell]));
            groups.push(Element::Group(Tag::TR.into(), cells.collect()));
        }
        self.structure
            .push(Element::Group(Tag::Table.into(), groups));
        self.y += 4.0;
    }

    fn cells(
        &self,
        columns: &[Column],
        row: &[String],
        bold: bool,
    ) -> Vec<(f32, f32, Vec<String>)> {
        let face = if bold { &self.bold } else { &self.plain };
        let all: f32 = columns.iter().map(|own| own.share).sum();
        let mut x = MARGIN;
        let mut cells = Vec::new();
        for (column, text) in columns.iter().zip(row) {
            let width = self.room() * column.share / all;
            let lines = face.lines(text, SMALL, width - 7.0);
            cells.push((x, width, lines));
            x += width;
        }
        cells
    }

    fn high(&self, columns: &[Column], row: &[String]) -> f32 {
        let cells = self.cells(columns, row, false);
        let lines = cells
            .iter()
            .map(|(.., lines)| lines.len())
            .max()
            .unwrap_or(0);
        lines.max(1) as f32 * SMALL * LEADING + 3.0
    }

    /// One row; a leaf for each of its cells.
    fn row(
        &mut self,
        columns: &[Column],
        row: &[String],
        head: bool,
        kind: LeafKind,
    ) -> Vec<Element> {
        let cells = self.cells(columns, row, head);
        let mut most = 1;
        let top = self.y;
        let mut elements = Vec::new();
        for ((x, width, lines), column) in cells.into_iter().zip(columns) {
            most = most.max(lines.len());
            let face = if head { &self.bold } else { &self.plain };
            let mut draws = Vec::new();
            for (place, line) in lines.into_iter().enumerate() {
                let shift = match column.right {
                    true => width - 7.0 - face.width(&line, SMALL),
                    false => 0.0,
                };
                draws.push(Draw::Text {
                    x: x + shift,
                    y: top + (place as f32 + 1.0) * SMALL * LEADING - SMALL * 0.3,
                    size: SMALL,
                    bold: head,
                    colour: if head { FAINT } else { INK },
                    text: line,
                });
            }
            elements.push(self.leaf(kind, draws));
        }
        self.y = top + most as f32 * SMALL * LEADING + 3.0;
        let rule = Draw::Rule {
            x: MARGIN,
            y: self.y - 1.0,
            width: self.room(),
            thick: 0.5,
            colour: HAIR,
        };
        self.leaf(LeafKind::Ornament, vec![rule]);
        elements
    }

    /// A picture with its caption below.
    pub(super) fn picture(&mut self, picture: Picture) {
        let scale = self.room() / picture.width as f32;
        let high = picture.height as f32 * scale;
        self.skip(6.0);
        self.need(high + 24.0);
        let (told, caption) = (picture.told.clone(), picture.caption.clone());
        let draw = Draw::Picture {
            x: MARGIN,
            y: self.y,
            scale,
            picture,
        };
        self.y += high + 2.0;
        let figure = self.leaf(LeafKind::Figure, vec![draw]);
        let tag = Tag::Figure(Some(told));
        self.structure
            .push(Element::Group(tag.into(), vec![figure]));
        self.faint(&caption);
    }

    /// The structure with what was drawn; `drawn` has an identifier for each leaf that is no ornament.
    pub(super) fn structure(&mut self, mut drawn: Vec<Option<Identifier>>) -> TagTree {
        let mut tree = TagTree::new();
        for element in std::mem::take(&mut self.structure) {
            if let Element::Group(tag, children) = element {
                tree.push(tied(tag, children, &mut drawn));
            }
        }
        tree
    }

    /// How many leaves there are.
    pub(super) fn leaves(&self) -> usize {
        self.leaves
    }
}

fn tied(tag: TagKind, children: Vec<Element>, drawn: &mut [Option<Identifier>]) -> TagGroup {
    let mut group = TagGroup::new(tag);
    for child in children {
        match child {
            Element::Leaf(number) => {
                if let Some(identifier) = drawn.get_mut(number).and_then(Option::take) {
                    group.push(identifier);
                }
            }
            Element::Group(tag, children) => group.push(tied(tag, children, drawn)),
        }
    }
    group
}

/// The tag of a leaf's content.
pub(super) fn content(kind: LeafKind) -> ContentTag<'static> {
    match kind {
        LeafKind::Text => ContentTag::Span(SpanTag::empty()),
        LeafKind::Figure => ContentTag::Other,
        LeafKind::Ornament => ContentTag::Artifact(krilla::tagging::Artifact::with_kind(
            krilla::tagging::ArtifactType::Other,
        )),
    }
}
