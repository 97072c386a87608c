//! What one part of a shop file may say of another: ids given once, and referred to as they are.

use std::collections::{BTreeMap, BTreeSet};

use crate::problem::{quoted, suggestion};
use crate::reading::Node;
use crate::shop::{Source, SourceKind};
use crate::station::{Station, StationKind};

/// Ids already used, each in its own kind.
#[derive(Default)]
pub(super) struct Ids(BTreeSet<(&'static str, String)>);

impl Ids {
    pub(super) fn note(&mut self, kind: &'static str, id: &str, node: &Node<'_>) {
        if !self.0.insert((kind, id.to_owned())) {
            node.report(
                format!("{kind} {id:?} is declared twice"),
                "give each its own id",
            );
        }
    }
}

/// What probes, signals and alarms may refer to. What is declared may be referred to, even if it is
/// declared wrongly; then nothing more is known of it.
#[derive(Default)]
pub(crate) struct Known {
    sources: BTreeMap<String, Option<Feed>>,
    stations: BTreeMap<String, Option<Heat>>,
}

/// What is known of a source.
struct Feed {
    /// The channels it has; `None` where the devices on it decide.
    channels: Option<Vec<String>>,
    modbus: bool,
}

/// What is known of a station.
#[derive(Clone, Copy)]
pub(super) struct Heat {
    pub(super) kind: StationKind,
    pub(super) zones: usize,
}

impl Known {
    pub(super) fn declare_source(&mut self, id: Option<&str>, source: Option<&Source>) {
        let feed = source.map(|source| Feed {
            channels: source.channels(),
            modbus: matches!(source.kind, SourceKind::Modbus(_)),
        });
        if let Some(id) = id {
            self.sources.entry(id.to_owned()).or_insert(feed);
        }
    }

    pub(super) fn declare_station(&mut self, id: Option<&str>, station: Option<&Station>) {
        let heat = station.map(|station| Heat {
            kind: station.kind,
            zones: station.zones.len(),
        });
        if let Some(id) = id {
            self.stations.entry(id.to_owned()).or_insert(heat);
        }
    }

    /// A station's id that must be declared.
    pub(super) fn station(&self, node: &Node<'_>) -> Option<String> {
        refer(node, "station", &self.stations)
    }

    /// What is known of a station, if it is declared rightly.
    pub(super) fn heat(&self, station: Option<&String>) -> Option<Heat> {
        *self.stations.get(station?)?
    }

    /// A source's id that must be declared.
    pub(super) fn source(&self, node: &Node<'_>) -> Option<String> {
        refer(node, "source", &self.sources)
    }

    /// Whether a source says the unit of each of its channels itself.
    pub(super) fn says_units(&self, source: Option<&String>) -> bool {
        let feed = source.and_then(|source| self.sources.get(source));
        matches!(feed, Some(Some(feed)) if feed.modbus)
    }

    /// Complains of a channel that its source does not have. `node` is the channel where it is written,
    /// else the whole probe or signal, whose id it then is.
    pub(super) fn check_channel(&self, source: Option<&String>, channel: &str, node: &Node<'_>) {
        let feed = source.and_then(|source| self.sources.get(source));
        let Some(Some(Feed {
            channels: Some(channels),
            ..
        })) = feed
        else {
            return;
        };
        if !channels.iter().any(|known| known == channel) {
            let names: Vec<&str> = channels.iter().map(String::as_str).collect();
            node.report_vain(
                format!("its source has no channel {}", quoted(channel)),
                suggestion(channel, &names),
            );
        }
    }
}

fn refer<T>(node: &Node<'_>, kind: &str, known: &BTreeMap<String, T>) -> Option<String> {
    let id = node.text()?;
    if !known.contains_key(&id) {
        let names: Vec<&str> = known.keys().map(String::as_str).collect();
        node.report_vain(
            format!("no {kind} {} is declared", quoted(&id)),
            suggestion(&id, &names),
        );
        return None;
    }
    Some(id)
}
