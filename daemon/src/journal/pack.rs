//! Packing the readings of one channel, exactly.
//!
//! Times and numbers are packed apart by a numeric-compression library. Numbers that a device gave with
//! one to six decimals are packed as whole numbers of the last decimal, if every one of them comes back to
//! the bit; others as the floats that they are, or as what the library finds behind them. A word takes the
//! place of a number: the number before it is packed there, and the words stand beside, in runs.

use pco::ChunkConfig;
use pco::standalone::{simple_compress, simple_decompress};
use serde::{Deserialize, Serialize};

use super::number::WordNumber;
use super::reading::Shown;
use crate::time::Micros;

/// Numbers with more decimals are packed as floats.
const MOST_DECIMALS: u8 = 6;

/// A block that cannot be packed or unpacked.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("a block of readings cannot be packed or unpacked ({0})")]
pub struct PackError(String);

impl PackError {
    pub(super) fn of(error: impl std::fmt::Display) -> PackError {
        PackError(error.to_string())
    }
}

/// Packs times.
pub(super) fn pack_times(times: &[Micros]) -> Result<Vec<u8>, PackError> {
    let micros: Vec<i64> = times.iter().map(|at| at.0).collect();
    simple_compress(&micros, &ChunkConfig::default()).map_err(PackError::of)
}

/// Unpacks them.
pub(super) fn unpack_times(bytes: &[u8]) -> Result<Vec<Micros>, PackError> {
    let micros = simple_decompress::<i64>(bytes).map_err(PackError::of)?;
    Ok(micros.into_iter().map(Micros).collect())
}

/// What lies in a block beside the times.
#[derive(Debug, Serialize, Deserialize)]
struct Block {
    numbers: Numbers,
    /// Runs of words.
    words: Vec<Run<u32>>,
    /// Runs of readings that came too late.
    late: Vec<Run<()>>,
}

#[derive(Debug, Serialize, Deserialize)]
enum Numbers {
    /// Whole numbers of the last of so many decimals.
    Decimal { decimals: u8, packed: Vec<u8> },
    /// Floats.
    Float { packed: Vec<u8> },
}

/// The same for several readings in a row.
#[derive(Debug, Serialize, Deserialize)]
struct Run<T> {
    /// So many readings after the end of the run before.
    after: u32,
    length: u32,
    what: T,
}

/// Packs what a channel showed, and whether the engine was fed with it.
pub(super) fn pack_shown(shown: &[Shown], fed: &[bool]) -> Result<Vec<u8>, PackError> {
    let word = |shown: &Shown| match shown {
        Shown::Number(_) => None,
        Shown::Word(word) => Some(word.0),
    };
    let block = Block {
        numbers: Numbers::pack(&filled(shown))?,
        words: runs(shown.iter().map(word)),
        late: runs(fed.iter().map(|fed| (!fed).then_some(()))),
    };
    postcard::to_allocvec(&block).map_err(PackError::of)
}

/// Unpacks it.
pub(super) fn unpack_shown(bytes: &[u8]) -> Result<(Vec<Shown>, Vec<bool>), PackError> {
    let block: Block = postcard::from_bytes(bytes).map_err(PackError::of)?;
    let numbers = block.numbers.unpack()?;
    let mut shown: Vec<Shown> = numbers.into_iter().map(Shown::Number).collect();
    let mut fed = vec![true; shown.len()];
    place(&block.words, &mut shown, |word| {
        Shown::Word(WordNumber(*word))
    })?;
    place(&block.late, &mut fed, |()| false)?;
    Ok((shown, fed))
}

/// The numbers, each word replaced by the number before it, which costs nothing when it is packed.
fn filled(shown: &[Shown]) -> Vec<f64> {
    let first = shown.iter().find_map(|shown| match shown {
        Shown::Number(number) => Some(*number),
        Shown::Word(_) => None,
    });
    let mut before = first.unwrap_or(0.0);
    let fill = |shown: &Shown| {
        if let Shown::Number(number) = shown {
            before = *number;
        }
        before
    };
    shown.iter().map(fill).collect()
}

impl Numbers {
    fn pack(numbers: &[f64]) -> Result<Numbers, PackError> {
        let config = ChunkConfig::default();
        let decimal = (0..=MOST_DECIMALS).find_map(|decimals| {
            let whole = wholes(numbers, decimals)?;
            Some((decimals, whole))
        });
        Ok(match decimal {
            Some((decimals, whole)) => Numbers::Decimal {
                decimals,
                packed: simple_compress(&whole, &config).map_err(PackError::of)?,
            },
            None => Numbers::Float {
                packed: simple_compress(numbers, &config).map_err(PackError::of)?,
            },
        })
    }

    fn unpack(&self) -> Result<Vec<f64>, PackError> {
        match self {
            Numbers::Decimal { decimals, packed } => {
                let whole = simple_decompress::<i64>(packed).map_err(PackError::of)?;
                let unit = unit(*decimals);
                Ok(whole.into_iter().map(|whole| whole as f64 / unit).collect())
            }
            Numbers::Float { packed } => simple_decompress::<f64>(packed).map_err(PackError::of),
        }
    }
}

fn unit(decimals: u8) -> f64 {
    10f64.powi(i32::from(decimals))
}

/// The numbers in units of the last decimal, if each comes back to the bit.
fn wholes(numbers: &[f64], decimals: u8) -> Option<Vec<i64>> {
    let unit = unit(decimals);
    let whole = |number: &f64| {
        // A number out of the range of whole numbers, or none, does not come back.
        let whole = (number * unit).round() as i64;
        let back = whole as f64 / unit;
        (back.to_bits() == number.to_bits()).then_some(whole)
    };
    numbers.iter().map(whole).collect()
}

