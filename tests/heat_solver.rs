//! The heat model against a stiff solver of SciPy on the same equations, and against itself refined.
//!
//! Reference numbers: tests/reference/print.csv, made by tests/reference/print.py.

use inkdwell_config::ink::Family;
use inkdwell_config::quantity::{
    Celsius, KilogramsPerSquareMetre, Metres, MetresPerSecond, Seconds, Share,
};
use inkdwell_cure::heat::history::{Books, History};
use inkdwell_cure::heat::journey::Pace;
use inkdwell_cure::heat::oven::{Backing, Belt, HeatZone, Oven, Room};
use inkdwell_cure::heat::print::{Cloth, Film, Grid, Print};
use inkdwell_cure::heat::properties::ink_material;
use inkdwell_cure::heat::{Columns, HeatTransfer, Model};

const REFERENCE: &str = include_str!("reference/print.csv");

fn oven() -> Oven {
    let zone = |length: f64, air: f64, h: f64, panel: f64, share: f64| HeatZone {
        length: Metres(length),
        air: Celsius(air),
        convection: HeatTransfer(h),
        panel: Celsius(panel),
        panel_share: Share(share),
        still_air: false,
    };
    Oven {
        zones: vec![
            zone(1.2, 190.0, 40.0, 190.0, 0.0),
            zone(1.0, 150.0, 25.0, 360.0, 0.5),
        ],
        room: Room {
            temperature: Celsius(22.0),
            convection: HeatTransfer(9.0),
            humidity: Share(0.008),
        },
        humidity: Share(0.015),
        below: Share(0.5),
        // Half of what the upper face breathes, all of the stirring below.
        belt_openness: Share(1.0),
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

fn film(family: Family, microns: f64) -> Film {
    let material = ink_material(family);
    Film {
        thickness: Metres(microns * 1e-6),
        material,
        water: Share(material.water),
        bound: Share(0.1),
    }
}

fn cloth(mass: f64, moisture: f64, layers: u8) -> Cloth {
    Cloth {
        mass: KilogramsPerSquareMetre(mass),
        regain: Share(0.08),
        moisture: Share(moisture),
        layers,
        gap: HeatTransfer(100.0),
    }
}

/// The cases of the reference: name, print, speed in m/min.
fn cases() -> [(&'static str, Print, f64); 4] {
    let plastisol = Some(film(Family::Plastisol, 120.0));
    let water_based = Some(film(Family::WaterBased, 80.0));
    let (shirt, bag) = (cloth(0.18, 0.07, 2), cloth(0.30, 0.09, 1));
    let print = |film: Option<Film>, cloth: Cloth| Print { film, cloth };
    [
        ("plastisol on a shirt", print(plastisol, shirt), 2.4),
        ("plastisol on a bag", print(plastisol, bag), 1.6),
        ("water-based on a shirt", print(water_based, shirt), 1.2),
        ("water-based on a bag", print(water_based, bag), 0.8),
    ]
}

fn ride(model: &Model, print: &Print, metres_per_minute: f64) -> History {
    let speed = MetresPerSecond(metres_per_minute / 60.0);
    model
        .ride(&oven(), print, speed, Columns::PrintAndCloth)
        .expect("nothing unphysical here")
}

/// The largest difference from the reference anywhere in a case, and the difference of the peaks.
fn differences(case: &str, history: &History) -> (f64, f64) {
    let mut largest = 0.0_f64;
    let mut peaks = (f64::NEG_INFINITY, f64::NEG_INFINITY);
    for line in REFERENCE.lines().filter(|line| line.starts_with(case)) {
        let cells: Vec<f64> = line
            .split(',')
            .skip(1)
            .map(|cell| cell.parse().expect("a number"))
            .collect();
        let at = Seconds(cells[0]);
        let print = &history.print;
        for (curve, reference) in [&print.film_top, &print.film_bottom, &print.underside]
            .into_iter()
            .zip(&cells[1..])
        {
            largest = largest.max((curve.at(at).0 - reference).abs());
        }
        peaks = (
            peaks.0.max(cells[2]),
            peaks.1.max(print.film_bottom.at(at).0),
        );
    }
    (largest, (peaks.0 - peaks.1).abs())
}

#[test]
fn a_stiff_solver_gives_the_same_temperatures() {
    for (case, print, speed) in cases() {
        let usual = Model::default();
        let (largest, peak) = differences(case, &ride(&usual, &print, speed));
        // As tuning uses it: the peak to a twentieth of a degree, the steep front of drying to one.
        assert!(peak < 0.05 && largest < 1.0, "{case}: {peak} {largest}");
        let fine = Model {
            pace: Pace { finer: 6.0 },
            ..usual
        };
        let (largest, _) = differences(case, &ride(&fine, &print, speed));
        assert!(largest < 0.1, "{case}: {largest}");
    }
}

#[test]
fn heat_and_water_are_accounted_for() {
    let balanced = |books: &Books| {
        assert!(books.heat_lacking().abs() < 1e-6, "{books:?}");
        assert!(books.water_lacking().abs() < 1e-6, "{books:?}");
        // What left is what is gone: a print dries, and drying takes the heat that it takes.
        assert!(books.water_out > 0.0 && books.heat_in > books.vapour_heat);
    };
    for (_, print, speed) in cases() {
        let history = ride(&Model::default(), &print, speed);
        balanced(&history.print.books);
        balanced(&history.cloth.expect("it was asked for").books);
    }
}

#[test]
fn a_water_based_film_is_solved_however_little_water_it_declares() {
    // No outside figures: what is held to is the account of heat and water, as above, that cloth dries under
    // such a film as well, and that a film which needs no heat for its water runs hotter than one that does.
    let peak = |water: f64| {
        let dry = Film {
            water: Share(water),
            ..film(Family::WaterBased, 80.0)
        };
        let print = Print {
            film: Some(dry),
            cloth: cloth(0.18, 0.07, 2),
        };
        // So fast that the wet one does not reach the chamber's temperature.
        let history = ride(&Model::default(), &print, 2.4);
        let books = &history.print.books;
        assert!(books.heat_lacking().abs() < 1e-6, "{water}: {books:?}");
        assert!(books.water_lacking().abs() < 1e-6, "{water}: {books:?}");
        assert!(books.water_out > 0.0, "{water}: {books:?}");
        history.print.film_bottom.peak().0
    };
    let peaks = [0.0, 0.001, 0.01, 0.1, 0.5].map(peak);
    assert!(
        peaks[..4].iter().all(|celsius| *celsius > peaks[4] + 1.0),
        "{peaks:?}"
    );
}

/// The order with which a quantity settles, from its values at steps of 1, 1/2 and 1/4.
fn order(values: [f64; 3]) -> f64 {
    ((values[0] - values[1]) / (values[1] - values[2]))
        .abs()
        .log2()
}

#[test]
fn it_settles_with_the_square_of_the_step_in_time() {
    for (case, print, speed) in cases() {
        for seconds in [8.0, 40.0] {
            let values = [4.0, 8.0, 16.0].map(|finer| {
                let model = Model {
                    pace: Pace { finer },
                    ..Model::default()
                };
                ride(&model, &print, speed)
                    .print
                    .film_top
                    .at(Seconds(seconds))
                    .0
            });
            let order = order(values);
            assert!(order > 1.8, "{case} at {seconds} s: {order} {values:?}");
        }
    }
}

#[test]
fn it_settles_with_the_square_of_the_step_in_space() {
    for (case, mut print, speed) in cases()
        .into_iter()
        .filter(|case| case.1.film.is_some_and(|film| film.water.0 == 0.0))
    {
        // Dry cloth in dry air, since while a front of wetting or drying passes through the nodes no
        // order shows; and thick cloth early on, so that there is something to resolve.
        print.cloth.moisture = Share(0.0);
        let mut oven = oven();
        oven.humidity = Share(0.0);
        oven.room.humidity = Share(0.0);
        print.cloth.mass = KilogramsPerSquareMetre(0.6);
        for seconds in [6.0, 12.0] {
            let values = [4, 8, 16].map(|part| {
                let model = Model {
                    grid: Grid {
                        film: part,
                        cloth: part,
                    },
                    pace: Pace { finer: 24.0 },
                    ..Model::default()
                };
                let speed = MetresPerSecond(speed / 60.0);
                let history = model.ride(&oven, &print, speed, Columns::Print);
                let print = history.expect("nothing unphysical here").print;
                print.film_bottom.at(Seconds(seconds)).0
            });
            let order = order(values);
            assert!(order > 1.8, "{case} at {seconds} s: {order} {values:?}");
        }
    }
}
