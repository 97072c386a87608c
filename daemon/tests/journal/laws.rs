//! Whatever is committed, tidied and opened again, in whatever order: it is there, as it was, in its order.

use std::time::Duration;

use inkdwell_daemon::intake::MessageMark;
use inkdwell_daemon::journal::{
    Batch, ChannelNumber, ChannelReading, CommitNumber, JournaledReading, Readers, Shown, Writer,
};
use inkdwell_daemon::record::Occurrence;
use inkdwell_daemon::time::Micros;
use proptest::prelude::*;

use crate::common::{occurred, open_with, packing_at};

const CHANNELS: u32 = 4;
const WORDS: [&str; 3] = ["OPEN", "ERR", "---"];

#[derive(Debug, Clone)]
enum Step {
    Commit {
        readings: Vec<(u32, i64, Raw, bool)>,
        records: u8,
        mark: Option<u16>,
        checkpoint: bool,
    },
    Tidy(u8),
    Reopen,
}

/// What was shown, before words have numbers.
#[derive(Debug, Clone)]
enum Raw {
    Number(u64),
    Word(usize),
}

fn any_raw() -> impl Strategy<Value = Raw> {
    prop_oneof![
        6 => (-400i32..6000).prop_map(|t| Raw::Number((f64::from(t) / 10.0).to_bits())),
        2 => any::<u64>().prop_map(Raw::Number),
        1 => prop::sample::select(vec![0.0, -0.0, f64::NAN, f64::INFINITY, 5e-324])
            .prop_map(|number: f64| Raw::Number(number.to_bits())),
        1 => (0..WORDS.len()).prop_map(Raw::Word),
    ]
}

fn any_step() -> impl Strategy<Value = Step> {
    let time = prop_oneof![8 => 0i64..10_000_000, 1 => any::<i64>()];
    let reading = (0..CHANNELS, time, any_raw(), prop::bool::weighted(0.9));
    let readings = prop::collection::vec(reading, 0..12);
    let mark = prop::option::of(0u16..4);
    prop_oneof![
        6 => (readings, 0u8..3, mark, prop::bool::weighted(0.3)).prop_map(
            |(readings, records, mark, checkpoint)| Step::Commit { readings, records, mark, checkpoint }
        ),
        3 => (0u8..12).prop_map(Step::Tidy),
        1 => Just(Step::Reopen),
    ]
}

/// What ought to be in the journal.
#[derive(Default)]
struct Model {
    commits: Vec<Batch>,
    checkpoint: usize,
}

impl Model {
    fn of_channel(&self, channel: ChannelNumber, from: Micros, to: Micros) -> Vec<ChannelReading> {
        let readings = self.commits.iter().flat_map(|batch| &batch.readings);
        readings
            .filter(|reading| reading.channel == channel)
            .filter(|reading| from <= reading.at && reading.at <= to)
            .map(|reading| ChannelReading {
                at: reading.at,
                shown: reading.shown,
                fed: reading.fed,
            })
            .collect()
    }

    fn check(&self, writer: &mut Writer, readers: &Readers, range: (i64, i64)) {
        let reader = readers.reader().unwrap();
        for index in 0..CHANNELS {
            let channel = writer.channel("probes", &format!("channel {index}"));
            for (from, to) in [(i64::MIN, i64::MAX), range] {
                let (from, to) = (Micros(from), Micros(to));
                let kept: Result<Vec<_>, _> = reader.readings(channel, from, to).collect();
                assert_eq!(kept.unwrap(), self.of_channel(channel, from, to));
            }
        }
        let count: usize = self.commits.iter().map(|batch| batch.readings.len()).sum();
        assert_eq!(reader.sizes().unwrap().readings, count as u64);
        assert_eq!(reader.last_commit().unwrap().0 as usize, self.commits.len());
        self.check_replay(readers);
        let verification = reader.verify(None, |_| {}).unwrap();
        assert_eq!(verification.broken, []);
        assert_eq!(verification.readings, count as u64);
    }

