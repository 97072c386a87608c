//! A shop's readings take less than three bytes each once they are packed.

use inkdwell_daemon::journal::{Batch, ChannelReading, JournaledReading, Shown};
use inkdwell_daemon::time::Micros;
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};

use crate::common::{at, open_with, packing_at, tidy_all};

/// A number with noise (standard deviation, °C), as a device reads it.
fn shown(random: &mut StdRng, second: f64, noise: f64, step: f64) -> f64 {
    let normal: f64 = (0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0;
    let level = 180.0 + 2.5 * (second / 71.0).sin() + 0.8 * (second / 13.0).sin();
    // Dividing gives the number that the device's text means.
    ((level + noise * normal) / step).round() / (1.0 / step).round()
}

/// A serial line with four thermocouples to 0.1 °C at 4 Hz, and six devices on a network, each with messages
/// of its own, to 0.25 °C at 1 Hz; all arrive up to 16 ms late (USB bridges and pollers; common practice, no
/// source).
#[test]
fn a_shop_takes_less_than_three_bytes_a_reading() {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, readers) = open_with(folder.path(), packing_at(60_000));
    let mut random = StdRng::seed_from_u64(3);
    let line: Vec<_> = ["film", "cloth", "exit", "room"]
        .map(|name| writer.channel("line", name))
        .to_vec();
    let devices: Vec<_> = (0..6)
        .map(|index| writer.channel("broker", &format!("zone-{index}")))
        .collect();
    let open = writer.word("OPEN");
    let mut first = Vec::new();
    let (seconds, at_once) = (6000u32, 20);
    for beginning in (0..seconds).step_by(at_once) {
        let mut readings = Vec::new();
        for quarter in 4 * beginning..4 * (beginning + at_once as u32) {
            let second = f64::from(quarter) / 4.0;
            let arrived = at(second + random.random_range(0.0..0.016));
            for channel in &line {
                // A junction that is loose for some seconds now and then.
                let loose = quarter % 9000 < 20 && *channel == line[1];
                let shown = match loose {
                    true => Shown::Word(open),
                    false => Shown::Number(shown(&mut random, second, 0.15, 0.1)),
                };
                readings.push(JournaledReading {
                    channel: *channel,
                    at: arrived,
                    shown,
                    fed: true,
                });
            }
            for channel in devices.iter().filter(|_| quarter % 4 == 0) {
                let at = at(second + random.random_range(0.0..0.016));
                let shown = Shown::Number(shown(&mut random, second, 0.3, 0.25));
                readings.push(JournaledReading {
                    channel: *channel,
                    at,
                    shown,
                    fed: true,
                });
            }
        }
        first.extend(
            readings
                .iter()
                .filter(|reading| reading.channel == line[1])
                .copied(),
        );
        let checkpoint = Some(Vec::new());
        writer
            .commit(&Batch {
                readings,
                checkpoint,
                ..Batch::default()
            })
            .unwrap();
        tidy_all(&mut writer);
    }
    let reader = readers.reader().unwrap();
    let sizes = reader.sizes().unwrap();
    assert_eq!(sizes.readings, u64::from(seconds) * 22);
    assert!(sizes.packed_readings >= 120_000, "{sizes:?}");
    let bytes = sizes.packed_bytes as f64 / sizes.packed_readings as f64;
    println!("{bytes:.2} bytes a reading; {sizes:?}");
    assert!(bytes < 2.5, "{bytes} bytes a reading");
    let kept: Result<Vec<_>, _> = reader
        .readings(line[1], Micros(0), Micros(i64::MAX))
        .collect();
    let expected: Vec<_> = first
        .iter()
        .map(|reading| ChannelReading {
            at: reading.at,
            shown: reading.shown,
            fed: true,
        })
        .collect();
    assert!(kept.unwrap() == expected, "they are not what was committed");
}
