//! A whole drawn shop as files: its shop file, rides, a run, heatings under a flash unit, and the truth.

use std::fmt::Write as _;

use inkdwell_config::ink::GelWindow;
use inkdwell_config::quantity::{Celsius, Metres, MetresPerSecond};
use inkdwell_config::station::{Station, StationKind, Zone};
use serde::{Deserialize, Serialize};

use crate::chance::Chance;
use crate::channel::{Channel, Sees, Unit};
use crate::likely::likely_flash;
use crate::physics::history::highest;
use crate::physics::{TrueFlash, TrueGarment, flash};
use crate::scenario::{Heat, Record, Scenario};
use crate::sensor::Flaws;
use crate::shop::{EXIT_SPOT, SimulatedShop};
use crate::write::{WriteError, texts};

/// What `schema` says in the truth file of a shop.
pub const SHOP_TRUTH_SCHEMA: &str = "inkdwell.shop-truth/1";

/// A file: its name and its text.
pub type NamedText = (String, String);

/// What is true of a drawn shop, for the batch's garment in the middle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ShopTruth {
    /// [`SHOP_TRUTH_SCHEMA`].
    pub schema: String,
    /// The seed that it was drawn from.
    pub seed: u64,
    /// The ink of its job, by id.
    pub ink: String,
    /// The fabric of its job, by id.
    pub fabric: String,
    /// The slowest belt at which a print is truly cured and unharmed, in m/min; null where none is.
    pub slowest_m_per_min: Option<f64>,
    /// The fastest.
    pub fastest_m_per_min: Option<f64>,
    /// Under the flash unit, on a platen as warm as in the traces: the shortest stay that truly gels the
    /// surface, in seconds; null where the ink has no gel window.
    pub shortest_s: Option<f64>,
    /// The longest that does not heat it beyond.
    pub longest_s: Option<f64>,
}

/// Expanded uncertainty of a type K thermocouple of class 1: ±1.5 °C (IEC 60584-1), rectangular, k = 2.
const CLASS_ONE: &str = "1.73 C";
/// Of the flash probe here, with something in hand: it errs by up to 1 °C all along, and by its noise.
const INFRARED: &str = "1.5 C";
/// Prints of the run.
const RUN: u32 = 12;
/// Heatings of each flash trace.
const HEATINGS: u32 = 3;
/// Seconds from heating to heating.
const EVERY: f64 = 45.0;
/// Stays are looked for between these, in seconds.
const STAYS: (f64, f64) = (0.5, 60.0);

/// All files of a shop.
///
/// # Errors
/// When a trace cannot be made.
pub fn shop_files(shop: &SimulatedShop) -> Result<Vec<NamedText>, WriteError> {
    let lamp = Lamp::draw(shop);
    let window = shop.window();
    let mut files = vec![("shop.toml".to_owned(), shop_text(shop, &lamp.station))];
    // Rides near the speed that a person would find by trying; the nominal one where nothing cures.
    let nominal = shop.station.belt.unwrap_or(MetresPerSecond(0.04));
    let about = window.map_or(nominal, |(_, fastest)| fastest).0;
    for (number, share) in (1..).zip([0.85, 1.1]) {
        let mut ride = shop.ride(MetresPerSecond(share * about), shop.seed + number);
        ride.name = format!("ride-{number}");
        ride.uncertainty = Some(CLASS_ONE.to_owned());
        files.extend(both(&ride)?);
    }
    let mut run = shop.run_of(MetresPerSecond(0.8 * about), shop.seed, RUN, Vec::new());
    run.name = "run".to_owned();
    files.extend(both(&run)?);
    let stays = shop.ink.gel.map(|gel| lamp.stays(gel));
    if let Some((shortest, longest)) = stays {
        for (number, share) in (1..).zip([0.3, 0.7]) {
            let stay = shortest * (longest / shortest).powf(share);
            files.extend(both(&lamp.scenario(
                shop,
                number,
                (stay * 20.0).round() / 20.0,
            ))?);
        }
    }
    let truth = ShopTruth {
        schema: SHOP_TRUTH_SCHEMA.to_owned(),
        seed: shop.seed,
        ink: shop.ink.id.clone(),
        fabric: shop.fabric.id.clone(),
        slowest_m_per_min: window.map(|(slowest, _)| 60.0 * slowest.0),
        fastest_m_per_min: window.map(|(_, fastest)| 60.0 * fastest.0),
        shortest_s: stays.map(|(shortest, _)| shortest),
        longest_s: stays.map(|(_, longest)| longest),
    };
    let mut text = serde_json::to_string_pretty(&truth).unwrap_or_default();
    text.push('\n');
    files.push(("shop.truth.json".to_owned(), text));
    Ok(files)
}

fn both(scenario: &Scenario) -> Result<[NamedText; 2], WriteError> {
    let (csv, truth) = texts(scenario)?;
    let name = &scenario.name;
    Ok([
        (format!("{name}.csv"), csv),
        (format!("{name}.truth.json"), truth),
    ])
}

/// A shop's flash unit.
struct Lamp {
    station: Station,
    unit: TrueFlash,
    garment: TrueGarment,
    platen: Celsius,
}

