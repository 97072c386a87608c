//! What raises an alarm: thresholds of the shop, and of single stations.

use std::collections::BTreeSet;

use crate::quantity::{Celsius, CelsiusDifference, Seconds, Share};
use crate::reading::TableReader;
use crate::shop::reference::Known;

/// Thresholds, each `None` where the default holds.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Thresholds {
    /// The hottest that a chamber may be.
    pub chamber_limit: Option<Celsius>,
    /// How much hotter a chamber may grow within a minute.
    pub chamber_rise_per_min: Option<CelsiusDifference>,
    /// The chamber must be below this before the belt may stop (common practice: 93 °C, 200 °F).
    pub cooled_below: Option<Celsius>,
    /// The hottest that prints may be stacked on a fabric whose dye migrates.
    pub stack_limit: Option<Celsius>,
    /// The hottest that a platen may be.
    pub platen_limit: Option<Celsius>,
    /// How far the belt may differ from its nominal speed.
    pub belt_slip: Option<Share>,
    /// How many unproven prints in a row are too many.
    pub unproven_in_row: Option<u64>,
    /// How long the exhaust may be unproved while an ink needs it.
    pub exhaust_grace: Option<Seconds>,
    /// How long a probe may be silent.
    pub silent_after: Option<Seconds>,
    /// How long a lit flash unit may see nothing move.
    pub flash_idle: Option<Seconds>,
}

/// Thresholds and what happens to raised alarms.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Alarms {
    /// The shop's thresholds.
    pub thresholds: Thresholds,
    /// Those of single stations, which win, by the station's id.
    pub stations: Vec<(String, Thresholds)>,
    /// The longest that an alarm may be shelved.
    pub shelve_longest: Option<Seconds>,
    /// How long an alarm waits to be acknowledged before it goes to the next way out.
    pub escalate_after: Option<Seconds>,
}

impl Alarms {
    pub(crate) fn read(top: &TableReader<'_>, known: &Known) -> Alarms {
        let Some(table) = top.optional("alarms").and_then(|node| node.table()) else {
            return Alarms::default();
        };
        let shelve_longest = table
            .optional("shelve_longest")
            .and_then(|node| node.above_zero());
        let escalate_after = table
            .optional("escalate_after")
            .and_then(|node| node.above_zero());
        let thresholds = Thresholds::read(&table);
        let mut stations = Vec::new();
        let mut seen = BTreeSet::new();
        for (node, table) in table.tables("station") {
            let id = table
                .required("id", "\"belt-1\"")
                .and_then(|node| known.station(&node));
            if id.as_ref().is_some_and(|id| !seen.insert(id.clone())) {
                node.report("this station has thresholds already", "put them together");
            }
            let thresholds = Thresholds::read(&table);
            table.finish();
            stations.extend(id.map(|id| (id, thresholds)));
        }
        table.finish();
        Alarms {
            thresholds,
            stations,
            shelve_longest,
            escalate_after,
        }
    }
}

impl Thresholds {
    fn read(table: &TableReader<'_>) -> Thresholds {
        let celsius = |key| table.optional(key).and_then(|node| node.quantity());
        let seconds = |key| table.optional(key).and_then(|node| node.quantity());
        let in_row = table
            .optional("unproven_in_row")
            .and_then(|node| node.whole(2..=1000));
        Thresholds {
            chamber_limit: celsius("chamber_limit"),
            chamber_rise_per_min: table
                .optional("chamber_rise_per_min")
                .and_then(|node| node.above_zero()),
            cooled_below: celsius("cooled_below"),
            stack_limit: celsius("stack_limit"),
            platen_limit: celsius("platen_limit"),
            belt_slip: table
                .optional("belt_slip")
                .and_then(|node| node.above_zero()),
            unproven_in_row: in_row,
            exhaust_grace: seconds("exhaust_grace"),
            silent_after: seconds("silent_after"),
            flash_idle: seconds("flash_idle"),
        }
    }
}
