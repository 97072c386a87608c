//! The belt of a dryer.

use super::StationKind;
use crate::quantity::{Metres, MetresPerSecond};
use crate::reading::TableReader;

/// What only a station with a belt has.
#[derive(Default)]
pub(super) struct Belt {
    pub(super) nominal: Option<MetresPerSecond>,
    pub(super) slowest: Option<MetresPerSecond>,
    pub(super) fastest: Option<MetresPerSecond>,
    pub(super) print_pitch: Option<Metres>,
    pub(super) lanes: Option<u64>,
}

impl Belt {
    pub(super) fn read(table: &TableReader<'_>, kind: Option<StationKind>) -> Belt {
        let speed = |key| -> Option<MetresPerSecond> {
            table.optional(key).and_then(|node| node.above_zero())
        };
        let belt = Belt {
            nominal: speed("belt"),
            slowest: speed("belt_slowest"),
            fastest: speed("belt_fastest"),
            print_pitch: table
                .optional("print_pitch")
                .and_then(|node| node.above_zero()),
            lanes: table.optional("lanes").and_then(|node| node.whole(1..=100)),
        };
        if kind == Some(StationKind::FlashUnit) {
            let keys = [
                "belt",
                "belt_slowest",
                "belt_fastest",
                "print_pitch",
                "lanes",
            ];
            for node in keys.into_iter().filter_map(|key| table.optional(key)) {
                node.warn("is not used: a flash unit has no belt", "leave it out");
            }
            return Belt::default();
        }
        belt.compare(table);
        belt
    }

    /// Whether the speeds fit each other.
    fn compare(&self, table: &TableReader<'_>) {
        if let (Some(slowest), Some(fastest)) = (self.slowest, self.fastest)
            && slowest >= fastest
            && let Some(node) = table.optional("belt_slowest")
        {
            node.report(
                format!("{} is not below belt_fastest", node.written()),
                "let the slowest belt be slower than the fastest",
            );
        }
        let below = self.nominal < self.slowest;
        let above = self.fastest.is_some() && self.nominal > self.fastest;
        if (below || above)
            && self.nominal.is_some()
            && let Some(node) = table.optional("belt")
        {
            node.report(
                format!("{} is a speed that the belt does not reach", node.written()),
                "write a speed from belt_slowest to belt_fastest",
            );
        }
    }
}
