//! How many bytes of trace file a second one core reads, and reads and judges.

use std::fmt::Write;
use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use inkdwell_config::library::Library;
use inkdwell_config::quantity::CelsiusDifference;
use inkdwell_cure::engine::{Engine, Event};
use inkdwell_cure::plan::{
    ChannelPlan, DEFAULT_MAX_GAP, DEFAULT_WAKE, PrintLaws, ProbeDoubt, Watch,
};
use inkdwell_cure::sensor::Uncertainty;
use inkdwell_cure::trace_file::{Cell, Layout, NoteScanner, Reader};

/// So many readings are judged at once.
const BLOCK: usize = 4096;

fn rows(header: &str, row: impl Fn(f64, f64) -> String) -> String {
    let mut text = format!("{header}\n");
    for number in 0..500_000_u32 {
        let second = f64::from(number) * 0.1;
        let celsius = 100.0 + 60.0 * (second / 40.0).sin();
        let _ = writeln!(text, "{}", row(second, celsius));
    }
    text
}

fn feed(mut reader: Reader, text: &str, mut take: impl FnMut(f64, &[Cell])) {
    let whole = text
        .as_bytes()
        .chunks(1 << 18)
        .try_for_each(|chunk| reader.feed(chunk, &mut take));
    let finished = whole.and_then(|()| reader.finish(&mut take));
    assert_eq!(finished, Ok(()));
}

fn read(reader: Reader, text: &str) -> f64 {
    let mut sum = 0.0;
    feed(reader, text, |time, cells| {
        if let Some(Cell::Value(value)) = cells.first() {
            sum += time + value;
        }
    });
    sum
}

fn judge(library: &Library, text: &str) -> usize {
    let mut engine = Engine::new();
    let ink = library.ink("water-based");
    let fabric = library.fabric("cotton-jersey");
    let (Ok(ink), Ok(fabric)) = (ink, fabric) else {
        panic!("the shipped library has lost an ink or a fabric");
    };
    let channel = engine.add_channel(ChannelPlan {
        laws: PrintLaws::new(ink, fabric),
        watch: Watch::Ride,
        doubt: ProbeDoubt {
            uncertainty: Uncertainty::constant(CelsiusDifference(1.5)),
            assumed: None,
        },
        max_gap: DEFAULT_MAX_GAP,
        wake: DEFAULT_WAKE,
    });
    let mut events = 0;
    let mut count = |_: Event| events += 1;
    let mut block = Vec::with_capacity(BLOCK);
    feed(Reader::new(Layout::default()), text, |time, cells| {
        match cells.first() {
            Some(Cell::Value(celsius)) => block.push((time, *celsius)),
            Some(Cell::Bad) => block.push((time, f64::NAN)),
            _ => {}
        }
        if block.len() == BLOCK {
            engine.feed_all(channel, &block, &mut count);
            block.clear();
        }
    });
    engine.feed_all(channel, &block, &mut count);
    engine.finish(&mut count);
    events
}

fn trace_file(criterion: &mut Criterion) {
    let start = 1_772_352_000_i64;
    let zoned = |second: f64| {
        let nanos = ((second % 1.0) * 1e9) as u32;
        chrono::DateTime::from_timestamp(start + second as i64, nanos)
            .map_or_else(String::new, |time| {
                time.format("%Y-%m-%dT%H:%M:%S%.3fZ").to_string()
            })
    };
    let files = [
        (
            "seconds",
            rows("time_s,film_c", |s, c| format!("{s:.1},{c:.2}")),
        ),
        (
            "rfc 3339",
            rows("time,film_c", |s, c| format!("{},{c:.2}", zoned(s))),
        ),
        (
            "millivolts and junction",
            rows("time_s,film_k_mv,junction_c", |s, c| {
                format!("{s:.1},{:.4},25.3", c / 25.0)
            }),
        ),
        (
            "quotes and spaces",
            rows("time_s,film_c,said", |s, c| {
                format!("{s:.1}, {c:.2},\"a print, the next\"")
            }),
        ),
    ];
    let wide = rows("time_s,a_c,b_c,c_c,d_c,e_c,f_c,g_c,h_c", |s, c| {
        format!("{s:.1}{}", format!(",{c:.2}").repeat(8))
    });
    let mut group = criterion.benchmark_group("trace file");
    for (name, text) in &files {
        group.throughput(Throughput::Bytes(text.len() as u64));
        group.bench_function(*name, |bench| {
            bench.iter(|| black_box(read(Reader::new(Layout::default()), text)))
        });
    }
    group.throughput(Throughput::Bytes(wide.len() as u64));
    group.bench_function("eight channels", |bench| {
        bench.iter(|| black_box(read(Reader::new(Layout::default()), &wide)))
    });
    group.bench_function("one of eight channels", |bench| {
        bench.iter(|| {
            black_box(read(
                Reader::of_channels(Layout::default(), vec!["c".to_owned()]),
                &wide,
            ))
        });
    });
    let library = Library::shipped();
    let text = &files[0].1;
    group.throughput(Throughput::Bytes(text.len() as u64));
    group.bench_function("seconds, judged", |bench| {
        bench.iter(|| black_box(judge(&library, text)))
    });
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
