//! Stations: the heat sources that prints pass.

mod belt;
mod zone;

pub use zone::Zone;

use serde::{Deserialize, Serialize};

use self::belt::Belt;
use self::zone::Heat;
use crate::ink::read_id;
use crate::quantity::{Celsius, Metres, MetresPerSecond, Seconds};
use crate::reading::{Node, TableReader};

/// What kind of heat source a station is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum StationKind {
    /// Prints ride a belt through a heated chamber.
    BeltDryer,
    /// A lamp heats a print that lies still on its platen.
    FlashUnit,
}

/// A belt dryer or a flash unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Station {
    /// The name by which files and commands call it.
    pub id: String,
    /// The name that people read; the id where none is given.
    pub name: String,
    /// Belt dryer or flash unit.
    pub kind: StationKind,
    /// Length of the heated stretch; zero for a flash unit that declares neither it nor zones.
    pub heated_length: Metres,
    /// Nominal belt speed, where no signal reports it.
    pub belt: Option<MetresPerSecond>,
    /// The slowest belt the drive can run.
    pub belt_slowest: Option<MetresPerSecond>,
    /// The fastest belt the drive can run.
    pub belt_fastest: Option<MetresPerSecond>,
    /// From print to print along one lane.
    pub print_pitch: Option<Metres>,
    /// Prints side by side on the belt.
    pub lanes: u32,
    /// The zones in the order in which a print meets them; a belt dryer has at least one, and together
    /// they are as long as `heated_length` within 1 %.
    pub zones: Vec<Zone>,
    /// Samples further apart than this are a gap; `None`: the default of 5 s.
    pub max_gap: Option<Seconds>,
    /// The temperature above which a print counts as on its way through the heat; `None`: 45 °C.
    pub wake: Option<Celsius>,
}

const KINDS: [(&str, StationKind); 2] = [
    ("belt-dryer", StationKind::BeltDryer),
    ("flash-unit", StationKind::FlashUnit),
];

impl StationKind {
    /// The word that files use.
    pub fn name(self) -> &'static str {
        match self {
            StationKind::BeltDryer => "belt-dryer",
            StationKind::FlashUnit => "flash-unit",
        }
    }
}

impl Station {
    /// Reads one `[[station]]`.
    pub(crate) fn read(table: &TableReader<'_>) -> Option<Station> {
        let id = table
            .required("id", "\"belt-1\"")
            .and_then(|node| read_id(&node));
        let name = table.optional("name").and_then(|node| node.words());
        let kind = table
            .required("kind", "\"belt-dryer\"")
            .and_then(|node| node.choice(&KINDS));
        let heat = Heat::read(table, kind);
        let belt = Belt::read(table, kind);
        let max_gap = table.optional("max_gap").and_then(|node| node.above_zero());
        let wake = table.optional("wake").and_then(|node| read_wake(&node));
        table.finish();
        let (id, heat) = (id?, heat?);
        Some(Station {
            name: name.unwrap_or_else(|| id.clone()),
            id,
            kind: kind?,
            heated_length: heat.length,
            belt: belt.nominal,
            belt_slowest: belt.slowest,
            belt_fastest: belt.fastest,
            print_pitch: belt.print_pitch,
            lanes: belt.lanes.unwrap_or(1) as u32,
            zones: heat.zones,
            max_gap,
            wake,
        })
    }
}

