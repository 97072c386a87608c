//! Ticks at round numbers.

/// From one end to the other in round steps, about `wanted` of them.
pub(crate) fn ticks(from: f64, to: f64, wanted: f64) -> Vec<f64> {
    let step = round_step((to - from) / wanted);
    let first = (from / step).ceil();
    (0..)
        .map(|number| (first + f64::from(number)) * step)
        .take_while(|tick| *tick <= to + 1e-9 * step)
        .take(100)
        .collect()
}

/// 1, 2 or 5 times a power of ten, at least `step`.
fn round_step(step: f64) -> f64 {
    let power = 10_f64.powf(step.max(1e-9).log10().floor());
    let round = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .find(|factor| factor * power >= step);
    round.unwrap_or(10.0) * power
}

/// Ticks of time in seconds, with their unit: seconds, minutes or hours as the span asks.
pub(crate) fn time_ticks(from: f64, to: f64, wanted: f64) -> (Vec<f64>, f64, &'static str) {
    let span = to - from;
    let (unit, name) = if span <= 600.0 {
        (1.0, "s")
    } else if span <= 4.0 * 3600.0 {
        (60.0, "min")
    } else {
        (3600.0, "h")
    };
    let ticks = ticks(from / unit, to / unit, wanted);
    (
        ticks.into_iter().map(|tick| tick * unit).collect(),
        unit,
        name,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round() {
        assert_eq!(ticks(0.0, 100.0, 5.0), [0.0, 20.0, 40.0, 60.0, 80.0, 100.0]);
        assert_eq!(ticks(23.0, 41.0, 4.0), [25.0, 30.0, 35.0, 40.0]);
        assert_eq!(time_ticks(0.0, 3600.0, 6.0).2, "min");
    }
}
