//! Text in a figure: what XML asks for, and how much room words take.

use std::fmt::Write;

/// A text as it may stand in XML.
pub(crate) fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            // XML has no place for these, even escaped.
            control if control.is_control() => safe.push(' '),
            '\u{fffe}' | '\u{ffff}' => safe.push(' '),
            other => safe.push(other),
        }
    }
    safe
}

/// Sets words; `style` is any further attribute.
pub(crate) fn text(svg: &mut String, (x, y): (f64, f64), anchor: &str, style: &str, words: &str) {
    let words = escaped(words);
    let _ = writeln!(
        svg,
        "<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\" {style}>{words}</text>"
    );
}

/// About how wide words are, in units of the figure; rather too much than too little.
///
/// The widths of DejaVu Sans by kinds of letters, in shares of its size.
pub(crate) fn width(words: &str, size: f64) -> f64 {
    let letter = |letter: char| match letter {
        ' ' | '.' | ',' | ':' | ';' | 'i' | 'j' | 'l' | '\'' | '|' => 0.34,
        'f' | 't' | 'r' | '(' | ')' | '-' | '/' => 0.42,
        'm' | 'w' | 'M' | 'W' | '%' => 1.0,
        'A'..='Z' => 0.72,
        '\0'..='\u{24f}' => 0.64,
        _ => 1.0,
    };
    words.chars().map(letter).sum::<f64>() * size
}

/// Words that fit into the room; where they do not, their middle is left out.
pub(crate) fn fitted(words: &str, size: f64, room: f64) -> String {
    if width(words, size) <= room {
        return words.to_owned();
    }
    let letters: Vec<char> = words.chars().collect();
    // The end tells names apart more often than the start.
    for kept in (0..letters.len()).rev() {
        let head: String = letters[..kept / 3].iter().collect();
        let tail: String = letters[letters.len() - (kept - kept / 3)..]
            .iter()
            .collect();
        let short = format!("{head}…{tail}");
        if width(&short, size) <= room {
            return short;
        }
    }
    "…".to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_names_lose_their_middle() {
        let name = format!("{}.csv", "a-very-long-name/".repeat(20));
        let short = fitted(&name, 15.0, 400.0);
        assert!(width(&short, 15.0) <= 400.0);
        assert!(
            short.starts_with("a-very") && short.ends_with("name/.csv"),
            "{short}"
        );
        assert_eq!(fitted("short.csv", 15.0, 400.0), "short.csv");
        assert_eq!(fitted("short.csv", 15.0, 1.0), "…");
    }

    #[test]
    fn names_cannot_break_the_figure() {
        assert_eq!(
            escaped("<a & \"b\">\u{1}"),
            "&lt;a &amp; &quot;b&quot;&gt; "
        );
    }
}
