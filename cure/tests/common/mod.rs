//! Inks, fabrics and traces for the tests of the engine.

#![allow(dead_code, reason = "each test file uses its own part of this")]

use inkdwell_config::fabric::{Fabric, Harm, HarmLimit};
use inkdwell_config::ink::{Family, GelWindow, Ink};
use inkdwell_config::law::Law;
use inkdwell_config::quantity::{
    Celsius, CelsiusDifference, KilogramsPerSquareMetre, Seconds, Share,
};
use inkdwell_cure::engine::{Engine, Event, EventKind};
use inkdwell_cure::judged::JudgedPass;
use inkdwell_cure::plan::{
    ChannelPlan, DEFAULT_MAX_GAP, DEFAULT_WAKE, PrintLaws, ProbeDoubt, Watch,
};
use inkdwell_cure::sensor::Uncertainty;

pub fn hold(at: f64, seconds: f64) -> Law {
    Law::Hold {
        at: Celsius(at),
        duration: Seconds(seconds),
    }
}

pub fn equivalents(points: &[(f64, f64)]) -> Law {
    Law::Equivalents {
        points: points
            .iter()
            .map(|&(celsius, seconds)| (Celsius(celsius), Seconds(seconds)))
            .collect(),
    }
}

pub fn ink(threshold: f64, cure: Law) -> Ink {
    Ink {
        id: "test".into(),
        name: "Test ink".into(),
        family: Family::Other,
        threshold: Celsius(threshold),
        cure,
        film: None,
        water: None,
        gel: Some(GelWindow {
            from: Celsius(104.0),
            to: Celsius(121.0),
        }),
        pot_life: None,
        needs_exhaust: false,
        source: "invented for tests".into(),
    }
}

pub fn fabric(harms: &[(Harm, Law)]) -> Fabric {
    Fabric {
        id: "test".into(),
        name: "Test fabric".into(),
        mass: KilogramsPerSquareMetre(0.18),
        regain: Share(0.085),
        layers: 2,
        harms: harms
            .iter()
            .map(|(harm, law)| HarmLimit {
                harm: *harm,
                law: law.clone(),
            })
            .collect(),
        source: "invented for tests".into(),
    }
}

/// Plastisol that wants 5 s at 160 °C, on a fabric that scorches after 30 s at 200 °C.
pub fn plan(u: f64) -> ChannelPlan {
    let ink = ink(160.0, hold(160.0, 5.0));
    let fabric = fabric(&[(Harm::Scorch, hold(200.0, 30.0))]);
    plan_for(&ink, &fabric, u)
}

pub fn plan_for(ink: &Ink, fabric: &Fabric, u: f64) -> ChannelPlan {
    ChannelPlan {
        laws: PrintLaws::new(ink, fabric),
        watch: Watch::Ride,
        doubt: doubt(u),
        max_gap: DEFAULT_MAX_GAP,
        wake: DEFAULT_WAKE,
    }
}

pub fn doubt(u: f64) -> ProbeDoubt {
    ProbeDoubt {
        uncertainty: Uncertainty::constant(CelsiusDifference(u)),
        assumed: None,
    }
}

/// Samples on the straight lines between corners, `interval` seconds apart, corners included.
pub fn lines(corners: &[(f64, f64)], interval: f64) -> Vec<(f64, f64)> {
    let mut trace = vec![corners[0]];
    for pair in corners.windows(2) {
        let ((t0, c0), (t1, c1)) = (pair[0], pair[1]);
        let steps = ((t1 - t0) / interval).round().max(1.0) as u32;
        for step in 1..=steps {
            let share = f64::from(step) / f64::from(steps);
            trace.push((t0 + share * (t1 - t0), c0 + share * (c1 - c0)));
        }
    }
    trace
}

pub fn events(plan: ChannelPlan, trace: &[(f64, f64)]) -> Vec<Event> {
    let mut engine = Engine::new();
    let channel = engine.add_channel(plan);
    let mut events = Vec::new();
    engine.feed_all(channel, trace, &mut |event| events.push(event));
    engine.finish(&mut |event| events.push(event));
    events
}

pub fn passes_of(events: Vec<Event>) -> Vec<JudgedPass> {
    events
        .into_iter()
        .filter_map(|event| match event.kind {
            EventKind::PassJudged(pass) => Some(*pass),
            _ => None,
        })
        .collect()
}

pub fn judge(plan: ChannelPlan, trace: &[(f64, f64)]) -> Vec<JudgedPass> {
    passes_of(events(plan, trace))
}

/// The single pass of a trace.
pub fn judge_one(plan: ChannelPlan, trace: &[(f64, f64)]) -> JudgedPass {
    let mut passes = judge(plan, trace);
    assert_eq!(passes.len(), 1, "{passes:#?}");
    passes.remove(0)
}

pub fn assert_close(value: f64, expected: f64, tolerance: f64) {
    assert!(
        (value - expected).abs() <= tolerance,
        "{value} is not within {tolerance} of {expected}"
    );
}
