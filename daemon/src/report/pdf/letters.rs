//! Letters: which glyphs a text has, how wide it is, and where its lines end.

use krilla::text::{Font, GlyphId, KrillaGlyph};
use skrifa::instance::{LocationRef, Size};
use skrifa::{FontRef, MetadataProvider};

/// A font of the document.
pub(super) struct Face {
    font: Font,
    bytes: &'static [u8],
    units: f32,
}

impl Face {
    /// From the bytes of a font file.
    pub(super) fn new(bytes: &'static [u8]) -> Option<Face> {
        let units = FontRef::new(bytes)
            .ok()?
            .metrics(Size::unscaled(), LocationRef::default())
            .units_per_em;
        Some(Face {
            font: Font::new(bytes.to_vec().into(), 0)?,
            bytes,
            units: f32::from(units),
        })
    }

    pub(super) fn font(&self) -> Font {
        self.font.clone()
    }

    /// The glyphs of a text, one after the other; a letter that the font has not is its box.
    pub(super) fn glyphs(&self, text: &str) -> Vec<KrillaGlyph> {
        let Ok(font) = FontRef::new(self.bytes) else {
            return Vec::new();
        };
        let (letters, metrics) = (
            font.charmap(),
            font.glyph_metrics(Size::unscaled(), LocationRef::default()),
        );
        text.char_indices()
            .map(|(at, letter)| {
                let glyph = letters.map(letter).unwrap_or_default();
                let advance = metrics.advance_width(glyph).unwrap_or(0.0) / self.units;
                let range = at..at + letter.len_utf8();
                KrillaGlyph::new(
                    GlyphId::new(glyph.to_u32()),
                    advance,
                    0.0,
                    0.0,
                    0.0,
                    range,
                    None,
                )
            })
            .collect()
    }

    /// How wide a text is.
    pub(super) fn width(&self, text: &str, size: f32) -> f32 {
        self.glyphs(text)
            .iter()
            .map(|glyph| glyph.x_advance * size)
            .sum()
    }

    /// A text in lines that fit into the room, each of its own lines beginning a new one. A word that is longer than that
    /// is cut.
    pub(super) fn lines(&self, text: &str, size: f32, room: f32) -> Vec<String> {
        let lines = text.split('\n');
        lines
            .flat_map(|line| self.broken(line, size, room))
            .collect()
    }

    fn broken(&self, text: &str, size: f32, room: f32) -> Vec<String> {
        let mut lines: Vec<String> = Vec::new();
        let mut line = String::new();
        for word in text.split_whitespace() {
            let with = match line.is_empty() {
                true => word.to_owned(),
                false => format!("{line} {word}"),
            };
            if self.width(&with, size) <= room {
                line = with;
                continue;
            }
            if !line.is_empty() {
                lines.push(std::mem::take(&mut line));
            }
            for letter in word.chars() {
                line.push(letter);
                if self.width(&line, size) > room && line.chars().count() > 1 {
                    line.pop();
                    lines.push(std::mem::replace(&mut line, letter.to_string()));
                }
            }
        }
        if !line.is_empty() {
            lines.push(line);
        }
        lines
    }
}
