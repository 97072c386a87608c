//! What is sent, as JSON. The schemas are a contract: new members may come, none is renamed.
//!
//! Temperatures are in °C, durations in seconds, speeds in metres a minute, times RFC 3339 in the shop's zone as
//! its wall clock showed them. What is not known is null. `id` is the same however often a message is sent, and
//! never that of another: the first 32 digits of the record's hash in the journal.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::record::{Dose, HarmSeen, Place};

/// What is said of one print.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Verdict {
    /// `inkdwell.verdict/1`.
    pub schema: String,
    /// Known again by this.
    pub id: String,
    /// The shop's name.
    pub shop: String,
    /// The station's id.
    pub station: String,
    /// The record's number in that shop's journal.
    pub record: u64,
    /// When the print left the heat.
    pub at: String,
    /// The number of the pass in that journal.
    pub pass: u64,
    /// The probe that saw it.
    pub probe: Option<String>,
    /// How it was seen.
    pub place: Place,
    /// When it entered the heat.
    pub start: String,
    /// The batch's number.
    pub batch: Option<u64>,
    /// The print's number in its batch.
    pub print: Option<u64>,
    /// The batch's job.
    pub job: Option<String>,
    /// The batch's ink.
    pub ink: Option<String>,
    /// The batch's fabric.
    pub fabric: Option<String>,
    /// The belt's speed.
    pub belt_m_per_min: Option<f64>,
    /// `measured`, `inferred` or `none`.
    pub evidence: Option<String>,
    /// `cured`, `under-cured`, `overheated`, `unproven`, or of a flash unit `gelled`, `under-flashed`,
    /// `over-flashed`; null while it has no batch, since then nobody knows what it needed.
    pub verdict: Option<String>,
    /// The harm, where it is overheated.
    pub harm: Option<String>,
    /// Hottest good sample.
    pub peak_c: Option<f64>,
    /// Where time above counts from.
    pub threshold_c: Option<f64>,
    /// Seconds at or above it.
    pub time_above_s: Option<f64>,
    /// Largest expanded uncertainty (k = 2).
    pub uncertainty_c: Option<f64>,
    /// The cure dose.
    pub cure: Option<Dose>,
    /// The harm doses.
    pub harms: Vec<HarmSeen>,
    /// Why it is no better.
    pub reasons: Vec<String>,
    /// What else is worth knowing.
    pub remarks: Vec<String>,
    /// Who gave the print its batch afterwards, where it had none. A verdict on the same pass that came before
    /// is void then.
    pub assigned_by: Option<String>,
    /// To be kept in mind.
    pub caution: String,
}

/// Something else that happened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Event {
    /// `inkdwell.event/1`.
    pub schema: String,
    /// Known again by this.
    pub id: String,
    /// The shop's name.
    pub shop: String,
    /// The station that it concerns.
    pub station: Option<String>,
    /// The record's number in that shop's journal.
    pub record: u64,
    /// When.
    pub at: String,
    /// What, for programs: the record's kind, such as `batch-opened`; of an event of the daemon its own word,
    /// such as `source-down`.
    pub kind: String,
    /// What, for people.
    pub text: String,
}

/// An alarm has come, gone, or was dealt with.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Alarm {
    /// `inkdwell.alarm/1`.
    pub schema: String,
    /// Known again by this.
    pub id: String,
    /// The shop's name.
    pub shop: String,
    /// The station that it concerns.
    pub station: Option<String>,
    /// The record's number in that shop's journal.
    pub record: u64,
    /// When.
    pub at: String,
    /// The alarm, as `NAME@ID`, or `NAME` for the whole shop.
    pub alarm: String,
    /// What it says, in a few words.
    pub title: String,
    /// What happened: `raised`, `counted`, `returned`, `acknowledged`, `reset`, `shelved`, `unshelved`,
    /// `shelf-ended`, `suppressed`, `unsuppressed`, `taken-out`, `put-back` or `withdrawn`.
    pub change: String,
    /// The state now: `normal`, `unacknowledged`, `acknowledged`, `returned-unacknowledged`,
    /// `latched-unacknowledged`, `latched-acknowledged`, `shelved`, `suppressed-by-design` or `out-of-service`.
    pub state: String,
    /// `low`, `medium` or `high`.
    pub priority: String,
    /// How many times its condition has come since it was last normal.
    pub count: u64,
    /// Why it holds or held, in figures.
    pub words: String,
    /// What to do first: make safe.
    pub first: Option<String>,
    /// What to do then: look.
    pub then: Option<String>,
    /// How long one has.
    pub time: Option<String>,
    /// Who did it, where a person did.
    pub by: Option<String>,
    /// And why.
    pub why: Option<String>,
    /// The first of its group, where that is another.
    pub follows: Option<String>,
    /// Whether people are told of it at once.
    pub announce: bool,
    /// Whether it is a test.
    pub drill: bool,
    /// To be kept in mind.
    pub caution: String,
}

