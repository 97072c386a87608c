//! The one deterministic engine: readings in, events out.
//!
//! Live watching, the offline judge, replay and the tests all feed this engine. It reads no clock and
//! does no I/O; the same readings give the same events, however they are cut into pieces.
//!
//! ```
//! use std::cell::RefCell;
//! # use inkdwell_config::{fabric::Fabric, ink::{Family, Ink}, law::Law};
//! use inkdwell_config::quantity::*;
//! use inkdwell_cure::engine::{Engine, EventKind};
//! use inkdwell_cure::plan::{ChannelPlan, DEFAULT_MAX_GAP, DEFAULT_WAKE, PrintLaws, ProbeDoubt, Watch};
//! use inkdwell_cure::sensor::Uncertainty;
//!
//! # let ink = Ink { id: "p".into(), name: "p".into(), family: Family::Plastisol,
//! #     threshold: Celsius(160.0), cure: Law::Hold { at: Celsius(160.0), duration: Seconds(5.0) },
//! #     film: None, water: None, gel: None, pot_life: None, needs_exhaust: false, source: "".into() };
//! # let fabric = Fabric { id: "f".into(), name: "f".into(), mass: KilogramsPerSquareMetre(0.18),
//! #     regain: Share(0.08), layers: 2, harms: vec![], source: "".into() };
//! let mut engine = Engine::new();
//! let ride = engine.add_channel(ChannelPlan {
//!     laws: PrintLaws::new(&ink, &fabric),
//!     watch: Watch::Ride,
//!     doubt: ProbeDoubt { uncertainty: Uncertainty::constant(CelsiusDifference(1.5)), assumed: None },
//!     max_gap: DEFAULT_MAX_GAP,
//!     wake: DEFAULT_WAKE,
//! });
//! let verdicts = RefCell::new(Vec::new());
//! let mut note = |event: inkdwell_cure::engine::Event| {
//!     if let EventKind::PassJudged(pass) = event.kind {
//!         verdicts.borrow_mut().push(pass.verdict.name());
//!     }
//! };
//! // Up to 170 °C in 70 s, ten seconds there, and down again.
//! for second in 0..180 {
//!     let t = f64::from(second);
//!     let celsius = (30.0 + 2.0 * t).min(170.0).min(30.0 + 2.0 * (150.0 - t)).max(30.0);
//!     engine.feed(ride, Seconds(t), Some(Celsius(celsius)), &mut note);
//! }
//! engine.finish(&mut note);
//! assert_eq!(*verdicts.borrow(), ["cured"]);
//! ```

use inkdwell_config::quantity::{Celsius, Seconds};
use serde::{Deserialize, Serialize};

use crate::judged::JudgedPass;
use crate::judging::{Case, ClothSeen, cloth_rates, track_rates};
use crate::pass::cloth::Cloth;
use crate::pass::flash::{self, FlashFinder};
use crate::pass::ride::{self, RideFinder};
use crate::pass::{Finding, FoundPass};
use crate::plan::{ChannelPlan, ProbeDoubt, Watch};
use crate::sensor::Uncertainty;
use crate::sieve::Sieve;
use crate::track::Track;

/// Names a channel of an engine.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct ChannelId(usize);

/// Names a cloth channel of an engine.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct ClothId {
    beside: usize,
    number: usize,
}

/// Something that the engine found out.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// On which channel.
    pub channel: ChannelId,
    /// What.
    pub kind: EventKind,
}

/// What the engine found out.
#[derive(Debug, Clone, PartialEq)]
pub enum EventKind {
    /// A pass has begun at this time.
    PassStarted {
        /// From the start of the trace.
        at: Seconds,
    },
    /// What had begun was too short to be a print's pass.
    PassDropped {
        /// When it had begun.
        start: Seconds,
        /// When it ended.
        end: Seconds,
    },
    /// A pass is complete and judged.
    PassJudged(Box<JudgedPass>),
}

/// Feeds any number of channels, each on its own.
#[derive(Debug, Default, Serialize, Deserialize)]
pub struct Engine {
    channels: Vec<Channel>,
}

impl Engine {
    /// An engine without channels.
    pub fn new() -> Engine {
        Engine::default()
    }

    /// Adds a channel whose passes are judged.
    pub fn add_channel(&mut self, plan: ChannelPlan) -> ChannelId {
        self.channels.push(Channel::new(plan));
        ChannelId(self.channels.len() - 1)
    }

    /// Adds a junction on unprinted cloth beside the print of a ride channel: scorch, shrinkage and
    /// melting are then judged on it. `name` is what remarks call it.
    ///
    /// Of the readings of one row, those of the cloth are fed before those of the ride.
    pub fn add_cloth(&mut self, beside: ChannelId, name: &str, doubt: ProbeDoubt) -> ClothId {
        let cloth = &mut self.channels[beside.0];
        let track = Track::new(cloth_rates(&cloth.plan), cloth.plan.laws.threshold.0);
        let max_gap = cloth.plan.max_gap.0;
        cloth.cloth.push(Cloth::new(
            name.to_owned(),
            doubt.uncertainty,
            track,
            max_gap,
        ));
        ClothId {
            beside: beside.0,
            number: cloth.cloth.len() - 1,
        }
    }

