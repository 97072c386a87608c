//! Prints past an exit probe in the keeper: answers that come late, in any order, or get lost in a crash
//! change nothing of what is recorded.

use std::collections::BTreeMap;
use std::fs;
use std::sync::{Arc, LazyLock};
use std::time::Instant;

use inkdwell_config::library::Library;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, Metres, MetresPerSecond};
use inkdwell_config::shop::Shop;
use inkdwell_cure::live::exit::{Inference, RecipeExit, RecipeModel, RecipeRide, Shown};
use inkdwell_cure::trace_file::{Cell, Layout, Reader};
use inkdwell_daemon::intake::{Delivery, Said, SourceId, Value};
use inkdwell_daemon::keeper::{Command, Inferred, Keeper, OpenBatch, Taking};
use inkdwell_daemon::record::{PassJudged, Place, RecipeLocked, Record};
use inkdwell_daemon::time::Micros;

const SAMPLES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../simulated-traces/samples");
const STATION: &str = "belt-1";

/// Columns of a sample by name, without their units.
fn sample(name: &str) -> BTreeMap<String, Vec<(f64, f64)>> {
    let bytes = fs::read(format!("{SAMPLES}/{name}")).unwrap();
    let mut series: Vec<Vec<(f64, f64)>> = Vec::new();
    let mut take = |time: f64, cells: &[Cell]| {
        series.resize_with(cells.len(), Vec::new);
        for (column, cell) in series.iter_mut().zip(cells) {
            if let Cell::Value(value) = cell {
                column.push((time, *value));
            }
        }
    };
    let mut reader = Reader::new(Layout::default());
    reader.feed(&bytes, &mut take).unwrap();
    reader.finish(&mut take).unwrap();
    let names = reader.columns().iter().map(|column| column.name.clone());
    names.zip(series).collect()
}

fn shop() -> Shop {
    let text = fs::read_to_string(format!("{SAMPLES}/shop.toml")).unwrap();
    let text = text
        .replace("spot = \"30 mm\"", "spot = \"30 mm\"\nsource = \"line\"")
        .replace("kind = \"belt\"", "kind = \"belt\"\nsource = \"line\"")
        .replace("kind = \"count\"", "kind = \"count\"\nsource = \"line\"");
    let line = "[[source]]\nid = \"line\"\nkind = \"serial\"\nport = \"/dev/ttyUSB0\"\nformat = \"fields\"\n\
                names = [\"exit\", \"exit2\", \"belt-speed\", \"prints\"]\n";
    let checked = Shop::parse("shop.toml", &format!("{text}\n{line}"));
    assert_eq!(checked.problems, vec![]);
    checked.value
}

fn at(seconds: f64) -> Micros {
    Micros(1_790_000_000_000_000).plus_seconds(seconds)
}

fn shown(readings: &[(f64, f64)]) -> Shown {
    readings.iter().map(|own| (own.0, Some(own.1))).collect()
}

/// The model of the sample's ride, fitted once.
static MODEL: LazyLock<RecipeModel> = LazyLock::new(|| {
    let trace = sample("exit-reference.csv");
    let film = &trace["film"];
    let above: Vec<f64> = film
        .iter()
        .filter(|own| own.1 >= 45.0)
        .map(|own| own.0)
        .collect();
    let exits = [("exit", 0.35), ("exit2", 0.95)].map(|(probe, distance)| RecipeExit {
        probe: probe.to_owned(),
        distance: Metres(distance),
        spot: Metres(0.03),
        uncertainty: None,
        shown: shown(&trace[probe]),
    });
    // The belt ran at 2.8 m/min (the ride's note).
    let belt = 2.8 / 60.0;
    let times = trace["exit"].iter();
    let ride = RecipeRide {
        began: at(-2000.0),
        pass: (above[0], above[above.len() - 1]),
        belt: MetresPerSecond(belt),
        film: shown(film),
        cloth: shown(&trace["cloth"]),
        speeds: times.map(|own| (own.0, Some(belt))).collect(),
        exits: exits.to_vec(),
        room: Some(Celsius(22.0)),
        uncertainty: CelsiusDifference(1.5),
        assumed: None,
        passed: 0.0,
        station: None,
    };
    let library = Library::shipped();
    RecipeModel::fitted(
        ride,
        shop().station(STATION).unwrap(),
        library.ink("plastisol-standard").unwrap(),
        library.fabric("cotton-jersey").unwrap(),
    )
    .unwrap()
});

fn recipe() -> RecipeLocked {
    let library = Library::shipped();
    let ink = library.ink("plastisol-standard").unwrap();
    let fabric = library.fabric("cotton-jersey").unwrap();
    RecipeLocked {
        recipe: 1,
        station: STATION.to_owned(),
        ink: ink.id.clone(),
        fabric: fabric.id.clone(),
        declared: inkdwell_config::written::declared(ink, fabric),
        ride: 1,
        belt_m_per_min: Some(2.8),
        zones_c: Vec::new(),
        exit_c: None,
        belt_drift: 0.05,
        zone_drift_c: 8.0,
        exit_drift_c: 6.0,
        ride_every_s: None,
        by: "Ada".to_owned(),
        reference: Some(Box::new(MODEL.ride().clone())),
    }
}

