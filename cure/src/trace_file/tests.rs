//! Trace files as a whole: what is let pass, what is refused and in which words, and how
//! other loggers' files are read.

use super::{
    Cell, ColumnKind, Layout, NoteScanner, Reader, TemperatureColumn, TimeColumn, TimeForm,
    TraceFileError,
};

pub(super) type Rows = Vec<(f64, Vec<Cell>)>;

/// The rows that come out, up to the error if there is one, when a file is fed in chunks of a size.
pub(super) fn read(bytes: &[u8], layout: &Layout, size: usize) -> (Rows, Option<TraceFileError>) {
    let mut rows = Vec::new();
    let mut reader = Reader::new(layout.clone());
    let mut take = |time: f64, cells: &[Cell]| rows.push((time, cells.to_vec()));
    let fed = bytes
        .chunks(size)
        .try_for_each(|chunk| reader.feed(chunk, &mut take));
    let error = fed.and_then(|()| reader.finish(&mut take)).err();
    (rows, error)
}

/// The rows of a good file.
fn rows(text: &str, layout: &Layout) -> Rows {
    let (rows, error) = read(text.as_bytes(), layout, text.len());
    assert_eq!(error, None, "{text:?}");
    rows
}

/// What is said of a bad one.
fn refusal(bytes: &[u8], layout: &Layout) -> String {
    let (rows, error) = read(bytes, layout, bytes.len().max(1));
    error.map_or_else(
        || format!("not refused: {rows:?}"),
        |error| error.to_string(),
    )
}

pub(super) fn logger(
    delimiter: u8,
    time: (&str, TimeForm),
    temperatures: &[(&str, &str, ColumnKind)],
) -> Layout {
    let temperatures = temperatures
        .iter()
        .map(|(header, name, kind)| TemperatureColumn {
            header: (*header).to_owned(),
            name: (*name).to_owned(),
            kind: *kind,
        });
    Layout {
        delimiter,
        time: Some(TimeColumn {
            header: time.0.to_owned(),
            form: time.1,
        }),
        temperatures: temperatures.collect(),
        ..Layout::default()
    }
}

fn film(layout: &Layout, text: &str) -> Vec<(f64, Cell)> {
    let rows = rows(text, layout);
    rows.into_iter()
        .map(|(time, cells)| (time, cells[cells.len() - 1]))
        .collect()
}

#[test]
fn our_own_files_are_refused_with_line_field_and_remedy() {
    let ours = Layout::default();
    for (text, words) in [
        ("", &["empty"][..]),
        ("\u{feff}", &["no header"]),
        ("# station: belt-1\n\n", &["no header"]),
        ("time_s,film_c\n# no row\n", &["1: ", "no row follows"]),
        ("time_s,film\n0,1\n", &["1: ", "film_c"]),
        ("film_c\n1\n", &["1: time_s: ", "no time column"]),
        (
            "time_s;film_c\n0;1\n",
            &["1: time_s: ", "separated by \";\""],
        ),
        (
            "time_s,time,film_c\n0,0,1\n",
            &["1: time: ", "two time columns"],
        ),
        (
            "time_s,film_c,film_c\n0,1,1\n",
            &["1: film_c: ", "two columns"],
        ),
        ("time_s,film_b_mv\n0,1\n", &["1: film_b_mv: ", "250"]),
        ("time_s,film_c\n0,20\n1\n", &["3: ", "1 cell where", "2"]),
        (
            "time_s,film_c\n0,20\n1,20,30\n",
            &["3: ", "3 cells", "2", "decimal marks"],
        ),
        ("time_s,film_c\n0,20\n1,21,\n", &["3: ", "3 cells"]),
        (
            "time_s,film_c\n0,20\nlater,20\n",
            &["3: time_s: ", "\"later\""],
        ),
        ("time_s,film_c\n0,20\ninf,20\n", &["3: time_s: ", "\"inf\""]),
        ("time_s,film_c\n0,20\n ,20\n", &["3: time_s: ", "missing"]),
        (
            "time,film_c\n2026-03-01T08:00:00,20\n",
            &["2: time: ", "08:30:00.5Z"],
        ),
        (
            "time_s,film_c\n0,20\n2,20\n1,20\n",
            &["4: time_s: ", "back", "1 s", "\"1\""],
        ),
        ("time_s,film_c,said\n0,20,\"a\nb\"\n", &["2: ", "quotes"]),
        (
            "time_s,film_c\n0,\"20,5\"\n",
            &["2: film_c: ", "decimal comma"],
        ),
        ("time_s,film_c\r0,20\r1,20", &["1: ", "carriage return"]),
    ] {
        let error = refusal(text.as_bytes(), &ours);
        for word in words {
            assert!(error.contains(word), "{text:?}: {error}");
        }
        assert_eq!(error.lines().count(), 1, "{error}");
    }
}

