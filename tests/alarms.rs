//! Alarms where they hang on the physics of dryer and print: stories from simulated traces, whose physics the
//! watchman knows nothing of, and eight ordinary hours in which nothing may cry.

use std::collections::BTreeMap;

use inkdwell_config::library::Library;
use inkdwell_config::quantity::Celsius;
use inkdwell_config::shop::Shop;
use inkdwell_cure::alarm::{AlarmEvent, Change, Job, Kind, Priority, Watchman};
use inkdwell_cure::live::{BatchLaws, BatchPlan, Floor, FloorEvent, Micros, Shows};
use inkdwell_cure::plan::PrintLaws;
use inkdwell_simulated_traces::channel::Value;
use inkdwell_simulated_traces::record::Row;
use inkdwell_simulated_traces::scenario::Scenario;

/// One dryer with a probe in the ink, two in the chamber and one behind it, and a flash unit.
const SHOP: &str = r#"
[[source]]
id = "line"
kind = "replay"

[[station]]
id = "belt-1"
kind = "belt-dryer"
heated_length = "2.4 m"
belt = "3.4 m/min"
belt_slowest = "0.6 m/min"
belt_fastest = "6 m/min"
print_pitch = "1.5 m"
zones = [ { length = "1.2 m", air = "180 C" }, { length = "1.2 m", air = "175 C", panel = "400 C" } ]

[[station]]
id = "flash-1"
kind = "flash-unit"
heated_length = "0.4 m"
zones = [ { length = "0.4 m", panel = "520 C" } ]

[[probe]]
id = "film"
station = "belt-1"
place = "ride"
source = "line"
sensor = { kind = "thermocouple", type = "K", class = 1 }

[[probe]]
id = "zone-1"
station = "belt-1"
place = "zone"
zone = 1
source = "line"
sensor = { kind = "thermocouple", type = "K", class = 2 }

[[probe]]
id = "zone-2"
station = "belt-1"
place = "zone"
zone = 2
source = "line"
sensor = { kind = "thermocouple", type = "K", class = 2 }

[[probe]]
id = "exit"
station = "belt-1"
place = "exit"
distance = "0.35 m"
spot = "30 mm"
source = "line"

[[probe]]
id = "surface"
station = "flash-1"
place = "exit"
distance = "0 m"
spot = "20 mm"
source = "line"

[[probe]]
id = "platen"
station = "flash-1"
place = "platen"
source = "line"

[[signal]]
id = "belt-speed"
station = "belt-1"
kind = "belt"
unit = "m/min"
source = "line"

[[signal]]
id = "prints"
station = "belt-1"
kind = "count"
distance = "0.1 m"
source = "line"
"#;

/// What stands in the dryer, whatever is printed there.
const DRYER: &str = r#"
[truth]
seed = 11

[[column]]
name = "film_c"
sees = "film"
class = 1

[[column]]
name = "zone-1_c"
sees = "zone"
zone = 1

[[column]]
name = "zone-2_c"
sees = "zone"
zone = 2

[[column]]
name = "exit_c"
sees = "exit"
probe = "exit"

[[column]]
name = "belt-speed_m_per_min"
sees = "belt"

[[column]]
name = "prints_count"
sees = "count"
"#;

const FLASH: &str = r#"
[[column]]
name = "surface_c"
sees = "surface"

[[column]]
name = "platen_c"
sees = "platen"
"#;

/// A day in that shop: its floor and its watchman, fed with the same readings, batches and ticks.
struct Day {
    floor: Floor,
    watchman: Watchman,
    told: Vec<AlarmEvent>,
    found: Vec<FloorEvent>,
    ticked: f64,
}

/// When the day began, in the steady time.
const BEGAN: Micros = Micros(1_790_000_000_000_000);

fn at(seconds: f64) -> Micros {
    BEGAN.plus_seconds(seconds)
}

fn shop() -> Shop {
    let checked = Shop::parse("shop.toml", SHOP);
    assert_eq!(checked.problems, vec![]);
    checked.value
}

impl Day {
    fn new() -> Day {
        Day {
            floor: Floor::new(&shop(), at(0.0)),
            watchman: Watchman::new(&shop()),
            told: Vec::new(),
            found: Vec::new(),
            ticked: 0.0,
        }
    }

