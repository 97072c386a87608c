//! A journal as a year leaves it.

use std::time::Duration;

use inkdwell_daemon::journal::{Batch, Writer};
use inkdwell_daemon::record::{
    BatchClosed, BatchOpened, Dose, HarmSeen, HoldJoined, HoldOpened, HoldSettled, Judged,
    PassJudged, Place, Record, Settled,
};
use inkdwell_daemon::time::Micros;

pub const BEGIN: i64 = 1_790_000_000_000_000;
pub const DAY: i64 = 86_400_000_000;

fn pass(number: u64, start: Micros, batch: u64) -> Record {
    let dose = |best: f64| Dose {
        low: best * 0.9,
        best,
        high: best * 1.1,
    };
    Record::PassJudged(PassJudged {
        pass: number,
        station: "belt-1".to_owned(),
        probe: Some("exit".to_owned()),
        place: Place::Exit,
        start,
        end: start.plus_seconds(55.0),
        batch: Some(batch),
        print: Some(number % 3000 + 1),
        belt_m_per_min: Some(2.6),
        judged: Some(Judged {
            evidence: "inferred".to_owned(),
            cut: false,
            samples: 40,
            faults: 0,
            gaps: 0,
            peak_c: 165.0 + (number % 17) as f64 / 7.0,
            threshold_c: 160.0,
            time_above_s: 12.3 + (number % 13) as f64 / 11.0,
            max_rise_c_per_s: 4.4,
            uncertainty_c: 2.4,
            cure: Some(dose(1.2 + (number % 11) as f64 / 9.0)),
            harms: vec![HarmSeen {
                harm: "scorch".to_owned(),
                dose: dose(0.01),
            }],
            verdict: if is_good(number) { "cured" } else { "unproven" }.to_owned(),
            harm: None,
            reasons: Vec::new(),
            remarks: vec![
                "It presumes the batch's own garment: one half as heavy again can read hotter."
                    .to_owned(),
            ],
        }),
    })
}

/// Every fiftieth print is not proved.
fn is_good(number: u64) -> bool {
    !number.is_multiple_of(50)
}

/// The hold of a day: it is opened by the first print that is not proved, the others join it, and at the end of the
/// day it is settled, but for that of the last day.
fn holds(records: &mut Vec<(Micros, Record)>, number: u64, at: Micros, batch: u64) {
    if is_good(number) {
        return;
    }
    if !records
        .iter()
        .any(|(_, record)| matches!(record, Record::HoldOpened(_)))
    {
        let opened = Record::HoldOpened(HoldOpened {
            hold: batch,
            batch: Some(batch),
            station: "belt-1".to_owned(),
            verdict: "unproven".to_owned(),
            evidence: "inferred".to_owned(),
            harm: None,
        });
        records.push((at, opened));
    }
    let joined = HoldJoined {
        hold: batch,
        pass: number,
    };
    records.push((at, Record::HoldJoined(joined)));
}

/// Days of 3000 passes, in a batch each.
pub fn passes(writer: &mut Writer, days: u64) {
    let by = || "Ada".to_owned();
    for day in 0..days {
        let start = |pass: u64| Micros(BEGIN + day as i64 * DAY + pass as i64 * 9_000_000);
        let batch = day + 1;
        let opened = Record::BatchOpened(BatchOpened {
            batch,
            station: "belt-1".to_owned(),
            job: format!("job {batch}"),
            ink: "plastisol-standard".to_owned(),
            fabric: "cotton-jersey".to_owned(),
            declared: String::new(),
            last_heat: true,
            quantity: Some(3000),
            blank_cost: None,
            mesh_per_inch: None,
            ink_mixed: None,
            recipe: None,
            by: by(),
        });
        let mut records = vec![(start(0), opened)];
        for index in 0..3000 {
            let number = day * 3000 + index + 1;
            let left = start(index).plus_seconds(55.0);
            records.push((left, pass(number, start(index), batch)));
            holds(&mut records, number, left, batch);
        }
        let closed = Record::BatchClosed(BatchClosed { batch, by: by() });
        records.push((start(3000), closed));
        if day + 1 < days {
            let settled = Record::HoldSettled(HoldSettled {
                hold: batch,
                outcome: Settled::ReRun,
                by: by(),
                why: "through the dryer once more".to_owned(),
            });
            records.push((start(3001), settled));
        }
        let checkpoint = Some(vec![0; 20_000]);
        writer
            .commit(&Batch {
                records,
                checkpoint,
                ..Batch::default()
            })
            .expect("a commit");
        writer.tidy(Duration::from_millis(20)).expect("upkeep");
    }
}
