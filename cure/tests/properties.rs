//! What holds for every law and every trace.

mod common;

use common::{equivalents, events, fabric, hold, ink, judge, plan_for};
use inkdwell_config::fabric::Harm;
use inkdwell_config::law::Law;
use inkdwell_config::quantity::{Celsius, Seconds};
use inkdwell_cure::engine::{Engine, Event};
use inkdwell_cure::law::{Counts, Rate};
use inkdwell_cure::plan::Watch;
use proptest::prelude::*;

fn any_law() -> impl Strategy<Value = Law> {
    let rising = prop::collection::vec((2.0..25.0, 0.2..0.9), 1..4);
    let arrhenius = (120.0..170.0, 60.0..300.0, rising).prop_map(|(cool, long, steps)| {
        let mut points = vec![(cool, long)];
        for (rise, share) in steps {
            let (celsius, seconds): (f64, f64) = points[points.len() - 1];
            points.push((celsius + rise, seconds * share));
        }
        equivalents(&points)
    });
    prop_oneof![
        arrhenius,
        (120.0..190.0, 1.0..100.0).prop_map(|(at, long)| hold(at, long))
    ]
}

fn any_counts() -> impl Strategy<Value = Counts> {
    prop_oneof![Just(Counts::Cure), Just(Counts::Harm)]
}

/// A trace with all that can happen in one: passes, dips, steps, gaps, spikes, faults, equal times.
fn any_trace() -> impl Strategy<Value = Vec<(f64, f64)>> {
    let stretch = (0.5..40.0, 15.0..260.0, 0.05..3.0, 0..12_u8);
    prop::collection::vec(stretch, 2..14).prop_map(|stretches| {
        let (mut trace, mut time, mut celsius) = (Vec::new(), 0.0, 25.0);
        for (lasting, target, interval, mischief) in stretches {
            let steps = (lasting / interval) as u32 + 1;
            for step in 1..=steps {
                let share = f64::from(step) / f64::from(steps);
                trace.push((time + lasting * share, celsius + (target - celsius) * share));
            }
            time += lasting;
            celsius = target;
            match mischief {
                0 => trace.push((time, f64::NAN)),
                1 => trace.push((time + 0.01, 450.0)),
                2 => trace.push((time, celsius + 1.0)),
                3 => time += 9.0,
                4 => celsius = 30.0,
                _ => {}
            }
        }
        trace.sort_by(|a, b| f64::total_cmp(&a.0, &b.0));
        trace
    })
}

fn along(rate: &Rate, from: f64, to: f64, seconds: f64) -> f64 {
    rate.along(Celsius(from), Celsius(to), Seconds(seconds))
}