#[test]
fn what_is_no_text_is_called_by_its_name() {
    let text = "time_s,film_c\r\n0,20\r\n";
    let wide = |mark: &[u8], bytes: fn(u16) -> [u8; 2]| -> Vec<u8> {
        mark.iter()
            .copied()
            .chain(text.encode_utf16().flat_map(bytes))
            .collect()
    };
    for bytes in [
        wide(b"\xFF\xFE", u16::to_le_bytes),
        wide(b"\xFE\xFF", u16::to_be_bytes),
        wide(b"", u16::to_le_bytes),
        wide(b"", u16::to_be_bytes),
    ] {
        let error = refusal(&bytes, &Layout::default());
        assert!(
            error.contains("UTF-16") && error.contains("UTF-8"),
            "{error}"
        );
    }
    let long = [wide(b"", u16::to_le_bytes)[..8].to_vec(), vec![0; 3 << 20]].concat();
    assert!(refusal(&long, &Layout::default()).contains("UTF-16"));
    for (bytes, word) in [
        (&b"PK\x03\x04\n"[..], "workbook"),
        (b"time_s,film\xB0_c\n0,1\n", "UTF-8"),
        (b"\x01\x02\x03binary,\x7F\n", "control"),
        (b"time_s,film_c\x00\n0,20\n", "binary"),
    ] {
        let error = refusal(bytes, &Layout::default());
        assert!(error.contains(word), "{error}");
    }
}

#[test]
fn too_long_a_line_is_refused_however_it_comes() {
    let row = format!("time_s,film_c\n0,20\n1,{}\n", "0".repeat(1 << 20));
    let cell = format!("said,time_s,film_c\nx,0,20\n{},1,20\n", "x".repeat(1 << 20));
    for text in [row, cell] {
        let whole = read(text.as_bytes(), &Layout::default(), text.len());
        let error = whole.1.clone().map(|error| (error.line, error.what));
        assert_eq!(
            error,
            Some((Some(3), "the line is longer than a megabyte".to_owned()))
        );
        assert_eq!(whole.0.len(), 1);
        assert_eq!(whole, read(text.as_bytes(), &Layout::default(), 1 << 16));
    }
}

/// NIST Monograph 175, type K: 8.138 mV at 200 °C, 0.798 mV at 20 °C (rounded to 1 µV, 0.025 °C).
#[test]
fn millivolts_count_from_their_junction() {
    let close = |cell: &Cell, expected: f64| match cell {
        Cell::Value(value) => assert!((value - expected).abs() < 0.03, "{value}"),
        other => panic!("{other:?}"),
    };
    for (junction, twenty) in [("junction_c", "20"), ("junction_f", "68")] {
        let text = format!(
            "time_s,film_k_mv,{junction}\n0,7.340,{twenty}\n1,,{twenty}\n2,7.340,\n3,7.340,ERR\n\
             4,9999,{twenty}\n5,7.340,2000\n6,OL,{twenty}\n7,,\n"
        );
        let rows = rows(&text, &Layout::default());
        close(&rows[0].1[0], 200.0);
        close(&rows[0].1[1], 20.0);
        let film: Vec<Cell> = rows[1..].iter().map(|(_, cells)| cells[0]).collect();
        let (missing, bad) = (Cell::Missing, Cell::Bad);
        // No junction is at 2000 °C or °F: both are out of −40 °C to 600 °C.
        assert_eq!(film, [missing, bad, bad, bad, bad, bad, missing]);
    }
    let without = rows("time_s,film_k_mv\n0,8.138\n", &Layout::default());
    close(&without[0].1[0], 200.0);
}

