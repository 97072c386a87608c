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
    /// The hottest that prints may leave, as the exit probe sees them, to be stacked on a fabric whose dye migrates.
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
    /// A flash unit one of whose probes shows this is lit.
    pub flash_lit_from: Option<Celsius>,
    /// How long the belt may stand in a hot chamber.
    pub belt_stop_grace: Option<Seconds>,
    /// How far below its set temperature a zone counts as having reached it.
    pub zone_reach: Option<CelsiusDifference>,
    /// How long a dryer may take to reach its set temperatures.
    pub warm_up: Option<Seconds>,
    /// How far a zone may fall behind where it had settled.
    pub zone_sag: Option<CelsiusDifference>,
    /// How far a zone may differ from its neighbours, set temperatures allowed for.
    pub zone_apart: Option<CelsiusDifference>,
    /// How long a probe may show one number while it is hot.
    pub stuck_after: Option<Seconds>,
    /// How far a probe's readings may scatter (standard deviation).
    pub noise_limit: Option<CelsiusDifference>,
    /// A drift is told of when it would reach a limit within so many prints.
    pub drift_horizon: Option<u64>,
}

impl Thresholds {
    /// These, and where one is not given, the other's.
    #[must_use]
    pub fn or(&self, other: &Thresholds) -> Thresholds {
        Thresholds {
            chamber_limit: self.chamber_limit.or(other.chamber_limit),
            chamber_rise_per_min: self.chamber_rise_per_min.or(other.chamber_rise_per_min),
            cooled_below: self.cooled_below.or(other.cooled_below),
            stack_limit: self.stack_limit.or(other.stack_limit),
            platen_limit: self.platen_limit.or(other.platen_limit),
            belt_slip: self.belt_slip.or(other.belt_slip),
            unproven_in_row: self.unproven_in_row.or(other.unproven_in_row),
            exhaust_grace: self.exhaust_grace.or(other.exhaust_grace),
            silent_after: self.silent_after.or(other.silent_after),
            flash_idle: self.flash_idle.or(other.flash_idle),
            flash_lit_from: self.flash_lit_from.or(other.flash_lit_from),
            belt_stop_grace: self.belt_stop_grace.or(other.belt_stop_grace),
            zone_reach: self.zone_reach.or(other.zone_reach),
            warm_up: self.warm_up.or(other.warm_up),
            zone_sag: self.zone_sag.or(other.zone_sag),
            zone_apart: self.zone_apart.or(other.zone_apart),
            stuck_after: self.stuck_after.or(other.stuck_after),
            noise_limit: self.noise_limit.or(other.noise_limit),
            drift_horizon: self.drift_horizon.or(other.drift_horizon),
        }
    }
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
    /// The share of the journal's disk below which there is too little room.
    pub disk_room: Option<Share>,
}

impl Alarms {
    /// The thresholds that hold at a station: its own, and where it has none, the shop's.
    pub fn at(&self, station: &str) -> Thresholds {
        let own = self.stations.iter().find(|(id, _)| id == station);
        own.map_or_else(
            || self.thresholds.clone(),
            |(_, own)| own.or(&self.thresholds),
        )
    }

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
        let disk_room = table
            .optional("disk_room")
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
            disk_room,
        }
    }
}

