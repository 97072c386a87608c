//! Shops drawn at random: what each declares, and what is really there.
//!
//! Whoever fits or infers is told the declared [`Station`], [`Ink`] and [`Fabric`], rides and readings. The
//! oven and the batch are the truth.

use inkdwell_config::fabric::Fabric;
use inkdwell_config::ink::Ink;
use inkdwell_config::library::Library;
use inkdwell_config::quantity::{Celsius, Metres, MetresPerSecond};
use inkdwell_config::station::{Station, StationKind, Zone};
use inkdwell_cure::sensor::{Infrared, ThermocoupleType, ToleranceClass};

use crate::chance::Chance;
use crate::channel::{Channel, Sees, Unit};
use crate::events::Event;
use crate::likely::{Batch, likely_oven};
use crate::line::LAID_BEFORE;
use crate::physics::{BeltSpeed, Passage, TrueGarment, TrueHistory, TrueOven, ZoneShifts, run};
use crate::scenario::{Heat, Record, Scenario};
use crate::sensor::Flaws;
use crate::truth::PrintTruth;

/// Kinds of belt dryers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Style {
    /// Short, on a table, panels alone.
    TableTop,
    /// Long, panels with moving air.
    ForcedAir,
    /// Long, a burner and moving air alone.
    Gas,
    /// Zones of different kinds.
    Mixed,
}

/// The nearest to the heat that an exit probe is put, in metres: the mouth of the dryer is in its way. Common
/// practice, no source.
const NEAREST_EXIT: f64 = 0.15;
/// Prints should come past an exit probe within so many seconds: later there is little left to see.
const SEEN_WITHIN: f64 = 8.0;

/// A shop with one dryer and one job.
#[derive(Debug, Clone, PartialEq)]
pub struct SimulatedShop {
    /// What it was drawn from.
    pub seed: u64,
    /// What kind of dryer it has.
    pub style: Style,
    /// The dryer as declared.
    pub station: Station,
    /// The ink as declared.
    pub ink: Ink,
    /// The fabric as declared.
    pub fabric: Fabric,
    /// The dryer as it is.
    pub oven: TrueOven,
    /// The garments as they are.
    pub batch: Batch,
    /// Where its exit probes look, in metres from the end of the heated length, the nearest first.
    pub exits: [f64; 2],
}

/// Inks with the fabrics that shops print them on, sensibly or not.
const JOBS: [(&str, &[&str]); 8] = [
    (
        "plastisol-standard",
        &[
            "cotton-jersey",
            "cotton-jersey",
            "cotton-fleece",
            "blend-50-50",
        ],
    ),
    (
        "plastisol-low-cure",
        &["blend-50-50", "tri-blend", "cotton-jersey", "polyester"],
    ),
    (
        "plastisol-low-bleed",
        &["blend-50-50", "cotton-jersey", "tri-blend"],
    ),
    ("plastisol-high-build", &["cotton-jersey", "cotton-canvas"]),
    ("water-based", &["cotton-jersey", "cotton-canvas"]),
    (
        "water-based-low-cure",
        &["blend-50-50", "tri-blend", "cotton-jersey"],
    ),
    ("discharge", &["cotton-jersey"]),
    ("silicone", &["polyester", "nylon", "cotton-jersey"]),
];

/// Where the exit probe of a drawn shop looks, and the diameter of its spot, in metres.
pub const EXIT_DISTANCE: f64 = 0.35;
/// Diameter of that spot.
pub const EXIT_SPOT: f64 = 0.03;
/// A second one looks further on.
pub const SECOND_EXIT_DISTANCE: f64 = 0.95;

