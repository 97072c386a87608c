//! Devices and wires that misbehave.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use inkdwell_daemon::intake::Value;
use inkdwell_daemon::source::health::Line;
use proptest::prelude::*;
use tokio::io::{AsyncWriteExt, DuplexStream};
use tokio::sync::{Mutex, mpsc};
use tokio::time::sleep;

use crate::frame::{answer, framed};
use crate::imagined::{Question, machine, question, serve};
use crate::running::{Running, rtu, settings, word};

fn bus(timing: &str) -> String {
    rtu(Path::new("/dev/imagined"), timing)
}

/// Device 1 takes its time for each answer, and for one after the other; device 2 answers at once.
async fn serve_late(far: DuplexStream, delay: Duration) {
    let (mut far, near) = tokio::io::split(far);
    let near = Arc::new(Mutex::new(near));
    let (late, mut asked) = mpsc::unbounded_channel();
    let says = |question: &Question| {
        let word = 1000 * u16::from(question.unit) + question.address;
        answer(question.unit, 4, &[word])
    };
    let own = Arc::clone(&near);
    let first = tokio::spawn(async move {
        while let Some(question) = asked.recv().await {
            sleep(delay).await;
            if own.lock().await.write_all(&says(&question)).await.is_err() {
                break;
            }
        }
    });
    while let Some(question) = question(&mut far).await {
        let said = match question.unit {
            1 => late.send(question).is_ok(),
            _ => near.lock().await.write_all(&says(&question)).await.is_ok(),
        };
        if !said {
            break;
        }
    }
    drop(late);
    first.await.unwrap();
}

/// A device answers about when its time is over, or long after. What it says of one register is never taken
/// for another's, nor for another device's, and the other device is read on.
#[tokio::test(start_paused = true)]
async fn late_answers_are_not_taken_for_those_to_other_questions() {
    for delay in [
        700, 999, 1000, 1001, 1005, 1100, 1300, 1499, 1500, 1505, 1700, 2100, 3600,
    ] {
        let (machine, mut opened) = machine();
        let registers = [word("zero", 1, 0), word("five", 1, 5), word("other", 2, 5)].concat();
        let timing = "poll = \"0.5 s\"\ntimeout = \"1 s\"\n";
        let mut running = Running::start(machine, settings(&bus(timing), &registers), 16);
        let far = opened.recv().await.unwrap();
        let devices = tokio::spawn(serve_late(far, Duration::from_millis(delay)));
        for _ in 0..200 {
            for said in running.delivery().await.said {
                let expected = match &*said.channel {
                    "zero" => 1000.0,
                    "five" => 1005.0,
                    _ => 2005.0,
                };
                let value = Value::Number(expected);
                assert_eq!(said.value, value, "{} at {delay} ms", said.channel);
            }
        }
        running.end().await;
        devices.await.unwrap();
    }
}

/// A spoilt answer costs no time-out: the rounds go on, and the good device is read in each.
#[tokio::test(start_paused = true)]
async fn a_spoilt_answer_is_garbled_and_harms_no_other() {
    type Spoil = fn(Vec<u8>) -> Vec<u8>;
    let spoils: [(&str, Spoil); 6] = [
        ("check sum", |mut frame| {
            *frame.last_mut().unwrap() ^= 1;
            frame
        }),
        ("half", |frame| frame[..4].to_vec()),
        ("another unit's", |_| answer(3, 4, &[7])),
        ("another table's", |_| answer(1, 3, &[7])),
        ("too long", |_| answer(1, 4, &[7, 8])),
        ("noise", |_| vec![0x55; 300]),
    ];
    for (name, spoil) in spoils {
        let (machine, mut opened) = machine();
        let registers = [word("spoilt", 1, 0), word("good", 2, 0)].concat();
        let timing = "poll = \"1 s\"\ntimeout = \"5 s\"\n";
        let mut running = Running::start(machine, settings(&bus(timing), &registers), 16);
        let mut far = opened.recv().await.unwrap();
        let devices = tokio::spawn(async move {
            let spoilt = |unit: u8| answer(unit, 4, &[1682]);
            serve(&mut far, |question| match question.unit {
                1 => spoil(spoilt(1)),
                unit => spoilt(unit),
            })
            .await
        });
        let begun = tokio::time::Instant::now();
        for _ in 0..20 {
            assert_eq!(running.channels(1).await["good"], "1682", "{name}");
        }
        assert!(
            begun.elapsed() < Duration::from_secs(22),
            "{name}: {:?}",
            begun.elapsed()
        );
        assert!(
            running.health.counts().garbled >= 19,
            "{name}: {:?}",
            running.health.counts()
        );
        let line = format!("{:?}", running.health.line());
        assert!(
            line.contains("what comes from device 1 cannot be understood ("),
            "{name}: {line}"
        );
        running.end().await;
        devices.await.unwrap();
    }
}

