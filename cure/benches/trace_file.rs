//! How many bytes of trace file a second one core reads.

use std::fmt::Write;
use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use inkdwell_cure::trace_file::{Cell, Layout, NoteScanner, Reader};

fn rows(header: &str, row: impl Fn(f64, f64) -> String) -> String {
    let mut text = format!("{header}\n");
    for number in 0..500_000_u32 {
        let second = f64::from(number) * 0.1;
        let celsius = 100.0 + 60.0 * (second / 40.0).sin();
        let _ = writeln!(text, "{}", row(second, celsius));
    }
    text
}

fn read(text: &str) -> f64 {
    let mut sum = 0.0;
    let mut take = |time: f64, cells: &[Cell]| {
        if let Some(Cell::Value(value)) = cells.first() {
            sum += time + value;
        }
    };
    let mut reader = Reader::new(Layout::default());
    let whole = text.as_bytes().chunks(1 << 18).try_for_each(|chunk| reader.feed(chunk, &mut take));
    let finished = whole.and_then(|()| reader.finish(&mut take));
    assert_eq!(finished, Ok(()));
    sum
}

fn trace_file(criterion: &mut Criterion) {
    let start = 1_772_352_000_i64;
    let zoned = |second: f64| {
        let nanos = ((second % 1.0) * 1e9) as u32;
        chrono::DateTime::from_timestamp(start + second as i64, nanos)
            .map_or_else(String::new, |time| time.format("%Y-%m-%dT%H:%M:%S%.3fZ").to_string())
    };
    let files = [
        ("seconds", rows("time_s,film_c", |s, c| format!("{s:.1},{c:.2}"))),
        ("rfc 3339", rows("time,film_c", |s, c| format!("{},{c:.2}", zoned(s)))),
        (
            "millivolts and junction",
            rows("time_s,film_k_mv,junction_c", |s, c| format!("{s:.1},{:.4},25.3", c / 25.0)),
        ),
    ];
    let mut group = criterion.benchmark_group("trace file");
    for (name, text) in &files {
        group.throughput(Throughput::Bytes(text.len() as u64));
        group.bench_function(*name, |bench| bench.iter(|| black_box(read(text))));
    }
    let text = &files[0].1;
    group.throughput(Throughput::Bytes(text.len() as u64));
    group.bench_function("notes alone", |bench| {
        bench.iter(|| {
            let mut scanner = NoteScanner::new();
            scanner.feed(text.as_bytes());
            black_box(scanner.finish())
        });
    });
    group.finish();
}

criterion_group!(benches, trace_file);
criterion_main!(benches);
