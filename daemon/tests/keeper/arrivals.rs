//! What comes twice is kept once, what comes late is not used, and the wall clock moves no print.

use inkdwell_daemon::record::{Occurrence, Record};

use crate::shop::{at, film, keeper, line, open, passes};

#[test]
fn a_message_that_comes_twice_is_kept_once() {
    let mut keeper = keeper();
    let numbered = |second: i64, sequence| {
        let mut delivery = line(&[("film", 30.0 + second as f64)]);
        delivery.said[0].device_time = Some(at(second as f64).0);
        delivery.said[0].sequence = sequence;
        delivery
    };
    for second in 0..4 {
        keeper.take(
            numbered(second, Some(second as u64)),
            at(second as f64 + 0.05),
        );
    }
    keeper.take(numbered(2, Some(2)), at(4.0));
    keeper.take(numbered(1, None), at(4.1));
    assert_eq!(keeper.take_entry().readings.len(), 4);
}

#[test]
fn what_comes_late_is_kept_and_told_of_but_not_used() {
    let mut keeper = keeper();
    let timed = |second: f64, celsius| {
        let mut delivery = line(&[("film", celsius)]);
        delivery.said[0].device_time = Some(at(second).0);
        delivery
    };
    keeper.take(timed(10.0, 30.0), at(10.1));
    keeper.take(timed(8.0, 31.0), at(10.2));
    keeper.tick(at(11.0), at(11.0));
    let entry = keeper.take_entry();
    let fed: Vec<bool> = entry.readings.iter().map(|taking| taking.fed).collect();
    assert_eq!(fed, [true, false, true], "the last is the tick");
    let told = entry.records.iter().any(|(_, record)| {
        let Record::Occurred(occurred) = record else {
            return false;
        };
        let late = Occurrence::Late {
            of: "film".to_owned(),
            readings: 1,
        };
        occurred.what == late
    });
    assert!(told);
}

#[test]
fn the_wall_clock_may_be_set_without_moving_a_pass() {
    let mut keeper = keeper();
    keeper.command(open("plastisol-standard"), at(0.0)).unwrap();
    for tenth in 0..1300 {
        let t = f64::from(tenth) * 0.1;
        keeper.take(line(&[("film", film(t, 172.0))]), at(t));
        if tenth % 10 == 0 {
            let set = if tenth < 400 { 0.0 } else { -3600.0 };
            let set = if tenth < 800 { set } else { 86_400.0 };
            keeper.tick(at(t), at(t + set));
        }
    }
    let entry = keeper.take_entry();
    let steps = entry.records.iter().filter(|(_, record)| {
        let Record::Occurred(occurred) = record else {
            return false;
        };
        matches!(occurred.what, Occurrence::ClockStepped { .. })
    });
    assert_eq!(steps.count(), 2);
    let judged = passes(&entry)[0].judged.as_ref().unwrap();
    assert_eq!((judged.verdict.as_str(), judged.gaps), ("cured", 0));
}