/// Draws a shop. The same seed gives the same shop.
pub fn draw_shop(seed: u64) -> SimulatedShop {
    let mut chance = Chance::new(seed, "shop");
    let library = Library::shipped();
    // Every id of the table ships, as a test holds; the first of each stands in otherwise.
    let (ink_id, fabrics) = *chance.pick(&JOBS);
    let fabric_id = *chance.pick(fabrics);
    let ink = library.ink(ink_id).unwrap_or(&library.inks()[0]).clone();
    let fabric = library
        .fabric(fabric_id)
        .unwrap_or(&library.fabrics()[0])
        .clone();
    let style = *chance.pick(&[Style::TableTop, Style::ForcedAir, Style::Gas, Style::Mixed]);
    let room = Celsius(chance.between(18.0, 28.0).round());
    // A shop sets its dryer by the ink: somewhat hotter than the ink needs.
    let station = draw_station(style, ink.threshold.0, &mut chance);
    let oven = likely_oven(&station, room, &mut chance);
    let batch = Batch::likely(&ink, &fabric, room, &mut chance);
    SimulatedShop {
        seed,
        style,
        station,
        ink,
        fabric,
        oven,
        batch,
        exits: [EXIT_DISTANCE, SECOND_EXIT_DISTANCE],
    }
}

fn draw_station(style: Style, threshold: f64, chance: &mut Chance) -> Station {
    let (count, length) = match style {
        Style::TableTop => (1, chance.between(1.0, 1.5)),
        Style::ForcedAir => (*chance.pick(&[1, 2, 3]), chance.between(1.8, 3.5)),
        Style::Gas => (*chance.pick(&[1, 2, 3]), chance.between(2.5, 5.0)),
        Style::Mixed => (*chance.pick(&[2, 3, 4]), chance.between(2.0, 4.0)),
    };
    let each = (length / f64::from(count) * 20.0).round() / 20.0;
    let round = |celsius: f64| Celsius((celsius / 5.0).round() * 5.0);
    let zones: Vec<Zone> = (0..count)
        .map(|number| {
            let air = round(threshold + chance.between(8.0, 32.0));
            let panel = round(threshold + chance.between(160.0, 240.0));
            let hot = round(threshold + chance.between(210.0, 290.0));
            let (air, panel) = match (style, number % 2) {
                (Style::TableTop, _) => (None, Some(hot)),
                (Style::ForcedAir, _) => (Some(air), Some(panel)),
                (Style::Gas, _) | (Style::Mixed, 1) => (Some(air), None),
                (Style::Mixed, _) => (Some(air), Some(panel)),
            };
            Zone {
                length: Metres(each),
                air,
                panel,
            }
        })
        .collect();
    let length = each * f64::from(count);
    let dwell = |seconds: f64| Some(MetresPerSecond(length / seconds));
    Station {
        id: "belt-1".to_owned(),
        name: "Drawn dryer".to_owned(),
        kind: StationKind::BeltDryer,
        heated_length: Metres(length),
        belt: dwell(60.0),
        belt_slowest: dwell(300.0),
        belt_fastest: dwell(15.0),
        print_pitch: Some(Metres(0.75)),
        lanes: 1,
        zones,
        max_gap: None,
        wake: None,
    }
}

impl SimulatedShop {
    /// The same shop with its exit probes where a person puts them who knows how fast its belt will run: nearer
    /// to the heat where it is slow.
    pub fn probed_for(self, speed: MetresPerSecond) -> SimulatedShop {
        let nearest = (SEEN_WITHIN * speed.0).clamp(NEAREST_EXIT, EXIT_DISTANCE);
        let further = SECOND_EXIT_DISTANCE / EXIT_DISTANCE;
        let to_centimetres = |metres: f64| (100.0 * metres).round() / 100.0;
        SimulatedShop {
            exits: [nearest, further * nearest].map(to_centimetres),
            ..self
        }
    }

