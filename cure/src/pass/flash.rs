//! Heatings under a flash unit: from the trough before to the trough after a rise.

use serde::{Deserialize, Serialize};

use super::{Edge, Finding, FoundPass};
use crate::fault_times::FaultTimes;
use crate::sample::{Line, Sample};
use crate::sensor::Uncertainty;
use crate::sieve::Sorted;
use crate::tally::{Gap, Tally};
use crate::track::Track;

/// The least rise from a trough that is a heating, in °C.
pub(crate) const LEAST_RISE: f64 = 15.0;
/// A fall that is smaller is a flicker of the same heating, not a trough, in °C.
const LEAST_FALL: f64 = 5.0;

/// A heating whose trough after is not settled yet; `tally` reaches to the trough so far.
#[derive(Debug, Clone, Serialize, Deserialize)]
struct Heating {
    start: f64,
    begins: Edge,
    tally: Tally,
    /// The hottest sample before the trough so far, in °C.
    peak: f64,
}

/// Finds heatings.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(crate) struct FlashFinder {
    pub(crate) track: Track,
    uncertainty: Uncertainty,
    max_gap: f64,
    /// What begins or ends above this begins or ends inside a heating, in °C.
    counts_from: f64,
    heating: Option<Heating>,
    /// The coolest sample since the last peak.
    trough: Option<Sample>,
    trough_rows: u32,
    /// What has come since the trough.
    since: Tally,
    first: bool,
    last: Option<Sample>,
    faults: FaultTimes,
}

/// A finder that sends what it finds to `sink`, ready to be fed by a sieve.
pub(crate) struct Feeding<'a, S> {
    pub(crate) finder: &'a mut FlashFinder,
    pub(crate) sink: S,
}

