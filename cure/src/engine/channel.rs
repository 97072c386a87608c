//! A channel: its readings become passes, and these are judged once all that is needed of them is there.

use inkdwell_config::quantity::Seconds;
use serde::{Deserialize, Serialize};

use super::{ChannelId, Event, EventKind};
use crate::judging::{Case, ClothSeen, cloth_rates, track_rates};
use crate::pass::cloth::Cloth;
use crate::pass::flash::{self, FlashFinder};
use crate::pass::ride::{self, RideFinder};
use crate::pass::{Finding, FoundPass};
use crate::plan::{ChannelPlan, ProbeDoubt, Watch};
use crate::sensor::Uncertainty;
use crate::sieve::Sieve;
use crate::track::Track;

#[derive(Debug, Serialize, Deserialize)]
enum Finder {
    Ride(Box<RideFinder>),
    Flash(Box<FlashFinder>),
}

/// One channel: its sieve, its finder, its cloth, and the passes that wait for the cloth's trace.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct Channel {
    plan: ChannelPlan,
    sieve: Sieve,
    finder: Finder,
    cloth: Vec<Cloth>,
    waiting: Vec<(Box<FoundPass>, Track)>,
    judged: u64,
}

/// What a finder needs of a plan.
struct Needs {
    track: Track,
    uncertainty: Uncertainty,
    max_gap: f64,
    /// Under a lamp: what begins or ends above this begins or ends inside a heating, in °C.
    counts_from: f64,
}

impl Needs {
    fn of(plan: &ChannelPlan) -> Needs {
        let rates = track_rates(plan);
        let gel_from = plan.laws.gel.map(|gel| gel.from.0);
        let threshold = match plan.watch {
            Watch::FlashGel => gel_from.unwrap_or(plan.laws.threshold.0),
            Watch::Ride | Watch::FlashFinal => plan.laws.threshold.0,
        };
        let counts_from = rates
            .iter()
            .map(|rate| rate.coolest().0)
            .fold(threshold, f64::min);
        Needs {
            track: Track::new(rates, threshold),
            uncertainty: plan.doubt.uncertainty,
            max_gap: plan.max_gap.0,
            counts_from,
        }
    }
}

impl Channel {
    pub(super) fn new(plan: ChannelPlan) -> Channel {
        let Needs {
            track,
            uncertainty,
            max_gap,
            counts_from,
        } = Needs::of(&plan);
        let finder = match plan.watch {
            Watch::Ride => Finder::Ride(Box::new(RideFinder::new(
                track,
                uncertainty,
                plan.wake.0,
                max_gap,
            ))),
            Watch::FlashGel | Watch::FlashFinal => Finder::Flash(Box::new(FlashFinder::new(
                track,
                uncertainty,
                max_gap,
                counts_from,
            ))),
        };
        Channel {
            plan,
            sieve: Sieve::new(),
            finder,
            cloth: Vec::new(),
            waiting: Vec::new(),
            judged: 0,
        }
    }

    pub(super) fn replan(&mut self, plan: ChannelPlan) -> bool {
        if !self.waiting.is_empty() {
            return false;
        }
        let Needs {
            track,
            uncertainty,
            max_gap,
            counts_from,
        } = Needs::of(&plan);
        let taken = match &mut self.finder {
            Finder::Ride(finder) => finder.replan(track, uncertainty, plan.wake.0, max_gap),
            Finder::Flash(finder) => finder.replan(track, uncertainty, max_gap, counts_from),
        };
        if taken {
            for cloth in &mut self.cloth {
                cloth.replan(
                    Track::new(cloth_rates(&plan), plan.laws.threshold.0),
                    max_gap,
                );
            }
            self.plan = plan;
        }
        taken
    }

    /// Adds a junction on unprinted cloth beside the print, and gives its number.
    pub(super) fn add_cloth(&mut self, name: &str, doubt: ProbeDoubt) -> usize {
        let track = Track::new(cloth_rates(&self.plan), self.plan.laws.threshold.0);
        let max_gap = self.plan.max_gap.0;
        self.cloth.push(Cloth::new(
            name.to_owned(),
            doubt.uncertainty,
            track,
            max_gap,
        ));
        self.cloth.len() - 1
    }

    pub(super) fn feed_cloth(&mut self, number: usize, readings: &[(f64, f64)]) {
        let cloth = &mut self.cloth[number];
        for &(time, celsius) in readings {
            cloth.feed(time, celsius);
        }
    }

    pub(super) fn last_good(&self) -> Option<f64> {
        match &self.finder {
            Finder::Ride(finder) => finder.last_time(),
            Finder::Flash(finder) => finder.last_time(),
        }
    }

