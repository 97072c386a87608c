//! A shop with a filled journal, and its daemon.

use std::path::Path;
use std::time::Duration;

use inkdwell_config::shop::Shop;
use inkdwell_daemon::journal::{
    self, Asides, Batch, CommitNumber, OpenError, RecordNumber, Settings, Standing, Writer,
};
use inkdwell_daemon::record::{BatchOpened, Dose, HarmSeen, Judged, PassJudged, Place, Record};
use inkdwell_daemon::shift::{self, Options, Shift, StartError};
use inkdwell_daemon::time::{Micros, wall};
use tokio::time::{Instant, sleep};

/// Waits for something that must happen.
pub async fn until<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    let deadline = Instant::now() + Duration::from_secs(90);
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(Instant::now() < deadline, "{what} did not come");
        sleep(Duration::from_millis(10)).await;
    }
}

/// A shop file with these sinks and no source.
pub fn text(name: &str, sinks: &str) -> String {
    format!(
        "[shop]\nname = {name:?}\n[board]\nlisten = \"127.0.0.1:0\"\n\
         [[station]]\nid = \"belt-1\"\nkind = \"belt-dryer\"\nheated_length = \"2.4 m\"\n\
         belt = \"2.6 m/min\"\nzones = [ {{ length = \"2.4 m\", air = \"190 C\" }} ]\n\
         [[probe]]\nid = \"film\"\nstation = \"belt-1\"\nplace = \"ride\"\n{sinks}"
    )
}

pub fn parsed(text: &str) -> Shop {
    let checked = Shop::parse("shop.toml", text);
    assert_eq!(checked.problems, vec![]);
    checked.value
}

/// Small disks are fine for tests.
pub fn settings() -> Settings {
    Settings {
        keep_free: Some(0),
        ..Settings::default()
    }
}

pub async fn start(shop: Shop, folder: &Path) -> Shift {
    let options = Options {
        shop,
        digest: "of the shop".to_owned(),
        folder: folder.to_owned(),
        faster: 1.0,
        journal: settings(),
        keep_readings: None,
    };
    // A program that another test starts at this moment holds the lock of the filled journal, until it runs.
    for _ in 0..200 {
        match shift::start(options.clone()).await {
            Err(StartError::Open(OpenError::Locked { .. })) => {
                sleep(Duration::from_millis(20)).await
            }
            started => return started.unwrap(),
        }
    }
    panic!("the journal stays locked");
}

/// What is said of the print of a pass: every seventh is under-cured.
pub fn verdict_of(pass: u64) -> &'static str {
    match pass % 7 {
        0 => "under-cured",
        _ => "cured",
    }
}

fn judged(pass: u64) -> Judged {
    let dose = Dose {
        low: 0.9,
        best: 1.1,
        high: 1.3,
    };
    Judged {
        evidence: "measured".to_owned(),
        cut: false,
        samples: 845,
        faults: 0,
        gaps: 0,
        peak_c: 160.0 + pass as f64 / 16.0,
        threshold_c: 160.0,
        time_above_s: 31.5,
        max_rise_c_per_s: 6.0,
        uncertainty_c: 1.5,
        cure: Some(dose),
        harms: vec![HarmSeen {
            harm: "dye-migration".to_owned(),
            dose,
        }],
        verdict: verdict_of(pass).to_owned(),
        harm: None,
        reasons: Vec::new(),
        remarks: vec!["quotes \" and, commas = signs \\ and ö".to_owned()],
    }
}

fn pass(pass: u64, start: Micros) -> Record {
    Record::PassJudged(PassJudged {
        pass,
        station: "belt-1".to_owned(),
        probe: Some("film".to_owned()),
        place: Place::Ride,
        start,
        end: start.plus_seconds(1.0),
        batch: Some(1),
        print: Some(pass),
        belt_m_per_min: Some(2.6),
        judged: Some(judged(pass)),
    })
}

fn opened() -> Record {
    Record::BatchOpened(BatchOpened {
        batch: 1,
        station: "belt-1".to_owned(),
        job: "Harbour run, \"night\"".to_owned(),
        ink: "plastisol-standard".to_owned(),
        fabric: "cotton-jersey".to_owned(),
        declared: String::new(),
        last_heat: false,
        quantity: None,
        blank_cost: None,
        mesh_per_inch: None,
        ink_mixed: None,
        recipe: None,
        by: "Mara".to_owned(),
    })
}

/// A journal in which these sinks (id, kind) have everything still before them: a batch and so many passes, the
/// last of them a minute ago.
pub fn fill(folder: &Path, sinks: &[(&str, &str)], passes: u64) {
    let (mut writer, _) = journal::open(folder, settings()).unwrap();
    let first = wall().plus_seconds(-60.0 - 2.0 * passes as f64);
    let mut records = vec![(first, opened())];
    for number in 1..=passes {
        let start = first.plus_seconds(2.0 * number as f64);
        records.push((start.plus_seconds(1.0), pass(number, start)));
    }
    // Several commits, as they would have come.
    for records in records.chunks(50) {
        let batch = Batch {
            records: records.to_vec(),
            ..Batch::default()
        };
        writer.commit(&batch).unwrap();
    }
    stand_at_the_beginning(&mut writer, sinks);
}

/// These sinks have everything still before them.
pub fn stand_at_the_beginning(writer: &mut Writer, sinks: &[(&str, &str)]) {
    let standings: Vec<Standing> = sinks
        .iter()
        .map(|(sink, kind)| Standing {
            sink: (*sink).to_owned(),
            kind: (*kind).to_owned(),
            record: RecordNumber(0),
            commit: CommitNumber(0),
        })
        .collect();
    writer
        .keep_standings(&standings, &Asides::default())
        .unwrap();
}

/// How a sink is.
pub fn way(shift: &Shift, sink: &str) -> inkdwell_daemon::sink::Way {
    let all = shift.sinks();
    let own = all.iter().find(|(id, ..)| id == sink).unwrap();
    own.2.way()
}

/// The sentence of a sink that is blocked.
pub async fn blocked(shift: &Shift, sink: &str) -> String {
    until("the trouble", || match way(shift, sink) {
        inkdwell_daemon::sink::Way::Blocked(why) => Some(why),
        _ => None,
    })
    .await
}

/// The identities of a journal's records, by their numbers, as the chain has them.
pub fn identities(shift: &Shift) -> std::collections::HashMap<u64, String> {
    let reader = shift.readers().reader().unwrap();
    let records = reader
        .records_after(RecordNumber(0), u64::MAX >> 1)
        .unwrap();
    let each = records.into_iter().map(|record| {
        let hash = record.hash.to_string();
        (record.kept.number.0, hash[..32].to_owned())
    });
    each.collect()
}
