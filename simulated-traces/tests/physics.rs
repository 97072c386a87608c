//! The physics against closed solutions, published figures, and its own books.

use inkdwell_config::library::Library;
use inkdwell_config::quantity::{Celsius, Metres, Share};
use inkdwell_simulated_traces::physics::history::at;
use inkdwell_simulated_traces::physics::{
    BeltSpeed, Passage, TrueBelt, TrueCloth, TrueFilm, TrueGarment, TrueHistory, TrueOven,
    TruePanel, TrueZone, ZoneShifts, run,
};

fn garment(ink: &str, fabric: &str) -> TrueGarment {
    let library = Library::shipped();
    TrueGarment {
        film: TrueFilm::usual(library.ink(ink).unwrap()),
        cloth: TrueCloth::usual(library.fabric(fabric).unwrap()),
        start: Celsius(22.0),
    }
}

fn zone(air: f64, panel: Option<f64>) -> TrueZone {
    TrueZone {
        length: Metres(1.2),
        air: Celsius(air),
        convection: 35.0,
        panel: panel.map(|celsius| TruePanel {
            temperature: Celsius(celsius),
            height: Metres(0.12),
            strength: Share(0.3),
        }),
        unevenness: 3.0,
        phase: 1.0,
    }
}

fn oven() -> TrueOven {
    TrueOven {
        zones: vec![zone(185.0, None), zone(178.0, Some(420.0))],
        vestibule: Metres(0.12),
        leak: Metres(0.08),
        below: Share(0.5),
        below_cooler: 8.0,
        room_humidity: Share(0.45),
        chamber_vapour: 2500.0,
        room: Celsius(22.0),
        room_convection: 9.0,
        belt: TrueBelt {
            capacity: 450.0,
            contact: 80.0,
            openness: Share(0.5),
            return_cooling: 110.0,
        },
    }
}

fn passage(metres_per_minute: f64, lasting: f64) -> Passage {
    Passage {
        laid_at: -0.45,
        laid_when: 0.0,
        lasting,
        belt: BeltSpeed::steady(metres_per_minute / 60.0),
        shifts: ZoneShifts::none(),
    }
}

/// An oven that is the same everywhere: air, walls and room at one temperature, nothing from below.
fn uniform(celsius: f64, convection: f64, vapour: f64) -> TrueOven {
    let mut oven = oven();
    oven.zones.truncate(1);
    oven.zones[0].air = Celsius(celsius);
    oven.zones[0].convection = convection;
    oven.zones[0].unevenness = 0.0;
    oven.room = Celsius(celsius);
    oven.room_convection = convection;
    oven.below_cooler = 0.0;
    oven.chamber_vapour = vapour;
    oven.room_humidity = Share(vapour / inkdwell_simulated_traces::physics::saturation(celsius).0);
    oven.belt.contact = 1e-9;
    oven.belt.openness = Share(0.0);
    oven
}

#[test]
fn heat_and_water_add_up() {
    for (ink, fabric, speed) in [
        ("plastisol-standard", "cotton-jersey", 2.6),
        ("water-based", "cotton-jersey", 1.2),
        ("plastisol-high-build", "cotton-fleece", 1.8),
        ("plastisol-low-bleed", "polyester", 3.0),
        ("discharge", "tri-blend", 1.0),
    ] {
        let history = run(&oven(), &garment(ink, fabric), &passage(speed, 260.0));
        for books in [history.print_balance, history.cloth_balance] {
            // First law, per area: what came in is what is held more. Held against the heat that moved.
            let missing = books.heat_in - books.heat_gained;
            assert!(
                missing.abs() < 5e-3 * books.heat_held,
                "{ink} on {fabric}: {books:?}"
            );
            let lost = books.water_out - books.water_lost;
            assert!(
                lost.abs() < 1e-6 * books.water_start,
                "{ink} on {fabric}: {books:?}"
            );
            assert!(
                books.water_lost > 0.1 * books.water_start,
                "{ink} on {fabric}: {books:?}"
            );
        }
    }
}

#[test]
fn dry_cloth_heats_like_a_plane_wall() {
    // Plane wall of thickness L, insulated below, convection above (Incropera, transient conduction, exact
    // solution): θ = Σ Cₙ exp(−ζₙ² Fo) cos(ζₙ x/L), Cₙ = 4 sin ζₙ/(2ζₙ + sin 2ζₙ), ζₙ tan ζₙ = Bi.
    let mut garment = garment("plastisol-standard", "polyester");
    garment.cloth.layers = 1;
    garment.cloth.mass.0 = 0.25;
    garment.cloth.moisture = Share(0.0);
    garment.start = Celsius(100.0);
    let convection = 400.0;
    let oven = uniform(120.0, convection, 0.0);
    let history = run(&oven, &garment, &passage(0.0, 10.0));
    let cloth = garment.cloth;
    let thickness = cloth.thickness();
    let capacity = cloth.dry_mass() * cloth.specific_heat;
    // Radiation between 100 and 120 °C counts as 4 ε σ T³ at 110 °C, ε = 0.9: 11.5 W/(m² K), 3 % of it all.
    let strength = convection + 4.0 * 0.9 * 5.670_374_419e-8 * 383.15_f64.powi(3);
    let biot = strength * thickness / cloth.conductivity;
    for time in [0.5, 1.0, 2.0, 4.0] {
        let fourier = cloth.conductivity * time / (capacity * thickness);
        let theta: f64 = (0..40)
            .map(|n| {
                let zeta = root(biot, n);
                let c = 4.0 * zeta.sin() / (2.0 * zeta + (2.0 * zeta).sin());
                c * (-zeta * zeta * fourier).exp() * zeta.cos()
            })
            .sum();
        let exact = 120.0 - 20.0 * theta;
        let ours = at(&history.cloth_top, time);
        assert!(
            (ours - exact).abs() < 0.12,
            "{time} s: {ours} against {exact}"
        );
    }
}