fn read_wake(node: &Node<'_>) -> Option<Celsius> {
    let wake: Celsius = node.quantity()?;
    // Samples out of -40 C to 600 C are none; a pass that begins at such a temperature never does.
    if !(-40.0..600.0).contains(&wake.0) {
        node.report(
            format!(
                "{} is no temperature at which a pass begins",
                node.written()
            ),
            "write for example \"45 C\", above the room and below the plateau of wet prints",
        );
        return None;
    }
    Some(wake)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::Shop;

    /// Three zones; their sum, and the speed in feet, follow by hand.
    const DRYER: &str = r#"
[[station]]
id = "belt-1"
kind = "belt-dryer"
heated_length = "2.4 m"
belt = "10 ft/min"
belt_slowest = "0.8 m/min"
belt_fastest = "6 m/min"
print_pitch = "30 in"
lanes = 2
max_gap = "2 s"
wake = "104 F"
zones = [ { length = "1 m", air = "190 C" }, { length = "60 cm", panel = "420 C" }, { length = "800 mm", air = "356 F", panel = "400 C" } ]
"#;

    fn problems(text: &str) -> Vec<String> {
        let problems = Shop::parse("x", text).problems;
        let line = |problem: &crate::problem::Problem| format!("{}: {}", problem.key, problem.what);
        problems.iter().map(line).collect()
    }

    #[test]
    fn a_dryer_is_read_with_all_its_keys() {
        let checked = Shop::parse("x", DRYER);
        assert_eq!((checked.problems, checked.warnings), (vec![], vec![]));
        let station = &checked.value.stations[0];
        assert_eq!((station.name.as_str(), station.lanes), ("belt-1", 2));
        // A foot is 0.3048 m (NIST SP 811).
        assert!((station.belt.unwrap().0 - 0.3048 / 6.0).abs() < 1e-15);
        assert!((station.print_pitch.unwrap().0 - 0.762).abs() < 1e-15);
        assert_eq!(
            (station.max_gap, station.wake),
            (Some(Seconds(2.0)), Some(Celsius(40.0)))
        );
        assert_eq!(station.zones[1].air, None);
        assert_eq!(station.zones[2].air, Some(Celsius(180.0)));
        assert_eq!(station.zones[2].panel, Some(Celsius(400.0)));
    }

    #[test]
    fn what_cannot_be_is_named() {
        for (written, instead, expected) in [
            (
                "heated_length = \"2.4 m\"",
                "heated_length = \"3 m\"",
                "zones: the zones are 2.400 m long, the heated length 3.000 m",
            ),
            (
                "heated_length = \"2.4 m\"",
                "heated_length = \"0 m\"",
                "heated_length: \"0 m\" is not above zero",
            ),
            ("heated_length = \"2.4 m\"", "", "heated_length: is missing"),
            (
                "belt = \"10 ft/min\"",
                "belt = \"0 m/min\"",
                "belt: \"0 m/min\" is not above zero",
            ),
            (
                "belt = \"10 ft/min\"",
                "belt = \"0.5 m/min\"",
                "belt: \"0.5 m/min\" is a speed that the belt does not reach",
            ),
            (
                "belt = \"10 ft/min\"",
                "belt = \"7 m/min\"",
                "belt: \"7 m/min\" is a speed that the belt does not reach",
            ),
            (
                "belt_slowest = \"0.8 m/min\"",
                "belt_slowest = \"6 m/min\"",
                "belt_slowest: \"6 m/min\" is not below",
            ),
            (
                "lanes = 2",
                "lanes = 0",
                "lanes: 0 is not a whole number from 1 to 100",
            ),
            ("lanes = 2", "lanes = \"2\"", "lanes: \"2\" is a text"),
            (
                "max_gap = \"2 s\"",
                "max_gap = \"0 s\"",
                "max_gap: \"0 s\" is not above zero",
            ),
            (
                "wake = \"104 F\"",
                "wake = \"700 C\"",
                "wake: \"700 C\" is no temperature",
            ),
            (
                "kind = \"belt-dryer\"",
                "kind = \"belt\"",
                "kind: \"belt\" is unknown here",
            ),
            (
                "panel = \"420 C\"",
                "",
                "zones[1]: has neither air nor panel",
            ),
            (
                "air = \"190 C\"",
                "air = 190",
                "zones[0].air: 190 has no unit",
            ),
            (
                "air = \"190 C\"",
                "ari = \"190 C\"",
                "zones[0].ari: is unknown here",
            ),
        ] {
            assert!(DRYER.contains(written), "{written}");
            let found = problems(&DRYER.replacen(written, instead, 1));
            let expected = format!("station[0].{expected}");
            assert!(
                found.iter().any(|line| line.starts_with(&expected)),
                "{expected}\n{found:#?}"
            );
        }
        let none = DRYER.split("zones").next().unwrap().to_owned() + "zones = []\n";
        assert_eq!(problems(&none), ["station[0].zones: names no zone"]);
    }

    /// Zones may miss the heated length by a hundredth of it, no more.
    #[test]
    fn lengths_may_be_rounded_to_a_hundredth() {
        let with = |length: &str| problems(&DRYER.replace("\"2.4 m\"", length)).len();
        assert_eq!((with("\"2.42 m\""), with("\"2.38 m\"")), (0, 0));
        assert_eq!((with("\"2.43 m\""), with("\"2.37 m\"")), (1, 1));
    }

    #[test]
    fn a_flash_unit_needs_no_more_than_its_kind() {
        let flash = "[[station]]\nid = \"f\"\nkind = \"flash-unit\"\n";
        let checked = Shop::parse("x", flash);
        assert_eq!(checked.problems, vec![]);
        let zoned = format!("{flash}zones = [ {{ length = \"0.5 m\", panel = \"520 C\" }} ]\n");
        let station = Shop::parse("x", &zoned).value.stations[0].clone();
        assert_eq!(station.heated_length, Metres(0.5));
        let belted = format!("{flash}belt = \"2 m/min\"\n");
        let checked = Shop::parse("x", &belted);
        assert_eq!((checked.problems.len(), checked.warnings.len()), (0, 1));
        assert_eq!(checked.value.stations[0].belt, None);
    }
}
