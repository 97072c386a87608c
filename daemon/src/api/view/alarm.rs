//! Alarms, their history and their catalogue.

use inkdwell_config::display::Units;
use inkdwell_cure::alarm::{Alarm, Kind, Priority};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::moment::{Clock, Moment};
use crate::record::AlarmChanged;
use crate::time::Micros;

/// An alarm that is seen by somebody.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Acknowledgement {
    /// By whom.
    pub by: String,
    /// What there is to say to it.
    #[serde(default)]
    pub why: String,
}

/// Somebody does something with an alarm, and says why.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ByWhy {
    /// Who.
    pub by: String,
    /// Why.
    pub why: String,
}

/// An alarm that is put aside.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ToShelve {
    /// For how many seconds.
    pub for_s: f64,
    /// By whom.
    pub by: String,
    /// Why.
    pub why: String,
}

/// What a person has said to an alarm's state.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SaidView {
    /// Who.
    pub by: String,
    /// Why.
    pub why: String,
}

/// An alarm as it stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AlarmView {
    /// By this it is called: `NAME@ID`, or `NAME` for the whole shop.
    pub alarm: String,
    /// Its name in the catalogue.
    pub name: String,
    /// The id of the station, probe, source or way out that it is of; null for the whole shop.
    pub of: Option<String>,
    /// Its station.
    pub station: Option<String>,
    /// What it says, in a few words.
    pub title: String,
    /// `low`, `medium` or `high`.
    pub priority: String,
    /// Its state, by the words of the life cycle: `normal`, `unacknowledged`, `acknowledged`,
    /// `returned-unacknowledged`, `latched-unacknowledged`, `latched-acknowledged`, `shelved`,
    /// `suppressed-by-design`, `out-of-service`.
    pub state: String,
    /// Since when.
    pub since: Moment,
    /// Whether its condition holds, whatever its state.
    pub holds: bool,
    /// When it was raised last.
    pub raised: Option<Moment>,
    /// How many times its condition has come since it was last normal.
    pub count: u64,
    /// Why it holds or held, in a sentence.
    pub words: String,
    /// The first of its group, where that is another: what this follows from.
    pub follows: Option<String>,
    /// Until when it is shelved.
    pub shelved_until: Option<Moment>,
    /// Who put it into its state, and why, where a person did.
    pub said: Option<SaidView>,
    /// What to do first: make safe.
    pub first: String,
    /// What to do then: look.
    pub then: String,
    /// How long one has.
    pub time: String,
    /// What has to be kept in mind, where it has to do with heat, fire or fumes.
    pub caution: Option<String>,
    /// Whether it is a test.
    pub drill: bool,
}

/// Alarms.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Alarms {
    /// What wants acknowledging first, then by priority, the newest first.
    pub alarms: Vec<AlarmView>,
    /// What to keep in mind.
    pub caution: String,
}

/// One transition.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AlarmChangeView {
    /// The number of its record.
    pub record: u64,
    /// When.
    pub at: Moment,
    /// Which alarm.
    pub alarm: String,
    /// Its station.
    pub station: Option<String>,
    /// What happened.
    pub change: String,
    /// The state now.
    pub state: String,
    /// `low`, `medium` or `high`.
    pub priority: String,
    /// How many times its condition had come.
    pub count: u64,
    /// Why it held, in a sentence.
    pub words: String,
    /// Who did it, and why, where a person did.
    pub said: Option<SaidView>,
    /// Whether people were told at once.
    pub announced: bool,
    /// Whether it was a test.
    pub drill: bool,
}

/// What has happened to alarms.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AlarmHistory {
    /// The newest first.
    pub changes: Vec<AlarmChangeView>,
}

/// A key of the shop file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct KeyView {
    /// Its name.
    pub name: String,
    /// What holds where it is not given.
    pub default: String,
}

