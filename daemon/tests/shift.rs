//! The daemon from start to stop: what is played into it is in the journal, judged as offline, and a stop or a
//! crash in between changes nothing.

use std::path::Path;
use std::time::Duration;

use inkdwell_config::shop::Shop;
use inkdwell_daemon::journal::{self, PassQuery, Readers, RecordQuery};
use inkdwell_daemon::keeper::{Command, OpenBatch};
use inkdwell_daemon::record::{Occurrence, PassJudged, Record};
use inkdwell_daemon::shift::{self, Options, Shift};
use inkdwell_daemon::time::Micros;
use tokio::time::{Instant, sleep};

/// A shop whose only source plays a file, a hundred times as fast as it happened.
fn shop(file: &Path) -> Shop {
    let text = format!(
        "[[source]]\nid = \"played\"\nkind = \"replay\"\nfile = {file:?}\nfaster = 100\n\
         [[station]]\nid = \"belt-1\"\nkind = \"belt-dryer\"\nheated_length = \"2.4 m\"\nbelt = \"2.6 m/min\"\n\
         zones = [ {{ length = \"2.4 m\", air = \"190 C\" }} ]\n\
         [[probe]]\nid = \"film\"\nstation = \"belt-1\"\nplace = \"ride\"\nsource = \"played\"\n\
         uncertainty = \"1.5 C\"\n\
         [[probe]]\nid = \"cloth\"\nstation = \"belt-1\"\nplace = \"cloth\"\nsource = \"played\"\n\
         uncertainty = \"1.5 C\"\n"
    );
    let checked = Shop::parse("shop.toml", &text);
    assert_eq!(checked.problems, vec![]);
    checked.value
}

fn options(file: &Path, folder: &Path) -> Options {
    Options {
        shop: shop(file),
        digest: "of the shop".to_owned(),
        folder: folder.to_owned(),
        faster: 100.0,
        journal: journal::Settings::default(),
        keep_readings: None,
    }
}

fn open() -> Command {
    Command::OpenBatch(Box::new(OpenBatch {
        station: "belt-1".to_owned(),
        job: "Harbour run".to_owned(),
        ink: "plastisol-standard".to_owned(),
        fabric: "cotton-jersey".to_owned(),
        last_heat: false,
        quantity: None,
        blank_cost: None,
        mesh_per_inch: None,
        ink_mixed: None,
        recipe: None,
        by: "Mara".to_owned(),
    }))
}

/// Three rides a minute and a half each, the second of them too cool, half a second a row.
fn trace() -> String {
    let mut text = String::from("time_s,film_c,cloth_c\n");
    for half in 0..900 {
        let t = f64::from(half) * 0.5;
        let (ride, phase) = ((t / 140.0) as usize, t % 140.0);
        let peak = [172.0, 140.0, 170.0, 20.0][ride.min(3)];
        let film = (25.0 + 4.0 * phase)
            .min(peak)
            .min(25.0 + 2.5 * (110.0 - phase))
            .max(25.0);
        text += &format!("{t},{film:.2},{:.2}\n", film + 3.0);
    }
    text
}

async fn until<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    let deadline = Instant::now() + Duration::from_secs(30);
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(Instant::now() < deadline, "{what} did not come");
        sleep(Duration::from_millis(10)).await;
    }
}

fn passes(readers: &Readers) -> Vec<PassJudged> {
    let reader = readers.reader().unwrap();
    let kept = reader.passes(&PassQuery::default()).unwrap();
    kept.into_iter().map(|kept| kept.pass).collect()
}

fn has_ended(shift: &Shift) -> bool {
    let reader = shift.readers().reader().unwrap();
    let mut events = reader.newest_events(50).unwrap().into_iter();
    events.any(|event| matches!(event.event.what, Occurrence::SourceEnded { .. }))
}

fn verdicts(passes: &[PassJudged]) -> Vec<(u64, Option<u64>, String)> {
    let verdict = |pass: &PassJudged| {
        let judged = pass.judged.as_ref();
        judged.map_or_else(String::new, |judged| judged.verdict.clone())
    };
    let passes = passes.iter();
    passes
        .map(|pass| (pass.pass, pass.print, verdict(pass)))
        .collect()
}

