//! What a shop file says of the channels of a source.

use std::collections::BTreeMap;

use inkdwell_config::shop::{Place, ReadingUnit, Shop, SignalKind};

/// What the shop file says of channels; nothing where there is none.
#[derive(Debug, Default, Clone, PartialEq)]
pub(crate) struct Known {
    /// Whether there is a shop file.
    asked: bool,
    channels: BTreeMap<String, Declared>,
}

/// What is declared of a channel.
#[derive(Debug, Clone, PartialEq)]
struct Declared {
    words: String,
    unit: Option<&'static str>,
}

impl Known {
    /// What a shop's probes and signals take from a source.
    pub(crate) fn of(shop: &Shop, source: &str) -> Known {
        let mut channels = BTreeMap::new();
        let reads = |from: &Option<String>| from.as_deref() == Some(source);
        for probe in shop.probes.iter().filter(|probe| reads(&probe.source)) {
            let at = probe
                .station
                .as_ref()
                .map(|station| format!(" at {station}"));
            let words = format!(
                "probe {}, {}{}",
                probe.id,
                place(probe.place),
                at.unwrap_or_default()
            );
            let unit = Some(unit(probe.unit));
            channels.insert(probe.channel.clone(), Declared { words, unit });
        }
        for signal in shop.signals.iter().filter(|signal| reads(&signal.source)) {
            let kind = match signal.kind {
                SignalKind::Belt { .. } => "belt speed",
                SignalKind::Count { .. } => "print counter",
                SignalKind::Exhaust { .. } => "exhaust",
            };
            let words = format!("signal {}, {kind} of {}", signal.id, signal.station);
            channels.insert(signal.channel.clone(), Declared { words, unit: None });
        }
        Known {
            asked: true,
            channels,
        }
    }

    /// What a channel is, in words.
    pub(crate) fn what_is(&self, channel: &str) -> &str {
        match (self.channels.get(channel), self.asked) {
            (Some(declared), _) => &declared.words,
            (None, true) => "no probe or signal takes it",
            (None, false) => "",
        }
    }

    /// The unit that the shop file gives a channel.
    pub(crate) fn unit(&self, channel: &str) -> Option<&'static str> {
        self.channels.get(channel)?.unit
    }

    /// Channels that are taken from the source, in order.
    pub(crate) fn channels(&self) -> impl Iterator<Item = &str> {
        self.channels.keys().map(String::as_str)
    }
}

fn place(place: Place) -> &'static str {
    match place {
        Place::Ride => "in the wet ink",
        Place::Cloth => "on bare cloth",
        Place::Exit => "behind the dryer",
        Place::Zone => "in the chamber",
        Place::Platen => "on a platen",
        Place::Room => "in the room",
    }
}

fn unit(unit: ReadingUnit) -> &'static str {
    match unit {
        ReadingUnit::Celsius => "C",
        ReadingUnit::Fahrenheit => "F",
        ReadingUnit::Kelvin => "K",
        ReadingUnit::Millivolts => "mV",
    }
}
