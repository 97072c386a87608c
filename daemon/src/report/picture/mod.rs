//! Pictures: what is drawn, apart from how. A picture is lines, areas, marks and words on a sheet whose origin is its top
//! left corner; [`svg`] and the PDF put it on paper.

mod axis;
mod chamber;
mod prints;
mod rides;
mod svg;

pub(super) use chamber::chamber;
pub(super) use prints::prints;
pub(super) use rides::rides;
pub(super) use svg::{corners, svg};

/// A colour, as red, green and blue.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Colour(pub(super) u8, pub(super) u8, pub(super) u8);

/// Text and curves.
pub(super) const INK: Colour = Colour(0x22, 0x22, 0x22);
/// What stands behind.
pub(super) const FAINT: Colour = Colour(0x77, 0x77, 0x77);
/// Lines of a grid.
pub(super) const HAIR: Colour = Colour(0xdd, 0xdd, 0xdd);
/// A limit.
pub(super) const LIMIT: Colour = Colour(0xcc, 0x79, 0xa7);

/// What is good, too little, too much, or not proved: colours of Okabe and Ito, which colour-blind people tell apart, and
/// a shape for each, since no meaning rests on colour alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Good,
    TooLittle,
    TooMuch,
    Open,
}

impl Kind {
    /// Of a verdict's word.
    pub(super) fn of(verdict: &str) -> Kind {
        match verdict {
            "cured" | "gelled" => Kind::Good,
            "under-cured" | "under-flashed" => Kind::TooLittle,
            "overheated" | "over-flashed" => Kind::TooMuch,
            _ => Kind::Open,
        }
    }

    /// Its sign in text.
    pub(super) fn sign(self) -> &'static str {
        match self {
            Kind::Good => "●",
            Kind::TooLittle => "▽",
            Kind::TooMuch => "▲",
            Kind::Open => "◇",
        }
    }

    pub(super) fn colour(self) -> Colour {
        match self {
            Kind::Good => Colour(0x00, 0x9e, 0x73),
            Kind::TooLittle => Colour(0x00, 0x72, 0xb2),
            Kind::TooMuch => Colour(0xd5, 0x5e, 0x00),
            Kind::Open => Colour(0xe6, 0x9f, 0x00),
        }
    }
}

/// Where a text stands against its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// Something drawn.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Shape {
    Line {
        points: Vec<(f64, f64)>,
        colour: Colour,
        width: f64,
        dashed: bool,
    },
    Area {
        points: Vec<(f64, f64)>,
        colour: Colour,
        opacity: f64,
    },
    Mark {
        at: (f64, f64),
        kind: Kind,
        size: f64,
    },
    Words {
        at: (f64, f64),
        anchor: Anchor,
        size: f64,
        colour: Colour,
        text: String,
    },
}

/// A picture.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Picture {
    pub(super) width: f64,
    pub(super) height: f64,
    pub(super) shapes: Vec<Shape>,
    /// What it shows, for those who cannot see it.
    pub(super) told: String,
    /// What stands below it.
    pub(super) caption: String,
}

impl Picture {
    fn new(height: f64) -> Picture {
        Picture {
            width: WIDTH,
            height,
            shapes: Vec::new(),
            told: String::new(),
            caption: String::new(),
        }
    }

    fn line(&mut self, points: Vec<(f64, f64)>, colour: Colour, width: f64, dashed: bool) {
        self.shapes.push(Shape::Line {
            points,
            colour,
            width,
            dashed,
        });
    }

    fn words(&mut self, at: (f64, f64), anchor: Anchor, colour: Colour, text: impl Into<String>) {
        self.shapes.push(Shape::Words {
            at,
            anchor,
            size: LETTERS,
            colour,
            text: text.into(),
        });
    }

    fn mark(&mut self, at: (f64, f64), kind: Kind, size: f64) {
        self.shapes.push(Shape::Mark { at, kind, size });
    }
}

/// The width of every picture.
const WIDTH: f64 = 680.0;
/// The size of letters in it.
const LETTERS: f64 = 11.0;
/// Where panels begin and end.
const LEFT: f64 = 52.0;
const RIGHT: f64 = WIDTH - 12.0;
