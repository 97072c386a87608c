//! Reading trace files: any chunking, any bytes, our own files and other loggers'.

use inkdwell_cure::trace_file::{
    Cell, ColumnKind, Layout, Reader, TemperatureColumn, TimeColumn, TimeForm, TraceFileError,
};
use proptest::prelude::*;

type Rows = Vec<(f64, Vec<Cell>)>;

fn read(bytes: &[u8], layout: Layout, size: usize) -> Result<Rows, TraceFileError> {
    let mut rows = Vec::new();
    let mut reader = Reader::new(layout);
    let mut take = |time: f64, cells: &[Cell]| rows.push((time, cells.to_vec()));
    for chunk in bytes.chunks(size) {
        reader.feed(chunk, &mut take)?;
    }
    reader.finish(&mut take)?;
    Ok(rows)
}

fn ours(text: &str) -> Result<Rows, TraceFileError> {
    read(text.as_bytes(), Layout::default(), 7)
}

#[test]
fn cells_are_values_missing_or_bad() {
    let rows =
        ours("time_s,a_c,b_f\r\n0,20.5,212\r\n\r\n1, -3e1 ,OPEN\r\n2,,NaN\r\n3,inf,---").unwrap();
    let value = Cell::Value;
    let expected = [
        (0.0, vec![value(20.5), value(100.0)]),
        (1.0, vec![value(-30.0), Cell::Bad]),
        (2.0, vec![Cell::Missing, Cell::Bad]),
        (3.0, vec![Cell::Bad, Cell::Bad]),
    ];
    assert_eq!(rows, expected);
}

#[test]
fn quotes_are_taken_off() {
    let rows =
        ours("\"time_s\",\"a_c\",\"said \"\"so\"\"\"\n\"0\",\"20\",\"x,y\"\n1,21,\n").unwrap();
    assert_eq!(rows[0], (0.0, vec![Cell::Value(20.0), Cell::Missing]));
    assert_eq!(rows[1].1[0], Cell::Value(21.0));
}

#[test]
fn time_is_counted_from_the_first_row() {
    let rows = ours("time_s,a_c\n1700000000.25,1\n1700000000.5,2\n").unwrap();
    assert_eq!(rows[1].0, 0.25);
    let rows = ours("time,a_c\n2026-03-29T00:59:59.9Z,1\n2026-03-29T03:00:00.1+02:00,2\n").unwrap();
    assert!((rows[1].0 - 0.2).abs() < 1e-9);
}

/// A file as a logger with a comma for a decimal point might write it.
#[test]
fn other_loggers_files_are_read_by_naming_their_columns() {
    let text = "Logger 3\nCh 1: wet ink\nDatum;Uhrzeit;Kanal 1;Kanal 2\n\
                1.3.2026;08:00:00;20,5;OFL\n1.3.2026;08:00:01;21,0;70,1\n";
    let column = |header: &str, name: &str, kind| TemperatureColumn {
        header: header.into(),
        name: name.into(),
        kind,
    };
    let layout = Layout {
        delimiter: b';',
        decimal_comma: true,
        skip_lines: 2,
        time: Some(TimeColumn {
            header: "Uhrzeit".into(),
            form: TimeForm::Pattern("%H:%M:%S".into()),
        }),
        temperatures: vec![
            column("Kanal 1", "film", ColumnKind::Celsius),
            column("Kanal 2", "exit", ColumnKind::Fahrenheit),
        ],
        ..Layout::default()
    };
    let rows = read(text.as_bytes(), layout.clone(), 5).unwrap();
    assert_eq!(
        rows[0],
        (0.0, vec![Cell::Missing, Cell::Value(20.5), Cell::Bad])
    );
    assert_eq!(rows[1].0, 1.0);
    let absent = Layout {
        temperatures: vec![column("Kanal 9", "x", ColumnKind::Celsius)],
        ..layout
    };
    let error = read(text.as_bytes(), absent, 5).unwrap_err();
    assert_eq!(error.line, Some(3));
    assert!(error.remedy.contains("Kanal 1"), "{error}");
}

#[test]
fn files_without_a_header_name_columns_by_number() {
    let layout = Layout {
        delimiter: b' ',
        has_header: false,
        time: Some(TimeColumn {
            header: "1".into(),
            form: TimeForm::Milliseconds,
        }),
        temperatures: vec![TemperatureColumn {
            header: "3".into(),
            name: "film".into(),
            kind: ColumnKind::Celsius,
        }],
        ..Layout::default()
    };
    let rows = read(b"0   x  20\n500 y  21\n", layout, 4).unwrap();
    assert_eq!(
        rows,
        [
            (0.0, vec![Cell::Missing, Cell::Value(20.0)]),
            (0.5, vec![Cell::Missing, Cell::Value(21.0)]),
        ]
    );
}

#[test]
fn a_line_without_end_is_refused_early() {
    let mut reader = Reader::new(Layout::default());
    let mut fed = 0;
    let refused = loop {
        match reader.feed(&[b'a'; 4096], &mut |_, _| {}) {
            Ok(()) => fed += 4096,
            Err(error) => break error,
        }
    };
    assert!(fed <= 1 << 20, "{fed}");
    assert_eq!(refused.line, Some(1));
}

proptest! {
    #[test]
    fn any_chunking_gives_the_same_rows(
        rows in prop::collection::vec((0.0..10.0_f64, "[0-9.eOPEN,\" -]{0,9}"), 1..40),
        size in 1..60_usize,
    ) {
        let mut text = String::from("time_s,film_c\n");
        let mut time = 0.0;
        for (step, cell) in rows {
            time += step;
            text += &format!("{time},{cell}\n");
        }
        let whole = read(text.as_bytes(), Layout::default(), text.len());
        prop_assert_eq!(whole, read(text.as_bytes(), Layout::default(), size));
    }

    #[test]
    fn no_bytes_make_the_reader_panic(
        bytes in prop::collection::vec(any::<u8>(), 0..400),
        ascii in "[a-z_,;\n\r\"#0-9. ]{0,300}",
        delimiter in prop::sample::select(vec![b',', b';', b'\t', b' ']),
        has_header: bool,
    ) {
        for bytes in [bytes, format!("time_s,film_c\n{ascii}").into_bytes(), ascii.into_bytes()] {
            let layout = Layout { delimiter, has_header, ..Layout::default() };
            let _ = read(&bytes, layout, 13);
        }
    }

    /// The standard library reads the same numbers.
    #[test]
    fn numbers_are_read_to_the_last_bit(value in any::<f64>().prop_filter("finite", |v| v.is_finite())) {
        for text in [format!("{value}"), format!("{value:e}")] {
            let rows = ours(&format!("time_s,film_c\n0,{text}\n")).unwrap();
            prop_assert_eq!(rows[0].1[0], Cell::Value(text.parse().unwrap()));
        }
    }
}