#[test]
fn belts_are_in_metres_a_second_and_counters_as_they_are() {
    let text = "time_s,film_c,belt_m_per_min,x_ft_per_min,y_in_per_min,eye_count,said\n\
                0,20,60,1000,10000,7,hello\n";
    let row = rows(text, &Layout::default()).remove(0).1;
    // NIST SP 811 (2008), B.8: 1 ft/min = 5.08e-3 m/s, 1 in/min = 4.233 333e-4 m/s.
    for (cell, expected) in row[1..5].iter().zip([1.0, 5.08, 4.233_333_333, 7.0]) {
        assert!(
            matches!(cell, Cell::Value(value) if (value - expected).abs() < 1e-8),
            "{cell:?}"
        );
    }
    assert_eq!(row[5], Cell::Missing);
}

#[test]
fn only_the_asked_channels_are_read() {
    let text = "time_s,a_c,b_k_mv,said,junction_c,c_f\n0,20,0,\"x,y\",20,68\n1,21,0,x,20,OL\n";
    let mut found = Vec::new();
    let mut take = |time: f64, cells: &[Cell]| found.push((time, cells.to_vec()));
    let mut reader = Reader::of_channels(Layout::default(), vec!["b".into(), "c_f".into()]);
    for chunk in text.as_bytes().chunks(9) {
        reader.feed(chunk, &mut take).unwrap();
    }
    reader.finish(&mut take).unwrap();
    for (_, cells) in &found {
        assert_eq!((cells[0], cells[2]), (Cell::Missing, Cell::Missing));
        assert!(
            matches!(cells[1], Cell::Value(value) if (value - 20.0).abs() < 1e-6),
            "{cells:?}"
        );
    }
    assert_eq!(
        (found[0].1[4], found[1].1[4]),
        (Cell::Value(20.0), Cell::Bad)
    );
}

/// 2026-03-01T08:00:00Z is 1 772 352 000 s after 1970 (GNU date).
#[test]
fn the_start_is_told_where_the_file_tells_it() {
    let started = |text: &str, layout: Layout| {
        let mut reader = Reader::new(layout);
        reader.feed(text.as_bytes(), &mut |_, _| {}).unwrap();
        reader.started()
    };
    let start = Some(1_772_352_000_500_000_000);
    let zoned = "time,film_c\n2026-03-01T09:00:00.5+01:00,20\n";
    assert_eq!(started(zoned, Layout::default()), start);
    assert_eq!(started("time_s,film_c\n5,20\n", Layout::default()), None);
    let local = logger(
        b',',
        ("when", TimeForm::Pattern("%Y-%m-%d %H:%M".into())),
        &[],
    );
    assert_eq!(started("when,film_c\n2026-03-01 08:00,20\n", local), None);
}

#[test]
fn date_and_time_of_day_may_stand_apart() {
    let form = TimeForm::Pattern("%d.%m.%Y %H:%M:%S%.f".into());
    let layout = Layout {
        decimal_comma: true,
        ..logger(
            b';',
            ("Datum+Zeit", form),
            &[("Kanal 1", "film", ColumnKind::Celsius)],
        )
    };
    let text = "Datum;Zeit;Kanal 1;\n31.12.2026;23:59:59.5;20,5;\n01.01.2027; 00:00:00 ;-;\n";
    let rows = rows(text, &layout);
    let cells: Vec<Cell> = rows.iter().map(|(_, cells)| cells[0]).collect();
    assert_eq!(
        (rows[1].0, cells),
        (0.5, vec![Cell::Value(20.5), Cell::Bad])
    );
    let error = refusal(b"Datum;Zeit;Kanal 1\n31.02.2026;10:00:00;20\n", &layout);
    assert!(
        error.starts_with("2: Datum+Zeit: \"31.02.2026 10:00:00\""),
        "{error}"
    );
}

