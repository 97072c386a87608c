//! How many readings a second go from a source through the engine into the journal, when they come as fast as
//! they are taken: a trace file of a hundred probes, played without waiting.

use std::fmt::Write;
use std::fs;
use std::time::Instant;

use inkdwell_config::shop::Shop;
use inkdwell_daemon::journal;
use inkdwell_daemon::record::{Occurrence, Record};
use inkdwell_daemon::shift::{self, Options};

use super::shop::{self, RATE};

/// Columns of the file.
const PROBES: usize = 100;
/// Its rows.
const ROWS: usize = 30_000;

pub fn measure() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("day.csv");
    fs::write(&file, trace()).expect("a file");
    let source =
        format!("[[source]]\nid = \"all\"\nkind = \"replay\"\nfile = {file:?}\nfaster = 1000000\n");
    let checked = Shop::parse("shop.toml", &shop::text(&source));
    assert!(checked.problems.is_empty(), "{:?}", checked.problems);
    let options = Options {
        shop: checked.value,
        digest: String::new(),
        folder: folder.path().join("data"),
        faster: 1.0,
        journal: journal::Settings::default(),
        keep_readings: None,
    };
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .expect("threads");
    runtime.block_on(async {
        let begun = Instant::now();
        let shift = shift::start(options).await.expect("a shift");
        let mut news = shift.listen();
        let (mut readings, mut passes) = (0, 0);
        loop {
            // A listener that falls behind is told so: nothing is missed here, a commit holds thousands.
            let told = news.recv().await.expect("news");
            readings += told.readings.len();
            let is_pass = |record: &&Record| matches!(record, Record::PassJudged(_));
            passes += told.records.iter().map(|own| &own.2).filter(is_pass).count();
            let ended = told.records.iter().any(|(_, _, record)| {
                matches!(record, Record::Occurred(own) if matches!(own.what, Occurrence::SourceEnded { .. }))
            });
            if ended {
                break;
            }
        }
        let seconds = begun.elapsed().as_secs_f64();
        println!(
            "{readings} readings, {passes} passes in {seconds:.2} s: {:.0} readings a second from source to journal",
            readings as f64 / seconds
        );
        shift.stop().await.expect("a clean stop");
    });
}

/// Half of the probes ride, the others are in zones.
fn trace() -> String {
    let mut text = String::from("time_s");
    for probe in 0..PROBES {
        // (A string takes whatever is written to it.)
        let _ = write!(text, ",p{probe}_c");
    }
    text.push('\n');
    for row in 0..ROWS {
        let _ = write!(text, "{:.1}", row as f64 / RATE as f64);
        for probe in 0..PROBES {
            let value = if shop::is_ride(probe) {
                shop::film(row + probe * 37)
            } else {
                189.5 + 0.1 * ((probe * 7919 + row * 104_729) % 11) as f64
            };
            let _ = write!(text, ",{value:.1}");
        }
        text.push('\n');
    }
    text
}