    /// Time goes on to a moment, a tick each second.
    fn until(&mut self, seconds: f64) {
        while self.ticked + 1.0 <= seconds {
            self.ticked += 1.0;
            let mut found = Vec::new();
            self.floor
                .tick(at(self.ticked), &mut |event| found.push(event));
            self.find(found);
            let told = &mut self.told;
            self.watchman
                .tick(at(self.ticked), 0, &mut |event| told.push(event));
        }
    }

    fn find(&mut self, found: Vec<FloorEvent>) {
        for event in found {
            let told = &mut self.told;
            self.watchman.floor(&event, &mut |event| told.push(event));
            self.found.push(event);
        }
    }

    /// A reading; `None` is no number.
    fn read(&mut self, channel: &str, seconds: f64, value: Option<f64>) {
        self.until(seconds);
        let input = self.floor.input("line", channel).unwrap();
        let mut found = Vec::new();
        self.floor
            .read(input, at(seconds), value, &mut |event| found.push(event));
        let shown: Vec<Shows> = self.floor.shows(input).collect();
        let told = &mut self.told;
        let mut note = |event| told.push(event);
        for shows in shown {
            match shows {
                Shows::Probe(number, latest) => {
                    let celsius = latest.and_then(|latest| latest.value).map(Celsius);
                    self.watchman
                        .probe(number, at(seconds), value, celsius, &mut note);
                }
                Shows::Signal(number, latest) => {
                    let value = latest.and_then(|latest| latest.value);
                    self.watchman.signal(number, at(seconds), value, &mut note);
                }
            }
        }
        self.find(found);
    }

    /// Opens the only batch of a station, of an ink and a fabric that ship.
    fn open(&mut self, station: &str, seconds: f64, ink: &str, fabric: &str) {
        self.until(seconds);
        let library = Library::shipped();
        let (ink, fabric) = (library.ink(ink).unwrap(), library.fabric(fabric).unwrap());
        let plan = BatchPlan {
            number: 1,
            laws: BatchLaws {
                laws: PrintLaws::new(ink, fabric),
                last_heat: false,
            },
            recipe: None,
        };
        self.floor
            .open_batch(station, at(seconds), plan, &mut |_| ());
        let told = &mut self.told;
        let job = Job::new(1, ink, fabric);
        self.watchman
            .opened(station, at(seconds), job, &mut |event| told.push(event));
    }

    /// When an alarm was raised and people were told, in seconds of the day.
    fn raised(&self, kind: Kind) -> Vec<f64> {
        let own = self.told.iter().filter(|event| {
            event.id.kind == kind && event.change == Change::Raised && !event.state.is_silenced()
        });
        own.map(|event| event.at.seconds_since(BEGAN)).collect()
    }

    /// Every alarm that was raised, by name, with how many times.
    fn all_raised(&self) -> BTreeMap<String, usize> {
        let mut raised = BTreeMap::new();
        for event in self
            .told
            .iter()
            .filter(|event| event.change == Change::Raised)
        {
            if !event.state.is_silenced() {
                *raised.entry(event.id.to_string()).or_insert(0) += 1;
            }
        }
        raised
    }
}

fn scenario(shop: &Shop, head: &str, columns: &str, events: &str) -> Scenario {
    let text = format!("shop = \"\"\n{head}\n{columns}\n{events}");
    Scenario::parse("story", &text, shop).unwrap()
}

/// Feeds a row; what a device gives no number for is read as none.
fn feed(day: &mut Day, names: &[String], row: &Row, from: f64) {
    for (name, value) in names.iter().zip(&row.values) {
        match value {
            Value::Number(number) => day.read(name, from + row.time, Some(*number)),
            Value::Open => day.read(name, from + row.time, None),
            Value::Missing => {}
        }
    }
}

fn names(scenario: &Scenario) -> Vec<String> {
    let channels = scenario
        .channels
        .iter()
        .map(|channel| channel.name.as_str());
    let endings = ["_c", "_m_per_min", "_count"];
    channels
        .map(|name| {
            let plain = endings.iter().find_map(|ending| name.strip_suffix(ending));
            plain.unwrap_or(name).to_owned()
        })
        .collect()
}

