//! A whole shop, live: passes, batches and counts put together.

use inkdwell_config::library::Library;
use inkdwell_config::quantity::{Celsius, MetresPerSecond};
use inkdwell_config::shop::Shop;
use inkdwell_cure::engine::{Engine, Event, EventKind};
use inkdwell_cure::judged::Verdict;
use inkdwell_cure::live::{
    BatchLaws, BatchPlan, Departure, Floor, FloorEvent, LockedSettings, Micros, SeenBy, SeenPass,
    Taken,
};
use inkdwell_cure::plan::{ChannelPlan, DEFAULT_MAX_GAP, DEFAULT_WAKE, PrintLaws, Watch};
use proptest::prelude::*;

/// A dryer of 2 m whose belt runs at 3 m/min = 0.05 m/s, so 40 s in the heat; an eye 10 cm behind it.
const SHOP: &str = r#"
[[source]]
id = "line"
kind = "replay"

[[station]]
id = "belt-1"
kind = "belt-dryer"
heated_length = "2 m"
belt = "3 m/min"
print_pitch = "0.75 m"
zones = [ { length = "2 m", air = "190 C" } ]

[[station]]
id = "flash-1"
kind = "flash-unit"

[[probe]]
id = "film"
station = "belt-1"
place = "ride"
source = "line"
uncertainty = "1 C"

[[probe]]
id = "cloth"
station = "belt-1"
place = "cloth"
source = "line"
uncertainty = "1 C"

[[probe]]
id = "zone-1"
station = "belt-1"
place = "zone"
zone = 1
source = "line"

[[probe]]
id = "surface"
station = "flash-1"
place = "exit"
distance = "0 m"
spot = "20 mm"
source = "line"
uncertainty = "1 C"

[[signal]]
id = "speed"
station = "belt-1"
kind = "belt"
unit = "m/min"
source = "line"

[[signal]]
id = "prints"
station = "belt-1"
kind = "count"
distance = "10 cm"
source = "line"
"#;

fn shop(text: &str) -> Shop {
    let checked = Shop::parse("shop.toml", text);
    assert_eq!(checked.problems, vec![]);
    checked.value
}

fn batch(number: u64, ink: &str) -> BatchPlan {
    let library = Library::shipped();
    let laws = PrintLaws::new(
        library.ink(ink).unwrap(),
        library.fabric("cotton-jersey").unwrap(),
    );
    BatchPlan {
        number,
        laws: BatchLaws {
            laws,
            last_heat: false,
        },
        recipe: None,
    }
}

fn at(seconds: f64) -> Micros {
    Micros(1_790_000_000_000_000).plus_seconds(seconds)
}

/// A floor and all that it has said.
struct Day {
    floor: Floor,
    events: Vec<FloorEvent>,
}

impl Day {
    fn new() -> Day {
        Day {
            floor: Floor::new(&shop(SHOP), at(0.0)),
            events: Vec::new(),
        }
    }

    fn read(&mut self, channel: &str, seconds: f64, value: f64) -> Taken {
        let input = self.floor.input("line", channel).unwrap();
        let events = &mut self.events;
        self.floor
            .read(input, at(seconds), Some(value), &mut |event| {
                events.push(event)
            })
    }

    fn open_circuit(&mut self, channel: &str, seconds: f64) {
        let input = self.floor.input("line", channel).unwrap();
        let events = &mut self.events;
        self.floor
            .read(input, at(seconds), None, &mut |event| events.push(event));
    }

    fn tick(&mut self, seconds: f64) {
        let events = &mut self.events;
        self.floor
            .tick(at(seconds), &mut |event| events.push(event));
    }

    fn open(&mut self, station: &str, seconds: f64, batch: BatchPlan) {
        let events = &mut self.events;
        self.floor
            .open_batch(station, at(seconds), batch, &mut |event| events.push(event));
    }

    /// A ride of 170 °C at most, from a moment on; it is over 120 s later.
    fn ride(&mut self, from: f64) {
        for tenth in 0..1300 {
            let t = f64::from(tenth) * 0.1;
            let celsius = (25.0 + 4.0 * t)
                .min(170.0)
                .min(25.0 + 2.5 * (110.0 - t))
                .max(25.0);
            self.read("cloth", from + t, celsius + 2.0);
            self.read("film", from + t, celsius);
        }
    }

    fn passes(&self) -> Vec<&SeenPass> {
        let passes = self.events.iter().filter_map(|event| match event {
            FloorEvent::PassEnded(pass) => Some(&**pass),
            _ => None,
        });
        passes.collect()
    }
}