impl Lamp {
    fn draw(shop: &SimulatedShop) -> Lamp {
        let mut chance = Chance::new(shop.seed, "flash unit");
        let length = Metres((chance.between(0.4, 0.6) * 20.0).round() / 20.0);
        let panel = Celsius((chance.between(420.0, 560.0) / 10.0).round() * 10.0);
        let station = Station {
            id: "flash-1".to_owned(),
            name: "Drawn flash".to_owned(),
            kind: StationKind::FlashUnit,
            heated_length: length,
            belt: None,
            belt_slowest: None,
            belt_fastest: None,
            print_pitch: None,
            lanes: 1,
            zones: vec![Zone {
                length,
                air: None,
                panel: Some(panel),
            }],
            max_gap: None,
            wake: None,
        };
        let platen = Celsius(chance.between(28.0, 45.0));
        let mut garment = shop.batch.nominal;
        // As the flash line has it: cloth that lay on the platen a while is nearly as warm.
        garment.start = Celsius(0.8 * platen.0 + 0.2 * garment.start.0);
        Lamp {
            unit: likely_flash(&station, shop.oven.room, &mut chance),
            station,
            garment,
            platen,
        }
    }

    /// The stays between which the surface's peak truly lies in a gel window, to 0.2 %.
    fn stays(&self, gel: GelWindow) -> (f64, f64) {
        let peak = |stay: f64| {
            let history = flash(&self.unit, &self.garment, self.platen, stay, stay + 5.0);
            highest(&history.film_top)
        };
        let reaches = |celsius: f64| {
            let (mut short, mut long) = STAYS;
            while long / short > 1.002 {
                let middle = (short * long).sqrt();
                if peak(middle) >= celsius {
                    long = middle;
                } else {
                    short = middle;
                }
            }
            long
        };
        (reaches(gel.from.0), reaches(gel.to.0))
    }

    fn scenario(&self, shop: &SimulatedShop, number: u64, stay: f64) -> Scenario {
        let exact = Flaws {
            noise: 0.1,
            resolution: 0.1,
            ..Flaws::none()
        };
        let surface = Flaws {
            lag: 0.05,
            noise: 0.25,
            bias: Chance::new(shop.seed, "flash probe").between(-1.0, 1.0),
            resolution: 0.1,
            ..Flaws::none()
        };
        let channel = |name: &str, sees, flaws| Channel {
            name: name.to_owned(),
            sees,
            unit: Unit::Celsius,
            flaws,
        };
        Scenario {
            name: format!("flash-{number}"),
            about: String::new(),
            seed: shop.seed + 10 + number,
            started: None,
            station: self.station.clone(),
            ink: shop.ink.clone(),
            fabric: shop.fabric.clone(),
            record: Record::Flash,
            heat: Heat::Flash(Box::new(self.unit)),
            batch: shop.batch.clone(),
            belt: 0.0,
            room: shop.oven.room,
            prints: Some(HEATINGS),
            ride_every: 0,
            first: 8.0,
            every: EVERY + stay,
            stay,
            platen: (self.platen.0, self.platen.0),
            interval: 0.1,
            span: (0.0, None),
            channels: vec![
                channel("surface_c", Sees::Surface, surface),
                channel("platen_c", Sees::Platen, exact),
            ],
            events: Vec::new(),
            uncertainty: Some(INFRARED.to_owned()),
        }
    }
}

/// The shop file: what the shop declares, which is not quite what is there.
fn shop_text(shop: &SimulatedShop, lamp: &Station) -> String {
    let mut text = format!(
        "# A shop drawn from seed {}. What is really there differs from this; shop.truth.json knows.\n\n\
         [shop]\nname = \"Drawn shop {}\"\ntimezone = \"UTC\"\nunits = \"metric\"\n",
        shop.seed, shop.seed
    );
    for station in [&shop.station, lamp] {
        station_text(&mut text, station);
    }
    let belt = &shop.station.id;
    for (id, distance) in ["exit", "exit2"].into_iter().zip(shop.exits) {
        let _ = write!(
            text,
            "\n[[probe]]\nid = \"{id}\"\nstation = \"{belt}\"\nplace = \"exit\"\ndistance = \"{distance} m\"\n\
             spot = \"{} mm\"\nsensor = {{ kind = \"infrared\", set_emissivity = 0.95, emissivity = 0.95, \
             emissivity_uncertainty = 0.02 }}\n",
            1000.0 * EXIT_SPOT
        );
    }
    let _ = write!(
        text,
        "\n[[signal]]\nid = \"belt-speed\"\nstation = \"{belt}\"\nkind = \"belt\"\nunit = \"m/min\"\n\
         \n[[signal]]\nid = \"prints\"\nstation = \"{belt}\"\nkind = \"count\"\ndistance = \"0.1 m\"\n"
    );
    text
}

fn station_text(text: &mut String, station: &Station) {
    let kind = match station.kind {
        StationKind::BeltDryer => "belt-dryer",
        StationKind::FlashUnit => "flash-unit",
    };
    let _ = write!(
        text,
        "\n[[station]]\nid = \"{}\"\nname = \"{}\"\nkind = \"{kind}\"\nheated_length = \"{:.2} m\"\n",
        station.id, station.name, station.heated_length.0
    );
    let speeds = [
        ("belt", station.belt),
        ("belt_slowest", station.belt_slowest),
        ("belt_fastest", station.belt_fastest),
    ];
    for (key, speed) in speeds {
        if let Some(speed) = speed {
            let _ = writeln!(text, "{key} = \"{:.3} m/min\"", 60.0 * speed.0);
        }
    }
    if let Some(pitch) = station.print_pitch {
        let _ = writeln!(text, "print_pitch = \"{} m\"", pitch.0);
    }
    let zones: Vec<String> = station.zones.iter().map(zone_text).collect();
    let _ = writeln!(text, "zones = [ {} ]", zones.join(", "));
}

fn zone_text(zone: &Zone) -> String {
    let mut keys = vec![format!("length = \"{:.2} m\"", zone.length.0)];
    if let Some(air) = zone.air {
        keys.push(format!("air = \"{} C\"", air.0));
    }
    if let Some(panel) = zone.panel {
        keys.push(format!("panel = \"{} C\"", panel.0));
    }
    format!("{{ {} }}", keys.join(", "))
}
