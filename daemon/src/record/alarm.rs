//! What has happened to an alarm.

use inkdwell_cure::alarm::{AlarmEvent, AlarmId, Cause, Change, Kind, Priority, State};
use serde::{Deserialize, Serialize};

/// One transition of one alarm.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AlarmChanged {
    /// The alarm, as `NAME@ID`, or `NAME` for the whole shop.
    pub alarm: String,
    /// Its station, where it has one.
    pub station: Option<String>,
    /// What happened, and by whom where a person did it.
    #[serde(flatten)]
    pub change: Change,
    /// The state before.
    pub from: State,
    /// The state now.
    pub state: State,
    /// How much it matters.
    pub priority: Priority,
    /// How many times its condition has come since it was last normal.
    pub count: u64,
    /// Why it holds or held, in figures.
    pub cause: Option<Cause>,
    /// The same in a sentence, in the shop's units.
    pub words: String,
    /// The first of its group, where that is another.
    pub follows: Option<String>,
    /// Whether people are told of it at once.
    pub announce: bool,
    /// Whether it is a test.
    #[serde(default)]
    pub drill: bool,
}

impl AlarmChanged {
    /// An event as it is journaled.
    pub fn new(event: AlarmEvent, units: inkdwell_config::display::Units) -> AlarmChanged {
        let cause = event.cause.as_ref();
        AlarmChanged {
            alarm: event.id.to_string(),
            station: event.station,
            words: cause.map_or_else(String::new, |cause| cause.sentence(units)),
            change: event.change,
            from: event.from,
            state: event.state,
            priority: event.priority,
            count: event.count,
            cause: event.cause,
            follows: event.follows.map(|first| first.to_string()),
            announce: event.announce,
            drill: event.drill,
        }
    }

    /// Which alarm it is; `None` where this version knows none of that name.
    pub fn id(&self) -> Option<AlarmId> {
        AlarmId::parse(&self.alarm)
    }

    /// Its kind.
    pub fn kind(&self) -> Option<Kind> {
        self.id().map(|id| id.kind)
    }
}
