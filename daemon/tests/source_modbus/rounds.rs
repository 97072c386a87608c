//! When devices are asked. The clock is imagined; it goes on only when nothing else does.

use std::path::Path;
use std::time::Duration;

use tokio::io::AsyncWriteExt;
use tokio::time::{Instant, sleep};

use crate::frame::answer;
use crate::imagined::{Question, machine, question, serve};
use crate::running::{Running, rtu, settings, word};

fn bus(timing: &str) -> String {
    rtu(Path::new("/dev/imagined"), timing)
}

/// A question comes at most so much after its time: the silence before it (3.5 characters) and the clock's
/// step of a millisecond.
const LATE: Duration = Duration::from_millis(10);

fn off_beat(question: &Question, begun: Instant, poll: Duration) -> Duration {
    let since = question.at - begun;
    Duration::from_nanos((since.as_nanos() % poll.as_nanos()) as u64)
}

/// A thousand rounds keep to the beat of the first, whatever each takes; a queue that was full for a while
/// is followed by no burst.
#[tokio::test(start_paused = true)]
async fn rounds_keep_to_the_poll_interval_without_drift_or_bursts() {
    let (machine, mut opened) = machine();
    let settings = settings(&bus("poll = \"0.5 s\""), &word("good", 1, 0));
    let mut running = Running::start(machine, settings, 4);
    let mut far = opened.recv().await.unwrap();
    let poll = Duration::from_millis(500);
    let taker = tokio::spawn(async move {
        for taken in 0..1000 {
            running.delivery().await;
            if taken == 500 {
                sleep(Duration::from_millis(10_300)).await;
            }
        }
        running.end().await;
    });
    let mut questions: Vec<Question> = Vec::new();
    while let Some(question) = question(&mut far).await {
        questions.push(question);
        // Each answer takes its time.
        sleep(Duration::from_millis(37)).await;
        if far.write_all(&answer(1, 4, &[1682])).await.is_err() {
            break;
        }
    }
    taker.await.unwrap();
    assert!(questions.len() >= 1000);
    let begun = questions[0].at - LATE / 2;
    let beats = questions
        .iter()
        .map(|question| off_beat(question, begun, poll) <= LATE);
    let beats: Vec<bool> = beats.collect();
    // Only the question that was due while nobody could ask comes off the beat, as soon as it can.
    let off = beats.iter().filter(|on| !**on).count();
    assert!(off <= 1, "{off}");
    for (pair, on) in questions.windows(2).zip(&beats) {
        assert!(!on || pair[1].at - pair[0].at >= poll - LATE, "{pair:?}");
    }
    let longest = questions
        .windows(2)
        .map(|pair| pair[1].at - pair[0].at)
        .max()
        .unwrap();
    assert!(
        longest > Duration::from_secs(5),
        "the queue was never full: {longest:?}"
    );
}

/// Two devices of five are silent for ten minutes. The others are asked in nearly every round: the two cost
/// one time-out of a second each at most every 11 s once their waits have grown (15 s, a quarter less).
#[tokio::test(start_paused = true)]
async fn silent_devices_do_not_starve_the_others() {
    let (machine, mut opened) = machine();
    let registers: String = (1..=5)
        .map(|unit| word(&format!("c{unit}"), unit, 0))
        .collect();
    let timing = "poll = \"0.5 s\"\ntimeout = \"1 s\"\n";
    let mut running = Running::start(machine.clone(), settings(&bus(timing), &registers), 16);
    let mut far = opened.recv().await.unwrap();
    let taker = tokio::spawn(async move {
        let until = Instant::now() + Duration::from_secs(600);
        while Instant::now() < until {
            running.delivery().await;
        }
        let line = running.health.line();
        running.end().await;
        line
    });
    let silent = |unit: u8| unit == 2 || unit == 4;
    let questions = serve(&mut far, |question| match silent(question.unit) {
        true => Vec::new(),
        false => answer(question.unit, 4, &[1682]),
    })
    .await;
    let line = format!("{:?}", taker.await.unwrap());
    assert!(
        line.contains("device 2 does not answer") && line.contains("device 4 does not answer"),
        "{line}"
    );
    let times = |unit: u8| {
        questions
            .iter()
            .filter(|question| question.unit == unit)
            .count()
    };
    for unit in [1, 3, 5] {
        assert!(times(unit) >= 800, "{unit}: {}", times(unit));
    }
    for unit in [2, 4] {
        assert!((30..=65).contains(&times(unit)), "{unit}: {}", times(unit));
    }
    // Never two time-outs in a round, once both are known to be silent.
    let later = questions
        .iter()
        .filter(|question| question.at > questions[0].at + Duration::from_secs(10));
    let later: Vec<&Question> = later.collect();
    assert!(
        later
            .windows(3)
            .all(|three| !(silent(three[0].unit) && silent(three[2].unit)))
    );
    assert_eq!(machine.opens(), 1);
}

/// Neighbours go into one question, and both tables have their function.
#[tokio::test(start_paused = true)]
async fn neighbours_are_asked_for_in_one_question() {
    let (machine, mut opened) = machine();
    let mut registers: String = (10..20).map(|at| word(&format!("c{at}"), 9, at)).collect();
    registers.push_str(&word("far", 9, 40).replace("input", "holding"));
    let mut running = Running::start(machine, settings(&bus(""), &registers), 16);
    let mut far = opened.recv().await.unwrap();
    let taker = tokio::spawn(async move {
        let heard = running.channels(11).await;
        running.end().await;
        heard
    });
    let questions = serve(&mut far, |question| {
        let words = question.address..question.address + question.count;
        answer(
            question.unit,
            question.function,
            &words.collect::<Vec<u16>>(),
        )
    })
    .await;
    let asked = |at: usize| {
        let question = questions[at];
        (
            question.unit,
            question.function,
            question.address,
            question.count,
        )
    };
    assert_eq!((asked(0), asked(1)), ((9, 4, 10, 10), (9, 3, 40, 1)));
    let heard = taker.await.unwrap();
    assert_eq!(
        (&*heard["c10"], &*heard["c19"], &*heard["far"]),
        ("10", "19", "40")
    );
    // Frames stand apart by 3.5 characters of 11 bits: 4.01 ms at 9600 bits a second.
    assert!(questions[1].at - questions[0].at >= Duration::from_millis(4));
}
