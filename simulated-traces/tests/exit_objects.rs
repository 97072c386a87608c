//! How many prints an exit probe and a counter find, of runs whose true prints are known: where prints leave nearly as
//! warm as the belt, where the eye misses one or sees one twice, where they lie close.

use inkdwell_config::quantity::{Metres, MetresPerSecond};
use inkdwell_cure::exit::objects::Object;
use inkdwell_cure::exit::run::{Passed, Run};
use inkdwell_cure::exit::template::Template;
use inkdwell_cure::exit::trace::ExitTrace;
use inkdwell_cure::exit::way::Way;
use inkdwell_cure::plan::DEFAULT_MAX_GAP;
use inkdwell_simulated_traces::channel::Value;
use inkdwell_simulated_traces::events::Event;
use inkdwell_simulated_traces::scenario::Scenario;
use inkdwell_simulated_traces::shop::{EXIT_SPOT, SimulatedShop, draw_shop};

/// Prints of every run.
const PRINTS: u32 = 6;

type Readings = Vec<(f64, f64)>;

/// What a recording says, and when each print's middle truly passed the nearest exit probe.
struct Recorded {
    exit: Readings,
    way: Way,
    count: Readings,
    passed: Vec<f64>,
}

fn recorded(scenario: &Scenario, probe: f64) -> Recorded {
    let mut live = scenario.live();
    let names: Vec<String> = live.channels().map(|own| own.name.clone()).collect();
    let column_of = |name: &str| names.iter().position(|own| own == name);
    let columns = ["exit_c", "belt_m_per_min", "prints_count"].map(column_of);
    let mut read = [const { Vec::new() }; 3];
    for row in live.by_ref() {
        for (column, readings) in columns.iter().zip(&mut read) {
            match column.map(|column| row.values[column]) {
                Some(Value::Number(number)) => readings.push((row.time, number)),
                Some(Value::Open) => readings.push((row.time, f64::NAN)),
                _ => {}
            }
        }
    }
    let [exit, belt, count]: [Readings; 3] = read;
    let speeds: Readings = belt.iter().map(|own| (own.0, own.1 / 60.0)).collect();
    let mut prints = live.finish();
    prints.sort_by_key(|print| print.index);
    let passed = prints.iter().map(|print| {
        let leaves = print.leaves_s.expect("every print leaves the heat");
        leaves + probe / (print.belt_m_per_min / 60.0)
    });
    Recorded {
        exit,
        way: Way::measured(&speeds, DEFAULT_MAX_GAP.0).expect("a belt signal"),
        count,
        passed: passed.collect(),
    }
}

/// A shop with its exit probe so far behind the heat, its speed, and what its reference looks like there.
struct Place {
    shop: SimulatedShop,
    speed: MetresPerSecond,
    probe: f64,
    template: Template,
}

impl Place {
    fn new(seed: u64, probe: f64) -> Option<Place> {
        let shop = SimulatedShop {
            exits: [probe, probe + 0.6],
            ..draw_shop(seed)
        };
        let speed = shop.station.belt.expect("a declared belt");
        let ride = recorded(&shop.ride(speed, seed), probe);
        let trace = ExitTrace::new(&ride.exit, &ride.way);
        let place = ride.way.at(ride.passed[0]);
        let pitch = shop.station.print_pitch.map(|pitch| pitch.0);
        // A print that leaves just as warm as the belt teaches nothing, and is told so.
        let template = Template::learn(&trace, place, EXIT_SPOT, pitch).ok()?;
        Some(Place {
            shop,
            speed,
            probe,
            template,
        })
    }

    fn run(&self, seed: u64, events: Vec<Event>) -> Recorded {
        let mut scenario = self.shop.run_of(self.speed, seed, PRINTS, events);
        // The first print is laid when the trace begins: a sagging chamber has settled then.
        scenario.span.0 = scenario.first;
        recorded(&scenario, self.probe)
    }

    /// What is found in a run, its counter as it is given.
    fn found(&self, run: &Recorded, count: &[(f64, f64)]) -> Vec<Object> {
        let line = Run {
            exits: vec![Some(&run.exit)],
            way: run.way.clone(),
            belt_declared: true,
            count: Some(count),
            eye: Some(self.probe - 0.1),
            pitch: Some(0.75),
            max_gap: DEFAULT_MAX_GAP,
            remarks: Vec::new(),
        };
        let passed =
            Passed::find(&self.template, EXIT_SPOT, &line).expect("the probe saw something");
        passed.objects().to_vec()
    }

