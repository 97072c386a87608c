//! A day in a shop: its floor and its watchman, fed with the same readings, batches and ticks.

use std::collections::BTreeMap;

use inkdwell_config::library::Library;
use inkdwell_config::quantity::Celsius;
use inkdwell_config::shop::Shop;
use inkdwell_cure::alarm::{AlarmEvent, AlarmId, Change, Job, Kind, Notice, Watchman};
use inkdwell_cure::live::{
    BatchLaws, BatchPlan, Floor, FloorEvent, InputId, LockedSettings, Micros, Shows,
};
use inkdwell_cure::plan::PrintLaws;

/// 2026-09-21 about noon, in the steady time and, unless it is said otherwise, on the wall.
pub const BEGAN: Micros = Micros(1_790_000_000_000_000);

pub fn at(seconds: f64) -> Micros {
    BEGAN.plus_seconds(seconds)
}

pub fn shop(text: &str) -> Shop {
    let checked = Shop::parse("shop.toml", text);
    assert_eq!(checked.problems, vec![]);
    checked.value
}

pub struct Day {
    pub floor: Floor,
    pub watchman: Watchman,
    pub told: Vec<AlarmEvent>,
    pub found: Vec<FloorEvent>,
    inputs: BTreeMap<String, InputId>,
    ticked: f64,
    batches: u64,
}

impl Day {
    pub fn new(shop: &Shop) -> Day {
        let floor = Floor::new(shop, at(0.0));
        let sources = shop.sources.iter();
        let inputs = sources.flat_map(|source| {
            let channels = floor.channels_of(&source.id);
            channels
                .map(|(name, input)| (name.to_owned(), input))
                .collect::<Vec<_>>()
        });
        Day {
            inputs: inputs.collect(),
            watchman: Watchman::new(shop),
            floor,
            told: Vec::new(),
            found: Vec::new(),
            ticked: 0.0,
            batches: 0,
        }
    }

    /// Time goes on to a moment, a tick each second.
    pub fn until(&mut self, seconds: f64) {
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
    pub fn read(&mut self, channel: &str, seconds: f64, value: Option<f64>) {
        self.until(seconds);
        let Some(input) = self.inputs.get(channel).copied() else {
            return;
        };
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

    /// Opens a batch of inks and fabrics that ship.
    pub fn open(&mut self, station: &str, seconds: f64, ink: &str, fabric: &str) {
        self.open_so(station, seconds, ink, fabric, None, |job| job);
    }

    /// The same with a recipe, and more that is known of the job.
    pub fn open_so(
        &mut self,
        station: &str,
        seconds: f64,
        ink: &str,
        fabric: &str,
        recipe: Option<LockedSettings>,
        more: impl FnOnce(Job) -> Job,
    ) {
        self.until(seconds);
        let library = Library::shipped();
        let (ink, fabric) = (library.ink(ink).unwrap(), library.fabric(fabric).unwrap());
        self.batches += 1;
        let plan = BatchPlan {
            number: self.batches,
            laws: BatchLaws {
                laws: PrintLaws::new(ink, fabric),
                last_heat: false,
            },
            recipe,
        };
        let mut found = Vec::new();
        self.floor
            .open_batch(station, at(seconds), plan, &mut |event| found.push(event));
        self.find(found);
        let job = more(Job::new(self.batches, ink, fabric));
        let told = &mut self.told;
        self.watchman
            .opened(station, at(seconds), job, &mut |event| told.push(event));
    }

    pub fn notice(&mut self, seconds: f64, notice: &Notice) {
        self.until(seconds);
        let told = &mut self.told;
        self.watchman
            .notice(at(seconds), notice, &mut |event| told.push(event));
    }

    pub fn person(&mut self, seconds: f64, alarm: &str, change: &Change) {
        self.until(seconds);
        let id = AlarmId::parse(alarm).unwrap();
        let told = &mut self.told;
        self.watchman
            .person(at(seconds), &id, change, &mut |event| told.push(event))
            .unwrap();
    }

    /// When an alarm was raised and people were told, in seconds of the day.
    pub fn raised(&self, kind: Kind) -> Vec<f64> {
        let own = self.told.iter().filter(|event| {
            event.id.kind == kind && event.change == Change::Raised && !event.state.is_silenced()
        });
        own.map(|event| event.at.seconds_since(BEGAN)).collect()
    }

    /// Every alarm that was raised, by name, with how many times.
    pub fn all_raised(&self) -> BTreeMap<String, usize> {
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
