//! A shop and its journal, whose every record is known, and what is told of a day.

use std::path::Path;

use chrono::{NaiveDate, NaiveTime};
use inkdwell_config::library::Library;
use inkdwell_config::shop::Shop;
use inkdwell_config::written::declared;
use inkdwell_daemon::journal::{self, Batch, Reader, Readers, Settings, Writer};
use inkdwell_daemon::record::{
    BatchClosed, BatchOpened, Dose, HarmSeen, Judged, Occurred, Occurrence, PassJudged, Place,
    Record,
};
use inkdwell_daemon::report::{Asked, Report, ShopFile, When, gather};
use inkdwell_daemon::time::Micros;

/// A moment in UTC.
pub fn utc(text: &str) -> Micros {
    let time = chrono::DateTime::parse_from_rfc3339(text).unwrap();
    Micros(time.timestamp_micros())
}

pub fn open(folder: &Path) -> (Writer, Readers) {
    let settings = Settings {
        keep_free: Some(0),
        ..Settings::default()
    };
    journal::open(folder, settings).unwrap()
}

pub fn shop() -> ShopFile {
    let text = "[shop]\nname = \"Lantern Yard Print\"\ntimezone = \"Europe/Vienna\"\n";
    ShopFile::named(Shop::parse("shop.toml", text).value)
}

/// What is said of a print that peaked at a temperature, with a cure dose of so much and a tenth either way.
pub fn judged(verdict: &str, peak: f64, cure: f64) -> Judged {
    let dose = |best: f64| Dose {
        low: 0.9 * best,
        best,
        high: 1.1 * best,
    };
    Judged {
        evidence: "measured".to_owned(),
        cut: false,
        samples: 300,
        faults: 0,
        gaps: 0,
        peak_c: peak,
        threshold_c: 160.0,
        time_above_s: 3.0 * cure,
        max_rise_c_per_s: 5.0,
        uncertainty_c: 1.5,
        cure: Some(dose(cure)),
        harms: vec![HarmSeen {
            harm: "scorch".to_owned(),
            dose: dose(0.2),
        }],
        verdict: verdict.to_owned(),
        harm: (verdict == "overheated").then(|| "scorch".to_owned()),
        reasons: Vec::new(),
        remarks: Vec::new(),
    }
}

pub fn opened(batch: u64, job: &str) -> Record {
    let library = Library::shipped();
    let (ink, fabric) = (
        library.ink("plastisol-standard").unwrap(),
        library.fabric("cotton-jersey").unwrap(),
    );
    Record::BatchOpened(BatchOpened {
        batch,
        station: "belt-1".to_owned(),
        job: job.to_owned(),
        ink: ink.id.clone(),
        fabric: fabric.id.clone(),
        declared: declared(ink, fabric),
        last_heat: false,
        quantity: None,
        blank_cost: Some(6.5),
        mesh_per_inch: None,
        ink_mixed: None,
        recipe: None,
        by: "Mara".to_owned(),
    })
}

pub fn closed(batch: u64) -> Record {
    let by = "Mara".to_owned();
    Record::BatchClosed(BatchClosed { batch, by })
}

pub fn pass(number: u64, start: Micros, batch: Option<u64>, judged: Option<Judged>) -> Record {
    Record::PassJudged(PassJudged {
        pass: number,
        station: "belt-1".to_owned(),
        probe: Some("film".to_owned()),
        place: Place::Ride,
        start,
        end: start.plus_seconds(40.0),
        batch,
        print: batch.map(|_| number),
        belt_m_per_min: Some(3.4),
        judged,
    })
}

pub fn occurred(what: Occurrence) -> Record {
    Record::Occurred(Occurred {
        station: None,
        what,
    })
}

pub fn commit(writer: &mut Writer, at: Micros, record: Record) {
    let batch = Batch {
        records: vec![(at, record)],
        ..Batch::default()
    };
    writer.commit(&batch).unwrap();
}

pub fn day(text: &str) -> Asked {
    Asked {
        when: When::Day {
            date: text.parse::<NaiveDate>().unwrap(),
            begins: NaiveTime::MIN,
        },
        ..Asked::default()
    }
}

pub fn told(reader: &Reader, asked: &Asked) -> Report {
    gather(
        reader,
        Some(&shop()),
        asked,
        None,
        utc("2026-11-01T00:00:00Z"),
    )
    .unwrap()
}

/// A print every minute of a batch, the peaks given.
pub fn run(writer: &mut Writer, begun: Micros, peaks: &[f64]) {
    commit(writer, begun, opened(1, "Night market"));
    for (number, peak) in (1..).zip(peaks) {
        let start = begun.plus_seconds(60.0 * number as f64);
        // One more degree, a fifth more cure: about what an Arrhenius law gives.
        let cure = 2.0 * (0.2 * (peak - 165.0)).exp();
        commit(
            writer,
            start.plus_seconds(40.0),
            pass(number, start, Some(1), Some(judged("cured", *peak, cure))),
        );
    }
}
