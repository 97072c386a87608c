//! A small shop, and a day in it: what its sources send, and all that is said of it.

use inkdwell_config::library::Library;
use inkdwell_config::shop::Shop;
use inkdwell_cure::live::{BatchLaws, BatchPlan, Floor, FloorEvent, Micros, SeenPass, Taken};
use inkdwell_cure::plan::PrintLaws;

/// A dryer of 2 m whose belt runs at 3 m/min = 0.05 m/s, so 40 s in the heat; an eye 10 cm behind it.
pub const SHOP: &str = r#"
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

pub fn shop(text: &str) -> Shop {
    let checked = Shop::parse("shop.toml", text);
    assert_eq!(checked.problems, vec![]);
    checked.value
}

pub fn batch(number: u64, ink: &str) -> BatchPlan {
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

pub fn at(seconds: f64) -> Micros {
    Micros(1_790_000_000_000_000).plus_seconds(seconds)
}

/// A floor and all that it has said.
pub struct Day {
    pub floor: Floor,
    pub events: Vec<FloorEvent>,
}

impl Day {
    pub fn new() -> Day {
        Day {
            floor: Floor::new(&shop(SHOP), at(0.0)),
            events: Vec::new(),
        }
    }

    pub fn read(&mut self, channel: &str, seconds: f64, value: f64) -> Taken {
        let input = self.floor.input("line", channel).unwrap();
        let events = &mut self.events;
        self.floor
            .read(input, at(seconds), Some(value), &mut |event| {
                events.push(event)
            })
    }

    pub fn open_circuit(&mut self, channel: &str, seconds: f64) {
        let input = self.floor.input("line", channel).unwrap();
        let events = &mut self.events;
        self.floor
            .read(input, at(seconds), None, &mut |event| events.push(event));
    }

    pub fn tick(&mut self, seconds: f64) {
        let events = &mut self.events;
        self.floor
            .tick(at(seconds), &mut |event| events.push(event));
    }

    pub fn open(&mut self, station: &str, seconds: f64, batch: BatchPlan) {
        let events = &mut self.events;
        self.floor
            .open_batch(station, at(seconds), batch, &mut |event| events.push(event));
    }

    /// A ride of 170 °C at most, from a moment on; it is over 120 s later.
    pub fn ride(&mut self, from: f64) {
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

    pub fn passes(&self) -> Vec<&SeenPass> {
        let passes = self.events.iter().filter_map(|event| match event {
            FloorEvent::PassEnded(pass) => Some(&**pass),
            _ => None,
        });
        passes.collect()
    }
}