fn begun() -> Keeper {
    let mut keeper = Keeper::new(shop(), at(-100.0), at(-100.0));
    keeper
        .command(Command::LockRecipe(Box::new(recipe())), at(-99.0))
        .unwrap();
    keeper
        .command(Command::OpenBatch(Box::new(batch())), at(-98.0))
        .unwrap();
    keeper
}

/// A batch under the recipe.
fn batch() -> OpenBatch {
    OpenBatch {
        station: STATION.to_owned(),
        job: "Harbour run".to_owned(),
        ink: "plastisol-standard".to_owned(),
        fabric: "cotton-jersey".to_owned(),
        last_heat: false,
        quantity: None,
        blank_cost: None,
        mesh_per_inch: None,
        ink_mixed: None,
        recipe: Some(1),
        by: "Ada".to_owned(),
    }
}

/// Readings and records of one commit.
type Committed = (Vec<Taking>, Vec<(Micros, Record)>);

/// A keeper, its journal, and those who infer.
struct Shift<'a> {
    keeper: Keeper,
    desk: Inference<'a>,
    /// Answers that are on their way.
    on_the_way: Vec<Inferred>,
    checkpoint: Vec<u8>,
    /// What was committed since, commit by commit.
    since: Vec<Committed>,
    passes: Vec<PassJudged>,
}

impl Shift<'_> {
    fn begin() -> Shift<'static> {
        let mut shift = Shift {
            keeper: begun(),
            desk: MODEL.ready().unwrap(),
            on_the_way: Vec::new(),
            checkpoint: Vec::new(),
            since: Vec::new(),
            passes: Vec::new(),
        };
        shift.keeper.take_entry();
        shift.put_away();
        shift
    }

    fn put_away(&mut self) {
        self.checkpoint = self.keeper.checkpoint().unwrap();
        self.since.clear();
    }

    fn commit(&mut self) {
        let entry = self.keeper.take_entry();
        for (_, record) in &entry.records {
            if let Record::PassJudged(pass) = record {
                self.passes.push(pass.clone());
            }
        }
        self.since.push((entry.readings, entry.records));
    }

    /// Gives out what is to be inferred; the answers are on their way then.
    fn ask(&mut self) {
        for job in self.keeper.take_jobs() {
            if let Some((pass, window, laws)) = job.print {
                let judged = Ok(Box::new(self.desk.judge(&window, &laws)));
                self.on_the_way.push(Inferred { pass, judged });
            }
        }
    }

    /// Answers come, the latest first.
    fn answer(&mut self) {
        while let Some(answer) = self.on_the_way.pop() {
            self.keeper.inferred(answer);
        }
    }

    /// The plug is pulled: what was on its way is lost, and another keeper takes up what was committed.
    fn crash(&mut self, now: f64) {
        self.on_the_way.clear();
        let now = at(now);
        let mut keeper = Keeper::restored(shop(), &self.checkpoint, now, now).unwrap();
        assert_eq!(keeper.rides_needed(), [1]);
        keeper.know_ride(&recipe());
        for (readings, records) in &self.since {
            readings.iter().for_each(|taking| keeper.replay(taking));
            for (when, record) in records {
                keeper.replay_record(*when, record);
            }
        }
        self.keeper = keeper;
    }
}

/// What a line said in one second of the sample's run, delivery by delivery.
fn deliveries(run: &BTreeMap<String, Vec<(f64, f64)>>, second: u32) -> Vec<(f64, Delivery)> {
    let (exit, exit2) = (&run["exit"], &run["exit2"]);
    let (belt, prints) = (&run["belt"], &run["prints"]);
    let within = |own: &&(f64, f64)| own.0 >= f64::from(second) && own.0 < f64::from(second + 1);
    let rows = exit.iter().enumerate().filter(|(_, own)| within(own));
    let rows = rows.map(|(number, row)| {
        let said = [
            ("exit", row.1),
            ("exit2", exit2[number].1),
            ("belt-speed", belt[number].1 * 60.0),
            ("prints", prints[number].1),
        ];
        let said = said.map(|(channel, value)| Said {
            channel: Arc::from(channel),
            value: Value::Number(value),
            device_time: None,
            sequence: None,
        });
        let delivery = Delivery {
            source: SourceId(0),
            arrived: Instant::now(),
            said: said.to_vec(),
            mark: None,
            receipt: None,
        };
        (row.0, delivery)
    });
    rows.collect()
}

