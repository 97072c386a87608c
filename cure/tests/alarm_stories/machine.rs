//! The shop's machine: sources, clock, queue, disk, outboxes.

use crate::common::{SOUND, comes, day, does_not};
use inkdwell_config::quantity::Seconds;
use inkdwell_cure::alarm::{Kind, Notice};

#[test]
fn a_source_that_is_down() {
    let story = |back: f64| {
        let mut day = day();
        let down = Notice::SourceDown("line".to_owned(), "nothing answers".to_owned());
        day.notice(10.0, &down);
        day.notice(back, &Notice::SourceUp("line".to_owned()));
        day.until(100.0);
        day
    };
    comes(&story(60.0), Kind::SourceDown, 10.0, 6.0);
    does_not(&story(13.0), Kind::SourceDown);
}

/// The source is down, so its probes are silent: people hear of one alarm.
#[test]
fn what_hangs_on_a_wire_is_one_alarm() {
    let mut day = day();
    day.open("belt-1", 0.0, "plastisol-standard", "cotton-jersey");
    SOUND.run(&mut day, 0.0, 100.0);
    let down = Notice::SourceDown("line".to_owned(), "nothing answers".to_owned());
    day.notice(100.0, &down);
    day.until(400.0);
    let announced: Vec<String> = day
        .told
        .iter()
        .filter(|event| event.announce)
        .map(|event| event.id.to_string())
        .collect();
    assert_eq!(announced, ["source-down@line"]);
    assert!(
        day.raised(Kind::ProbeSilent).len() >= 3,
        "{:?}",
        day.all_raised()
    );
}

#[test]
fn what_happens_to_clock_queue_disk_and_outbox() {
    let mut day = day();
    SOUND.run(&mut day, 0.0, 50.0);
    let kinds = [
        Kind::ClockStepped,
        Kind::QueueOverflow,
        Kind::DiskNearlyFull,
        Kind::OutboxGrowing,
    ];
    kinds.into_iter().for_each(|kind| does_not(&day, kind));
    day.notice(50.0, &Notice::ClockStepped(Seconds(3600.0)));
    day.notice(50.0, &Notice::TurnedAway("line".to_owned(), 40));
    day.notice(50.0, &Notice::DiskLow(700_000_000));
    day.notice(50.0, &Notice::OutboxGrowing("office".to_owned(), 2000));
    day.until(120.0);
    let delays = [0.0, 0.0, 0.0, 61.0];
    for (kind, within) in kinds.into_iter().zip(delays) {
        comes(&day, kind, 50.0, within);
    }
}

/// Eight messages wait for half a minute: a way out that was slow once.
#[test]
fn an_outbox_that_clears_in_time_is_nothing() {
    let mut day = day();
    day.notice(5.0, &Notice::OutboxGrowing("office".to_owned(), 8));
    day.notice(35.0, &Notice::OutboxClear("office".to_owned()));
    day.until(200.0);
    does_not(&day, Kind::OutboxGrowing);
}
