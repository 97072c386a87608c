//! From one batch to the next: a pass is judged by the laws that held when it began.

mod common;

use common::{fabric, hold, ink, lines, passes_of, plan, plan_for};
use inkdwell_cure::engine::{ChannelId, Engine, Event, EventKind};
use inkdwell_cure::judged::Verdict;
use inkdwell_cure::plan::{ChannelPlan, Watch};

/// Up to 170 °C, ten seconds there, down to 30 °C again: enough for 5 s at 160 °C, not for 60 s.
fn ride(from: f64) -> Vec<(f64, f64)> {
    let corners = [
        (from, 30.0),
        (from + 70.0, 170.0),
        (from + 80.0, 170.0),
        (from + 150.0, 30.0),
    ];
    lines(&corners, 0.5)
}

/// A print flashed to a peak and cooled again.
fn flashed(from: f64, peak: f64) -> Vec<(f64, f64)> {
    lines(
        &[(from, 40.0), (from + 8.0, peak), (from + 20.0, 40.0)],
        0.25,
    )
}

fn slow_ink() -> ChannelPlan {
    plan_for(&ink(160.0, hold(160.0, 60.0)), &fabric(&[]), 1.0)
}

fn feed(engine: &mut Engine, channel: ChannelId, trace: &[(f64, f64)]) -> Vec<Event> {
    let mut events = Vec::new();
    engine.feed_all(channel, trace, &mut |event| events.push(event));
    events
}

#[test]
fn a_pass_that_is_open_keeps_its_laws_and_the_next_has_the_new_ones() {
    let mut engine = Engine::new();
    let channel = engine.add_channel(plan(1.0));
    let (first, second) = (ride(0.0), ride(200.0));
    let (before, after) = first.split_at(100);
    let mut events = feed(&mut engine, channel, before);
    assert!(matches!(events[0].kind, EventKind::PassStarted { .. }));
    assert!(!engine.replan(channel, slow_ink()), "a pass is open");
    events.extend(feed(&mut engine, channel, after));
    // The dip below wake has to last before the pass is over.
    events.extend(feed(&mut engine, channel, &[(155.0, 28.0), (160.0, 28.0)]));
    assert!(engine.replan(channel, slow_ink()));
    events.extend(feed(&mut engine, channel, &second));
    events.extend(feed(&mut engine, channel, &[(355.0, 28.0), (360.0, 28.0)]));
    let verdicts: Vec<Verdict> = passes_of(events).iter().map(|pass| pass.verdict).collect();
    assert_eq!(verdicts, [Verdict::Cured, Verdict::UnderCured]);
}

#[test]
fn other_laws_between_two_passes_leave_the_second_as_if_they_had_always_held() {
    let (first, second) = (ride(0.0), ride(200.0));
    let late = [(355.0, 28.0), (360.0, 28.0)];
    let mut changed = Engine::new();
    let channel = changed.add_channel(plan(1.0));
    feed(&mut changed, channel, &first);
    feed(&mut changed, channel, &[(155.0, 28.0), (160.0, 28.0)]);
    assert!(changed.replan(channel, slow_ink()));
    let mut events = feed(&mut changed, channel, &second);
    events.extend(feed(&mut changed, channel, &late));
    let changed = passes_of(events).remove(0);

    let mut always = Engine::new();
    let channel = always.add_channel(slow_ink());
    let mut events = feed(&mut always, channel, &first);
    events.extend(feed(&mut always, channel, &[(155.0, 28.0), (160.0, 28.0)]));
    events.extend(feed(&mut always, channel, &second));
    events.extend(feed(&mut always, channel, &late));
    assert_eq!(changed, passes_of(events).remove(1));
}

#[test]
fn a_flashed_print_that_has_cooled_is_judged_before_the_next_batch_begins() {
    let gel = |u| ChannelPlan {
        watch: Watch::FlashGel,
        ..plan(u)
    };
    let mut engine = Engine::new();
    let channel = engine.add_channel(gel(1.0));
    let (first, second) = (flashed(0.0, 112.0), flashed(30.0, 140.0));
    let (heating, cooling) = first.split_at(25);
    let mut events = feed(&mut engine, channel, heating);
    let count = events.len();
    engine.settle(channel, false, &mut |event| events.push(event));
    assert_eq!(events.len(), count, "it is still being heated");
    assert!(!engine.replan(channel, gel(2.0)));
    events.extend(feed(&mut engine, channel, cooling));
    engine.settle(channel, false, &mut |event| events.push(event));
    assert!(engine.replan(channel, gel(2.0)));
    events.extend(feed(&mut engine, channel, &second));
    engine.finish(&mut |event| events.push(event));
    let passes = passes_of(events);
    let verdicts: Vec<Verdict> = passes.iter().map(|pass| pass.verdict).collect();
    assert_eq!(verdicts, [Verdict::Gelled, Verdict::OverFlashed]);
    assert_eq!(
        (passes[0].uncertainty.0, passes[1].uncertainty.0),
        (1.0, 2.0)
    );
}