fn expected() -> Vec<(u64, Option<u64>, String)> {
    let cured = || "cured".to_owned();
    vec![
        (1, Some(1), cured()),
        (2, Some(2), "under-cured".to_owned()),
        (3, Some(3), cured()),
    ]
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_played_is_judged_and_kept() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("trace.csv");
    // The source waits for its file, so that the batch is open before the first row.
    let data = folder.path().join("data");
    std::fs::write(&file, trace()).unwrap();
    let shift = shift::start(options(&file, &data)).await.unwrap();
    shift.ask(open()).await.unwrap();
    until("the end", || has_ended(&shift).then_some(())).await;
    assert_eq!(verdicts(&passes(shift.readers())), expected());

    // What was read is kept to the bit, and in the trace's own rhythm.
    let reader = shift.readers().reader().unwrap();
    let channel = reader.channel("played", "film").unwrap().unwrap();
    let kept = reader.readings(channel, Micros(i64::MIN), Micros(i64::MAX));
    let kept: Vec<_> = kept.collect::<Result<_, _>>().unwrap();
    assert_eq!(kept.len(), 900);
    let way = kept[899].at.seconds_since(kept[0].at);
    assert!((way - 449.5).abs() < 1e-6, "{way}");

    let holds = reader.holds(journal::Holds::Open).unwrap();
    assert_eq!(holds.len(), 1);
    drop(reader);
    let readers = shift.readers().clone();
    shift.stop().await.unwrap();
    let reader = readers.reader().unwrap();
    let verified = reader.verify(None, |_| ()).unwrap();
    assert!(verified.broken.is_empty(), "{verified:?}");
}

/// A shift that is dropped in the middle of a ride without a farewell, then another on the same folder.
#[test]
fn a_crash_between_loses_no_pass() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("trace.csv");
    std::fs::write(&file, trace()).unwrap();
    let data = folder.path().join("data");
    let first = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap();
    let before = first.block_on(async {
        let shift = shift::start(options(&file, &data)).await.unwrap();
        shift.ask(open()).await.unwrap();
        until("a ride", || {
            (!passes(shift.readers()).is_empty()).then_some(())
        })
        .await;
        let before = passes(shift.readers());
        // The tasks are torn off where they are.
        std::mem::forget(shift);
        before
    });
    first.shutdown_timeout(Duration::from_secs(5));
    let second = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap();
    second.block_on(async {
        let shift = shift::start(options(&file, &data)).await.unwrap();
        let open = shift
            .look(|keeper, _| keeper.open_batch("belt-1"))
            .await
            .unwrap();
        assert_eq!(open, Some(1), "the batch is still open");
        let after = passes(shift.readers());
        assert_eq!(after[..before.len()], before[..]);
        shift.stop().await.unwrap();
    });
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_second_daemon_on_the_same_folder_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("trace.csv");
    std::fs::write(&file, trace()).unwrap();
    let shift = shift::start(options(&file, folder.path())).await.unwrap();
    let refused = shift::start(options(&file, folder.path()))
        .await
        .unwrap_err();
    assert!(refused.to_string().contains("another daemon"), "{refused}");
    shift.stop().await.unwrap();
    let again = shift::start(options(&file, folder.path())).await.unwrap();
    again.stop().await.unwrap();
}

/// What the shop file says stands in the journal: once at the first start, and again only where it says something else.
#[tokio::test]
async fn the_shop_file_is_written_down_whenever_it_changes() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| Shop::parse("shop.toml", &format!("[shop]\nname = \"{name}\"\n")).value;
    let options = || Options {
        shop: file("Lantern Yard Print"),
        digest: String::new(),
        folder: folder.path().to_owned(),
        faster: 1.0,
        journal: journal::Settings::default(),
        keep_readings: None,
    };
    let names = || -> Vec<String> {
        let reader = Readers::at(folder.path()).unwrap().reader().unwrap();
        let query = RecordQuery {
            kinds: vec!["shop-declared"],
            ..RecordQuery::default()
        };
        let texts = reader
            .records(query)
            .map(|kept| match kept.unwrap().record {
                Record::ShopDeclared(declared) => declared.text,
                other => panic!("{other:?}"),
            });
        texts
            .map(|text| Shop::parse("journal", &text).value.name)
            .collect()
    };
    let shift = shift::start(options()).await.unwrap();
    shift.stop().await.unwrap();
    assert_eq!(names(), ["Lantern Yard Print"]);
    let shift = shift::start(options()).await.unwrap();
    shift
        .reload(file("Lantern Yard Print"), String::new())
        .await
        .unwrap();
    shift
        .reload(file("Lantern Lake Print"), String::new())
        .await
        .unwrap();
    shift.stop().await.unwrap();
    assert_eq!(names(), ["Lantern Yard Print", "Lantern Lake Print"]);
    let shift = shift::start(options()).await.unwrap();
    shift.stop().await.unwrap();
    assert_eq!(
        names().last().map(String::as_str),
        Some("Lantern Yard Print")
    );
}