proptest! {
    #[test]
    fn dose_rises_with_temperature(
        law in any_law(), counts in any_counts(),
        from in 20.0..300.0, to in 20.0..300.0, shift in 0.0..30.0,
    ) {
        let rate = Rate::new(&law, counts);
        let (cooler, hotter) =
            (along(&rate, from, to, 10.0), along(&rate, from + shift, to + shift, 10.0));
        prop_assert!(hotter >= cooler * (1.0 - 1e-7), "{cooler} {hotter}");
    }

    #[test]
    fn doses_of_the_parts_of_a_line_add_up(
        law in any_law(), counts in any_counts(),
        from in 20.0..300.0, to in 20.0..300.0, cut in 0.0..1.0,
    ) {
        let rate = Rate::new(&law, counts);
        let middle = from + (to - from) * cut;
        let parts = along(&rate, from, middle, 10.0 * cut)
            + along(&rate, middle, to, 10.0 * (1.0 - cut));
        let whole = along(&rate, from, to, 10.0);
        prop_assert!((parts - whole).abs() <= 1e-9 + 1e-6 * whole, "{parts} {whole}");
    }

    #[test]
    fn a_linear_stretch_may_be_resampled(
        law in any_law(), from in 50.0..150.0, to in 151.0..240.0, seconds in 40.0..90.0,
        cuts in prop::collection::vec(0.0..1.0, 0..300),
    ) {
        let ink = ink(160.0, law);
        let few = vec![(0.0, 30.0), (5.0, from), (5.0 + seconds, to), (10.0 + seconds, 30.0)];
        let mut many = few.clone();
        many.extend(cuts.iter().map(|cut: &f64| (5.0 + cut * seconds, from + cut * (to - from))));
        many.sort_by(|a, b| f64::total_cmp(&a.0, &b.0));
        many.dedup_by(|a, b| a.0 == b.0);
        let mut plan = plan_for(&ink, &fabric(&[]), 2.0);
        plan.max_gap = Seconds(1000.0);
        let (few, many) = (judge(plan.clone(), &few), judge(plan, &many));
        let (few, many) = (few[0].cure.unwrap(), many[0].cure.unwrap());
        for (a, b) in [(few.low, many.low), (few.best, many.best), (few.high, many.high)] {
            prop_assert!((a - b).abs() <= 1e-9 + 1e-6 * a.abs(), "{a} {b}");
        }
    }

    #[test]
    fn events_never_depend_on_how_a_trace_is_cut_into_pieces(
        cure in any_law(), scorch in any_law(), trace in any_trace(), u in 0.0..6.0,
        watch in prop_oneof![Just(Watch::Ride), Just(Watch::FlashGel), Just(Watch::FlashFinal)],
        pieces in prop::collection::vec(1..40_usize, 1..30),
    ) {
        let limits = fabric(&[(Harm::Scorch, scorch)]);
        let mut plan = plan_for(&ink(160.0, cure), &limits, u);
        plan.watch = watch;
        let whole = events(plan.clone(), &trace);

        let mut engine = Engine::new();
        let channel = engine.add_channel(plan.clone());
        let mut cut = Vec::new();
        let mut note = |event: Event| cut.push(event);
        let mut rest = trace.as_slice();
        for piece in pieces.iter().cycle() {
            if rest.is_empty() {
                break;
            }
            let (now, later) = rest.split_at((*piece).min(rest.len()));
            engine.feed_all(channel, now, &mut note);
            rest = later;
        }
        engine.finish(&mut note);
        prop_assert_eq!(&whole, &cut);

        let mut engine = Engine::new();
        let channel = engine.add_channel(plan);
        let mut single = Vec::new();
        let mut note = |event: Event| single.push(event);
        for (time, celsius) in &trace {
            let reading = (!celsius.is_nan()).then_some(Celsius(*celsius));
            engine.feed(channel, Seconds(*time), reading, &mut note);
        }
        engine.finish(&mut note);
        prop_assert_eq!(&whole, &single);
    }

    #[test]
    fn an_engine_may_be_put_away_and_taken_up_again(
        cure in any_law(), scorch in any_law(), trace in any_trace(), u in 0.0..6.0,
        watch in prop_oneof![Just(Watch::Ride), Just(Watch::FlashGel), Just(Watch::FlashFinal)],
        with_cloth in any::<bool>(), cut in 0.0..1.0,
    ) {
        let limits = fabric(&[(Harm::Scorch, scorch)]);
        let mut plan = plan_for(&ink(160.0, cure), &limits, u);
        plan.watch = watch;
        let run = |put_away_at: Option<usize>| {
            let mut engine = Engine::new();
            let channel = engine.add_channel(plan.clone());
            let cloth = with_cloth.then(|| engine.add_cloth(channel, "cloth", plan.doubt));
            let mut events = Vec::new();
            for (number, (time, celsius)) in trace.iter().enumerate() {
                if put_away_at == Some(number) {
                    let kept = postcard::to_allocvec(&engine).unwrap();
                    engine = postcard::from_bytes(&kept).unwrap();
                }
                if let Some(cloth) = cloth {
                    engine.feed_cloth(cloth, Seconds(*time), Some(Celsius(*celsius + 4.0)));
                }
                let reading = (!celsius.is_nan()).then_some(Celsius(*celsius));
                engine.feed(channel, Seconds(*time), reading, &mut |event: Event| events.push(event));
            }
            engine.finish(&mut |event: Event| events.push(event));
            events
        };
        let at = (cut * trace.len() as f64) as usize;
        prop_assert_eq!(run(None), run(Some(at)));
    }

    #[test]
    fn low_is_never_above_best_nor_best_above_high(
        cure in any_law(), scorch in any_law(), trace in any_trace(), u in 0.0..6.0,
    ) {
        let limits = fabric(&[(Harm::Scorch, scorch)]);
        for pass in judge(plan_for(&ink(160.0, cure), &limits, u), &trace) {
            let doses = pass.cure.into_iter().chain(pass.harms.iter().map(|harm| harm.dose));
            for dose in doses {
                prop_assert!(dose.low <= dose.best + 1e-12 && dose.best <= dose.high + 1e-12);
            }
            prop_assert!(pass.end.0 - pass.start.0 >= 10.0);
            prop_assert!(pass.samples > 0);
        }
    }
}
