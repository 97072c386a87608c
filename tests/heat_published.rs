//! The heat model against closed solutions of heat conduction and against the psychrometric chart.
//!
//! The published cases have constant surroundings, so the oven here is one endless zone that the slab
//! enters at once.

use inkdwell_config::ink::Family;
use inkdwell_config::quantity::{
    Celsius, KilogramsPerSquareMetre, Metres, MetresPerSecond, Seconds, Share,
};
use inkdwell_cure::heat::history::History;
use inkdwell_cure::heat::journey::Pace;
use inkdwell_cure::heat::oven::{Backing, HeatZone, Oven, Platen, Room};
use inkdwell_cure::heat::print::{Cloth, Film, Grid, Print};
use inkdwell_cure::heat::properties::{
    CLOTH_CONDUCTIVITY, CLOTH_DENSITY, COTTON_SPECIFIC_HEAT, InkMaterial, ink_material,
};
use inkdwell_cure::heat::{Columns, HeatTransfer, Model};

const START: f64 = 20.0;
const AIR: f64 = 120.0;
/// So fast that the way in takes no time.
const SPEED: MetresPerSecond = MetresPerSecond(50.0);

/// What lies below the slab.
enum Below {
    /// The same air as above.
    Air,
    /// Nothing that heat could pass.
    Insulation,
}

/// One zone of still conditions that lasts for so many seconds, and no radiation.
fn endless(h: f64, below: Below, lasting: f64) -> Oven {
    Oven {
        zones: vec![HeatZone {
            length: Metres(lasting * SPEED.0),
            air: Celsius(AIR),
            convection: HeatTransfer(h),
            panel: Celsius(AIR),
            panel_share: Share(0.0),
            still_air: false,
        }],
        room: Room {
            temperature: Celsius(START),
            convection: HeatTransfer(h),
            humidity: Share(0.0),
        },
        humidity: Share(0.0),
        below: Share(1.0),
        belt_openness: Share(0.0),
        bare_absorptivity: Share(1.0),
        emissivity: Share(0.0),
        lewis: 1.0,
        lingering: Seconds(0.0),
        blur: Metres(0.02),
        backing: match below {
            Below::Air => Backing::Open,
            Below::Insulation => Backing::Platen(Platen {
                temperature: Celsius(START),
                contact: HeatTransfer(0.0),
            }),
        },
    }
}

/// A bone-dry layer of so many metres.
fn slab(thickness: f64) -> Print {
    Print {
        film: None,
        cloth: Cloth {
            mass: KilogramsPerSquareMetre(thickness * CLOTH_DENSITY),
            regain: Share(0.0),
            moisture: Share(0.0),
            layers: 1,
            gap: HeatTransfer(100.0),
        },
    }
}

fn diffusivity() -> f64 {
    CLOTH_CONDUCTIVITY / (CLOTH_DENSITY * COTTON_SPECIFIC_HEAT)
}

fn fine(grid: Grid, finer: f64) -> Model {
    Model {
        grid,
        pace: Pace { finer },
        after: Seconds(1.0),
    }
}

/// The share of the air's excess that a surface lacks.
fn lacking(celsius: Celsius) -> f64 {
    (AIR - celsius.0) / (AIR - START)
}

fn run(model: &Model, oven: &Oven, print: &Print) -> History {
    model
        .ride(oven, print, SPEED, Columns::Print)
        .expect("nothing unphysical here")
}

/// Bi, ζ₁, C₁, Fo, and the share lacking at surface and middle by the whole series: tests/reference/
/// erfc.py. ζ₁ and C₁ are those of Incropera, table 5.1 (C₁ at Bi 0.1 there 1.0160).
const WALLS: [(f64, f64, f64, f64, f64, f64); 6] = [
    (0.1, 0.3111, 1.0161, 0.4, 0.930962, 0.977171),
    (0.1, 0.3111, 1.0161, 1.0, 0.878126, 0.922389),
    (0.5, 0.6533, 1.0701, 1.0, 0.554589, 0.698383),
    (1.0, 0.8603, 1.1191, 0.1, 0.723577, 0.993108),
    (1.0, 0.8603, 1.1191, 1.0, 0.348177, 0.533859),
    (2.0, 1.0769, 1.1785, 1.0, 0.175201, 0.369556),
];

#[test]
fn a_plane_wall_warms_as_its_series_says() {
    let half = 2e-3;
    for (biot, zeta, c, fourier, surface, middle) in WALLS {
        let h = biot * CLOTH_CONDUCTIVITY / half;
        let time = fourier * half * half / diffusivity();
        let model = fine(Grid { film: 1, cloth: 24 }, 4.0);
        // Half the wall over insulation: its underside is the wall's middle.
        let oven = endless(h, Below::Insulation, 2.0 * time);
        let history = run(&model, &oven, &slab(half));
        let at = Seconds(time);
        let top = lacking(history.print.film_top.at(at));
        let below = lacking(history.print.underside.at(at));
        assert!(
            (top - surface).abs() < 1e-3,
            "Bi {biot} Fo {fourier}: {top} {surface}"
        );
        assert!(
            (below - middle).abs() < 1e-3,
            "Bi {biot} Fo {fourier}: {below} {middle}"
        );
        if fourier >= 0.4 {
            let first = c * (-zeta * zeta * fourier).exp();
            assert!((below - first).abs() < 2e-3, "first term {first} {below}");
        }
        // The whole wall with air on both sides.
        let oven = endless(h, Below::Air, 2.0 * time);
        let both = run(&model, &oven, &slab(2.0 * half));
        for face in [&both.print.film_top, &both.print.underside] {
            assert!((lacking(face.at(at)) - surface).abs() < 1e-3);
        }
    }
}