impl Thresholds {
    fn read(table: &TableReader<'_>) -> Thresholds {
        let celsius = |key| table.optional(key).and_then(|node| node.quantity());
        let seconds = |key| table.optional(key).and_then(|node| node.quantity());
        let difference = |key| table.optional(key).and_then(|node| node.above_zero());
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
            flash_lit_from: celsius("flash_lit_from"),
            belt_stop_grace: seconds("belt_stop_grace"),
            zone_reach: difference("zone_reach"),
            warm_up: seconds("warm_up"),
            zone_sag: difference("zone_sag"),
            zone_apart: difference("zone_apart"),
            stuck_after: seconds("stuck_after"),
            noise_limit: difference("noise_limit"),
            drift_horizon: table
                .optional("drift_horizon")
                .and_then(|node| node.whole(2..=100_000)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::testing::{each_is_named, sound};

    const ALARMS: &str = r#"
[[station]]
id = "flash-1"
kind = "flash-unit"

[alarms]
chamber_limit = "230 C"
chamber_rise_per_min = "36 F"
cooled_below = "200 F"
stack_limit = "50 C"
platen_limit = "70 C"
belt_slip = "10 %"
unproven_in_row = 5
exhaust_grace = "30 s"
silent_after = "20 s"
flash_idle = "10 min"
flash_lit_from = "80 C"
belt_stop_grace = "3 s"
zone_reach = "12 C"
warm_up = "1 h"
zone_sag = "18 F"
zone_apart = "20 C"
stuck_after = "1 min"
noise_limit = "2 C"
drift_horizon = 30
disk_room = "8 %"
shelve_longest = "8 h"
escalate_after = "3 min"

[[alarms.station]]
id = "flash-1"
platen_limit = "65 C"
"#;

    #[test]
    fn thresholds_are_read_for_the_shop_and_for_a_station() {
        let alarms = sound(ALARMS).alarms;
        let shop = &alarms.thresholds;
        assert_eq!(shop.chamber_limit, Some(Celsius(230.0)));
        // A kelvin is 1.8 degrees Fahrenheit (NIST SP 811, appendix B.8).
        assert_eq!(shop.chamber_rise_per_min, Some(CelsiusDifference(20.0)));
        assert!((shop.cooled_below.unwrap().0 - 93.333_333).abs() < 1e-6);
        assert_eq!(
            (shop.stack_limit, shop.platen_limit),
            (Some(Celsius(50.0)), Some(Celsius(70.0)))
        );
        assert_eq!(
            (shop.belt_slip, shop.unproven_in_row),
            (Some(Share(0.1)), Some(5))
        );
        assert_eq!(
            (shop.exhaust_grace, shop.silent_after),
            (Some(Seconds(30.0)), Some(Seconds(20.0)))
        );
        assert_eq!(shop.flash_idle, Some(Seconds(600.0)));
        assert_eq!(shop.flash_lit_from, Some(Celsius(80.0)));
        assert_eq!(
            (shop.belt_stop_grace, shop.warm_up, shop.stuck_after),
            (
                Some(Seconds(3.0)),
                Some(Seconds(3600.0)),
                Some(Seconds(60.0))
            )
        );
        let differences = [
            shop.zone_reach,
            shop.zone_sag,
            shop.zone_apart,
            shop.noise_limit,
        ];
        let expected = [12.0, 10.0, 20.0, 2.0].map(|kelvin| Some(CelsiusDifference(kelvin)));
        assert_eq!(differences, expected);
        assert_eq!(shop.drift_horizon, Some(30));
        assert_eq!(alarms.disk_room, Some(Share(0.08)));
        assert_eq!(alarms.shelve_longest, Some(Seconds(28_800.0)));
        assert_eq!(alarms.escalate_after, Some(Seconds(180.0)));
        let own = Thresholds {
            platen_limit: Some(Celsius(65.0)),
            ..Thresholds::default()
        };
        assert_eq!(alarms.stations, [("flash-1".to_owned(), own)]);
        let here = alarms.at("flash-1");
        assert_eq!(here.platen_limit, Some(Celsius(65.0)));
        assert_eq!(here.stack_limit, shop.stack_limit);
        assert_eq!(alarms.at("elsewhere"), *shop);
    }

    #[test]
    fn what_cannot_be_is_named() {
        let station = "[[alarms.station]]\nid = \"flash-1\"";
        let twice = format!("{station}\n{station}");
        each_is_named(
            ALARMS,
            &[
                (
                    "chamber_limit = \"230 C\"",
                    "chamber_limit = 230",
                    "alarms.chamber_limit: 230 has no unit",
                ),
                (
                    "chamber_limit",
                    "chamber_limits",
                    "alarms.chamber_limits: is unknown here; did you mean \"chamber_limit\"?",
                ),
                (
                    "\"36 F\"",
                    "\"-36 F\"",
                    "alarms.chamber_rise_per_min: \"-36 F\" is not above zero",
                ),
                (
                    "\"10 %\"",
                    "10",
                    "alarms.belt_slip: \"10\" is more than the whole",
                ),
                (
                    "unproven_in_row = 5",
                    "unproven_in_row = 1",
                    "alarms.unproven_in_row: 1 is not a whole number from 2",
                ),
                (
                    "\"3 min\"",
                    "\"0 s\"",
                    "alarms.escalate_after: \"0 s\" is not above zero",
                ),
                (
                    station,
                    "[[alarms.station]]\nid = \"flash-2\"",
                    "alarms.station[0].id: no station \"flash-2\" is declared; did you mean \"flash-1\"?",
                ),
                (
                    station,
                    &twice,
                    "alarms.station[1]: this station has thresholds already",
                ),
            ],
        );
    }
}
