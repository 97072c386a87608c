//! A shop with one dryer, a shift in it, and what its journal says.

use std::fmt::Write as _;
use std::path::Path;
use std::time::Duration;

use inkdwell_config::shop::Shop;
use inkdwell_daemon::journal::{self, PassQuery, Readers, Shown};
use inkdwell_daemon::keeper::{Command, OpenBatch};
use inkdwell_daemon::record::{Judged, Occurrence, PassJudged};
use inkdwell_daemon::shift::{Options, Shift};
use inkdwell_daemon::source::health::Health;
use inkdwell_daemon::time::Micros;
use tokio::time::{Instant, sleep};

/// The shop's time goes so many times faster than the machine's, where the test says so.
pub const FASTER: f64 = 20.0;
/// Nothing is waited for longer.
const PATIENCE: Duration = Duration::from_secs(120);

/// Waits for something that must happen.
pub async fn until<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    let deadline = Instant::now() + PATIENCE;
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(Instant::now() < deadline, "{what} did not come");
        sleep(Duration::from_millis(5)).await;
    }
}

/// A dryer with one ride probe for each of these sources, whose channel is `film`. Samples may be 40 s apart: the
/// machine of a test stands still now and then.
pub fn shop(sources: &[(&str, String)]) -> Shop {
    let mut text = "[shop]\nname = \"Lantern Yard Print\"\n\
                    [[station]]\nid = \"belt-1\"\nkind = \"belt-dryer\"\nheated_length = \"2.4 m\"\n\
                    belt = \"2.6 m/min\"\nmax_gap = \"40 s\"\n\
                    zones = [ { length = \"2.4 m\", air = \"190 C\" } ]\n"
        .to_owned();
    for (id, keys) in sources {
        // Writing into a text cannot fail.
        let _ = write!(
            text,
            "[[source]]\nid = \"{id}\"\n{keys}\n[[probe]]\nid = \"film-{id}\"\nstation = \"belt-1\"\n\
             place = \"ride\"\nsource = \"{id}\"\nchannel = \"film\"\nuncertainty = \"1.5 C\"\n"
        );
    }
    let checked = Shop::parse("shop.toml", &text);
    assert_eq!(checked.problems, vec![]);
    checked.value
}

pub fn options(shop: Shop, folder: &Path, faster: f64) -> Options {
    Options {
        shop,
        digest: "of the shop".to_owned(),
        folder: folder.to_owned(),
        faster,
        journal: journal::Settings::default(),
        keep_readings: None,
    }
}

/// Opens a batch of a plastisol, which needs 160 °C for a few seconds, on cotton.
pub async fn open(shift: &Shift) {
    let open = OpenBatch {
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
    };
    shift.ask(Command::OpenBatch(Box::new(open))).await.unwrap();
}

/// The film of a ride that begins at 0, to a peak and down again within 120 s; seconds and °C, two a second, to a
/// tenth of a degree as a digitiser has it.
pub fn ride(peak: f64) -> Vec<(f64, f64)> {
    let film = |half: u32| {
        let t = f64::from(half) * 0.5;
        let celsius = (25.0 + 4.0 * t)
            .min(peak)
            .min(25.0 + 2.5 * (110.0 - t))
            .max(25.0);
        (t, (celsius * 10.0).round() / 10.0)
    };
    (0..240).map(film).collect()
}

pub fn health(shift: &Shift, source: &str) -> std::sync::Arc<Health> {
    let mut all = shift.sources().into_iter();
    all.find(|(id, _)| id == source).unwrap().1
}

/// What a source's film said, in the order of its times; all of it was used.
pub fn film(readers: &Readers, source: &str) -> Vec<(Micros, f64)> {
    let reader = readers.reader().unwrap();
    let Some(channel) = reader.channel(source, "film").unwrap() else {
        return Vec::new();
    };
    let readings = reader.readings(channel, Micros(i64::MIN), Micros(i64::MAX));
    let each = readings.map(|reading| {
        let reading = reading.unwrap();
        assert!(reading.fed, "{reading:?}");
        match reading.shown {
            Shown::Number(number) => (reading.at, number),
            Shown::Word(word) => panic!("{word:?}"),
        }
    });
    each.collect()
}

pub fn passes(readers: &Readers) -> Vec<PassJudged> {
    let reader = readers.reader().unwrap();
    let kept = reader.passes(&PassQuery::default()).unwrap();
    kept.into_iter().map(|kept| kept.pass).collect()
}

/// Verdicts in the order in which the passes began.
pub fn verdicts(readers: &Readers) -> Vec<String> {
    let passes = passes(readers).into_iter();
    passes.map(|pass| judged(&pass).verdict.clone()).collect()
}

pub fn judged(pass: &PassJudged) -> &Judged {
    pass.judged.as_ref().unwrap()
}

/// What happened, in order.
pub fn happened(readers: &Readers) -> Vec<(Micros, Occurrence)> {
    let reader = readers.reader().unwrap();
    let mut events = reader.newest_events(1000).unwrap();
    events.reverse();
    let events = events.into_iter();
    events.map(|event| (event.at, event.event.what)).collect()
}

/// Stops it; the journal's chain is whole then.
pub async fn stop(shift: Shift) -> Readers {
    let readers = shift.readers().clone();
    shift.stop().await.unwrap();
    let verified = readers.reader().unwrap().verify(None, |_| ()).unwrap();
    assert!(verified.broken.is_empty(), "{verified:?}");
    readers
}
