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

mod channel;

use inkdwell_config::quantity::{Celsius, Seconds};
use serde::{Deserialize, Serialize};

use self::channel::Channel;
use crate::judged::JudgedPass;
use crate::plan::{ChannelPlan, ProbeDoubt};

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
        ClothId {
            beside: beside.0,
            number: self.channels[beside.0].add_cloth(name, doubt),
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
    /// One that is `over`, of which no more is expected (its readings have stopped, or another batch was opened),
    /// is judged as it stands if no law counts its last.
    pub fn settle(&mut self, channel: ChannelId, over: bool, events: &mut impl FnMut(Event)) {
        self.channels[channel.0].settle(channel, over, events);
    }

    /// When the last reading was taken of a channel that was good; a doubtful one counts once it is decided.
    pub fn last_good(&self, channel: ChannelId) -> Option<Seconds> {
        self.channels[channel.0].last_good().map(Seconds)
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
        self.channels[cloth.beside].feed_cloth(cloth.number, &[(time.0, celsius)]);
    }

    /// Takes many readings of a cloth channel, as [`Engine::feed_all`] does.
    pub fn feed_cloth_all(&mut self, cloth: ClothId, readings: &[(f64, f64)]) {
        self.channels[cloth.beside].feed_cloth(cloth.number, readings);
    }

    /// All traces end here: passes that are still open are judged as cut.
    pub fn finish(&mut self, events: &mut impl FnMut(Event)) {
        for (number, channel) in self.channels.iter_mut().enumerate() {
            channel.finish(ChannelId(number), events);
        }
    }
}
