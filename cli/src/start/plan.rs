//! What is to be written: everything that was asked, as it is meant.

use inkdwell_config::display::Units;
use inkdwell_config::shop::{LineFormat, MqttTopic, Port};
use inkdwell_config::station::StationKind;
use toml::Table;

/// A shop as it is to be declared. Quantities are texts with their units, as people wrote them.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Plan {
    pub(super) name: String,
    pub(super) timezone: String,
    pub(super) units: Units,
    pub(super) station: Station,
    pub(super) sources: Vec<Source>,
    pub(super) channels: Vec<Channel>,
    /// Where the board is answered, where it is not the usual place.
    pub(super) board: Option<String>,
}

#[derive(Debug, Clone, PartialEq)]
pub(super) struct Station {
    pub(super) kind: StationKind,
    pub(super) heat: String,
    pub(super) air: Option<String>,
    pub(super) panel: Option<String>,
    pub(super) belt: Option<String>,
}

impl Station {
    pub(super) fn id(&self) -> &'static str {
        match self.kind {
            StationKind::BeltDryer => "belt-1",
            StationKind::FlashUnit => "flash-1",
        }
    }
}

#[derive(Debug, Clone, PartialEq)]
pub(super) struct Source {
    pub(super) id: String,
    pub(super) wire: Wire,
}

#[derive(Debug, Clone, PartialEq)]
pub(super) enum Wire {
    Serial {
        port: Port,
        baud: u32,
        format: LineFormat,
        /// Lines that were heard, fit to be shown.
        heard: Vec<String>,
    },
    /// The keys of the broker, and its topics.
    Mqtt {
        broker: Table,
        topics: Vec<MqttTopic>,
    },
    /// The keys of the bus, its registers among them.
    Modbus(Table),
    Simulated,
}

/// A channel that is taken.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Channel {
    /// The source's id.
    pub(super) source: String,
    /// What the shop file calls it.
    pub(super) id: String,
    /// What the source calls it.
    pub(super) name: String,
    pub(super) role: Role,
}

/// What a channel is.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Role {
    Probe {
        place: ProbePlace,
        /// `None` where the source says its unit itself.
        unit: Option<&'static str>,
        sensor: SensorKind,
    },
    Belt {
        unit: &'static str,
    },
    Count,
    Exhaust,
}

/// Where a probe sits.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum ProbePlace {
    Ride,
    Cloth,
    Exit {
        distance: String,
        spot: Option<String>,
    },
    /// In the chamber: its air or its panel.
    Zone {
        panel: bool,
    },
    Platen,
    Room,
}

/// What a probe is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum SensorKind {
    /// A thermocouple of this type.
    Thermocouple(char),
    Infrared,
}