#[test]
fn a_ride_is_judged_by_the_batch_that_was_open_when_it_began() {
    let mut day = Day::new();
    day.open("belt-1", 0.0, batch(1, "plastisol-standard"));
    day.ride(10.0);
    day.ride(200.0);
    let passes = day.passes();
    assert_eq!(passes.len(), 2);
    let numbered = |pass: &SeenPass| (pass.batch, pass.by, pass.probe.clone());
    let film = Some("film".to_owned());
    assert_eq!(numbered(passes[0]), (Some(1), SeenBy::Ride, film));
    let judged = passes[0].judged.as_ref().unwrap();
    assert_eq!(judged.verdict, Verdict::Cured);
    // It woke at 45 °C, 5 s after it began to rise by 4 °C a second.
    assert!((passes[0].start.seconds_since(at(15.0))).abs() < 1e-3);
    assert_eq!(judged.start.0, 0.0);
    assert!((passes[0].belt.unwrap().0 - 0.05).abs() < 1e-9);
}

#[test]
fn without_a_batch_a_pass_is_kept_but_not_judged() {
    let mut day = Day::new();
    day.ride(10.0);
    let passes = day.passes();
    assert_eq!((passes[0].batch, &passes[0].judged), (None, &None));
    assert!((passes[0].peak.unwrap().0 - 170.0).abs() < 0.5);
}

#[test]
fn the_next_batch_begins_with_the_next_pass() {
    let mut day = Day::new();
    day.open("belt-1", 0.0, batch(1, "plastisol-standard"));
    for tenth in 0..400 {
        let t = f64::from(tenth) * 0.1;
        day.read("film", t, (25.0 + 4.0 * t).min(170.0));
    }
    // Water-based ink wants 90 s at 160 °C: the open pass is not judged by that.
    day.open("belt-1", 40.0, batch(2, "water-based"));
    for tenth in 400..1200 {
        let t = f64::from(tenth) * 0.1;
        day.read("film", t, (25.0 + 2.5 * (110.0 - t)).clamp(25.0, 170.0));
    }
    day.ride(200.0);
    let verdicts: Vec<_> = day
        .passes()
        .iter()
        .map(|pass| (pass.batch, pass.judged.as_ref().unwrap().verdict))
        .collect();
    let expected = [(Some(1), Verdict::Cured), (Some(2), Verdict::UnderCured)];
    assert_eq!(verdicts, expected);
}

/// The eye sees a print 2.1 m / 0.05 m/s = 42 s after it entered.
#[test]
fn prints_that_no_probe_saw_are_told_from_rides() {
    let mut day = Day::new();
    day.open("belt-1", 0.0, batch(1, "plastisol-standard"));
    day.read("speed", 0.0, 3.0);
    day.read("prints", 0.0, 100.0);
    day.read("prints", 50.0, 101.0);
    // The ride wakes 5 s after 60 s and enters the heat a little before that: it is counted at about 105 s.
    for tenth in 0..1300 {
        let t = f64::from(tenth) * 0.1;
        let celsius = (25.0 + 4.0 * t)
            .min(170.0)
            .min(25.0 + 2.5 * (110.0 - t))
            .max(25.0);
        day.read("film", 60.0 + t, celsius);
        match tenth {
            300 => drop(day.read("prints", 90.0, 102.0)),
            450 => drop(day.read("prints", 105.0, 103.0)),
            600 => drop(day.read("prints", 120.0, 104.0)),
            _ => {}
        }
    }
    let seen: Vec<_> = day
        .passes()
        .iter()
        .map(|pass| (pass.by, pass.print))
        .collect();
    let expected = [
        (SeenBy::Counter, Some(1)),
        (SeenBy::Counter, Some(2)),
        (SeenBy::Counter, Some(4)),
        (SeenBy::Ride, Some(3)),
    ];
    assert_eq!(seen, expected);
}

#[test]
fn a_reading_that_comes_late_or_twice_is_not_used() {
    let mut day = Day::new();
    assert_eq!(day.read("film", 5.0, 30.0), Taken::Fed);
    assert_eq!(day.read("film", 5.0, 31.0), Taken::Late);
    assert_eq!(day.read("film", 4.0, 31.0), Taken::Late);
    assert_eq!(day.read("cloth", 4.0, 31.0), Taken::Fed);
    assert_eq!(day.floor.latest("film").unwrap().value, Some(30.0));
}

