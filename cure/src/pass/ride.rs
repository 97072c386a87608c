//! Passes of a probe that rides with the print: stretches above `wake`.

use super::{Edge, Finding, FoundPass};
use crate::dose::{Gap, Line, Sample, Tally, Track};
use crate::fault_times::FaultTimes;
use crate::sensor::Uncertainty;
use crate::sieve::Sorted;

/// A dip below `wake` that is shorter does not end a pass, in seconds.
pub(crate) const BRIDGED_DIP: f64 = 3.0;
/// A pass that is shorter is none, in seconds.
pub(crate) const SHORTEST_PASS: f64 = 10.0;

/// Where the trace is at its last good sample.
#[derive(Debug, Clone)]
enum State {
    Below,
    Inside(Box<Open>),
    /// Below `wake`, but perhaps not for long.
    Dipping(Box<Dip>),
}

/// A pass whose end is not known yet.
#[derive(Debug, Clone)]
struct Open {
    start: f64,
    begins: Edge,
    tally: Tally,
}

/// Finds passes above `wake`.
#[derive(Debug, Clone)]
pub(crate) struct RideFinder {
    pub(crate) track: Track,
    uncertainty: Uncertainty,
    wake: f64,
    max_gap: f64,
    state: State,
    last: Option<Sample>,
    /// Bad samples since the last good one.
    faults: FaultTimes,
}

/// A finder that sends what it finds to `sink`, ready to be fed by a sieve.
pub(crate) struct Feeding<'a, S> {
    pub(crate) finder: &'a mut RideFinder,
    pub(crate) sink: S,
}

impl<S: FnMut(Finding<'_>)> Sorted for Feeding<'_, S> {
    #[inline]
    fn good(&mut self, time: f64, celsius: f64, rows: u32) {
        self.finder.good(time, celsius, rows, &mut self.sink);
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
        }
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

    #[inline]
    fn good(&mut self, time: f64, celsius: f64, rows: u32, sink: &mut impl FnMut(Finding<'_>)) {
        let sample = Sample::new(time, celsius, &self.uncertainty);
        if let (State::Inside(open), Some(last)) = (&mut self.state, &self.last)
            && celsius >= self.wake
            && time - last.time <= self.max_gap
        {
            self.track
                .advance(&mut open.tally, last, &sample, Line::Evidence);
            open.tally.note_rise(last, &sample);
            open.tally.count(celsius, rows);
            if !self.faults.is_empty() {
                open.tally.faults += self.faults.count();
                self.faults.clear();
            }
        } else {
            self.turn(&sample, rows, sink);
            self.faults.clear();
        }
        self.last = Some(sample);
    }

    /// Everything but the next close sample of a pass.
    #[cold]
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
                self.go_on_across_gap(&step, rows);
            }
            State::Inside(open) => self.dip(open, &step, rows),
            State::Dipping(dip) => self.go_on_dipping(dip, &step, above, rows, sink),
        }
    }

    fn begin(&mut self, at: &Sample, begins: Edge, sink: &mut impl FnMut(Finding<'_>)) {
        self.track.histogram.clear();
        self.track.restart(at);
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
                .advance(&mut open.tally, &at, step.to, step.line());
            open.tally.count(step.to.celsius(), rows);
        }
    }

    /// A gap between two samples of the pass.
    fn go_on_across_gap(&mut self, step: &Step, rows: u32) {
        if let State::Inside(open) = &mut self.state {
            step.note_gap(&mut open.tally);
            open.tally.faults += self.faults.count();
            self.track
                .advance(&mut open.tally, step.from, step.to, step.line());
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
            .advance(&mut pass.tally, step.from, &at, step.line());
        let mut since = Tally::new();
        since.faults = self.faults.count() - until_end;
        self.track.advance(&mut since, &at, step.to, step.line());
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
            since.note_rise(step.from, step.to);
        }
        since.faults += self.faults.count();
        self.track.advance(since, step.from, step.to, step.line());
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
#[derive(Debug, Clone)]
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

    fn note_gap(&self, tally: &mut Tally) {
        if let Some(gap) = self.gap {
            tally.note_gap(gap);
        }
    }
}
