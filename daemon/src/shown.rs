//! What a probe showed, from the journal's readings: temperatures as it was calibrated then.

use inkdwell_config::quantity::Celsius;
use inkdwell_config::shop::Probe;
use inkdwell_cure::sensor::Meter;

use crate::journal::{ReadError, Reader, Shown};
use crate::keeper::calibration_of;
use crate::time::Micros;

/// A probe's temperatures in °C from one moment to another, both included, in the order of time. Without a
/// source in the probe's declaration, or where the journal knows no such channel, there are none.
///
/// # Errors
/// When the journal cannot be read.
pub fn temperatures(
    reader: &Reader,
    probe: &Probe,
    from: Micros,
    to: Micros,
) -> Result<Vec<(Micros, f64)>, ReadError> {
    let Some(source) = &probe.source else {
        return Ok(Vec::new());
    };
    let mut meter = Meter::new(probe);
    for kept in reader.calibrations(Some(&probe.id))? {
        let made = calibration_of(&kept.calibration);
        let declared = probe.calibration.as_ref();
        if let Some(made) = made
            && kept.at <= from
            && declared.is_none_or(|declared| declared.date <= made.date)
        {
            meter.calibrate(&made);
        }
    }
    let junction = match &probe.junction {
        Some(junction) => Some(numbers(reader, source, junction, from, to)?),
        None => None,
    };
    let numbers = numbers(reader, source, &probe.channel, from, to)?;
    let celsius = numbers.into_iter().filter_map(|(at, number)| {
        let junction = match &junction {
            None => None,
            // Millivolts whose junction is not known are no temperature.
            Some(junction) => Some(Celsius(before(junction, at)?)),
        };
        let celsius = meter.celsius(number, junction)?;
        celsius.0.is_finite().then_some((at, celsius.0))
    });
    Ok(celsius.collect())
}

/// What was read last at a moment.
fn before(readings: &[(Micros, f64)], at: Micros) -> Option<f64> {
    let after = readings.partition_point(|(own, _)| *own <= at);
    readings[..after].last().map(|(_, number)| *number)
}

/// What a channel read from one moment to another, both included, in the order of time.
pub(crate) fn numbers(
    reader: &Reader,
    source: &str,
    channel: &str,
    from: Micros,
    to: Micros,
) -> Result<Vec<(Micros, f64)>, ReadError> {
    let Some(channel) = reader.channel(source, channel)? else {
        return Ok(Vec::new());
    };
    let mut numbers = Vec::new();
    for reading in reader.readings(channel, from, to) {
        let reading = reading?;
        if let (Shown::Number(number), true) = (reading.shown, reading.fed) {
            numbers.push((reading.at, number));
        }
    }
    numbers.sort_by_key(|(at, _)| *at);
    Ok(numbers)
}