    /// Judges a channel's passes by another plan from now on: other laws, another doubt. What the probe is
    /// (riding, or under a lamp) stays as it was. While a pass is open nothing changes and `false` is given
    /// back: a pass is judged by what held when it began.
    pub fn replan(&mut self, channel: ChannelId, plan: ChannelPlan) -> bool {
        self.channels[channel.0].replan(plan)
    }

    /// Judges a heating under a lamp that has cooled off, without waiting for the next one to begin: that is so
    /// once it is so cool that no law counts it any more, nor would if it flickered. What is said of it is what
    /// would be said later, but that its end is where the trace is coolest so far.
    ///
    /// One that is `silent`, whose readings have stopped, is judged as it stands if no law counts its last.
    pub fn settle(&mut self, channel: ChannelId, silent: bool, events: &mut impl FnMut(Event)) {
        self.channels[channel.0].settle(channel, silent, events);
    }

    /// When the last reading was taken of a channel that was good; a doubtful one counts once it is decided.
    pub fn last_good(&self, channel: ChannelId) -> Option<Seconds> {
        let last = match &self.channels[channel.0].finder {
            Finder::Ride(finder) => finder.last_time(),
            Finder::Flash(finder) => finder.last_time(),
        };
        last.map(Seconds)
    }

    /// Takes one reading; `None` where the probe said something that is no number. A missing reading
    /// is not fed at all. Times of one channel do not go backwards.
    pub fn feed(
        &mut self,
        channel: ChannelId,
        time: Seconds,
        reading: Option<Celsius>,
        events: &mut impl FnMut(Event),
    ) {
        let celsius = reading.map_or(f64::NAN, |reading| reading.0);
        self.channels[channel.0].feed_all(channel, &[(time.0, celsius)], events);
    }

    /// Takes many readings of one channel: pairs of seconds and °C, NaN where the probe said
    /// something that is no number.
    pub fn feed_all(
        &mut self,
        channel: ChannelId,
        readings: &[(f64, f64)],
        events: &mut impl FnMut(Event),
    ) {
        self.channels[channel.0].feed_all(channel, readings, events);
    }

    /// Takes one reading of a cloth channel, as [`Engine::feed`] does.
    pub fn feed_cloth(&mut self, cloth: ClothId, time: Seconds, reading: Option<Celsius>) {
        let celsius = reading.map_or(f64::NAN, |reading| reading.0);
        self.channels[cloth.beside].cloth[cloth.number].feed(time.0, celsius);
    }

    /// Takes many readings of a cloth channel, as [`Engine::feed_all`] does.
    pub fn feed_cloth_all(&mut self, cloth: ClothId, readings: &[(f64, f64)]) {
        let cloth = &mut self.channels[cloth.beside].cloth[cloth.number];
        readings
            .iter()
            .for_each(|&(time, celsius)| cloth.feed(time, celsius));
    }

    /// All traces end here: passes that are still open are judged as cut.
    pub fn finish(&mut self, events: &mut impl FnMut(Event)) {
        for (number, channel) in self.channels.iter_mut().enumerate() {
            channel.finish(ChannelId(number), events);
        }
    }
}

#[derive(Debug, Serialize, Deserialize)]
enum Finder {
    Ride(Box<RideFinder>),
    Flash(Box<FlashFinder>),
}

/// One channel: its sieve, its finder, its cloth, and the passes that wait for the cloth's trace.
#[derive(Debug, Serialize, Deserialize)]
struct Channel {
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
    fn new(plan: ChannelPlan) -> Channel {
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

    fn replan(&mut self, plan: ChannelPlan) -> bool {
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

    fn feed_all(&mut self, id: ChannelId, readings: &[(f64, f64)], events: &mut impl FnMut(Event)) {
        let Channel {
            plan,
            sieve,
            finder,
            cloth,
            waiting,
            judged,
        } = self;
        let mut desk = Desk {
            id,
            plan,
            cloth,
            waiting,
            judged,
            events,
        };
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

    fn settle(&mut self, id: ChannelId, silent: bool, events: &mut impl FnMut(Event)) {
        let Channel {
            plan,
            finder,
            cloth,
            waiting,
            judged,
            ..
        } = self;
        let mut desk = Desk {
            id,
            plan,
            cloth,
            waiting,
            judged,
            events,
        };
        if let Finder::Flash(finder) = finder {
            finder.settle(silent, |finding| desk.take(finding));
        }
    }

    fn finish(&mut self, id: ChannelId, events: &mut impl FnMut(Event)) {
        let Channel {
            plan,
            sieve,
            finder,
            cloth,
            waiting,
            judged,
        } = self;
        cloth.iter_mut().for_each(Cloth::finish);
        let mut desk = Desk {
            id,
            plan,
            cloth,
            waiting,
            judged,
            events,
        };
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