/// The chamber stands still for five minutes, as before any run, then the scenario is played with a batch open.
fn played(events: &str, head: &str) -> Day {
    let shop = shop();
    let scenario = scenario(&shop, head, DRYER, events);
    let mut day = Day::new();
    let names = names(&scenario);
    day.open("belt-1", 0.5, &scenario.ink.id, &scenario.fabric.id);
    for row in scenario.live() {
        feed(&mut day, &names, &row, 1.0);
    }
    day
}

/// Whether a line is a row of the README's list: its second cell is a priority.
fn is_alarm(line: &str) -> bool {
    let priority = line.split(" | ").nth(1);
    line.starts_with("| `") && matches!(priority, Some("low" | "medium" | "high"))
}

/// The README lists every alarm, as the catalogue has it.
#[test]
fn the_readme_lists_every_alarm() {
    let readme = include_str!("../README.md");
    for kind in Kind::ALL {
        let sheet = kind.sheet();
        let row = format!(
            "| `{}` | {} | {} |",
            sheet.name,
            sheet.priority.name(),
            sheet.title
        );
        assert!(readme.lines().any(|line| line == row), "{row}");
    }
    assert_eq!(
        readme.lines().filter(|line| is_alarm(line)).count(),
        Kind::ALL.len()
    );
}

const RIDES: &str = r#"station = "belt-1"
ink = "plastisol-standard"
fabric = "cotton-jersey"
seed = 3
record = "rides"
interval = "0.5 s"
prints = 8"#;

/// How long after its cause an alarm came.
fn after(day: &Day, kind: Kind, cause: f64, within: f64) {
    let raised = day.raised(kind);
    let first = raised.first().copied().unwrap_or(f64::INFINITY);
    let after = first - 1.0 - cause;
    println!(
        "{:<24} {after:>8.1} s after its cause (bound {within} s)",
        kind.name()
    );
    assert!(
        (0.0..=within).contains(&after),
        "{} {raised:?}; {:?}",
        kind.name(),
        day.all_raised()
    );
}

#[test]
fn rides_through_a_sound_dryer_raise_nothing() {
    let day = played("", RIDES);
    assert_eq!(day.all_raised().len(), 0, "{:?}", day.all_raised());
}

/// The belt stops for two minutes with a print in the second zone.
#[test]
fn the_belt_stops_and_the_print_in_the_heat_is_lost() {
    let stop = "[[event]]\nwhat = \"belt-stop\"\nat = \"46 s\"\nlasting = \"120 s\"";
    let day = played(stop, RIDES);
    after(&day, Kind::BeltStoppedHot, 46.0, 7.0);
    // It is judged once it has left the heat.
    after(&day, Kind::PrintOverheated, 46.0, 250.0);
}

/// The belt falls behind its drive by 35 %, and nobody sees it: the signal sits at the drive.
#[test]
fn the_belt_slips_against_its_signal() {
    let slips = |by: &str| {
        format!(
            "[[event]]\nwhat = \"belt-slip\"\nat = \"300 s\"\nover = \"5 s\"\nby = \"{by}\"\nunseen = true"
        )
    };
    // Rides take about two and a half minutes, and the one that is on its way may be past the heat.
    after(
        &played(&slips("35 %"), RIDES),
        Kind::BeltSlipping,
        300.0,
        400.0,
    );
    assert_eq!(
        played(&slips("5 %"), RIDES).raised(Kind::BeltSlipping),
        [0.0; 0]
    );
}

/// The second zone's heater loses 30 °C within a minute, and its panel 100.
#[test]
fn a_heater_sags_while_prints_go_through() {
    let sags = |by: &str| {
        format!(
            "[[event]]\nwhat = \"heater-sag\"\nat = \"500 s\"\nover = \"60 s\"\nzone = 2\nby = \"{by}\"\npanel_by = \"90 C\""
        )
    };
    // 12 °C are lost after 24 s (and what the probe's lag adds); 15 s of delay, a tick.
    after(
        &played(&sags("30 C"), RIDES),
        Kind::HeaterSagging,
        500.0,
        70.0,
    );
    assert_eq!(
        played(&sags("6 C"), RIDES).raised(Kind::HeaterSagging),
        [0.0; 0]
    );
}

