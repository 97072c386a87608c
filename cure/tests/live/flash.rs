//! Prints under the flash are judged soon after their peak, as the whole trace says, and no probe is waited for in vain.

use inkdwell_config::quantity::Celsius;
use inkdwell_cure::engine::{Engine, Event, EventKind};
use inkdwell_cure::judged::Verdict;
use inkdwell_cure::live::{Floor, SeenBy};
use inkdwell_cure::plan::{ChannelPlan, DEFAULT_MAX_GAP, DEFAULT_WAKE, Watch};

use crate::day::{Day, SHOP, at, batch, shop};

#[test]
fn a_flashed_print_is_judged_soon_after_it_has_cooled() {
    let mut day = Day::new();
    day.open("flash-1", 0.0, batch(9, "plastisol-standard"));
    for tenth in 0..300 {
        let t = f64::from(tenth) * 0.1;
        let celsius = (40.0 + 9.0 * t)
            .min(112.0)
            .min(112.0 - 4.0 * (t - 8.0))
            .max(42.0);
        day.read("surface", t, celsius);
    }
    let passes = day.passes();
    assert_eq!(passes.len(), 1);
    let judged = passes[0].judged.as_ref().unwrap();
    assert_eq!(
        (passes[0].by, judged.verdict),
        (SeenBy::Flash, Verdict::Gelled)
    );
}

/// A print is heated to 112 °C from `from` on, and cools by `per_second` from the ninth second on, to 42 °C.
fn under_the_lamp(t: f64, per_second: f64) -> f64 {
    (40.0 + 9.0 * t)
        .min(112.0)
        .min(112.0 - per_second * (t - 9.0))
        .max(42.0)
}

/// What is judged twenty seconds after the peak is what is judged of the whole trace at its end: of prints that
/// cool fast and of one that cools so slowly that it is still hot then.
#[test]
fn a_flashed_print_is_judged_live_as_offline() {
    let cooling = [6.0, 1.2, 4.0, 0.9, 5.0];
    let trace: Vec<(f64, f64)> = (0..5 * 900)
        .map(|tenth| {
            let t = f64::from(tenth) * 0.1;
            let print = (t / 90.0) as usize;
            (t, under_the_lamp(t % 90.0, cooling[print]))
        })
        .collect();
    let mut day = Day::new();
    day.open("flash-1", 0.0, batch(9, "plastisol-standard"));
    let mut told = Vec::new();
    for &(t, celsius) in &trace {
        let before = day.passes().len();
        day.read("surface", t, celsius);
        if day.passes().len() > before {
            told.push(t % 90.0);
        }
    }
    let events = &mut day.events;
    day.floor.finish(&mut |event| events.push(event));

    // Offline: the same readings, nobody waiting for a verdict.
    let floor = Floor::new(&shop(SHOP), at(0.0));
    let laws = batch(9, "plastisol-standard").laws.laws;
    let mut engine = Engine::new();
    let channel = engine.add_channel(ChannelPlan {
        laws,
        watch: Watch::FlashGel,
        doubt: floor.doubt("surface", Celsius(104.0)).unwrap(),
        max_gap: DEFAULT_MAX_GAP,
        wake: DEFAULT_WAKE,
    });
    let mut offline = Vec::new();
    let mut note = |event: Event| {
        if let EventKind::PassJudged(pass) = event.kind {
            offline.push(*pass);
        }
    };
    engine.feed_all(channel, &trace, &mut note);
    engine.finish(&mut note);

    let live = day.passes();
    assert_eq!((live.len(), offline.len()), (5, 5));
    for (live, offline) in live.iter().zip(&offline) {
        let judged = live.judged.as_ref().unwrap();
        assert_eq!(judged.verdict, offline.verdict);
        assert_eq!((judged.peak, &judged.harms), (offline.peak, &offline.harms));
        assert_eq!(
            (judged.cut, &judged.reasons),
            (offline.cut, &offline.reasons)
        );
        let start = live.start.seconds_since(at(0.0));
        assert!((start - offline.start.0).abs() < 1e-5, "{start}");
    }
    // The peak is reached after eight seconds, and held for one.
    assert!(told.iter().all(|told| *told < 50.0), "{told:?}");
}

/// An open thermocouple under the lamp, or one that shows the end of its scale, is given up; the next print is
/// seen again.
#[test]
fn a_flash_probe_that_was_given_up_sees_the_next_print() {
    let mut day = Day::new();
    day.open("flash-1", 0.0, batch(9, "plastisol-standard"));
    for tenth in 0..85 {
        let t = f64::from(tenth) * 0.1;
        day.read("surface", t, under_the_lamp(t, 4.0));
    }
    for second in 9..700 {
        day.read("surface", f64::from(second), 1370.0);
        day.tick(f64::from(second));
    }
    assert_eq!(day.passes().len(), 1);
    assert!(day.passes()[0].judged.as_ref().unwrap().cut);
    for tenth in 0..600 {
        let t = f64::from(tenth) * 0.1;
        day.read("surface", 700.0 + t, under_the_lamp(t, 4.0));
    }
    let passes = day.passes();
    assert_eq!(passes.len(), 2);
    assert_eq!(passes[1].judged.as_ref().unwrap().verdict, Verdict::Gelled);
}

/// Its readings stop under the lamp: nothing comes of that until it has been silent for twenty seconds.
#[test]
fn a_flash_probe_that_falls_silent_is_not_waited_for() {
    let mut day = Day::new();
    day.open("flash-1", 0.0, batch(9, "plastisol-standard"));
    for tenth in 0..120 {
        let t = f64::from(tenth) * 0.1;
        let celsius = (40.0 + 9.0 * t)
            .min(112.0)
            .min(112.0 - 4.0 * (t - 8.0))
            .max(42.0);
        day.read("surface", t, celsius);
    }
    for second in 12..40 {
        let events = &mut day.events;
        day.floor
            .tick(at(f64::from(second)), &mut |event| events.push(event));
        assert_eq!(day.passes().len(), usize::from(second >= 32), "{second}");
    }
}
