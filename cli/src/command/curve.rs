//! A time-temperature law drawn in the terminal: how long each temperature has to last.
//!
//! Temperature runs to the right, time upwards and in decades. Eight dots to a character (Braille
//! patterns) make the curve fine enough to read off.

use inkdwell_config::display::Units;
use inkdwell_config::law::Law;
use inkdwell_config::quantity::Celsius;
use inkdwell_cure::law::{Counts, Rate};

const COLUMNS: usize = 58;
const ROWS: usize = 12;

/// The drawing, line by line.
pub(crate) fn draw(law: &Law, counts: Counts, units: Units) -> String {
    let rate = Rate::new(law, counts);
    let (cool, hot) = range(law);
    let celsius = |share: f64| Celsius(cool + share * (hot - cool));
    let seconds = |share: f64| rate.time_needed(celsius(share)).map(|seconds| seconds.0);
    let dots = COLUMNS * 2;
    let times: Vec<Option<f64>> = (0..dots)
        .map(|dot| seconds((dot as f64 + 0.5) / dots as f64))
        .collect();
    let longest = times
        .iter()
        .flatten()
        .copied()
        .fold(f64::MIN_POSITIVE, f64::max);
    let shortest = times
        .iter()
        .flatten()
        .copied()
        .fold(f64::INFINITY, f64::min);
    let top = (longest * 2.0).log10();
    let bottom = (shortest / 2.0).log10();
    let mut canvas = vec![vec![0_u8; COLUMNS]; ROWS];
    let mut last: Option<usize> = None;
    for (dot, time) in times.iter().enumerate() {
        let height = time.map(|time| {
            let share = (time.log10() - bottom) / (top - bottom);
            ((1.0 - share) * (ROWS * 4 - 1) as f64).round() as usize
        });
        if let Some(height) = height {
            let from = last.unwrap_or(height);
            (from.min(height)..=from.max(height)).for_each(|row| set(&mut canvas, dot, row));
        }
        last = height;
    }
    let mut text = String::new();
    for (row, cells) in canvas.iter().enumerate() {
        let label = label(row, top, bottom);
        let cells: String = cells.iter().map(|dots| braille(*dots)).collect();
        text += format!("{label:>7} ┤{cells}").trim_end();
        text.push('\n');
    }
    text += &format!("{:>7} └{}\n", "", "─".repeat(COLUMNS));
    text += &axis(cool, hot, units);
    text
}

/// Temperatures worth showing: from a little below the coolest point to a little above the hottest.
fn range(law: &Law) -> (f64, f64) {
    let (cool, hot) = match law {
        Law::Hold { at, .. } => (at.0 - 10.0, at.0 + 20.0),
        Law::Equivalents { points } => {
            let ends = points.first().zip(points.last());
            ends.map_or((0.0, 1.0), |(cool, hot)| (cool.0.0, hot.0.0))
        }
    };
    let margin = 0.12 * (hot - cool);
    (cool - margin, hot + margin)
}

/// Times that people have words for.
const ROUND_TIMES: [(f64, &str); 13] = [
    (0.1, "0.1 s"),
    (1.0, "1 s"),
    (3.0, "3 s"),
    (10.0, "10 s"),
    (30.0, "30 s"),
    (60.0, "1 min"),
    (180.0, "3 min"),
    (600.0, "10 min"),
    (1800.0, "30 min"),
    (3600.0, "1 h"),
    (10_800.0, "3 h"),
    (36_000.0, "10 h"),
    (864_000.0, "10 days"),
];

/// The round time that lies within the row, if one does.
fn label(row: usize, top: f64, bottom: f64) -> &'static str {
    let height = |row: f64| top - (top - bottom) * row / ROWS as f64;
    let (above, below) = (height(row as f64), height(row as f64 + 1.0));
    let within = |time: f64| (below..above).contains(&time.log10());
    ROUND_TIMES
        .iter()
        .find(|(time, _)| within(*time))
        .map_or("", |(_, words)| words)
}

fn axis(cool: f64, hot: f64, units: Units) -> String {
    let mut line = vec![b' '; COLUMNS + 12];
    for tick in 0..=4 {
        let share = f64::from(tick) / 4.0;
        let number = units.temperature_number(Celsius(cool + share * (hot - cool)));
        let text = format!("{number:.0}");
        let at = (9.0 + share * (COLUMNS - 1) as f64) as usize;
        let at = at.saturating_sub(text.len() / 2);
        line[at..at + text.len()].copy_from_slice(text.as_bytes());
    }
    let line = String::from_utf8_lossy(&line).trim_end().to_owned();
    format!("{line} {}\n", units.degree())
}

fn set(canvas: &mut [Vec<u8>], dot: usize, row: usize) {
    /// Bits of the Braille patterns, by row and column of the dot.
    const BITS: [[u8; 2]; 4] = [[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]];
    if let Some(cell) = canvas
        .get_mut(row / 4)
        .and_then(|cells| cells.get_mut(dot / 2))
    {
        *cell |= BITS[row % 4][dot % 2];
    }
}

fn braille(dots: u8) -> char {
    if dots == 0 {
        ' '
    } else {
        char::from_u32(0x2800 + u32::from(dots)).unwrap_or(' ')
    }
}