#[test]
fn a_flashed_print_is_judged_soon_after_it_has_cooled() {
    let mut day = Day::new();
    day.open("flash-1", 0.0, batch(9, "plastisol-standard"));
    for tenth in 0..300 {
        let t = f64::from(tenth) * 0.1;
        let celsius = (40.0 + 9.0 * t)
            .min(112.0)
            .min(112.0 - 4.0 * (t - 8.0))
            .max(42.0);
        day.read("surface", t, celsius);
    }
    let passes = day.passes();
    assert_eq!(passes.len(), 1);
    let judged = passes[0].judged.as_ref().unwrap();
    assert_eq!(
        (passes[0].by, judged.verdict),
        (SeenBy::Flash, Verdict::Gelled)
    );
}

/// A print is heated to 112 °C from `from` on, and cools by `per_second` from the ninth second on, to 42 °C.
fn under_the_lamp(t: f64, per_second: f64) -> f64 {
    (40.0 + 9.0 * t)
        .min(112.0)
        .min(112.0 - per_second * (t - 9.0))
        .max(42.0)
}

/// What is judged twenty seconds after the peak is what is judged of the whole trace at its end: of prints that
/// cool fast and of one that cools so slowly that it is still hot then.
#[test]
fn a_flashed_print_is_judged_live_as_offline() {
    let cooling = [6.0, 1.2, 4.0, 0.9, 5.0];
    let trace: Vec<(f64, f64)> = (0..5 * 900)
        .map(|tenth| {
            let t = f64::from(tenth) * 0.1;
            let print = (t / 90.0) as usize;
            (t, under_the_lamp(t % 90.0, cooling[print]))
        })
        .collect();
    let mut day = Day::new();
    day.open("flash-1", 0.0, batch(9, "plastisol-standard"));
    let mut told = Vec::new();
    for &(t, celsius) in &trace {
        let before = day.passes().len();
        day.read("surface", t, celsius);
        if day.passes().len() > before {
            told.push(t % 90.0);
        }
    }
    let events = &mut day.events;
    day.floor.finish(&mut |event| events.push(event));

    // Offline: the same readings, nobody waiting for a verdict.
    let floor = Floor::new(&shop(SHOP), at(0.0));
    let laws = batch(9, "plastisol-standard").laws.laws;
    let mut engine = Engine::new();
    let channel = engine.add_channel(ChannelPlan {
        laws,
        watch: Watch::FlashGel,
        doubt: floor.doubt("surface", Celsius(104.0)).unwrap(),
        max_gap: DEFAULT_MAX_GAP,
        wake: DEFAULT_WAKE,
    });
    let mut offline = Vec::new();
    let mut note = |event: Event| {
        if let EventKind::PassJudged(pass) = event.kind {
            offline.push(*pass);
        }
    };
    engine.feed_all(channel, &trace, &mut note);
    engine.finish(&mut note);

    let live = day.passes();
    assert_eq!((live.len(), offline.len()), (5, 5));
    for (live, offline) in live.iter().zip(&offline) {
        let judged = live.judged.as_ref().unwrap();
        assert_eq!(judged.verdict, offline.verdict);
        assert_eq!((judged.peak, &judged.harms), (offline.peak, &offline.harms));
        assert_eq!(
            (judged.cut, &judged.reasons),
            (offline.cut, &offline.reasons)
        );
        let start = live.start.seconds_since(at(0.0));
        assert!((start - offline.start.0).abs() < 1e-5, "{start}");
    }
    // The peak is reached after eight seconds, and held for one.
    assert!(told.iter().all(|told| *told < 50.0), "{told:?}");
}

/// An open thermocouple under the lamp, or one that shows the end of its scale, is given up; the next print is
/// seen again.
#[test]
fn a_flash_probe_that_was_given_up_sees_the_next_print() {
    let mut day = Day::new();
    day.open("flash-1", 0.0, batch(9, "plastisol-standard"));
    for tenth in 0..85 {
        let t = f64::from(tenth) * 0.1;
        day.read("surface", t, under_the_lamp(t, 4.0));
    }
    for second in 9..700 {
        day.read("surface", f64::from(second), 1370.0);
        day.tick(f64::from(second));
    }
    assert_eq!(day.passes().len(), 1);
    assert!(day.passes()[0].judged.as_ref().unwrap().cut);
    for tenth in 0..600 {
        let t = f64::from(tenth) * 0.1;
        day.read("surface", 700.0 + t, under_the_lamp(t, 4.0));
    }
    let passes = day.passes();
    assert_eq!(passes.len(), 2);
    assert_eq!(passes[1].judged.as_ref().unwrap().verdict, Verdict::Gelled);
}