/// Almost six minutes of the sample's run; answers come every so many ticks, and the plug is pulled every so many.
fn passes(answers_every: u32, crashes_every: Option<u32>) -> Vec<PassJudged> {
    let run = sample("exit-run.csv");
    let mut shift = Shift::begin();
    for second in 0..345_u32 {
        for (taken, delivery) in deliveries(&run, second) {
            shift.keeper.take(delivery, at(taken));
        }
        let now = at(f64::from(second + 1) - 0.001);
        shift.keeper.tick(now, now);
        shift.ask();
        shift.commit();
        if (second + 1).is_multiple_of(answers_every) {
            shift.answer();
            shift.commit();
        }
        if second % 60 == 59 {
            shift.put_away();
        }
        if crashes_every.is_some_and(|every| (second + 1).is_multiple_of(every)) {
            shift.crash(f64::from(second + 1));
        }
    }
    shift.ask();
    shift.answer();
    shift.commit();
    assert!(!shift.keeper.awaits_answers());
    shift.passes
}

/// The daemon is stopped and started again while prints are on their way, some of them between the counter's eye and
/// the exit probe, some of them before an answer: each is one pass, with one verdict.
#[test]
fn a_print_on_its_way_at_a_stop_has_one_verdict() {
    let run = sample("exit-run.csv");
    let mut on_their_way = 0;
    // Prints follow each other by 16 s.
    for (stop, answered) in [(200, true), (204, false), (208, true), (212, false)] {
        let mut shift = Shift::begin();
        for second in 0..300_u32 {
            if second == stop {
                let counted = run["prints"].iter().filter(|own| own.0 < f64::from(stop));
                let counted = counted.map(|own| own.1).fold(0.0, f64::max);
                on_their_way += counted as usize - shift.passes.len();
                shift.keeper.finish(at(f64::from(stop)));
                shift.ask();
                if answered {
                    shift.answer();
                }
                shift.commit();
                shift.put_away();
                // (What was on its way is lost with the program.)
                shift.crash(f64::from(stop));
            }
            for (taken, delivery) in deliveries(&run, second) {
                shift.keeper.take(delivery, at(taken));
            }
            let now = at(f64::from(second + 1) - 0.001);
            shift.keeper.tick(now, now);
            shift.ask();
            shift.answer();
            shift.commit();
        }
        assert!(!shift.keeper.awaits_answers());
        let mut numbers: Vec<_> = shift.passes.iter().map(|pass| pass.print).collect();
        numbers.sort_unstable();
        let expected: Vec<_> = (1..=numbers.len() as u64).map(Some).collect();
        assert_eq!(numbers, expected, "stopped at {stop} s");
        let mut passes: Vec<_> = shift.passes.iter().map(|pass| pass.pass).collect();
        passes.sort_unstable();
        let all: Vec<_> = (1..=passes.len() as u64).collect();
        assert_eq!(passes, all, "stopped at {stop} s");
        let told = |pass: &PassJudged| pass.judged.is_some();
        assert!(shift.passes.iter().all(told));
    }
    assert!(on_their_way > 0, "no print was on its way");
}

#[test]
fn late_answers_and_crashes_change_nothing() {
    let usual = passes(1, None);
    assert!(usual.len() > 14, "{}", usual.len());
    let numbers: Vec<_> = usual.iter().map(|pass| (pass.pass, pass.print)).collect();
    let expected: Vec<_> = (1..=usual.len() as u64)
        .map(|own| (own, Some(own)))
        .collect();
    assert_eq!(numbers, expected);
    assert!(usual.iter().all(|pass| pass.place == Place::Exit));
    let inferred = |pass: &PassJudged| {
        pass.judged
            .as_ref()
            .is_some_and(|own| own.evidence == "inferred")
    };
    assert!(usual.iter().all(inferred));
    for (answers_every, crashes_every) in [(45, None), (1, Some(23)), (45, Some(37))] {
        let told = format!("answers every {answers_every} s, {crashes_every:?}");
        assert_eq!(passes(answers_every, crashes_every), usual, "{told}");
    }
}

/// The dryer is declared otherwise later: what was ridden before it is fitted as it was then.
#[test]
fn a_ride_is_fitted_to_the_station_as_it_was_declared_then() {
    let mut ridden = recipe();
    let before = shop().station(STATION).unwrap().clone();
    if let Some(ride) = &mut ridden.reference {
        ride.station = Some(Box::new(before.clone()));
    }
    let mut keeper = Keeper::new(shop(), at(-100.0), at(-100.0));
    let lock = Command::LockRecipe(Box::new(ridden));
    keeper.command(lock, at(-99.0)).unwrap();
    let mut other = shop();
    other.stations[0].zones[0].air = Some(Celsius(150.0));
    keeper
        .reload(other, "another".to_owned(), at(-98.5))
        .unwrap();
    keeper
        .command(Command::OpenBatch(Box::new(batch())), at(-98.0))
        .unwrap();
    let stations: Vec<_> = keeper
        .take_jobs()
        .into_iter()
        .map(|job| job.station)
        .collect();
    assert_eq!(stations, [before]);
}