    /// What readings go through, and where what is found in them is judged.
    fn parts<'a, E>(
        &'a mut self,
        id: ChannelId,
        events: &'a mut E,
    ) -> (&'a mut Sieve, &'a mut Finder, Desk<'a, E>) {
        let desk = Desk {
            id,
            plan: &self.plan,
            cloth: &mut self.cloth,
            waiting: &mut self.waiting,
            judged: &mut self.judged,
            events,
        };
        (&mut self.sieve, &mut self.finder, desk)
    }

    pub(super) fn feed_all(
        &mut self,
        id: ChannelId,
        readings: &[(f64, f64)],
        events: &mut impl FnMut(Event),
    ) {
        let (sieve, finder, mut desk) = self.parts(id, events);
        match finder {
            Finder::Ride(finder) => {
                let sink = |finding: Finding<'_>| desk.take(finding);
                sieve.feed_all(readings, &mut ride::Feeding { finder, sink });
                if !desk.cloth.is_empty() {
                    desk.judge_waiting(finder.last_time());
                    desk.forget_before(finder.needs_cloth_from());
                }
            }
            Finder::Flash(finder) => {
                let sink = |finding: Finding<'_>| desk.take(finding);
                sieve.feed_all(readings, &mut flash::Feeding { finder, sink });
            }
        }
    }

    pub(super) fn settle(&mut self, id: ChannelId, over: bool, events: &mut impl FnMut(Event)) {
        let (_, finder, mut desk) = self.parts(id, events);
        if let Finder::Flash(finder) = finder {
            finder.settle(over, |finding| desk.take(finding));
        }
    }

    pub(super) fn finish(&mut self, id: ChannelId, events: &mut impl FnMut(Event)) {
        let (sieve, finder, mut desk) = self.parts(id, events);
        desk.cloth.iter_mut().for_each(Cloth::finish);
        match finder {
            Finder::Ride(finder) => {
                sieve.finish(&mut ride::Feeding {
                    finder,
                    sink: |found: Finding<'_>| desk.take(found),
                });
                finder.finish(|finding| desk.take(finding));
            }
            Finder::Flash(finder) => {
                sieve.finish(&mut flash::Feeding {
                    finder,
                    sink: |found: Finding<'_>| desk.take(found),
                });
                finder.finish(|finding| desk.take(finding));
            }
        }
        desk.judge_waiting(Some(f64::INFINITY));
        *sieve = Sieve::new();
    }
}

/// Where found passes are judged and become events.
struct Desk<'a, E> {
    id: ChannelId,
    plan: &'a ChannelPlan,
    cloth: &'a mut Vec<Cloth>,
    waiting: &'a mut Vec<(Box<FoundPass>, Track)>,
    judged: &'a mut u64,
    events: &'a mut E,
}

impl<E: FnMut(Event)> Desk<'_, E> {
    fn say(&mut self, kind: EventKind) {
        (self.events)(Event {
            channel: self.id,
            kind,
        });
    }

    #[cold]
    fn take(&mut self, finding: Finding<'_>) {
        match finding {
            Finding::Began(at) => self.say(EventKind::PassStarted { at: Seconds(at) }),
            Finding::Dropped { start, end } => {
                self.say(EventKind::PassDropped {
                    start: Seconds(start),
                    end: Seconds(end),
                });
            }
            Finding::Found(pass, track) if self.cloth.is_empty() => self.judge(&pass, track),
            Finding::Found(pass, track) => self.waiting.push((pass, track.clone())),
        }
    }

    /// Judges the waiting passes whose cloth has been seen to their end, or is not coming any more.
    fn judge_waiting(&mut self, ride_time: Option<f64>) {
        let given_up = ride_time.unwrap_or(f64::NEG_INFINITY) - self.plan.max_gap.0;
        while let Some((pass, _)) = self.waiting.first() {
            let seen = |cloth: &Cloth| cloth.last_time().is_some_and(|time| time >= pass.end);
            if !(self.cloth.iter().all(seen) || given_up >= pass.end) {
                break;
            }
            let (pass, track) = self.waiting.remove(0);
            self.judge(&pass, &track);
        }
    }

    fn forget_before(&mut self, needed: f64) {
        let needed = self
            .waiting
            .first()
            .map_or(needed, |(pass, _)| pass.start.min(needed));
        self.cloth
            .iter_mut()
            .for_each(|cloth| cloth.forget_before(needed));
    }

    fn judge(&mut self, pass: &FoundPass, track: &Track) {
        *self.judged += 1;
        let index = *self.judged;
        let mut seen = Vec::new();
        let mut silent_cloth = Vec::new();
        for cloth in self.cloth.iter_mut() {
            match cloth.between(pass.start, pass.end) {
                Some(tally) => seen.push((&*cloth, tally)),
                None => silent_cloth.push(cloth.name.clone()),
            }
        }
        let cloth = seen
            .into_iter()
            .map(|(cloth, tally)| {
                let u = cloth.uncertainty.at(tally.peak);
                ClothSeen {
                    track: &cloth.track,
                    tally,
                    u,
                }
            })
            .collect();
        let case = Case {
            plan: self.plan,
            index,
            pass,
            track,
            cloth,
            silent_cloth,
        };
        let judged = case.judge();
        self.say(EventKind::PassJudged(Box::new(judged)));
    }
}