/// A thermocouple breaks in the heat: ten minutes later nobody waits for it any more, and what was seen of the
/// print is judged. It is no secret in between that the probe says OPEN.
#[test]
fn a_ride_probe_that_reads_open_is_given_up() {
    let mut day = Day::new();
    day.open("belt-1", 0.0, batch(1, "plastisol-standard"));
    for tenth in 0..300 {
        let t = f64::from(tenth) * 0.1;
        day.read("film", t, (25.0 + 4.0 * t).min(170.0));
        day.tick(t);
    }
    for second in 30..640 {
        day.open_circuit("film", f64::from(second));
        day.tick(f64::from(second));
        assert_eq!(day.passes().len(), usize::from(second >= 630), "{second}");
    }
    let judged = day.passes()[0].judged.as_ref().unwrap();
    assert!(judged.cut);
    assert_eq!(judged.verdict, Verdict::Unproven);
    assert!((day.passes()[0].end.seconds_since(at(29.9))).abs() < 1e-3);
    // It is mended, and rides again.
    day.ride(700.0);
    assert_eq!(day.passes().len(), 2);
    assert!(!day.passes()[1].judged.as_ref().unwrap().cut);
}

/// Prints every 0.75 m, as close as the shop file says, the film of every fourth on a ride; each print counts
/// once, whoever saw it. The eye sees a garment's leading edge, 0.31 m before the print's middle, and the film
/// passes 45 °C 0.25 m behind the entrance, so that the two are 0.56 m apart.
#[test]
fn in_a_close_run_every_print_is_there_once() {
    let mut day = Day::new();
    day.open("belt-1", 0.0, batch(1, "plastisol-standard"));
    let (speed, pitch) = (0.05, 0.75);
    // The middle of print n enters at `entered(n)`.
    let entered = |print: u32| 10.0 + f64::from(print - 1) * pitch / speed;
    day.read("speed", 0.0, 3.0);
    let mut counted = 0;
    for half in 0..1200 {
        let t = f64::from(half) * 0.5;
        let rider = (1..=32)
            .filter(|print| print % 8 == 1 && entered(*print) <= t)
            .next_back();
        let film = rider.map_or(25.0, |print| {
            let inside = t - entered(print);
            (25.0 + 4.0 * inside)
                .min(170.0)
                .min(170.0 - 2.5 * (inside - 40.0))
                .max(25.0)
        });
        day.read("film", t, film);
        day.read("speed", t, 3.0);
        let passed = |print: &u32| t >= entered(*print) + (2.1 - 0.31) / speed;
        counted = counted.max((1..=32).filter(passed).count());
        day.read("prints", t, counted as f64);
        day.tick(t);
    }
    let mut prints: Vec<_> = day
        .passes()
        .iter()
        .map(|pass| (pass.print, pass.by))
        .collect();
    prints.sort_by_key(|(print, _)| *print);
    let by = |print: u64| match print % 8 {
        1 => SeenBy::Ride,
        _ => SeenBy::Counter,
    };
    let expected: Vec<_> = (1..=32).map(|print| (Some(print), by(print))).collect();
    assert_eq!(prints, expected);
}

/// Its readings stop under the lamp: nothing comes of that until it has been silent for twenty seconds.
#[test]
fn a_flash_probe_that_falls_silent_is_not_waited_for() {
    let mut day = Day::new();
    day.open("flash-1", 0.0, batch(9, "plastisol-standard"));
    for tenth in 0..120 {
        let t = f64::from(tenth) * 0.1;
        let celsius = (40.0 + 9.0 * t)
            .min(112.0)
            .min(112.0 - 4.0 * (t - 8.0))
            .max(42.0);
        day.read("surface", t, celsius);
    }
    for second in 12..40 {
        let events = &mut day.events;
        day.floor
            .tick(at(f64::from(second)), &mut |event| events.push(event));
        assert_eq!(day.passes().len(), usize::from(second >= 32), "{second}");
    }
}

/// What was kept back is read long after it was taken, while the ticks are of now.
#[test]
fn old_readings_are_no_silence() {
    let mut day = Day::new();
    day.open("belt-1", 0.0, batch(1, "plastisol-standard"));
    for half in 0..260 {
        let t = f64::from(half) * 0.5;
        let celsius = (25.0 + 4.0 * t)
            .min(170.0)
            .min(25.0 + 2.5 * (110.0 - t))
            .max(25.0);
        day.read("film", t, celsius);
        let events = &mut day.events;
        day.floor
            .tick(at(90_000.0 + t), &mut |event| events.push(event));
    }
    let passes = day.passes();
    assert_eq!(passes.len(), 1);
    assert!(!passes[0].judged.as_ref().unwrap().cut);
}