/// An alarm that is not normal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StandingAlarm {
    /// The alarm.
    pub alarm: String,
    /// Its state.
    pub state: String,
    /// Its priority.
    pub priority: String,
    /// Since when it is in this state.
    pub since: String,
    /// Why it holds or held, in figures.
    pub words: String,
}

/// The alarms of a station, or of the shop as a whole, that are not normal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Standing {
    /// `inkdwell.alarms/1`.
    pub schema: String,
    /// The shop's name.
    pub shop: String,
    /// The station's id; null for what belongs to none.
    pub station: Option<String>,
    /// The last record that is told of.
    pub record: u64,
    /// The alarms.
    pub alarms: Vec<StandingAlarm>,
    /// To be kept in mind.
    pub caution: String,
}

/// Where a station stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct State {
    /// `inkdwell.state/1`.
    pub schema: String,
    /// The shop's name.
    pub shop: String,
    /// The station's id.
    pub station: String,
    /// The last record that is told of.
    pub record: u64,
    /// The open batch's number.
    pub batch: Option<u64>,
    /// Its job.
    pub job: Option<String>,
    /// Its ink.
    pub ink: Option<String>,
    /// Its fabric.
    pub fabric: Option<String>,
    /// Its prints by their verdicts.
    pub counts: std::collections::BTreeMap<String, u64>,
    /// The last pass's number.
    pub last_pass: Option<u64>,
    /// Its verdict.
    pub last_verdict: Option<String>,
    /// When it left the heat.
    pub last_at: Option<String>,
    /// Holds that nobody has settled.
    pub open_holds: u64,
    /// To be kept in mind.
    pub caution: String,
}

/// How the monitor itself is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Status {
    /// `inkdwell.status/1`.
    pub schema: String,
    /// The shop's name.
    pub shop: String,
    /// How it is.
    pub state: Alive,
    /// Its version.
    pub version: String,
    /// What that means, for people.
    pub text: String,
}

/// How the monitor is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Alive {
    /// It runs, and is connected.
    Running,
    /// It was stopped, as somebody told it.
    Stopped,
    /// It died, or its connection did: nothing is watched, as far as anybody here knows.
    Lost,
}

/// What is sent of a record.
#[derive(Debug, Clone, PartialEq)]
pub enum Message {
    /// A verdict.
    Verdict(Box<Verdict>),
    /// An alarm.
    Alarm(Box<Alarm>),
    /// Something else.
    Event(Event),
}

impl Message {
    /// By which it is known again.
    pub fn id(&self) -> &str {
        match self {
            Message::Verdict(verdict) => &verdict.id,
            Message::Alarm(alarm) => &alarm.id,
            Message::Event(event) => &event.id,
        }
    }

    /// The station that it concerns.
    pub fn station(&self) -> Option<&str> {
        match self {
            Message::Verdict(verdict) => Some(&verdict.station),
            Message::Alarm(alarm) => alarm.station.as_deref(),
            Message::Event(event) => event.station.as_deref(),
        }
    }

    /// What it is, in a word: `verdict`, `alarm` or `event`.
    pub fn word(&self) -> &'static str {
        match self {
            Message::Verdict(_) => "verdict",
            Message::Alarm(_) => "alarm",
            Message::Event(_) => "event",
        }
    }

    /// Its JSON.
    ///
    /// # Errors
    /// None that is known: all numbers in a record are numbers.
    pub fn json(&self) -> Result<String, serde_json::Error> {
        match self {
            Message::Verdict(verdict) => serde_json::to_string(verdict),
            Message::Alarm(alarm) => serde_json::to_string(alarm),
            Message::Event(event) => serde_json::to_string(event),
        }
    }
}

/// The JSON schema of everything that is sent, by the name that stands in its member `schema`.
pub fn schemas() -> Vec<(&'static str, schemars::Schema)> {
    vec![
        ("inkdwell.verdict/1", schemars::schema_for!(Verdict)),
        ("inkdwell.alarm/1", schemars::schema_for!(Alarm)),
        ("inkdwell.alarms/1", schemars::schema_for!(Standing)),
        ("inkdwell.event/1", schemars::schema_for!(Event)),
        ("inkdwell.state/1", schemars::schema_for!(State)),
        ("inkdwell.status/1", schemars::schema_for!(Status)),
    ]
}