    /// Follows a garment through the dryer at a steady speed, until well after it has left.
    pub fn follow(&self, speed: MetresPerSecond, garment: &TrueGarment) -> TrueHistory {
        let way = LAID_BEFORE + self.oven.heated_length();
        let passage = Passage {
            laid_at: -LAID_BEFORE,
            laid_when: 0.0,
            lasting: way / speed.0 + 45.0,
            belt: BeltSpeed::steady(speed.0),
            shifts: ZoneShifts::none(),
        };
        run(&self.oven, garment, &passage)
    }

    /// What the batch's garment in the middle truly gets at a speed.
    pub fn truth_at(&self, speed: MetresPerSecond) -> PrintTruth {
        self.truth_of(speed, &self.batch.nominal)
    }

    /// What a garment truly gets at a speed.
    pub fn truth_of(&self, speed: MetresPerSecond, garment: &TrueGarment) -> PrintTruth {
        PrintTruth::of(&self.follow(speed, garment), &self.ink, &self.fabric)
    }

    /// So many garments of the batch; the same ones every time.
    pub fn garments(&self, count: u32) -> Vec<TrueGarment> {
        let mut chance = Chance::new(self.seed, "garments of the batch");
        (0..count)
            .map(|_| self.batch.garment(&mut chance))
            .collect()
    }

    /// Which share of so many garments is truly cured and unharmed at a speed.
    pub fn good_share(&self, speed: MetresPerSecond, garments: u32) -> f64 {
        let drawn = self.garments(garments);
        let good = drawn
            .iter()
            .filter(|garment| self.truth_of(speed, garment).is_good());
        good.count() as f64 / f64::from(garments.max(1))
    }

    /// The fastest speed, among those that the drive can run, at which the batch's garment in the middle is
    /// truly cured and unharmed, to 0.5 %; `None` where there is none.
    pub fn fastest_safe(&self) -> Option<MetresPerSecond> {
        let speed = self.fastest(|truth| truth.cure >= 1.0, &self.batch.nominal)?;
        (self.truth_at(speed).worst_harm() < 1.0).then_some(speed)
    }

    /// The slowest and the fastest speed at which the batch's garment in the middle is truly cured and
    /// unharmed, to 0.5 %; `None` where there is none.
    pub fn window(&self) -> Option<(MetresPerSecond, MetresPerSecond)> {
        let fastest = self.fastest_safe()?;
        let harmed = self.fastest(|truth| truth.worst_harm() >= 1.0, &self.batch.nominal);
        Some((harmed.unwrap_or(self.limits().0), fastest))
    }

    /// The fastest speed at which every one of so many garments of the batch is truly cured, if none of them
    /// is harmed there; `None` otherwise. With n garments, none of which fails, at least
    /// 0.05^(1/n) of all are good at 95 % confidence (Clopper and Pearson): 95 % with 59.
    pub fn fastest_safe_for(&self, garments: u32) -> Option<MetresPerSecond> {
        let drawn = self.garments(garments);
        let mut slowest = self.limits().1;
        for garment in &drawn {
            // Most garments leave the speed as it is, which one run tells.
            if self.truth_of(slowest, garment).cure < 1.0 {
                slowest = self.fastest(|truth| truth.cure >= 1.0, garment)?;
            }
        }
        let unharmed = |garment| self.truth_of(slowest, garment).worst_harm() < 1.0;
        drawn.iter().all(unharmed).then_some(slowest)
    }

    fn limits(&self) -> (MetresPerSecond, MetresPerSecond) {
        let length = self.oven.heated_length();
        let or = |speed: Option<MetresPerSecond>, seconds| {
            speed.unwrap_or(MetresPerSecond(length / seconds))
        };
        (
            or(self.station.belt_slowest, 300.0),
            or(self.station.belt_fastest, 15.0),
        )
    }