#[test]
fn columns_go_by_name_or_by_number() {
    let celsius = ColumnKind::Celsius;
    let text = "Zeit;Wert;Wert\n0;20;30\n500;21;31\n";
    let by_number = logger(
        b';',
        ("1", TimeForm::Milliseconds),
        &[("3", "film", celsius)],
    );
    assert_eq!(
        film(&by_number, text),
        [(0.0, Cell::Value(30.0)), (0.5, Cell::Value(31.0))]
    );
    let minutes = logger(b';', ("Zeit", TimeForm::Minutes), &[("3", "film", celsius)]);
    assert_eq!(film(&minutes, text)[1].0, 30_000.0);
    for (columns, words) in [
        (&[("Wert", "film", celsius)][..], "Wert: two columns"),
        (
            &[("4", "film", celsius)],
            "the columns are Zeit, Wert, Wert",
        ),
        (&[("0", "film", celsius)], "no column \"0\""),
        (&[("Zeit", "film", celsius)], "the time as well"),
        (
            &[("2", "film", celsius), ("2", "exit", celsius)],
            "named twice",
        ),
        (
            &[("2", "film", celsius), ("3", "film", celsius)],
            "are to be film",
        ),
    ] {
        let layout = logger(b';', ("Zeit", TimeForm::Seconds), columns);
        let error = refusal(text.as_bytes(), &layout);
        assert!(error.starts_with("1: ") && error.contains(words), "{error}");
    }
}

#[test]
fn wrong_choices_of_a_layout_are_said() {
    let layout = logger(
        b';',
        ("t", TimeForm::Seconds),
        &[("x", "film", ColumnKind::Celsius)],
    );
    let comma = Layout {
        decimal_comma: true,
        ..layout.clone()
    };
    let pattern = |pattern: &str| Layout {
        time: Some(TimeColumn {
            header: "t".into(),
            form: TimeForm::Pattern(pattern.into()),
        }),
        ..layout.clone()
    };
    for (text, layout, words) in [
        (
            "t;x\n0;20,5\n",
            &layout,
            &["2: x: ", "\"20,5\"", "decimal comma"][..],
        ),
        (
            "t;x\n0;20.5\n",
            &comma,
            &["2: x: ", "\"20.5\"", "decimal point"],
        ),
        ("t;x\n0,5;20\n", &layout, &["2: t: ", "\"0,5\""]),
        (
            "t,x\n0,20\n",
            &layout,
            &["1: t: ", "no column \"t\"", "t,x"],
        ),
        ("t;x\n08:00;20\n", &layout, &["2: t: ", "number of seconds"]),
        (
            "t;x\n08:00;20\n",
            &pattern("%Q"),
            &["1: t: ", "%Q", "pattern"],
        ),
        (
            "t;x\n08:00;20\n",
            &pattern("%d.%m.%Y"),
            &["1: t: ", "pattern"],
        ),
        (
            "t;x\n8.5 h;20\n",
            &pattern("%H:%M"),
            &["2: t: ", "8.5 h", "%H:%M"],
        ),
        (
            "t;x\n12:00;20\n11:00;20\n",
            &pattern("%H:%M"),
            &["3: t: ", "back by 3600 s"],
        ),
    ] {
        let error = refusal(text.as_bytes(), layout);
        for word in words {
            assert!(error.contains(word), "{text:?}: {error}");
        }
    }
}

#[test]
fn headers_in_latin_1_are_read_where_columns_are_named() {
    let layout = logger(
        b'\t',
        ("Zeit", TimeForm::Seconds),
        &[("Temp °C", "film", ColumnKind::Celsius)],
    );
    let (rows, error) = read(b"Zeit\tTemp \xB0C\n0\t20\n", &layout, 5);
    assert_eq!((rows, error), (vec![(0.0, vec![Cell::Value(20.0)])], None));
}

#[test]
fn a_mark_of_utf_8_hides_nothing() {
    let text = "\u{feff}# ink: one\ntime_s,film_c\n0,20\n";
    for size in 1..8 {
        let mut scanner = NoteScanner::new();
        text.as_bytes()
            .chunks(size)
            .for_each(|chunk| scanner.feed(chunk));
        let notes = scanner.finish();
        assert_eq!(notes.get("ink").map(|note| note.line), Some(1), "{size}");
        assert_eq!(read(text.as_bytes(), &Layout::default(), size).0.len(), 1);
    }
}
