//! How long one print's way through a dryer takes to compute, the unprinted cloth beside it included.

use criterion::{Criterion, criterion_group, criterion_main};
use inkdwell_config::ink::Family;
use inkdwell_config::quantity::{
    Celsius, KilogramsPerSquareMetre, Metres, MetresPerSecond, Seconds, Share,
};
use inkdwell_cure::heat::moisture::Holder;
use inkdwell_cure::heat::oven::{Backing, Belt, HeatZone, Oven, Room};
use inkdwell_cure::heat::print::{Cloth, Film, Print, USUAL_BOUND_WATER};
use inkdwell_cure::heat::properties::ink_material;
use inkdwell_cure::heat::{Columns, HeatTransfer, Model};

/// Two zones, the second with a panel.
fn oven() -> Oven {
    let zone = |air: f64, panel: f64, share: f64| HeatZone {
        length: Metres(1.2),
        air: Celsius(air),
        convection: HeatTransfer(30.0),
        panel: Celsius(panel),
        panel_share: Share(share),
        still_air: false,
    };
    Oven {
        zones: vec![zone(190.0, 190.0, 0.0), zone(180.0, 420.0, 0.3)],
        room: Room {
            temperature: Celsius(22.0),
            convection: HeatTransfer(9.0),
            humidity: Share(0.008),
        },
        humidity: Share(0.015),
        below: Share(0.5),
        belt_openness: Share(0.5),
        bare_absorptivity: Share(1.0),
        emissivity: Share(0.9),
        lewis: 0.865,
        lingering: Seconds(0.0),
        blur: Metres(0.05),
        backing: Backing::Belt(Belt {
            capacity: 450.0,
            start: Celsius(42.0),
            contact: HeatTransfer(80.0),
        }),
    }
}

/// A T-shirt: two layers of jersey.
fn print(family: Family) -> Print {
    let material = ink_material(family);
    Print {
        film: Some(Film {
            thickness: Metres(80e-6),
            material,
            water: Share(material.water),
            bound: USUAL_BOUND_WATER,
        }),
        cloth: Cloth {
            mass: KilogramsPerSquareMetre(0.18),
            regain: Share(0.08),
            moisture: Holder::Fibre {
                regain: Share(0.08),
            }
            .in_balance_with(Share(0.5)),
            layers: 2,
            gap: HeatTransfer(100.0),
        },
    }
}

fn one_print(c: &mut Criterion) {
    let (model, oven) = (Model::default(), oven());
    for (name, family, metres_per_minute) in [
        ("plastisol", Family::Plastisol, 2.6),
        ("water-based", Family::WaterBased, 1.2),
    ] {
        let print = print(family);
        let speed = MetresPerSecond(metres_per_minute / 60.0);
        c.bench_function(&format!("one {name} print"), |b| {
            b.iter(|| model.ride(&oven, &print, speed, Columns::PrintAndCloth));
        });
    }
}

criterion_group!(benches, one_print);
criterion_main!(benches);