    fn check_replay(&self, readers: &Readers) {
        let reader = readers.reader().unwrap();
        let checkpoint = reader.last_checkpoint().unwrap();
        let after = checkpoint.as_ref().map_or(CommitNumber(0), |c| c.commit);
        assert_eq!(after.0 as usize, self.checkpoint);
        if let Some(checkpoint) = checkpoint {
            let expected = &self.commits[self.checkpoint - 1].checkpoint;
            assert_eq!(expected.as_ref(), Some(&checkpoint.bytes));
        }
        assert!(reader.replayable_after().unwrap() <= after);
        let mut replayed = reader.replay_after(after);
        let commits = self.commits.iter().enumerate().skip(self.checkpoint);
        for (index, batch) in
            commits.filter(|(_, batch)| !batch.readings.is_empty() || !batch.records.is_empty())
        {
            let commit = replayed.next().unwrap().unwrap();
            assert_eq!(commit.number.0 as usize, index + 1);
            assert_eq!(commit.readings, batch.readings);
            let records: Vec<_> = commit
                .records
                .into_iter()
                .map(|kept| (kept.at, kept.record))
                .collect();
            assert_eq!(records, batch.records);
        }
        assert!(replayed.next().is_none());
        self.check_marks(readers);
    }

    fn check_marks(&self, readers: &Readers) {
        let reader = readers.reader().unwrap();
        let mut expected: Vec<MessageMark> = Vec::new();
        for (_, mark) in self.commits.iter().flat_map(|batch| &batch.marks) {
            expected.retain(|own| own.packet != mark.packet);
            expected.push(*mark);
        }
        let source = reader.source("probes").unwrap();
        let kept = source.map(|source| reader.marks(source).unwrap());
        assert_eq!(kept.unwrap_or_default(), expected);
    }
}

fn batch_of(writer: &mut Writer, step: Step, number: u64) -> Batch {
    let Step::Commit {
        readings,
        records,
        mark,
        checkpoint,
    } = step
    else {
        return Batch::default();
    };
    let kept = readings.into_iter().map(|(channel, at, raw, fed)| {
        let shown = match raw {
            Raw::Number(bits) => Shown::Number(f64::from_bits(bits)),
            Raw::Word(word) => Shown::Word(writer.word(WORDS[word])),
        };
        JournaledReading {
            channel: writer.channel("probes", &format!("channel {channel}")),
            at: Micros(at),
            shown,
            fed,
        }
    });
    let kept = kept.collect();
    let event = |index: u8| Occurrence::Late {
        of: format!("record {index} of {number}"),
        readings: number,
    };
    Batch {
        readings: kept,
        records: (0..records)
            .map(|index| (Micros(number as i64), occurred(event(index))))
            .collect(),
        marks: mark
            .map(|packet| MessageMark {
                packet,
                digest: [number as u8; 16],
            })
            .map(|mark| (writer.source("probes"), mark))
            .into_iter()
            .collect(),
        checkpoint: checkpoint.then(|| number.to_be_bytes().to_vec()),
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn everything_is_kept_in_its_order(
        steps in prop::collection::vec(any_step(), 1..25),
        from in 0i64..10_000_000,
        length in 0i64..5_000_000,
    ) {
        let folder = tempfile::tempdir().unwrap();
        // Eight readings make a stretch, so that many are made.
        let (mut writer, mut readers) = open_with(folder.path(), packing_at(8));
        let mut model = Model::default();
        for step in steps {
            match step {
                Step::Tidy(steps) => {
                    for _ in 0..steps {
                        writer.tidy(Duration::ZERO).unwrap();
                    }
                }
                Step::Reopen => {
                    drop(writer);
                    (writer, readers) = open_with(folder.path(), packing_at(8));
                }
                commit => {
                    let number = model.commits.len() as u64 + 1;
                    let batch = batch_of(&mut writer, commit, number);
                    if batch.is_empty() {
                        continue;
                    }
                    let committed = writer.commit(&batch).unwrap();
                    prop_assert_eq!(committed.number, CommitNumber(number));
                    if batch.checkpoint.is_some() {
                        model.checkpoint = model.commits.len() + 1;
                    }
                    model.commits.push(batch);
                }
            }
        }
        model.check(&mut writer, &readers, (from, from + length));
    }
}

#[test]
fn packing_goes_on_while_a_channel_is_read() {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, readers) = open_with(folder.path(), packing_at(50));
    let channel = writer.channel("probes", "film");
    let commit = |writer: &mut Writer, number: i64| {
        let reading = crate::common::reading(channel, Micros(number), number as f64);
        let mut batch = crate::common::readings(vec![reading]);
        batch.checkpoint = Some(Vec::new());
        writer.commit(&batch).unwrap();
    };
    for number in 0..120 {
        commit(&mut writer, number);
    }
    let reader = readers.reader().unwrap();
    let mut kept = Vec::new();
    let first = reader.readings(channel, Micros(0), Micros(119));
    for (number, reading) in (120..).zip(first) {
        kept.push(reading.unwrap().at.0);
        writer.tidy(Duration::ZERO).unwrap();
        commit(&mut writer, number);
    }
    assert_eq!(kept, (0..120).collect::<Vec<_>>());
}
