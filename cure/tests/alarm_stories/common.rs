//! The shop in which the stories happen, and what is asked of each.

use crate::alarm_day::{Day, shop};
use inkdwell_config::quantity::Celsius;
use inkdwell_cure::alarm::Kind;
use inkdwell_cure::live::LockedSettings;

/// A dryer of two zones whose belt runs at 3 m/min through 2 m, a flash unit with a platen probe, and a sensor in
/// the room whose calibration was due some years before the day.
pub const SHOP: &str = r#"
[[source]]
id = "line"
kind = "replay"

[[station]]
id = "belt-1"
kind = "belt-dryer"
heated_length = "2 m"
belt = "3 m/min"
zones = [ { length = "1 m", air = "190 C" }, { length = "1 m", air = "180 C" } ]

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
id = "zone-1"
station = "belt-1"
place = "zone"
zone = 1
source = "line"

[[probe]]
id = "zone-2"
station = "belt-1"
place = "zone"
zone = 2
source = "line"

[[probe]]
id = "exit"
station = "belt-1"
place = "exit"
distance = "0.3 m"
spot = "30 mm"
source = "line"

[[probe]]
id = "surface"
station = "flash-1"
place = "exit"
distance = "0 m"
spot = "20 mm"
source = "line"
uncertainty = "1 C"

[[probe]]
id = "platen"
station = "flash-1"
place = "platen"
source = "line"

[[probe]]
id = "room"
place = "room"
source = "line"
calibration = { points = [ ["20 C", "20.1 C"] ], date = 2021-05-04, due = DUE, by = "the bench" }

[[signal]]
id = "speed"
station = "belt-1"
kind = "belt"
unit = "m/min"
source = "line"

[[signal]]
id = "fan"
station = "belt-1"
kind = "exhaust"
proved_from = 0.5
source = "line"

[[sink]]
id = "office"
kind = "command"
program = "/bin/true"
"#;

pub fn day() -> Day {
    Day::new(&shop(&SHOP.replace("DUE", "2099-01-01")))
}

/// A reading with the unrest of a real one: 0.3 °C, in a pattern that never repeats within a minute.
pub fn unrest(time: f64) -> f64 {
    0.2 * (time * 1.7).sin() + 0.1 * (time * 5.3).cos()
}

/// What the dryer's probes and signals show at a moment.
pub struct Dryer<'a> {
    pub zones: (&'a dyn Fn(f64) -> f64, &'a dyn Fn(f64) -> f64),
    pub belt: &'a dyn Fn(f64) -> f64,
    pub fan: f64,
}

impl Dryer<'_> {
    /// Two readings a second from one moment to another.
    pub fn run(&self, day: &mut Day, from: f64, to: f64) {
        let steps = ((to - from) * 2.0).round() as u32;
        for step in 0..steps {
            let time = from + f64::from(step) * 0.5;
            day.read("zone-1", time, Some((self.zones.0)(time) + unrest(time)));
            day.read(
                "zone-2",
                time,
                Some((self.zones.1)(time) + unrest(time + 9.0)),
            );
            day.read("speed", time, Some((self.belt)(time)));
            day.read("fan", time, Some(self.fan));
            day.read("room", time, Some(22.0 + unrest(time)));
            day.read("exit", time, Some(60.0 + unrest(time)));
        }
    }
}

pub const SOUND: Dryer<'static> = Dryer {
    zones: (&|_| 190.0, &|_| 180.0),
    belt: &|_| 3.0,
    fan: 1.0,
};

/// It comes once, within so many seconds of its cause.
pub fn comes(day: &Day, kind: Kind, cause: f64, within: f64) {
    let raised = day.raised(kind);
    assert_eq!(
        raised.len(),
        1,
        "{}: {raised:?}, {:?}",
        kind.name(),
        day.all_raised()
    );
    let after = raised[0] - cause;
    println!(
        "{:<24} {after:>8.1} s after its cause (bound {within} s)",
        kind.name()
    );
    assert!(
        (0.0..=within).contains(&after),
        "{} after {after} s",
        kind.name()
    );
}

pub fn does_not(day: &Day, kind: Kind) {
    assert_eq!(day.raised(kind), [0.0; 0], "{}", kind.name());
}

/// A ride up to a peak from a moment on; over 120 s later.
pub fn ride(day: &mut Day, from: f64, peak: f64) {
    ride_out(day, from, peak, 110.0);
}

/// The same with a longer stay: cool again after so many seconds.
pub fn ride_out(day: &mut Day, from: f64, peak: f64, out: f64) {
    for half in 0..(2.0 * out + 40.0) as u32 {
        let t = f64::from(half) * 0.5;
        let celsius = (25.0 + 4.0 * t)
            .min(peak)
            .min(25.0 + 2.5 * (out - t))
            .max(25.0);
        day.read("film", from + t, Some(celsius + unrest(t) * 0.1));
    }
}

/// What a recipe without drifts of its own has locked.
pub fn locked(zone: &str, celsius: f64) -> LockedSettings {
    LockedSettings {
        recipe: 3,
        belt: None,
        belt_drift: 0.05,
        zones: vec![(zone.to_owned(), Celsius(celsius))],
        zone_drift: 8.0,
        exit: None,
        exit_drift: 6.0,
        ride_every: None,
    }
}

/// Heatings under the lamp, each 20 s, to a peak.
pub fn heatings(day: &mut Day, from: f64, count: u32, peak: f64) {
    for number in 0..count {
        for half in 0..40 {
            let t = f64::from(half) * 0.5;
            let celsius = (40.0 + (peak - 40.0) * t / 5.0).min(peak - (t - 5.0) * 5.0);
            let time = from + f64::from(number) * 20.0 + t;
            day.read("surface", time, Some(celsius.max(40.0) + unrest(time)));
        }
    }
    let end = from + f64::from(count) * 20.0;
    day.until(end + 30.0);
}