#[test]
fn leaving_the_recipe_is_said_at_once() {
    let mut day = Day::new();
    let settings = LockedSettings {
        recipe: 4,
        belt: Some(MetresPerSecond(0.05)),
        belt_drift: 0.05,
        zones: vec![("zone-1".to_owned(), Celsius(190.0))],
        zone_drift: 8.0,
        exit: None,
        exit_drift: 6.0,
        ride_every: None,
    };
    let recipe = Some(settings);
    let with_recipe = BatchPlan {
        recipe,
        ..batch(1, "plastisol-standard")
    };
    day.open("belt-1", 0.0, with_recipe);
    day.read("speed", 1.0, 3.1);
    day.read("zone-1", 1.0, 185.0);
    assert!(day.events.is_empty());
    day.read("speed", 2.0, 3.3);
    day.read("zone-1", 2.0, 181.0);
    day.read("speed", 3.0, 3.0);
    day.read("zone-1", 3.0, 189.0);
    let [belt, zone, met] = day.events.as_slice() else {
        panic!("{:?}", day.events);
    };
    let left = |event: &FloorEvent| match event {
        FloorEvent::RecipeLeft { what, .. } => what.clone(),
        other => panic!("{other:?}"),
    };
    assert!(matches!(left(belt), Departure::Belt { .. }));
    assert!(matches!(left(zone), Departure::Zone { .. }));
    assert!(matches!(met, FloorEvent::RecipeMet { recipe: 4, .. }));
}

#[test]
fn another_shop_file_loses_no_pass_that_it_does_not_concern() {
    let mut day = Day::new();
    day.open("belt-1", 0.0, batch(1, "plastisol-standard"));
    for tenth in 0..400 {
        let t = f64::from(tenth) * 0.1;
        day.read("film", t, (25.0 + 4.0 * t).min(170.0));
    }
    let kept = postcard::to_allocvec(day.floor.saved()).unwrap();
    let changed = SHOP.replace("id = \"flash-1\"", "id = \"flash-7\"");
    let changed = changed.replace("station = \"flash-1\"", "station = \"flash-7\"");
    let saved = postcard::from_bytes(&kept).unwrap();
    let events = &mut day.events;
    day.floor = Floor::restored(&shop(&changed), saved, &mut |event| events.push(event));
    for tenth in 400..1200 {
        let t = f64::from(tenth) * 0.1;
        day.read("film", t, (25.0 + 2.5 * (110.0 - t)).clamp(25.0, 170.0));
    }
    let passes = day.passes();
    assert_eq!(passes.len(), 1);
    assert!(!passes[0].judged.as_ref().unwrap().cut);

    // A probe that is declared otherwise is another one: what it was in the middle of is cut.
    let mut events = Vec::new();
    let other = SHOP.replace("uncertainty = \"1 C\"", "uncertainty = \"2 C\"");
    let saved = postcard::from_bytes(&kept).unwrap();
    drop(Floor::restored(&shop(&other), saved, &mut |event| {
        events.push(event)
    }));
    let FloorEvent::PassEnded(pass) = &events[0] else {
        panic!("{events:?}");
    };
    assert!(pass.judged.as_ref().unwrap().cut);
}

proptest! {
    /// Put away and taken up again at any reading, a floor says the same.
    #[test]
    fn a_floor_may_be_put_away_at_any_moment(cuts in prop::collection::btree_set(0..700_usize, 0..4)) {
        let run = |cuts: &std::collections::BTreeSet<usize>| {
            let mut day = Day::new();
            day.open("belt-1", 0.0, batch(1, "plastisol-standard"));
            for step in 0..700_usize {
                if cuts.contains(&step) {
                    let kept = postcard::to_allocvec(day.floor.saved()).unwrap();
                    let saved = postcard::from_bytes(&kept).unwrap();
                    day.floor = Floor::restored(&shop(SHOP), saved, &mut |_| ());
                }
                let t = step as f64 * 0.4;
                let phase = t % 140.0;
                let celsius =
                    (25.0 + 4.0 * phase).min(170.0).min(25.0 + 2.5 * (110.0 - phase)).max(25.0);
                day.read("cloth", t, celsius + 2.0);
                day.read("film", t, celsius);
                day.read("speed", t, 3.0 + if step > 300 { 0.4 } else { 0.0 });
                day.read("prints", t, (step / 40) as f64);
                if step == 350 {
                    day.open("belt-1", t, batch(2, "water-based"));
                }
                let events = &mut day.events;
                day.floor.tick(at(t), &mut |event| events.push(event));
            }
            day.events
        };
        prop_assert_eq!(run(&std::collections::BTreeSet::new()), run(&cuts));
    }
}