/// The wire of the probe in the ink breaks with a print in the heat.
#[test]
fn the_probe_in_the_ink_breaks() {
    let breaks = "[[event]]\nwhat = \"probe-break\"\nat = \"30 s\"\ncolumn = \"film_c\"\nas = \"open\"\nuntil = \"200 s\"";
    after(&played(breaks, RIDES), Kind::ProbeOpen, 30.0, 5.0);
    let sticks = "[[event]]\nwhat = \"probe-break\"\nat = \"30 s\"\ncolumn = \"film_c\"\nas = \"stuck\"\nuntil = \"200 s\"";
    after(&played(sticks, RIDES), Kind::ProbeStuck, 30.0, 32.0);
}

/// Both heaters weaken slowly while a low-cure ink is printed at the edge: the drift is told before a print is lost.
#[test]
fn a_slow_drift_is_told_in_time() {
    let head = RIDES.replace("prints = 8", "prints = 30");
    let weakens = |by: &str| {
        let zone = |zone: u32| {
            format!(
                "[[event]]\nwhat = \"heater-sag\"\nat = \"1200 s\"\nover = \"3000 s\"\nzone = {zone}\nby = \"{by}\"\npanel_by = \"{by}\"\n"
            )
        };
        zone(1) + &zone(2)
    };
    let day = played(&weakens("18 C"), &head);
    println!("{:?}", day.all_raised());
    let drift = day.raised(Kind::DriftTowardLimit);
    let bad = [Kind::PrintUnderCured, Kind::PrintsUnproven].map(|kind| day.raised(kind));
    println!("drift {drift:?}, then {bad:?}");
    assert!(!drift.is_empty(), "{:?}", day.all_raised());
    let lost = bad.iter().flatten().copied().fold(f64::INFINITY, f64::min);
    assert!(drift[0] < lost, "told at {}, lost at {lost}", drift[0]);
    let steady = played("", &head);
    assert_eq!(steady.raised(Kind::DriftTowardLimit), [0.0; 0]);
}

/// Eight hours of a run of some two thousand prints, every thirtieth with a probe in its ink, beside a flash unit
/// with a print every half minute: garments, film and air vary as they do. No alarm of high priority comes, and
/// of no kind more than two.
#[test]
fn eight_ordinary_hours() {
    let shop = shop();
    let dryer = scenario(
        &shop,
        r#"station = "belt-1"
ink = "plastisol-standard"
fabric = "cotton-jersey"
seed = 5
record = "run"
ride_every = 30
interval = "1 s"
until = "8 h""#,
        DRYER,
        // Somebody sets the belt a little slower after lunch.
        "[[event]]\nwhat = \"belt-speed\"\nat = \"16200 s\"\nto = \"3.3 m/min\"",
    );
    let flash = scenario(
        &shop,
        r#"station = "flash-1"
ink = "plastisol-standard"
fabric = "cotton-jersey"
seed = 6
record = "flash"
interval = "1 s"
prints = 960
every = "30 s"
platen = ["28 C", "60 C"]
until = "8 h""#,
        FLASH,
        "",
    );
    let mut day = Day::new();
    let (of_dryer, of_flash) = (names(&dryer), names(&flash));
    day.open("belt-1", 0.5, "plastisol-standard", "cotton-jersey");
    let mut flashes = flash.live().peekable();
    for row in dryer.live() {
        while let Some(flash) = flashes.next_if(|flash| flash.time <= row.time) {
            feed(&mut day, &of_flash, &flash, 1.0);
        }
        feed(&mut day, &of_dryer, &row, 1.0);
    }
    let raised = day.all_raised();
    println!(
        "eight ordinary hours: {raised:?}; {} events of the floor",
        day.found.len()
    );
    assert!(day.found.len() > 1000, "{}", day.found.len());
    for event in &day.told {
        if event.priority == Priority::High {
            panic!("{}: {event:?}", event.id);
        }
    }
    for kind in Kind::ALL {
        let own = day.raised(kind).len();
        assert!(own <= 2, "{} came {own} times", kind.name());
    }
}
