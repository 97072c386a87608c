//! Sources as the keeper knows them: which of their channels go where, and in what time they live.

use std::collections::{HashMap, VecDeque};
use std::sync::Arc;

use inkdwell_config::shop::{Shop, SourceKind};
use inkdwell_cure::alarm::{AlarmEvent, Watchman};
use inkdwell_cure::live::{Floor, FloorEvent, InputId, Taken};

use super::alarms;
use super::state::State;
use super::timeline::Timeline;
use crate::intake::Value;
use crate::time::Micros;

/// So many readings of an input are remembered, to know one again that comes twice.
const REMEMBERED: usize = 64;

/// Where the readings of a channel go.
#[derive(Debug)]
pub(super) struct Route {
    pub(super) input: InputId,
    pub(super) comes_first: bool,
    pub(super) timeline: Timeline,
    pub(super) recent: VecDeque<(Micros, u64)>,
    pub(super) late: u64,
}

/// A source as the keeper knows it.
#[derive(Debug)]
pub(super) struct KnownSource {
    pub(super) id: String,
    /// A played file or scenario: its times are exact, and its first reading is now.
    pub(super) is_script: bool,
    /// By how much a script's times are ahead of the steady time.
    pub(super) ahead: Option<i64>,
    /// Whether a script is being played, from its first reading to its end.
    pub(super) plays: bool,
    /// When its newest reading was taken.
    pub(super) newest: Micros,
    pub(super) routes: HashMap<Arc<str>, Route>,
    /// Readings of channels that nothing in the shop file reads.
    pub(super) unread: u64,
}

impl KnownSource {
    /// Takes over what was known of the same source, whose channels are perhaps others now.
    pub(super) fn go_on_from(&mut self, before: KnownSource) {
        (self.ahead, self.plays) = (before.ahead, before.plays);
        (self.newest, self.unread) = (before.newest, before.unread);
        for (channel, route) in before.routes {
            if let Some(own) = self.routes.get_mut(&channel) {
                (own.recent, own.late) = (route.recent, route.late);
            }
        }
    }
}

/// A number that tells one value from another.
pub(super) fn bits_of(value: &Value) -> u64 {
    match value {
        Value::Number(number) => number.to_bits(),
        Value::NoNumber(_) => f64::NAN.to_bits(),
    }
}

pub(super) fn remember(route: &mut Route, at: Micros, bits: u64) {
    if route.recent.len() == REMEMBERED {
        route.recent.pop_front();
    }
    route.recent.push_back((at, bits));
}

/// Feeds a reading to the floor and shows it to the watchman; says whether it was used.
pub(super) fn feed(
    (floor, watchman): (&mut Floor, &mut Watchman),
    route: &mut Route,
    (at, value): (Micros, &Value),
    found: &mut impl FnMut(FloorEvent),
    rang: &mut impl FnMut(AlarmEvent),
) -> bool {
    remember(route, at, bits_of(value));
    let number = match value {
        Value::Number(number) => Some(*number),
        Value::NoNumber(_) => None,
    };
    let fed = floor.read(route.input, at, number, found) == Taken::Fed;
    if fed {
        alarms::show(floor, watchman, (route.input, at, number), rang);
    }
    fed
}

pub(super) fn known_sources(shop: &Shop, floor: &Floor, state: &State) -> Vec<KnownSource> {
    let timeline = |source: &str, channel: &str| {
        let mut known = state.timelines.iter();
        let known = known.find(|(name, _)| name.0 == source && name.1 == channel);
        known
            .map(|(_, timeline)| timeline.clone())
            .unwrap_or_default()
    };
    let sources = shop.sources.iter().map(|source| {
        let is_script = matches!(
            source.kind,
            SourceKind::Replay { .. } | SourceKind::Simulated { .. }
        );
        let routes = floor.channels_of(&source.id).map(|(channel, input)| {
            let route = Route {
                input,
                comes_first: floor.comes_first(input),
                timeline: timeline(&source.id, channel),
                recent: VecDeque::new(),
                late: 0,
            };
            (Arc::from(channel), route)
        });
        KnownSource {
            routes: routes.collect(),
            // A script begins anew with the daemon.
            ahead: None,
            id: source.id.clone(),
            is_script,
            plays: false,
            newest: Micros(i64::MIN),
            unread: 0,
        }
    });
    sources.collect()
}