fn runs<T: PartialEq>(marks: impl Iterator<Item = Option<T>>) -> Vec<Run<T>> {
    let mut runs: Vec<Run<T>> = Vec::new();
    let mut since = 0;
    for mark in marks {
        match mark {
            None => since += 1,
            Some(what) => match runs.last_mut() {
                Some(run) if since == 0 && run.what == what => run.length += 1,
                _ => {
                    runs.push(Run {
                        after: since,
                        length: 1,
                        what,
                    });
                    since = 0;
                }
            },
        }
    }
    runs
}

fn place<T, V: Copy>(
    runs: &[Run<T>],
    into: &mut [V],
    value: impl Fn(&T) -> V,
) -> Result<(), PackError> {
    let mut rest = into;
    for run in runs {
        let beyond = || PackError("a run goes beyond the end".to_owned());
        let (_, from) = rest
            .split_at_mut_checked(run.after as usize)
            .ok_or_else(beyond)?;
        let (marked, behind) = from
            .split_at_mut_checked(run.length as usize)
            .ok_or_else(beyond)?;
        marked.fill(value(&run.what));
        rest = behind;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rand::rngs::StdRng;
    use rand::{RngExt, SeedableRng};

    use super::super::reading::tests::any_shown;
    use super::*;

    proptest! {
        #[test]
        fn what_was_packed_is_unpacked_to_the_bit(
            readings in prop::collection::vec((any::<i64>(), any_shown(), any::<bool>()), 1..80),
        ) {
            let times: Vec<Micros> = readings.iter().map(|reading| Micros(reading.0)).collect();
            let shown: Vec<Shown> = readings.iter().map(|reading| reading.1).collect();
            let fed: Vec<bool> = readings.iter().map(|reading| reading.2).collect();
            prop_assert_eq!(unpack_times(&pack_times(&times).unwrap()).unwrap(), times);
            let unpacked = unpack_shown(&pack_shown(&shown, &fed).unwrap()).unwrap();
            prop_assert_eq!(unpacked, (shown, fed));
        }

        #[test]
        fn no_bytes_make_unpacking_panic(bytes in prop::collection::vec(any::<u8>(), 0..60)) {
            let _ = unpack_times(&bytes);
            let _ = unpack_shown(&bytes);
        }

        #[test]
        fn decimals_come_back_to_the_bit(tenths in prop::collection::vec(any::<i32>(), 1..50), decimals in 0u8..=6) {
            let numbers: Vec<f64> = tenths.iter().map(|t| f64::from(*t) / unit(decimals)).collect();
            let packed = Numbers::pack(&numbers).unwrap();
            let is_decimal = matches!(packed, Numbers::Decimal { .. });
            prop_assert!(is_decimal);
            prop_assert_eq!(packed.unpack().unwrap(), numbers);
        }
    }

    /// A sensor: how fine it reads, its noise (a standard deviation, °C), and how its numbers are made.
    struct Sensor {
        step: f64,
        noise: f64,
        made: fn(f64, f64) -> f64,
    }

    /// An hour of a chamber that is controlled, with a print's rise every minute and a half; arrivals are
    /// late by up to `jitter` (USB serial bridges hand over every 1 to 16 ms: common practice, no source).
    fn hour(sensor: &Sensor, hertz: f64, jitter: f64, seed: u64) -> (Vec<Micros>, Vec<Shown>) {
        let mut random = StdRng::seed_from_u64(seed);
        let count = (3600.0 * hertz) as usize;
        (0..count)
            .map(|index| {
                let second = index as f64 / hertz;
                let late = random.random_range(0.0..=jitter);
                let wave = 3.0 * (second / 47.0).sin() + 1.2 * (second / 11.0).sin();
                let rise = 120.0 * (-(((second % 90.0) - 45.0) / 14.0).powi(2)).exp();
                // Twelve uniform numbers less six are normal enough.
                let normal: f64 = (0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0;
                let shown = 30.0 + wave + rise + normal * sensor.noise;
                let number = (sensor.made)((shown / sensor.step).round(), sensor.step);
                let at = 1_790_000_000_000_000 + ((second + late) * 1e6) as i64;
                (Micros(at), Shown::Number(number))
            })
            .unzip()
    }

    #[test]
    fn a_reading_takes_less_than_three_bytes() {
        // As text with decimals, and as a whole number times a step, which is not the same float.
        let text: fn(f64, f64) -> f64 = |steps, step| steps / (1.0 / step).round();
        let scaled: fn(f64, f64) -> f64 = |steps, step| steps * step;
        let mut worst = 0.0f64;
        for step in [0.1, 0.25] {
            for made in [text, scaled] {
                for (hertz, jitter) in [(1.0, 0.016), (1.0, 0.002), (4.0, 0.016), (10.0, 0.016)] {
                    for noise in [0.1, 0.3] {
                        let sensor = Sensor { step, noise, made };
                        let (times, shown) = hour(&sensor, hertz, jitter, 7);
                        let fed = vec![true; shown.len()];
                        let packed_times = pack_times(&times).unwrap();
                        let packed_shown = pack_shown(&shown, &fed).unwrap();
                        let count = times.len() as f64;
                        let of_times = packed_times.len() as f64 / count;
                        let of_shown = packed_shown.len() as f64 / count;
                        println!(
                            "{step} °C, noise {noise} °C, {hertz} Hz, jitter {jitter} s: {of_times:.2} + {of_shown:.2}"
                        );
                        worst = worst.max(of_times + of_shown);
                        assert_eq!(unpack_times(&packed_times).unwrap(), times);
                        assert_eq!(unpack_shown(&packed_shown).unwrap(), (shown, fed));
                    }
                }
            }
        }
        assert!(worst < 2.7, "{worst} bytes");
    }
}
