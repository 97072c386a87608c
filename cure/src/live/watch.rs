//! A probe whose passes are judged: in the ink of a print that rides a belt, or looking at one under a lamp.

use inkdwell_config::quantity::{Celsius, Seconds};
use serde::{Deserialize, Serialize};

use super::open_pass::OpenPass;
use crate::engine::{ChannelId, ClothId, Engine, EventKind};
use crate::judged::JudgedPass;
use crate::plan::{ChannelPlan, ProbeDoubt, Watch};

/// A heating under a lamp that has cooled for so long is over, in seconds: the next print has not come.
const COOLED_FOR: f64 = 20.0;
/// A probe of which nothing good was read for so long inside a pass is not coming back to it, in seconds.
const GIVEN_UP: f64 = 600.0;

/// One probe's engine, and whose laws it has.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct ProbeWatch {
    engine: Engine,
    channel: ChannelId,
    cloth: Vec<(String, ClothId)>,
    is_flash: bool,
    /// The batch whose laws the engine has.
    batch: Option<u64>,
    /// A batch and laws that are taken as soon as no pass is open.
    wanted: Option<(Option<u64>, ChannelPlan)>,
    open: OpenPass,
    /// Below this a ride is over.
    wake: Celsius,
    /// The time of its last good reading, as it was at the last tick.
    heard: Option<f64>,
    /// The tick since which there was none. (Readings may be old when they come: their own times do not tell
    /// whether it is silent. And one that says OPEN all the time tells no more than one that says nothing.)
    quiet_since: f64,
}

/// What a probe's engine found, and by whose laws.
#[derive(Debug)]
pub(super) enum Found {
    Started(f64),
    Dropped(f64),
    Ended(Box<JudgedPass>, Option<u64>),
}

impl ProbeWatch {
    pub(super) fn new(
        plan: ChannelPlan,
        batch: Option<u64>,
        cloth: &[(String, ProbeDoubt)],
    ) -> ProbeWatch {
        let (is_flash, wake) = (plan.watch != Watch::Ride, plan.wake);
        let mut engine = Engine::new();
        let channel = engine.add_channel(plan);
        let cloth = cloth
            .iter()
            .map(|(name, doubt)| (name.clone(), engine.add_cloth(channel, name, *doubt)))
            .collect();
        ProbeWatch {
            engine,
            channel,
            cloth,
            is_flash,
            batch,
            wanted: None,
            open: OpenPass::none(),
            wake,
            heard: None,
            quiet_since: f64::NEG_INFINITY,
        }
    }

    /// When the open pass began.
    pub(super) fn open(&self) -> Option<f64> {
        self.open.began()
    }

    /// The laws of another batch from the next pass on.
    pub(super) fn change(
        &mut self,
        batch: Option<u64>,
        plan: ChannelPlan,
        found: &mut impl FnMut(Found),
    ) {
        self.wanted = Some((batch, plan));
        self.settle(true, found);
        self.take_wanted();
    }

    fn take_wanted(&mut self) {
        if let Some((batch, plan)) = self.wanted.take() {
            if self.engine.replan(self.channel, plan.clone()) {
                self.batch = batch;
            } else {
                self.wanted = Some((batch, plan));
            }
        }
    }

    /// Takes a reading; `None` where the probe said something that is no number.
    pub(super) fn read(
        &mut self,
        time: f64,
        celsius: Option<Celsius>,
        found: &mut impl FnMut(Found),
    ) {
        let wake = (!self.is_flash).then_some(self.wake);
        self.open.read(time, celsius, wake);
        let ProbeWatch {
            engine,
            channel,
            open,
            batch,
            ..
        } = self;
        let mut ended = false;
        engine.feed(*channel, Seconds(time), celsius, &mut |event| {
            ended |= open.note(event, *batch, found);
        });
        let has_cooled = self.open.is_open() && self.open.cools_since(time) >= COOLED_FOR;
        if self.is_flash && (self.wanted.is_some() || has_cooled) {
            // A heating lasts until the next begins, which may be the next batch's already.
            self.settle(self.wanted.is_some(), found);
            ended = true;
        }
        if ended {
            self.take_wanted();
        }
    }

    /// Takes a reading of a cloth probe beside it.
    pub(super) fn read_cloth(&mut self, name: &str, time: f64, celsius: Option<Celsius>) {
        if let Some((_, id)) = self.cloth.iter().find(|(own, _)| own == name) {
            self.engine.feed_cloth(*id, Seconds(time), celsius);
        }
    }

    /// Time goes on though nothing is read.
    pub(super) fn tick(&mut self, time: f64, found: &mut impl FnMut(Found)) {
        let heard = self.engine.last_good(self.channel).map(|last| last.0);
        if std::mem::replace(&mut self.heard, heard) != heard || !self.open.is_open() {
            self.quiet_since = time;
            return;
        }
        let quiet = time - self.quiet_since;
        if self.is_flash && quiet >= COOLED_FOR {
            self.settle(true, found);
            self.take_wanted();
        }
        if self.open.is_open() && quiet >= GIVEN_UP {
            self.finish(found);
            self.take_wanted();
        }
    }

    fn settle(&mut self, over: bool, found: &mut impl FnMut(Found)) {
        let ProbeWatch {
            engine,
            channel,
            open,
            batch,
            ..
        } = self;
        engine.settle(*channel, over, &mut |event| {
            open.note(event, *batch, found);
        });
    }

    /// Its trace ends here: an open pass is judged as cut.
    pub(super) fn finish(&mut self, found: &mut impl FnMut(Found)) {
        let heard = self.engine.last_good(self.channel).map(|last| last.0);
        let ProbeWatch {
            engine,
            open,
            batch,
            ..
        } = self;
        let mut was_cut = false;
        engine.finish(&mut |event| {
            was_cut |= matches!(&event.kind, EventKind::PassJudged(pass) if pass.cut);
            open.note(event, *batch, found);
        });
        self.open.end(heard.filter(|_| was_cut));
    }
}