#[test]
fn a_thick_slab_warms_as_the_error_function_says() {
    // Carslaw and Jaeger 2.7: the surface has the share 1 − exp(x²) erfc(x) of the air's excess, with
    // x = h √(a t) / k. Values by scipy.special.erfcx: tests/reference/erfc.py.
    let h = 30.0;
    for (x, share) in [
        (0.2, 0.190_980_48),
        (0.4, 0.329_212_21),
        (0.6, 0.432_195_28),
    ] {
        let root: f64 = x * CLOTH_CONDUCTIVITY / h;
        let time = root * root / diffusivity();
        let oven = endless(h, Below::Insulation, 20.0);
        // Eight millimetres: heat has not come through by then.
        let model = fine(
            Grid {
                film: 1,
                cloth: 160,
            },
            10.0,
        );
        let history = run(&model, &oven, &slab(8e-3));
        let ours = 1.0 - lacking(history.print.film_top.at(Seconds(time)));
        assert!((ours - share).abs() < 2e-3, "{x}: {ours} {share}");
    }
}

/// Air, its humidity ratio, and its thermodynamic wet bulb: PsychroLib, see tests/reference/wet_bulb.py.
const WET_BULBS: [(f64, f64, f64); 5] = [
    (60.0, 0.010, 27.6462),
    (120.0, 0.015, 40.1450),
    (160.0, 0.015, 44.8954),
    (190.0, 0.010, 46.6424),
    (220.0, 0.030, 53.3687),
];

/// A film that stays wet for long, in air of a temperature and humidity.
fn wet_film(air: f64, humidity: f64, lewis: f64, panel: Option<f64>) -> f64 {
    let mut oven = endless(40.0, Below::Insulation, 400.0);
    oven.humidity = Share(humidity);
    oven.lewis = lewis;
    oven.zones[0].air = Celsius(air);
    if let Some(panel) = panel {
        oven.emissivity = Share(0.9);
        oven.zones[0].panel = Celsius(panel);
        oven.zones[0].panel_share = Share(0.6);
    }
    let material = ink_material(Family::WaterBased);
    let print = Print {
        film: Some(Film {
            thickness: Metres(1.5e-3),
            material: InkMaterial {
                seals: true,
                ..material
            },
            water: Share(0.95),
            bound: Share(0.05),
        }),
        cloth: slab(0.5e-3).cloth,
    };
    let history = run(&fine(Grid::USUAL, 1.0), &oven, &print);
    history.print.film_top.at(Seconds(300.0)).0
}

#[test]
fn a_wet_print_in_hot_air_hangs_at_the_wet_bulb() {
    // With a Lewis number of 1 the balance of heat and vapour at a wet surface is that of adiabatic
    // saturation, to the letter; what is left is the model's smooth approach to boiling.
    for (air, humidity, wet_bulb) in WET_BULBS {
        let plateau = wet_film(air, humidity, 1.0, None);
        assert!(
            (plateau - wet_bulb).abs() < 0.1,
            "{air}: {plateau} {wet_bulb}"
        );
    }
}

#[test]
fn a_real_wet_bulb_lies_a_little_lower_and_panels_lift_it_far() {
    // Water vapour spreads faster than heat (Lewis number 0.865), which cools the surface a little
    // further: a degree or two in such air (ASHRAE Fundamentals notes how close the two bulbs lie).
    for (air, humidity, wet_bulb) in WET_BULBS {
        let plateau = wet_film(air, humidity, 0.865, None);
        assert!(
            (wet_bulb - 2.5..wet_bulb).contains(&plateau),
            "{air}: {plateau} {wet_bulb}"
        );
    }
    // Under a panel of 420 °C, by hand: 0.9 · 0.6 σ (693 K)⁴ = 7.1 kW/m², with the walls and less what the
    // film sends back 7.0, and 40 · 103 = 4.1 from the air; 11.1 kW/m² evaporate 4.7 g/(m² s), for
    // which saturated air must hold 0.015 + 4.7e-3 · 1034 · 0.908 / 40 = 0.125: 56.5 °C by ASHRAE's
    // table of moist air (0.1253 at 56.5 °C; from memory).
    let plateau = wet_film(160.0, 0.015, 0.865, Some(420.0));
    assert!((55.5..57.5).contains(&plateau), "{plateau}");
}
