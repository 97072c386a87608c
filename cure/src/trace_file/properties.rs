//! Laws of reading: neither chunks nor the way a row is read change anything, and plain files are what
//! they look like.

use proptest::prelude::*;

use super::tests::{Rows, logger, read};
use super::{Cell, ColumnKind, Layout, TimeForm};

/// Cells that a file may hold, good and bad, plain and not.
fn cell() -> impl Strategy<Value = String> {
    prop_oneof![
        8 => (-400_000..600_000_i32).prop_map(|number| (f64::from(number) / 1000.0).to_string()),
        1 => any::<f64>().prop_map(|number| format!("{number:e}")),
        1 => Just(String::new()),
        1 => "[0-9.,eE+-]{1,20}",
        1 => " ?(OPEN|---|inf|NaN|\"a\"\"b\"|\"1;2\"|x y|é) ?",
    ]
}

proptest! {
    /// Whole files go the fast way wherever a row is plain; fed byte by byte, every row goes the careful
    /// way: neither may change a bit.
    #[test]
    fn neither_chunks_nor_the_way_of_reading_change_anything(
        cells in prop::collection::vec((0_u32..5_000, cell(), cell()), 1..60),
        size in 1..90_usize,
        (delimiter, decimal_comma) in prop::sample::select(vec![
            (b',', false), (b';', false), (b';', true), (b'\t', true), (b' ', false), (b'|', false),
        ]),
        ends in prop::sample::select(vec!["\n", "\r\n"]),
        form in prop::sample::select(vec![TimeForm::Seconds, TimeForm::Minutes, TimeForm::Rfc3339]),
    ) {
        let d = char::from(delimiter);
        let mut text = format!("said{d}t{d}x{d}y{ends}");
        let mut millis = 0;
        for (step, said, x) in cells {
            millis += i64::from(step);
            let time = match form {
                TimeForm::Rfc3339 => chrono::DateTime::from_timestamp_millis(millis)
                    .map_or_else(String::new, |time| time.to_rfc3339()),
                _ => format!("{}", millis as f64 / 1000.0),
            };
            text += &format!("{said}{d}{time}{d}{x}{d}{x}{ends}");
        }
        let kinds = [("x", "film", ColumnKind::Fahrenheit), ("y", "exit", ColumnKind::Celsius)];
        let layout = Layout { decimal_comma, ..logger(delimiter, ("t", form), &kinds) };
        let whole = read(text.as_bytes(), &layout, text.len());
        prop_assert_eq!(&whole, &read(text.as_bytes(), &layout, size));
        prop_assert_eq!(&whole, &read(text.as_bytes(), &layout, 1));
    }

    /// The reference is the standard library: `str::split` and `str::parse`.
    #[test]
    fn plain_files_are_what_the_standard_library_makes_of_them(
        cells in prop::collection::vec((0_u32..5_000, cell()), 1..60), size in 1..200_usize,
    ) {
        let mut text = String::from("time_s,film_c\n");
        let mut time = 0;
        for (step, cell) in cells.iter().filter(|(_, cell)| !cell.contains([',', '"'])) {
            time += step;
            text += &format!("{}.{:03},{cell}\n", time / 1000, time % 1000);
        }
        let expected = |line: &str| {
            let (time, cell) = line.split_once(',').unwrap();
            let cell = match (cell.trim(), cell.trim().parse::<f64>()) {
                ("", _) => Cell::Missing,
                (_, Ok(value)) if value.is_finite() => Cell::Value(value),
                _ => Cell::Bad,
            };
            (time.parse::<f64>().unwrap(), vec![cell])
        };
        let mut expected: Rows = text.lines().skip(1).map(expected).collect();
        let first = expected.first().map_or(0.0, |row| row.0);
        expected.iter_mut().for_each(|row| row.0 -= first);
        prop_assert_eq!(read(text.as_bytes(), &Layout::default(), size).0, expected);
    }
}
