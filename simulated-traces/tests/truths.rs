//! Doses of the truth against the engine's exact integrals, and scenarios that come out the same every time.

use inkdwell_config::library::Library;
use inkdwell_config::quantity::{Celsius, Seconds};
use inkdwell_config::shop::Shop;
use inkdwell_cure::law::{Counts, Rate};
use inkdwell_simulated_traces::channel::Value;
use inkdwell_simulated_traces::record::TruthFile;
use inkdwell_simulated_traces::scenario::Scenario;
use inkdwell_simulated_traces::shop::draw_shop;
use inkdwell_simulated_traces::truth::PrintTruth;
use inkdwell_simulated_traces::write::texts;

const SHOP: &str = include_str!("../samples/shop.toml");

fn scenario(text: &str) -> Scenario {
    let shop = Shop::parse("shop.toml", SHOP).into_result().unwrap();
    Scenario::parse("test.scenario.toml", text, &shop).unwrap()
}

/// A scenario on belt-1 with plastisol on cotton.
fn belt_1(rest: &str) -> String {
    format!(
        "shop = \"shop.toml\"\nstation = \"belt-1\"\nink = \"plastisol-standard\"\n\
         fabric = \"cotton-jersey\"\nseed = 5\n{rest}"
    )
}

#[test]
fn summed_doses_are_the_exact_ones() {
    // Two ways that share no code: Simpson's rule on slices here, exact integrals in the engine.
    let shop = draw_shop(3);
    let library = Library::shipped();
    let speed = shop.station.belt.unwrap();
    let history = shop.follow(speed, &shop.batch.nominal);
    let exact = |line: &[(f64, f64)], rate: &Rate| -> f64 {
        let along = |pair: &[(f64, f64)]| {
            let ((t0, a), (t1, b)) = (pair[0], pair[1]);
            rate.along(Celsius(a), Celsius(b), Seconds(t1 - t0))
        };
        line.windows(2).map(along).sum()
    };
    let mut counted = 0;
    for ink in library.inks() {
        for fabric in library.fabrics() {
            let truth = PrintTruth::of(&history, ink, fabric);
            let cure = exact(&history.film_bottom, &Rate::new(&ink.cure, Counts::Cure));
            let close = |ours: f64, theirs: f64| (ours - theirs).abs() < 1e-3 * theirs + 1e-6;
            assert!(close(truth.cure, cure), "{}: {} {cure}", ink.id, truth.cure);
            for (ours, limit) in truth.harms.iter().zip(&fabric.harms) {
                let line = match limit.harm.name() {
                    "dye-migration" => &history.film_bottom,
                    _ => &history.cloth_hottest,
                };
                let harm = exact(line, &Rate::new(&limit.law, Counts::Harm));
                assert!(
                    close(ours.dose, harm),
                    "{} {}: {harm}",
                    fabric.id,
                    ours.harm
                );
                counted += usize::from(harm > 0.0);
            }
        }
    }
    assert!(counted > 3, "only {counted} harm doses were above zero");
}

#[test]
fn the_same_seed_gives_the_same_bytes() {
    let text = belt_1(
        "record = \"run\"\nprints = 4\n[[column]]\nname = \"exit_c\"\nsees = \"exit\"\nprobe = \"exit\"\n",
    );
    let first = texts(&scenario(&text)).unwrap();
    assert_eq!(first, texts(&scenario(&text)).unwrap());
    let other = texts(&scenario(&text.replace("seed = 5", "seed = 6"))).unwrap();
    assert_ne!(first.0, other.0);
    assert_eq!(draw_shop(8), draw_shop(8));
}

#[test]
fn a_live_run_has_no_end_and_leaves_records() {
    let text = belt_1("record = \"run\"\n[[column]]\nname = \"prints_count\"\nsees = \"count\"\n");
    let mut live = scenario(&text).live();
    let rows: Vec<_> = live.by_ref().take(200).collect();
    // By hand: 2.6 m/min and 0.75 m of pitch are one print every 17.3 s. The first is laid at 8 s, 0.45 m
    // before the oven; its leading edge passes the eye, 0.1 m after 2.4 m, when its middle has gone
    // 0.45 + 2.5 − 0.31 = 2.64 m, which takes 60.9 s. So 68.9 s, and by 199 s 1 + 130.1/17.3 = 8 prints.
    let count = |row: usize| rows[row].values[0];
    assert_eq!(
        [count(68), count(69), count(199)],
        [0.0, 1.0, 8.0].map(Value::Number)
    );
    assert!(
        live.take_done()
            .iter()
            .all(|record| record.truth.cure > 0.0)
    );
}