    /// The fastest speed at which something still holds that a slower belt only furthers.
    fn fastest(
        &self,
        holds: impl Fn(&PrintTruth) -> bool,
        garment: &TrueGarment,
    ) -> Option<MetresPerSecond> {
        let (slowest, fastest) = self.limits();
        let at = |speed: f64| holds(&self.truth_of(MetresPerSecond(speed), garment));
        if at(fastest.0) {
            return Some(fastest);
        }
        if !at(slowest.0) {
            return None;
        }
        let (mut low, mut high) = (slowest.0, fastest.0);
        while high / low > 1.005 {
            let middle = (low * high).sqrt();
            if at(middle) {
                low = middle;
            } else {
                high = middle;
            }
        }
        Some(MetresPerSecond(low))
    }

    /// A ride at a speed, with a garment and sensors of its own seed: film, cloth, exit and belt columns.
    pub fn ride(&self, speed: MetresPerSecond, seed: u64) -> Scenario {
        self.scenario(speed, seed, Record::Rides, Some(1), Vec::new())
    }

    /// A run of prints at a speed without ride probes: exit and belt columns and the print counter.
    pub fn run_of(
        &self,
        speed: MetresPerSecond,
        seed: u64,
        prints: u32,
        events: Vec<Event>,
    ) -> Scenario {
        self.scenario(speed, seed, Record::Run, Some(prints), events)
    }

    fn scenario(
        &self,
        speed: MetresPerSecond,
        seed: u64,
        record: Record,
        prints: Option<u32>,
        events: Vec<Event>,
    ) -> Scenario {
        Scenario {
            name: format!("shop-{}-{seed}", self.seed),
            about: String::new(),
            seed,
            started: None,
            station: self.station.clone(),
            ink: self.ink.clone(),
            fabric: self.fabric.clone(),
            record,
            heat: Heat::Oven(Box::new(self.oven.clone())),
            batch: self.batch.clone(),
            belt: speed.0,
            room: self.oven.room,
            prints,
            ride_every: 0,
            first: 8.0,
            every: 40.0,
            stay: 10.0,
            platen: (30.0, 55.0),
            interval: 0.25,
            span: (0.0, None),
            channels: self.channels(record, seed),
            events,
            uncertainty: None,
        }
    }

    /// The probes: thermocouples of type K, class 1, that differ from ride to ride; exit probes that are the
    /// shop's, and err alike whenever they look.
    fn channels(&self, record: Record, seed: u64) -> Vec<Channel> {
        let mut junctions = Chance::new(seed, "ride probes");
        let mut optics = Chance::new(self.seed, "exit probes");
        let mut channels = Vec::new();
        if record == Record::Rides {
            for (name, sees) in [("film_c", Sees::Film), ("cloth_c", Sees::Cloth)] {
                let (kind, class) = (ThermocoupleType::K, ToleranceClass::One);
                let flaws = Flaws::thermocouple(kind, class, &mut junctions);
                channels.push(channel(name, sees, Unit::Celsius, flaws));
            }
        }
        for (name, distance) in ["exit_c", "exit2_c"].into_iter().zip(self.exits) {
            let flaws = Flaws::infrared(Infrared {
                set_emissivity: 0.95,
                emissivity: optics.about(0.95, 0.01).min(1.0),
                emissivity_uncertainty: 0.02,
                reflected: self.oven.room,
                band: (8e-6, 14e-6),
            });
            let spot = EXIT_SPOT;
            channels.push(channel(
                name,
                Sees::Exit { distance, spot },
                Unit::Celsius,
                flaws,
            ));
        }
        let steady = |resolution| Flaws {
            resolution,
            ..Flaws::none()
        };
        channels.push(channel(
            "belt_m_per_min",
            Sees::Belt,
            Unit::MetresPerMinute,
            steady(0.001),
        ));
        if record == Record::Run {
            let eye = Sees::Count { distance: 0.1 };
            channels.push(channel("prints_count", eye, Unit::Count, steady(1.0)));
        }
        channels
    }
}

fn channel(name: &str, sees: Sees, unit: Unit, flaws: Flaws) -> Channel {
    Channel {
        name: name.to_owned(),
        sees,
        unit,
        flaws,
    }
}