/// A page of the catalogue.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SheetView {
    /// By this name.
    pub name: String,
    /// What it says, in a few words.
    pub title: String,
    /// `low`, `medium` or `high`.
    pub priority: String,
    /// Whether it stays, once its condition has gone, until somebody resets it.
    pub latches: bool,
    /// What is behind it.
    pub cause: String,
    /// What comes of it if nobody does anything.
    pub consequence: String,
    /// What to do first: make safe.
    pub first: String,
    /// What to do then: look.
    pub then: String,
    /// How long one has.
    pub time: String,
    /// What the shop file can set.
    pub keys: Vec<KeyView>,
    /// What has to be kept in mind, where it has to do with heat, fire or fumes.
    pub caution: Option<String>,
}

/// The catalogue.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Catalogue {
    /// Every alarm that there is.
    pub alarms: Vec<SheetView>,
}

impl AlarmView {
    /// An alarm, told.
    pub fn new(alarm: &Alarm, units: Units, clock: &Clock) -> AlarmView {
        let sheet = alarm.id.kind.sheet();
        let cause = alarm.cause.as_ref();
        let until = alarm.life.shelved_until();
        AlarmView {
            alarm: alarm.id.to_string(),
            name: sheet.name.to_owned(),
            of: Some(alarm.id.of.clone()).filter(|of| !of.is_empty()),
            station: alarm.origin.station.clone(),
            title: sheet.title.to_owned(),
            priority: sheet.priority.name().to_owned(),
            state: alarm.state().name().to_owned(),
            since: clock.moment(alarm.since),
            holds: alarm.life.holds(),
            raised: alarm.raised.map(|raised| clock.moment(raised)),
            count: alarm.count,
            words: cause.map_or_else(String::new, |cause| cause.sentence(units)),
            follows: alarm.follows.as_ref().map(ToString::to_string),
            shelved_until: until.map(|until| clock.moment(until)),
            said: alarm.said.clone().map(|(by, why)| SaidView { by, why }),
            first: sheet.first.to_owned(),
            then: sheet.then.to_owned(),
            time: sheet.time.to_owned(),
            caution: sheet.hazard.map(|hazard| hazard.caution().to_owned()),
            drill: alarm.id.kind == Kind::Drill,
        }
    }
}

/// What wants acknowledging stands first, then what matters most, then what is newest.
pub fn order(alarm: &Alarm) -> (bool, std::cmp::Reverse<Priority>, std::cmp::Reverse<Micros>) {
    let priority = alarm.id.kind.sheet().priority;
    (
        !alarm.state().wants_acknowledging(),
        std::cmp::Reverse(priority),
        std::cmp::Reverse(alarm.since),
    )
}

impl AlarmChangeView {
    /// What the journal keeps, told.
    pub fn new(record: u64, at: Micros, changed: &AlarmChanged, clock: &Clock) -> AlarmChangeView {
        let said = changed.change.said();
        AlarmChangeView {
            record,
            at: clock.moment(at),
            alarm: changed.alarm.clone(),
            station: changed.station.clone(),
            change: changed.change.name().to_owned(),
            state: changed.state.name().to_owned(),
            priority: changed.priority.name().to_owned(),
            count: changed.count,
            words: changed.words.clone(),
            said: said.map(|(by, why)| SaidView {
                by: by.to_owned(),
                why: why.to_owned(),
            }),
            announced: changed.announce,
            drill: changed.drill,
        }
    }
}

impl SheetView {
    /// A page, told.
    pub fn new(kind: Kind) -> SheetView {
        let sheet = kind.sheet();
        let keys = sheet.keys.iter().map(|key| KeyView {
            name: key.name.to_owned(),
            default: key.default.to_owned(),
        });
        SheetView {
            name: sheet.name.to_owned(),
            title: sheet.title.to_owned(),
            priority: sheet.priority.name().to_owned(),
            latches: sheet.latches,
            cause: sheet.cause.to_owned(),
            consequence: sheet.consequence.to_owned(),
            first: sheet.first.to_owned(),
            then: sheet.then.to_owned(),
            time: sheet.time.to_owned(),
            keys: keys.collect(),
            caution: sheet.hazard.map(|hazard| hazard.caution().to_owned()),
        }
    }
}
