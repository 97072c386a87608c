//! Integrating the laws of one channel along its trace.

use serde::{Deserialize, Serialize};

use crate::equivalents_run;
use crate::histogram::TimeAtTemperature;
use crate::law::{HoldRate, Rate, seconds_at_or_above};
use crate::sample::{Line, Run, Sample};
use crate::tally::{MOST_LAWS, Tally};

/// The laws of one channel and its time at temperature.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(crate) struct Track {
    rates: Vec<Rate>,
    /// Where `time_above` begins, in °C.
    threshold: f64,
    pub(crate) histogram: TimeAtTemperature,
    /// Room for a line.
    #[serde(skip)]
    line: Run,
}

impl Track {
    pub(crate) fn new(rates: Vec<Rate>, threshold: f64) -> Track {
        let mut rates = rates;
        rates.truncate(MOST_LAWS);
        let histogram = TimeAtTemperature::new();
        Track {
            rates,
            threshold,
            histogram,
            line: Run::default(),
        }
    }

    /// The law whose doses stand at `number` in a tally.
    pub(crate) fn rate(&self, number: usize) -> Option<&Rate> {
        self.rates.get(number)
    }

    /// Adds the lines from each sample of a run to the next; none of them is a gap.
    pub(crate) fn advance(&mut self, tally: &mut Tally, run: &Run) {
        for (rate, sum) in self.rates.iter().zip(&mut tally.laws) {
            add_doses(rate, &mut sum.dose, run);
        }
        let mut above = tally.time_above;
        for (times, celsius) in run.times.windows(2).zip(run.best().windows(2)) {
            let seconds = times[1] - times[0];
            above += seconds_at_or_above(self.threshold, celsius[0], celsius[1], seconds);
            self.histogram.add(celsius[0], celsius[1], seconds);
        }
        tally.time_above = above;
    }

    /// Adds the line between two samples, which is evidence or a gap.
    pub(crate) fn advance_line(
        &mut self,
        tally: &mut Tally,
        line: Line,
        from: &Sample,
        to: &Sample,
    ) {
        let mut run = std::mem::take(&mut self.line);
        run.begin(from);
        run.push(to);
        match line {
            Line::Evidence => self.advance(tally, &run),
            Line::Gap => self.advance_across_gap(tally, &run, from, to),
        }
        self.line = run;
    }

    fn advance_across_gap(&mut self, tally: &mut Tally, run: &Run, from: &Sample, to: &Sample) {
        let seconds = to.time - from.time;
        for (rate, sum) in self.rates.iter().zip(&mut tally.laws) {
            let mut across = [0.0; 3];
            add_doses(rate, &mut across, run);
            sum.dose[1] += across[1];
            sum.dose[2] += across[2];
            sum.across_gaps[0] += across[1];
            sum.across_gaps[1] += across[2];
        }
        tally.time_above +=
            seconds_at_or_above(self.threshold, from.celsius(), to.celsius(), seconds);
        tally.gap_seconds += seconds;
    }
}

/// Adds a law's doses of the lines from each sample to the next, one after the other: the same sums in
/// the same order, whether the samples come in one run or in many.
fn add_doses(rate: &Rate, doses: &mut [f64; 3], run: &Run) {
    match rate {
        Rate::Hold(hold) => add_hold(hold, doses, run),
        Rate::Equivalents(law) => {
            for (sum, celsius) in doses.iter_mut().zip(&run.celsius) {
                equivalents_run::add_run(law, sum, &run.times, celsius);
            }
        }
    }
}

fn add_hold(hold: &HoldRate, doses: &mut [f64; 3], run: &Run) {
    let at = hold.at();
    let mut sums = *doses;
    let [low, best, high] = &run.celsius;
    for (line, times) in run.times.windows(2).enumerate() {
        let seconds = times[1] - times[0];
        if high[line].max(high[line + 1]) < at {
            continue;
        }
        if low[line].min(low[line + 1]) >= at {
            let dose = seconds * hold.per_second();
            sums.iter_mut().for_each(|sum| *sum += dose);
            continue;
        }
        for (sum, celsius) in sums.iter_mut().zip([low, best, high]) {
            let (a, b) = (celsius[line], celsius[line + 1]);
            *sum += seconds_at_or_above(at, a, b, seconds) * hold.per_second();
        }
    }
    *doses = sums;
}