    /// Whether the objects are the prints, one each.
    fn are_prints(objects: &[Object], run: &Recorded) -> bool {
        objects.len() == run.passed.len()
            && objects
                .iter()
                .zip(&run.passed)
                .all(|(object, passed)| (object.start..object.end).contains(passed))
    }
}

/// Shops and places of their exit probe at which prints leave within 5 °C of the belt.
const NEAR_THE_BELT: [(u64, f64); 3] = [(4037, 0.25), (4082, 0.5), (4123, 0.8)];

#[test]
fn prints_nearly_as_warm_as_the_belt_are_as_many_as_the_counter_counted() {
    for (seed, probe) in NEAR_THE_BELT {
        let place = Place::new(seed, probe).expect("a reference that differs from the belt");
        assert!(place.template.departure() < 5.0, "{seed}");
        let zones = 1..=place.shop.station.zones.len();
        let sagging = zones.map(|zone| Event::HeaterSag {
            at: 0.0,
            over: 0.0,
            zone,
            by: 15.0,
            panel_by: 30.0,
            until: None,
        });
        for (number, events) in (0..).zip([Vec::new(), sagging.collect()]) {
            let run = place.run(10 * seed + number, events);
            let objects = place.found(&run, &run.count);
            assert!(
                Place::are_prints(&objects, &run),
                "shop {seed}, run {number}: {objects:?} {:?}",
                run.passed
            );
            assert!(objects.iter().all(|object| object.counted));
        }
    }
}

#[test]
fn what_the_eye_missed_or_saw_twice_changes_no_number_of_prints_that_stand_out() {
    let place = Place::new(3002, 0.35).expect("a reference that differs from the belt");
    assert!(place.template.departure() > 5.0);
    let run = place.run(3002, Vec::new());
    let whole = place.found(&run, &run.count);
    assert!(
        Place::are_prints(&whole, &run),
        "{whole:?} {:?}",
        run.passed
    );

    // The third step is missing from the counter.
    let missed: Readings = run
        .count
        .iter()
        .map(|(time, count)| (*time, if *count >= 3.0 { count - 1.0 } else { *count }))
        .collect();
    let objects = place.found(&run, &missed);
    assert!(
        Place::are_prints(&objects, &run),
        "{objects:?} {:?}",
        run.passed
    );
    let uncounted = objects.iter().filter(|object| !object.counted).count();
    assert_eq!(uncounted, 1, "{objects:?}");

    // A second after the third step comes another one, of the same garment.
    let third = run
        .count
        .iter()
        .find(|own| own.1 >= 3.0)
        .expect("six prints")
        .0;
    let twice: Readings = run
        .count
        .iter()
        .map(|(time, count)| {
            (
                *time,
                if *time >= third + 1.0 {
                    count + 1.0
                } else {
                    *count
                },
            )
        })
        .collect();
    let objects = place.found(&run, &twice);
    assert!(
        Place::are_prints(&objects, &run),
        "{objects:?} {:?}",
        run.passed
    );
    assert!(objects.iter().all(|object| object.counted));

    // The eye counts both lanes of the belt, two prints side by side; the probe sees one of them.
    let both: Readings = run
        .count
        .iter()
        .map(|(time, count)| (*time, 2.0 * count))
        .collect();
    let objects = place.found(&run, &both);
    assert!(
        Place::are_prints(&objects, &run),
        "{objects:?} {:?}",
        run.passed
    );
}

#[test]
fn prints_laid_closer_than_declared_are_told_apart_and_so_are_garments_that_touch() {
    // The declared pitch is 0.75 m, a garment 0.62 m long.
    for pitch in [0.68, 0.63] {
        let mut place = Place::new(3003, 0.35).expect("a reference that differs from the belt");
        place.shop.station.print_pitch = Some(Metres(pitch));
        let run = place.run(3003, Vec::new());
        let objects = place.found(&run, &run.count);
        assert!(
            Place::are_prints(&objects, &run),
            "{pitch}: {objects:?} {:?}",
            run.passed
        );
    }
}
