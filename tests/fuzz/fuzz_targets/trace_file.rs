//! Any bytes, in any layout and any chunking, are rows or one clear refusal.

#![no_main]

use inkdwell_cure::trace_file::{Cell, Layout, NoteScanner, Reader};
use libfuzzer_sys::fuzz_target;

fn read(layout: &Layout, bytes: &[u8], size: usize) -> Result<Vec<(u64, Vec<Cell>)>, String> {
    let mut rows = Vec::new();
    let mut reader = Reader::new(layout.clone());
    let mut take = |time: f64, cells: &[Cell]| rows.push((time.to_bits(), cells.to_vec()));
    for chunk in bytes.chunks(size) {
        reader.feed(chunk, &mut take).map_err(|error| error.to_string())?;
    }
    reader.finish(&mut take).map_err(|error| error.to_string())?;
    Ok(rows)
}

fuzz_target!(|input: &[u8]| {
    let [choice, size, bytes @ ..] = input else { return };
    let layout = Layout {
        delimiter: [b',', b';', b'\t', b' '][usize::from(choice % 4)],
        decimal_comma: choice & 4 != 0,
        skip_lines: u64::from(choice >> 6),
        has_header: choice & 8 == 0,
        ..Layout::default()
    };
    let size = usize::from(*size).max(1);
    assert_eq!(read(&layout, bytes, size), read(&layout, bytes, usize::MAX));
    let mut scanner = NoteScanner::new();
    bytes.chunks(size).for_each(|chunk| scanner.feed(chunk));
    let mut whole = NoteScanner::new();
    whole.feed(bytes);
    assert_eq!(scanner.finish(), whole.finish());
});