impl<S: FnMut(Finding<'_>)> Sorted for Feeding<'_, S> {
    fn good(&mut self, time: f64, celsius: f64, rows: u32) {
        self.finder.good(time, celsius, rows, &mut self.sink);
    }

    fn bad(&mut self, time: f64) {
        self.finder.faults.add(time);
    }
}

impl FlashFinder {
    pub(crate) fn new(
        track: Track,
        uncertainty: Uncertainty,
        max_gap: f64,
        counts_from: f64,
    ) -> FlashFinder {
        FlashFinder {
            track,
            uncertainty,
            max_gap,
            counts_from,
            heating: None,
            trough: None,
            trough_rows: 1,
            since: Tally::new(),
            first: true,
            last: None,
            faults: FaultTimes::default(),
        }
    }

    /// Takes other laws and settings, unless a heating is open.
    pub(crate) fn replan(
        &mut self,
        track: Track,
        uncertainty: Uncertainty,
        max_gap: f64,
        counts_from: f64,
    ) -> bool {
        if self.heating.is_some() {
            return false;
        }
        self.last = self
            .last
            .map(|last| Sample::new(last.time, last.celsius(), &uncertainty));
        // What has been summed up since the trough was by the old laws.
        (self.trough, self.trough_rows) = (self.last, 1);
        self.since = Tally::new();
        (self.track, self.uncertainty) = (track, uncertainty);
        (self.max_gap, self.counts_from) = (max_gap, counts_from);
        true
    }

    fn good(&mut self, time: f64, celsius: f64, rows: u32, sink: &mut impl FnMut(Finding<'_>)) {
        let sample = Sample::new(time, celsius, &self.uncertainty);
        match self.last {
            None => {
                self.trough = Some(sample);
                self.trough_rows = rows;
            }
            Some(last) => {
                self.add(&last, &sample, rows);
                self.place(&sample, rows, sink);
            }
        }
        self.faults.clear();
        self.last = Some(sample);
    }

    /// Sums up the line to a sample.
    fn add(&mut self, last: &Sample, sample: &Sample, rows: u32) {
        let lasting = sample.time - last.time;
        let line = if lasting > self.max_gap {
            self.since.note_gap(Gap {
                from: last.time,
                lasting,
            });
            Line::Gap
        } else {
            self.since
                .note_rise(lasting, last.celsius(), sample.celsius());
            Line::Evidence
        };
        self.track.advance_line(&mut self.since, line, last, sample);
        self.since.faults += self.faults.count();
        self.since.count(sample.celsius(), rows);
    }

    /// Decides what a sample is: a deeper trough, a higher peak, a new heating, or none of these.
    fn place(&mut self, sample: &Sample, rows: u32, sink: &mut impl FnMut(Finding<'_>)) {
        let Some(trough) = self.trough else { return };
        let celsius = sample.celsius();
        let rise = celsius - trough.celsius();
        match &self.heating {
            None if rise <= 0.0 => {
                self.track.histogram.clear();
                self.since = Tally::new();
                self.first = false;
                self.move_trough(sample, rows);
            }
            None if rise >= LEAST_RISE => self.begin(&trough, sample, sink),
            None => {}
            Some(_) if rise <= 0.0 => self.extend(sample, rows),
            Some(heating) => {
                let fall = heating.peak - trough.celsius();
                if fall < LEAST_FALL {
                    if celsius > heating.peak {
                        self.extend(sample, rows);
                    }
                } else if rise >= LEAST_RISE {
                    self.close(sink);
                    self.begin(&trough, sample, sink);
                }
            }
        }
    }

    /// The heating reaches to this sample at least.
    fn extend(&mut self, sample: &Sample, rows: u32) {
        let since = std::mem::replace(&mut self.since, Tally::new());
        if let Some(heating) = &mut self.heating {
            heating.tally.absorb(&since);
            heating.peak = heating.peak.max(since.peak);
        }
        self.move_trough(sample, rows);
    }

    fn move_trough(&mut self, sample: &Sample, rows: u32) {
        self.trough = Some(*sample);
        self.trough_rows = rows;
    }

    /// A rise from `trough` has become a heating, which reaches to `sample` at least.
    fn begin(&mut self, trough: &Sample, sample: &Sample, sink: &mut impl FnMut(Finding<'_>)) {
        let mut tally = Tally::new();
        tally.count(trough.celsius(), self.trough_rows);
        tally.absorb(&std::mem::replace(&mut self.since, Tally::new()));
        let begins = if self.first && trough.celsius() >= self.counts_from {
            Edge::OutsideTrace(trough.celsius())
        } else {
            Edge::Seen
        };
        self.first = false;
        self.heating = Some(Heating {
            start: trough.time,
            begins,
            peak: tally.peak,
            tally,
        });
        self.move_trough(sample, 1);
        sink(Finding::Began(trough.time));
    }

    fn close(&mut self, sink: &mut impl FnMut(Finding<'_>)) {
        let (Some(heating), Some(trough)) = (self.heating.take(), self.trough) else {
            return;
        };
        let Heating {
            start,
            begins,
            tally,
            ..
        } = heating;
        let pass = FoundPass {
            start,
            end: trough.time,
            begins,
            ends: Edge::Seen,
            tally,
        };
        sink(Finding::Found(Box::new(pass), &self.track));
        self.track.histogram.clear();
    }

    /// Gives out a heating that has cooled off, though no other has begun and the trough may yet get deeper.
    ///
    /// So that nothing of it would be judged otherwise later, it has to lie so far below what counts that only
    /// a rise which is another heating could reach that. One whose readings have stopped need only lie below.
    pub(crate) fn settle(&mut self, silent: bool, mut sink: impl FnMut(Finding<'_>)) {
        let counts_from = self.counts_from;
        let is_cool = |trough: Sample| match silent {
            true => trough.celsius() < counts_from,
            false => trough.shifted[2] + LEAST_RISE < counts_from,
        };
        let fallen = |heating: &Heating| {
            self.trough.is_some_and(|trough| {
                heating.peak - trough.celsius() >= LEAST_FALL && is_cool(trough)
            })
        };
        if self.heating.as_ref().is_some_and(fallen) {
            self.close(&mut sink);
        }
    }

    /// The time of the last good sample.
    pub(crate) fn last_time(&self) -> Option<f64> {
        self.last.map(|last| last.time)
    }

    /// The trace ends here; what comes after is another.
    pub(crate) fn finish(&mut self, mut sink: impl FnMut(Finding<'_>)) {
        if let (Some(heating), Some(trough)) = (self.heating.take(), self.trough.take()) {
            let still_rising = trough.celsius() >= heating.peak;
            let ends = if still_rising || trough.celsius() >= self.counts_from {
                Edge::OutsideTrace(trough.celsius())
            } else {
                Edge::Seen
            };
            let pass = FoundPass {
                start: heating.start,
                end: trough.time,
                begins: heating.begins,
                ends,
                tally: heating.tally,
            };
            sink(Finding::Found(Box::new(pass), &self.track));
        }
        self.track.histogram.clear();
        (self.trough, self.trough_rows) = (None, 1);
        self.since = Tally::new();
        self.first = true;
        self.last = None;
        self.faults.clear();
    }
}
