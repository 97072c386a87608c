//! Any bytes, in any layout and any chunking, are the same rows and the same refusal.

#![no_main]

use inkdwell_cure::trace_file::{
    Cell, ColumnKind, Layout, NoteScanner, Reader, TemperatureColumn, TimeColumn, TimeForm,
    TraceFileError,
};
use libfuzzer_sys::fuzz_target;

/// A row with its numbers by their bits, so that not a number equals itself.
type Row = (u64, Vec<Option<u64>>);

fn read(layout: &Layout, bytes: &[u8], size: usize) -> (Vec<Row>, Option<TraceFileError>) {
    let mut rows: Vec<Row> = Vec::new();
    let mut reader = Reader::new(layout.clone());
    let mut take = |time: f64, cells: &[Cell]| {
        assert!(time.is_finite() && time >= 0.0);
        let bits = |cell: &Cell| match cell {
            Cell::Value(value) => {
                assert!(!value.is_nan());
                Some(value.to_bits())
            }
            Cell::Missing => None,
            Cell::Bad => Some(f64::NAN.to_bits()),
        };
        rows.push((time.to_bits(), cells.iter().map(bits).collect()));
    };
    let fed = bytes
        .chunks(size)
        .try_for_each(|chunk| reader.feed(chunk, &mut take));
    let error = fed.and_then(|()| reader.finish(&mut take)).err();
    (rows, error)
}

/// A layout of our own files, or of another logger's, as two bytes choose it.
fn layout(choice: u8, form: u8) -> Layout {
    let own = Layout {
        delimiter: [b',', b';', b'\t', b' '][usize::from(choice % 4)],
        decimal_comma: choice & 4 != 0,
        has_header: choice & 8 == 0,
        skip_lines: u64::from(choice >> 6),
        ..Layout::default()
    };
    if choice & 16 == 0 {
        return own;
    }
    let pattern = |pattern: &str| TimeForm::Pattern(pattern.to_owned());
    let form = match form % 8 {
        0 => TimeForm::Seconds,
        1 => TimeForm::Milliseconds,
        2 => TimeForm::Minutes,
        3 => TimeForm::Rfc3339,
        4 => pattern("%H:%M:%S%.f"),
        5 => pattern("%d.%m.%Y %H:%M:%S"),
        6 => pattern("%s"),
        _ => pattern("%Y-%m-%d %H:%M:%S %z"),
    };
    let header = if choice & 32 == 0 { "1" } else { "1+2" }.to_owned();
    let (header_of_film, name) = ("3".to_owned(), "film".to_owned());
    let film = TemperatureColumn {
        header: header_of_film,
        name,
        kind: ColumnKind::Fahrenheit,
    };
    Layout {
        time: Some(TimeColumn { header, form }),
        temperatures: vec![film],
        ..own
    }
}

fuzz_target!(|input: &[u8]| {
    let [choice, form, size, bytes @ ..] = input else {
        return;
    };
    let layout = layout(*choice, *form);
    let size = usize::from(*size).max(1);
    let whole = read(&layout, bytes, usize::MAX);
    assert_eq!(whole, read(&layout, bytes, size));
    assert_eq!(whole, read(&layout, bytes, 1));
    if let Some(error) = whole.1 {
        assert_eq!(error.to_string().lines().count(), 1);
    }

    let notes = |size: usize| {
        let mut scanner = NoteScanner::new();
        bytes.chunks(size).for_each(|chunk| scanner.feed(chunk));
        scanner.finish()
    };
    assert_eq!(notes(size), notes(usize::MAX));
});
