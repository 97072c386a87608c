//! Passes of a probe that rides with the print: stretches above `wake`.

use serde::{Deserialize, Serialize};

use super::{Edge, Finding, FoundPass};
use crate::fault_times::FaultTimes;
use crate::sample::{Line, Run, Sample};
use crate::sensor::Uncertainty;
use crate::sieve::Sorted;
use crate::tally::{Gap, Tally};
use crate::track::Track;

/// A dip below `wake` that is shorter does not end a pass, in seconds.
pub(crate) const BRIDGED_DIP: f64 = 3.0;
/// A pass that is shorter is none, in seconds.
pub(crate) const SHORTEST_PASS: f64 = 10.0;

/// Where the trace is at its last good sample.
#[derive(Debug, Clone, Serialize, Deserialize)]
enum State {
    Below,
    Inside(Box<Open>),
    /// Below `wake`, but perhaps not for long.
    Dipping(Box<Dip>),
}

/// A pass whose end is not known yet.
#[derive(Debug, Clone, Serialize, Deserialize)]
struct Open {
    start: f64,
    begins: Edge,
    tally: Tally,
}

impl Open {
    /// Takes a run of close samples of the pass; the first has been counted before.
    fn take(&mut self, track: &mut Track, run: &Run) {
        track.advance(&mut self.tally, run);
        self.tally.count_run(run);
    }
}

/// Finds passes above `wake`.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(crate) struct RideFinder {
    pub(crate) track: Track,
    uncertainty: Uncertainty,
    wake: f64,
    max_gap: f64,
    state: State,
    last: Option<Sample>,
    /// Bad samples since the last good one.
    faults: FaultTimes,
    /// Room for a run of samples.
    #[serde(skip)]
    scratch: Run,
}

/// A finder that sends what it finds to `sink`, ready to be fed by a sieve.
pub(crate) struct Feeding<'a, S> {
    pub(crate) finder: &'a mut RideFinder,
    pub(crate) sink: S,
}

