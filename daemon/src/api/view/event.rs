//! Events.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::moment::{Clock, Moment};
use crate::journal::KeptEvent;
use crate::record::Occurrence;

/// Something that happened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct EventView {
    /// The number of its record.
    pub record: u64,
    /// When.
    pub at: Moment,
    /// The station that it concerns.
    pub station: Option<String>,
    /// What, for programs.
    pub what: Occurrence,
    /// What, for people.
    pub sentence: String,
}

/// Events.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Events {
    /// The newest first.
    pub events: Vec<EventView>,
}

impl EventView {
    /// What the journal keeps, told.
    pub fn new(kept: KeptEvent, clock: &Clock) -> EventView {
        EventView {
            record: kept.record.0,
            at: clock.moment(kept.at),
            sentence: sentence(&kept.event.what),
            station: kept.event.station,
            what: kept.event.what,
        }
    }
}

/// An event in a sentence.
pub fn sentence(what: &Occurrence) -> String {
    match what {
        Occurrence::Started { version } => format!("The daemon began, version {version}."),
        Occurrence::Stopped => "The daemon ended as it was told.".to_owned(),
        Occurrence::ShopLoaded { .. } => "Another shop file holds from now on.".to_owned(),
        Occurrence::SourceUp { source } => format!("Source {source} is heard."),
        Occurrence::SourceDown { source, why } => format!("Source {source} is down: {why}."),
        Occurrence::SourceEnded { source } => format!("Source {source} has come to its end."),
        Occurrence::ClockStepped { ahead_us } => {
            let seconds = *ahead_us as f64 / 1e6;
            let way = if seconds < 0.0 { "behind" } else { "ahead of" };
            format!(
                "The wall clock was set; it is {:.1} s {way} the daemon's own time now.",
                seconds.abs()
            )
        }
        Occurrence::TurnedAway { source, readings } => format!(
            "{readings} readings of source {source} were lost: they came faster than they could be taken."
        ),
        Occurrence::Late { of, readings } => {
            format!("{readings} readings of {of} came too late to be judged; they are kept.")
        }
        Occurrence::DiskFull => "The disk is full: nothing is accepted.".to_owned(),
        Occurrence::DiskFree { after_s } => {
            format!("There is room on the disk again; for {after_s:.0} s nothing was accepted.")
        }
        Occurrence::DiskLow { free_bytes } => format!(
            "There is little room on the journal's disk: {:.1} GB.",
            *free_bytes as f64 / 1e9
        ),
        Occurrence::DiskRoomAgain => "There is room enough on the journal's disk again.".to_owned(),
        Occurrence::OutboxGrowing { sink, waiting } => {
            format!("{waiting} messages wait to go out by {sink}.")
        }
        Occurrence::OutboxClear { sink } => format!("Nothing waits any more to go out by {sink}."),
        Occurrence::RecipeLeft { recipe, what } => {
            format!("The station has left recipe {recipe}: {what}.")
        }
        Occurrence::RecipeMet { recipe } => format!("The station is back in recipe {recipe}."),
        Occurrence::Unseen { prints } => format!("{prints} prints were counted that no probe saw."),
    }
}