/// Every device is silent, though the port is there: the bus is opened anew, more and more rarely. The port
/// is gone: it is told at once.
#[tokio::test(start_paused = true)]
async fn a_bus_that_is_silent_altogether_is_opened_anew_and_one_that_is_gone_is_told() {
    let (machine, mut opened) = machine();
    let registers = [word("a", 1, 0), word("b", 2, 0)].concat();
    let mut running = Running::start(machine.clone(), settings(&bus(""), &registers), 16);
    let why = running
        .down_with(&["device 1 does not answer", "device 2 does not answer"])
        .await;
    assert!(!why.contains("the other devices"), "{why}");
    let mut ends = Vec::new();
    let until = tokio::time::Instant::now() + Duration::from_secs(3600);
    while let Ok(end) = tokio::time::timeout_at(until, opened.recv()).await {
        ends.push(end.unwrap());
    }
    assert!((6..=20).contains(&machine.opens()), "{}", machine.opens());
    machine.plug(None);
    let why = running
        .down_with(&["there is no serial port /dev/imagined"])
        .await;
    assert!(why.ends_with("(tried again every few seconds)"), "{why}");
    machine.plug(Some(2));
    let mut far = opened.recv().await.unwrap();
    let devices =
        tokio::spawn(
            async move { serve(&mut far, |question| answer(question.unit, 4, &[1682])).await },
        );
    running.up_again().await;
    assert_eq!(running.health.line(), Line::Up);
    running.end().await;
    devices.await.unwrap();
}

/// Stops although nobody takes what it has, and although no device answers.
#[tokio::test(start_paused = true)]
async fn it_stops_when_it_is_told() {
    let (machine, mut opened) = machine();
    let mut running = Running::start(machine, settings(&bus(""), &word("a", 1, 0)), 1);
    let mut far = opened.recv().await.unwrap();
    let devices =
        tokio::spawn(
            async move { serve(&mut far, |question| answer(question.unit, 4, &[1682])).await },
        );
    running.up().await;
    sleep(Duration::from_secs(10)).await;
    running.end().await;
    devices.await.unwrap();

    let (machine, mut opened) = self::machine();
    let timing = "timeout = \"3000 s\"";
    let running = Running::start(machine, settings(&bus(timing), &word("a", 1, 0)), 1);
    let _far = opened.recv().await.unwrap();
    sleep(Duration::from_secs(10)).await;
    running.end().await;
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Whatever comes back, nothing is said of the register but what a sound frame says, and the source
    /// goes on.
    #[test]
    fn no_answer_makes_it_panic(
        answers in proptest::collection::vec(
            prop_oneof![
                proptest::collection::vec(any::<u8>(), 0..40),
                proptest::collection::vec(any::<u8>(), 0..20).prop_map(framed),
                (any::<u8>(), proptest::collection::vec(any::<u8>(), 0..20)).prop_map(|(function, rest)| {
                    framed([vec![1, function], rest].concat())
                }),
            ],
            1..12,
        ),
    ) {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .start_paused(true)
            .build()
            .unwrap();
        runtime.block_on(async {
            let (machine, mut opened) = machine();
            let timing = "poll = \"0.5 s\"\ntimeout = \"1 s\"\n";
            let mut running = Running::start(machine, settings(&bus(timing), &word("a", 1, 0)), 16);
            let mut far = opened.recv().await.unwrap();
            let devices = tokio::spawn(async move {
                let mut answers = answers.into_iter();
                serve(&mut far, |question| {
                    answers.next().unwrap_or_else(|| answer(question.unit, 4, &[1682]))
                })
                .await
            });
            while running.channels(1).await["a"] != "1682" {}
            running.end().await;
            devices.await.unwrap();
        });
    }
}