impl<S: FnMut(Finding<'_>)> Sorted for Feeding<'_, S> {
    fn good(&mut self, time: f64, celsius: f64, rows: u32) {
        self.finder.good(time, celsius, rows, &mut self.sink);
    }

    fn good_run(&mut self, samples: &[(f64, f64)]) {
        self.finder.good_run(samples, &mut self.sink);
    }

    fn bad(&mut self, time: f64) {
        self.finder.faults.add(time);
    }
}

impl RideFinder {
    pub(crate) fn new(
        track: Track,
        uncertainty: Uncertainty,
        wake: f64,
        max_gap: f64,
    ) -> RideFinder {
        RideFinder {
            track,
            uncertainty,
            wake,
            max_gap,
            state: State::Below,
            last: None,
            faults: FaultTimes::default(),
            scratch: Run::default(),
        }
    }

    /// Takes other laws and settings, unless a pass is open.
    pub(crate) fn replan(
        &mut self,
        track: Track,
        uncertainty: Uncertainty,
        wake: f64,
        max_gap: f64,
    ) -> bool {
        if !matches!(self.state, State::Below) {
            return false;
        }
        self.last = self
            .last
            .map(|last| Sample::new(last.time, last.celsius(), &uncertainty));
        // A sample that lay below the old `wake` may lie above the new one: then nobody saw the pass begin.
        if self.last.is_some_and(|last| last.celsius() >= wake) {
            self.last = None;
        }
        (self.track, self.uncertainty) = (track, uncertainty);
        (self.wake, self.max_gap) = (wake, max_gap);
        true
    }

    /// From when on the cloth beside the print may still be asked for; infinite before any sample.
    pub(crate) fn needs_cloth_from(&self) -> f64 {
        match &self.state {
            State::Below => self.last.map_or(f64::NEG_INFINITY, |last| last.time),
            State::Inside(open) => open.start,
            State::Dipping(dip) => dip.pass.start,
        }
    }

    /// The time of the last good sample.
    pub(crate) fn last_time(&self) -> Option<f64> {
        self.last.map(|last| last.time)
    }

    fn good(&mut self, time: f64, celsius: f64, rows: u32, sink: &mut impl FnMut(Finding<'_>)) {
        let sample = Sample::new(time, celsius, &self.uncertainty);
        self.turn(&sample, rows, sink);
        self.faults.clear();
        self.last = Some(sample);
    }

    /// Takes good samples of which none is a mean of several rows.
    fn good_run(&mut self, mut samples: &[(f64, f64)], sink: &mut impl FnMut(Finding<'_>)) {
        while let Some(&(time, celsius)) = samples.first() {
            let taken = match self.state {
                State::Inside(_) => self.run_inside(samples),
                State::Below => self.run_below(samples),
                State::Dipping(_) => 0,
            };
            if taken == 0 {
                self.good(time, celsius, 1, sink);
            }
            samples = &samples[taken.max(1)..];
        }
    }

    /// Takes the samples that merely go on with a pass, and says how many.
    fn run_inside(&mut self, samples: &[(f64, f64)]) -> usize {
        let Some(last) = self.last else { return 0 };
        if !self.faults.is_empty() {
            return 0;
        }
        let mut before = last.time;
        let goes_on = |&&(time, celsius): &&(f64, f64)| {
            let close = time - before <= self.max_gap;
            before = time;
            close && celsius >= self.wake
        };
        let taken = samples.iter().take_while(goes_on).count();
        let mut run = std::mem::take(&mut self.scratch);
        run.begin(&last);
        run.extend(&samples[..taken], &self.uncertainty);
        if let (State::Inside(open), true) = (&mut self.state, taken > 0) {
            open.take(&mut self.track, &run);
            self.last = run.last();
        }
        self.scratch = run;
        taken
    }

    /// Takes the samples that merely stay below `wake`, and says how many.
    fn run_below(&mut self, samples: &[(f64, f64)]) -> usize {
        let taken = samples
            .iter()
            .take_while(|sample| sample.1 < self.wake)
            .count();
        if let Some(&(time, celsius)) = samples[..taken].last() {
            self.last = Some(Sample::new(time, celsius, &self.uncertainty));
            self.faults.clear();
        }
        taken
    }

    /// Any sample, the next close one of a pass among them.
    fn turn(&mut self, sample: &Sample, rows: u32, sink: &mut impl FnMut(Finding<'_>)) {
        let above = sample.celsius() >= self.wake;
        let Some(last) = self.last else {
            if above {
                self.begin(sample, Edge::OutsideTrace(sample.celsius()), sink);
                self.count_inside(sample, rows);
            }
            return;
        };
        let step = Step::new(&last, sample, self.max_gap);
        match std::mem::replace(&mut self.state, State::Below) {
            State::Below if above => self.enter(&step, rows, sink),
            State::Below => {}
            State::Inside(open) if above => {
                self.state = State::Inside(open);
                self.go_on(&step, rows);
            }
            State::Inside(open) => self.dip(open, &step, rows),
            State::Dipping(dip) => self.go_on_dipping(dip, &step, above, rows, sink),
        }
    }

    fn begin(&mut self, at: &Sample, begins: Edge, sink: &mut impl FnMut(Finding<'_>)) {
        self.track.histogram.clear();
        self.state = State::Inside(Box::new(Open {
            start: at.time,
            begins,
            tally: Tally::new(),
        }));
        sink(Finding::Began(at.time));
    }

    fn count_inside(&mut self, sample: &Sample, rows: u32) {
        if let State::Inside(open) = &mut self.state {
            open.tally.count(sample.celsius(), rows);
        }
    }

    /// The line to `sample` crosses `wake` upwards.
    fn enter(&mut self, step: &Step, rows: u32, sink: &mut impl FnMut(Finding<'_>)) {
        let crossing = step.from.crossing(step.to, self.wake);
        let at = step.from.on_the_way_to(step.to, crossing);
        let begins = step
            .gap
            .map_or(Edge::Seen, |gap| Edge::InGap(step.to.celsius(), gap));
        self.begin(&at, begins, sink);
        if let State::Inside(open) = &mut self.state {
            step.note_gap(&mut open.tally);
            open.tally.faults += self.faults.from(crossing);
            self.track
                .advance_line(&mut open.tally, step.line(), &at, step.to);
            open.tally.count(step.to.celsius(), rows);
        }
    }

    /// The line to `sample` stays in the pass.
    fn go_on(&mut self, step: &Step, rows: u32) {
        if let State::Inside(open) = &mut self.state {
            step.note_gap(&mut open.tally);
            open.tally.faults += self.faults.count();
            if step.gap.is_none() {
                step.note_rise(&mut open.tally);
            }
            self.track
                .advance_line(&mut open.tally, step.line(), step.from, step.to);
            open.tally.count(step.to.celsius(), rows);
        }
    }

    /// The line to `sample` crosses `wake` downwards: perhaps the end.
    fn dip(&mut self, mut pass: Box<Open>, step: &Step, rows: u32) {
        let end = step.from.crossing(step.to, self.wake);
        let at = step.from.on_the_way_to(step.to, end);
        let ends = step
            .gap
            .map_or(Edge::Seen, |gap| Edge::InGap(step.from.celsius(), gap));
        step.note_gap(&mut pass.tally);
        let until_end = self.faults.until(end);
        pass.tally.faults += until_end;
        self.track
            .advance_line(&mut pass.tally, step.line(), step.from, &at);
        let mut since = Tally::new();
        since.faults = self.faults.count() - until_end;
        self.track
            .advance_line(&mut since, step.line(), &at, step.to);
        since.count(step.to.celsius(), rows);
        self.state = State::Dipping(Box::new(Dip {
            pass,
            end,
            ends,
            since,
        }));
    }

    fn go_on_dipping(
        &mut self,
        mut dip: Box<Dip>,
        step: &Step,
        above: bool,
        rows: u32,
        sink: &mut impl FnMut(Finding<'_>),
    ) {
        let now = if above {
            step.from.crossing(step.to, self.wake)
        } else {
            step.to.time
        };
        if now - dip.end >= BRIDGED_DIP {
            self.close(dip.pass, dip.end, dip.ends, sink);
            if above {
                self.enter(step, rows, sink);
            }
            return;
        }
        let since = &mut dip.since;
        step.note_gap(since);
        if step.gap.is_none() {
            step.note_rise(since);
        }
        since.faults += self.faults.count();
        self.track
            .advance_line(since, step.line(), step.from, step.to);
        since.count(step.to.celsius(), rows);
        self.state = if above {
            dip.pass.tally.absorb(&dip.since);
            State::Inside(dip.pass)
        } else {
            State::Dipping(dip)
        };
    }

    fn close(&mut self, pass: Box<Open>, end: f64, ends: Edge, sink: &mut impl FnMut(Finding<'_>)) {
        let Open {
            start,
            begins,
            tally,
        } = *pass;
        if end - start < SHORTEST_PASS {
            sink(Finding::Dropped { start, end });
        } else {
            let pass = FoundPass {
                start,
                end,
                begins,
                ends,
                tally,
            };
            sink(Finding::Found(Box::new(pass), &self.track));
        }
    }

    /// The trace ends here.
    pub(crate) fn finish(&mut self, mut sink: impl FnMut(Finding<'_>)) {
        match std::mem::replace(&mut self.state, State::Below) {
            State::Below => {}
            State::Inside(pass) => {
                if let Some(last) = self.last {
                    let ends = Edge::OutsideTrace(last.celsius());
                    self.close(pass, last.time, ends, &mut sink);
                }
            }
            State::Dipping(dip) => self.close(dip.pass, dip.end, dip.ends, &mut sink),
        }
        self.last = None;
        self.faults.clear();
    }
}

/// A pass that has perhaps ended, and what has come since.
#[derive(Debug, Clone, Serialize, Deserialize)]
struct Dip {
    pass: Box<Open>,
    end: f64,
    ends: Edge,
    since: Tally,
}

/// From one good sample to the next.
struct Step<'a> {
    from: &'a Sample,
    to: &'a Sample,
    gap: Option<Gap>,
}

impl<'a> Step<'a> {
    fn new(from: &'a Sample, to: &'a Sample, max_gap: f64) -> Step<'a> {
        let lasting = to.time - from.time;
        let gap = (lasting > max_gap).then_some(Gap {
            from: from.time,
            lasting,
        });
        Step { from, to, gap }
    }

    fn line(&self) -> Line {
        if self.gap.is_some() {
            Line::Gap
        } else {
            Line::Evidence
        }
    }

    fn note_rise(&self, tally: &mut Tally) {
        let seconds = self.to.time - self.from.time;
        tally.note_rise(seconds, self.from.celsius(), self.to.celsius());
    }

    fn note_gap(&self, tally: &mut Tally) {
        if let Some(gap) = self.gap {
            tally.note_gap(gap);
        }
    }
}