/// The n-th root of ζ tan ζ = Bi, by halving.
fn root(biot: f64, n: u32) -> f64 {
    let start = f64::from(n) * std::f64::consts::PI;
    let (mut low, mut high) = (start, start + std::f64::consts::FRAC_PI_2 - 1e-12);
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if middle * middle.tan() < biot {
            low = middle
        } else {
            high = middle
        }
    }
    0.5 * (low + high)
}

#[test]
fn a_wet_film_hangs_at_the_wet_bulb() {
    // PsychroLib (ASHRAE Fundamentals, psychrometrics) GetTWetBulbFromHumRatio at 101 325 Pa: 22.58 °C for
    // air of 40 °C and 0.010 kg/kg (1603.4 Pa), 30.27 °C for 60 °C and 0.015 (2386.2 Pa), 36.08 °C for
    // 80 °C and 0.020 (3156.8 Pa). A surface that radiation and the Lewis number move a little stays
    // within 1.2 °C of it.
    for (air, vapour, wet_bulb) in [
        (40.0, 1603.38, 22.58),
        (60.0, 2386.20, 30.27),
        (80.0, 3156.81, 36.08),
    ] {
        let mut wet = garment("water-based", "polyester");
        wet.film.thickness = Metres(1.5e-3);
        wet.film.water = Share(0.9);
        wet.film.diffusivity = 1e-7;
        wet.start = Celsius(30.0);
        let history = run(&uniform(air, 200.0, vapour), &wet, &passage(0.0, 60.0));
        let film = at(&history.film_top, 40.0);
        assert!(
            (film - wet_bulb).abs() < 1.2,
            "{air}: {film} against {wet_bulb}"
        );
    }
}

#[test]
fn a_print_that_stays_becomes_as_hot_as_its_air() {
    // Thermal equilibrium: without panels nothing gets hotter than air and walls, and all gets there.
    let history = run(
        &uniform(160.0, 40.0, 3000.0),
        &garment("water-based", "cotton-jersey"),
        &passage(0.0, 400.0),
    );
    let ends = |line: &[(f64, f64)]| line.last().unwrap().1;
    for line in [
        &history.film_bottom,
        &history.film_top,
        &history.cloth_hottest,
    ] {
        assert!((ends(line) - 160.0).abs() < 0.2, "{}", ends(line));
        assert!(line.iter().all(|point| point.1 < 160.2));
    }
}

#[test]
fn what_the_trade_says_of_drying_and_thickness_holds() {
    let peak = |line: &[(f64, f64)]| line.iter().map(|point| point.1).fold(0.0, f64::max);
    let bottom_at = |history: &TrueHistory, time| at(&history.film_bottom, time);
    let run = |ink, fabric| run(&oven(), &garment(ink, fabric), &passage(2.4, 200.0));
    let (plastisol, wet) = (
        run("plastisol-standard", "cotton-jersey"),
        run("water-based", "cotton-jersey"),
    );
    // A wet film hangs below boiling while a plastisol print is long past it (common practice, no source).
    let past = plastisol
        .film_bottom
        .iter()
        .find(|point| point.1 > 100.0)
        .unwrap();
    assert!(
        bottom_at(&wet, past.0) < 75.0,
        "{}",
        bottom_at(&wet, past.0)
    );
    // The surface leads the bottom by about 2 °C for an ordinary film, 3 to 10 °C for a high-build one while
    // heating (from simulation with first principles).
    let lead = |history: &TrueHistory| {
        let gaps = history
            .film_top
            .iter()
            .map(|point| point.1 - bottom_at(history, point.0));
        gaps.fold(0.0, f64::max)
    };
    let thick = run("plastisol-high-build", "cotton-jersey");
    assert!(
        (0.5..4.0).contains(&lead(&plastisol)),
        "{}",
        lead(&plastisol)
    );
    assert!((3.0..14.0).contains(&lead(&thick)), "{}", lead(&thick));
    // Heavier cloth heats more slowly (common practice, no source).
    let heavy = run("plastisol-standard", "cotton-fleece");
    assert!(peak(&heavy.film_bottom) < peak(&plastisol.film_bottom) - 5.0);
}

#[test]
fn a_finer_look_changes_little() {
    // The same print with a belt that pauses for no time at all takes other steps; the temperatures stay.
    let plain = run(
        &oven(),
        &garment("water-based", "cotton-jersey"),
        &passage(2.0, 150.0),
    );
    let mut cut = passage(2.0, 150.0);
    let steps = (0..300)
        .map(|step| (f64::from(step) * 0.5, 2.0 / 60.0))
        .collect();
    cut.belt = BeltSpeed::steps(steps);
    let other = run(&oven(), &garment("water-based", "cotton-jersey"), &cut);
    for second in 0..150 {
        let time = f64::from(second);
        let (a, b) = (at(&plain.film_bottom, time), at(&other.film_bottom, time));
        assert!((a - b).abs() < 0.05, "{time}: {a} {b}");
    }
}