#[test]
fn an_exit_probe_sees_belt_cloth_print_and_belt_again() {
    let text = belt_1(
        "record = \"run\"\nprints = 1\ninterval = \"0.1 s\"\n[truth]\nas_declared = true\n\
         [[column]]\nname = \"exit_c\"\nsees = \"exit\"\nprobe = \"exit\"\n",
    );
    let scenario = scenario(&text);
    let rows: Vec<_> = scenario.live().collect();
    let celsius = |time: f64| match rows[(10.0 * time).round() as usize].values[0] {
        Value::Number(celsius) => celsius,
        other => panic!("{time}: {other:?}"),
    };
    // By hand: laid at 8 s, its middle passes the spot after 0.45 + 2.4 + 0.35 = 3.2 m, that is 73.8 s, at
    // 81.8 s; 0.32 m of print take 7.4 s, 0.62 m of garment 14.3 s. At either side the belt is seen.
    let (belt, print) = (celsius(70.0), celsius(81.8));
    assert!((celsius(72.5) - belt).abs() < 0.3);
    assert!((celsius(79.0) - print).abs() < 0.6 && (celsius(84.6) - print).abs() < 0.6);
    assert!((print - belt).abs() > 5.0, "{print} {belt}");
    assert_eq!(celsius(77.0), celsius(86.6));
}

#[test]
fn faults_do_what_they_say() {
    let ride = "record = \"rides\"\nbelt = \"2.8 m/min\"\n[truth]\nas_declared = true\n\
                [[column]]\nname = \"film_c\"\nsees = \"film\"\n";
    let truth = |fault: &str| -> TruthFile {
        let (_, json) = texts(&scenario(&belt_1(&format!("{ride}{fault}")))).unwrap();
        serde_json::from_str(&json).unwrap()
    };
    let peak = |fault: &str| truth(fault).prints[0].truth.peak_c;
    let plain = peak("");
    let wet = "[[event]]\nwhat = \"wet-garments\"\nfrom = 1\nmoisture = \"30 %\"\n";
    let sag = "[[event]]\nwhat = \"heater-sag\"\nat = \"0 s\"\nzone = 2\nby = \"30 C\"\n";
    let slip = "[[event]]\nwhat = \"belt-slip\"\nat = \"0 s\"\nby = \"30 %\"\n";
    let stop = "[[event]]\nwhat = \"belt-stop\"\nat = \"50 s\"\nlasting = \"120 s\"\n";
    let fleece = "[[event]]\nwhat = \"wrong-garment\"\nfrom = 1\nfabric = \"cotton-fleece\"\n";
    assert!(peak(wet) < plain - 3.0 && peak(sag) < plain - 5.0 && peak(fleece) < plain - 5.0);
    assert!(peak(slip) > plain + 2.0 && peak(stop) > plain + 2.0);
    assert_eq!(
        truth(fleece).prints[0].faults,
        ["wrong garment: cotton-fleece"]
    );
    // A slip of 30 % takes 2.8 m/min to 1.96.
    assert!((truth(slip).prints[0].belt_m_per_min - 1.96).abs() < 1e-6);
}

#[test]
fn what_is_wrong_in_a_scenario_is_said_with_its_line() {
    let shop = Shop::parse("shop.toml", SHOP).into_result().unwrap();
    let said = |text: &str| -> String {
        let problems = Scenario::parse("s.toml", text, &shop).unwrap_err();
        problems
            .iter()
            .map(|problem| format!("{problem}\n"))
            .collect()
    };
    let column = "[[column]]\nname = \"film_c\"\nsees = \"film\"\n";
    let ride = format!("record = \"rides\"\n{column}");
    for (text, words) in [
        (
            belt_1(&ride.replace("film_c", "film")),
            "s.toml:8: column.name: \"film\" says no unit",
        ),
        (
            belt_1(&ride.replace("\"film\"", "\"films\"")),
            "did you mean \"film\"?",
        ),
        (
            belt_1(&ride).replace("belt-1", "belt-9"),
            "s.toml:2: station: the shop has no station",
        ),
        (
            belt_1(&ride).replace("plastisol-standard", "plastisol-standart"),
            "\"plastisol-standard\"",
        ),
        (
            belt_1(&format!("belt = 2.6\n{ride}")),
            "s.toml:6: 2.6 has no unit",
        ),
        (
            belt_1(&format!("speed = 2.6\n{ride}")),
            "s.toml:6: unknown field `speed`",
        ),
        (
            belt_1(&ride).replace("belt-1", "flash-1"),
            "write record = \"flash\" for a flash unit",
        ),
    ] {
        assert!(said(&text).contains(words), "{words}\n{}", said(&text));
    }
}
