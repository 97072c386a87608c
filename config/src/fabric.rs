//! Fabrics: what each can take.

use serde::{Deserialize, Serialize};

use crate::display::Units;
use crate::ink::read_id;
use crate::law::Law;
use crate::quantity::{KilogramsPerSquareMetre, Seconds, Share};
use crate::reading::{Node, TableReader};

/// A way in which heat harms a fabric.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Harm {
    /// The fibre yellows or browns.
    Scorch,
    /// The garment's dye moves into the ink.
    DyeMigration,
    /// The cloth draws in.
    Shrinkage,
    /// The fibre softens or glazes.
    Melt,
}

/// What a fabric can take of one harm: a dose of 1 under `law` is the limit.
#[derive(Debug, Clone, PartialEq)]
pub struct HarmLimit {
    /// The harm.
    pub harm: Harm,
    /// The law whose dose counts.
    pub law: Law,
}

/// A fabric and its limits.
#[derive(Debug, Clone, PartialEq)]
pub struct Fabric {
    /// The name by which files and commands call it.
    pub id: String,
    /// The name that people read.
    pub name: String,
    /// Mass of one layer by area.
    pub mass: KilogramsPerSquareMetre,
    /// Water held in equilibrium with room air, as a share of the dry mass.
    pub regain: Share,
    /// Layers of cloth that lie on the belt under a print: two for a shirt.
    pub layers: u8,
    /// The harms whose limits are known; none means that no limit is known.
    pub harms: Vec<HarmLimit>,
    /// Where the figures come from.
    pub source: String,
}

/// The harms with the words that files and contracts use.
const HARMS: [(&str, Harm); 4] = [
    ("scorch", Harm::Scorch),
    ("dye-migration", Harm::DyeMigration),
    ("shrinkage", Harm::Shrinkage),
    ("melt", Harm::Melt),
];

/// A harm law that is quicker than this where it begins leaves much uncounted below: five minutes, longer
/// than any print stays hot.
const SLOW_ENOUGH: Seconds = Seconds(300.0);

impl Harm {
    /// The word that files and contracts use.
    pub fn name(self) -> &'static str {
        match self {
            Harm::Scorch => "scorch",
            Harm::DyeMigration => "dye-migration",
            Harm::Shrinkage => "shrinkage",
            Harm::Melt => "melt",
        }
    }
}

impl Fabric {
    /// Reads one `[[fabric]]`.
    pub(crate) fn read(table: &TableReader<'_>) -> Option<Fabric> {
        let id = table
            .required("id", "\"cotton-jersey\"")
            .and_then(|node| read_id(&node));
        let name = table.optional("name").and_then(|node| node.words());
        let mass = table
            .required("mass", "\"180 g/m2\"")
            .and_then(|node| node.quantity());
        let regain = table
            .required("regain", "0.085")
            .and_then(|node| node.quantity());
        let layers = table.optional("layers").map(|node| node.whole(1..=4));
        let example = "[ { harm = \"scorch\", law = \"hold\", at = \"200 C\", for = \"30 s\" } ]";
        let harms = table
            .required("harms", example)
            .and_then(|node| read_harms(&node));
        let source = table.required("source", "\"where the numbers come from\"");
        let source = source.and_then(|node| node.words());
        table.finish();
        let id = id?;
        Some(Fabric {
            name: name.unwrap_or_else(|| id.clone()),
            id,
            mass: mass?,
            regain: regain?,
            layers: layers.unwrap_or(Some(1))? as u8,
            harms: harms?,
            source: source?,
        })
    }
}

fn read_harms(node: &Node<'_>) -> Option<Vec<HarmLimit>> {
    let elements = node.elements()?;
    let limits: Vec<Option<HarmLimit>> = elements.iter().map(read_limit).collect();
    let mut seen = Vec::new();
    let mut sound = true;
    for (element, limit) in elements.iter().zip(&limits) {
        let Some(limit) = limit else { continue };
        if seen.contains(&limit.harm) {
            element.report(
                format!("{} is declared twice", limit.harm.name()),
                "keep one law for each harm",
            );
            sound = false;
        }
        seen.push(limit.harm);
    }
    if elements.is_empty() {
        node.warn(
            "names no harm, so that no print on this fabric is ever found overheated",
            "declare what the fabric can take, if it is known",
        );
    }
    let limits = limits.into_iter().collect::<Option<Vec<_>>>()?;
    sound.then_some(limits)
}

fn read_limit(node: &Node<'_>) -> Option<HarmLimit> {
    let table = node.table()?;
    let harm = table
        .required("harm", "\"scorch\"")
        .and_then(|node| node.choice(&HARMS));
    let law = Law::read(&table);
    table.finish();
    if let Some(law) = &law {
        let (at, time) = law.coolest();
        if time.0 < SLOW_ENOUGH.0 {
            let units = Units::Metric;
            let remedy = match law {
                Law::Hold { .. } => {
                    "use law = \"equivalents\", with a cooler point of five minutes or more"
                }
                Law::Equivalents { .. } => "add a cooler point of five minutes or more",
            };
            node.warn(
                format!(
                    "at {} the limit is reached in {} s already, and nothing cooler counts",
                    units.temperature(at),
                    time.0
                ),
                remedy,
            );
        }
    }
    Some(HarmLimit {
        harm: harm?,
        law: law?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::library::Library;
    use crate::problem::Problem;

    const FABRIC: &str = r#"
[[fabric]]
id = "cotton-test"
name = "Cotton jersey, test"
mass = "180 g/m2"
regain = "8.5 %"
layers = 2
harms = [
  { harm = "scorch", law = "equivalents", points = [["190 C", "300 s"], ["204 C", "30 s"]] },
  { harm = "dye-migration", law = "hold", at = "140 C", for = "6 min" },
]
source = "test"
"#;

    fn problems(text: &str) -> Vec<String> {
        let line = |problem: &Problem| format!("{}: {}", problem.key, problem.what);
        let problems = Library::parse("x", text).problems;
        problems.iter().map(line).collect()
    }

    #[test]
    fn a_fabric_is_read_with_all_its_keys() {
        let checked = Library::parse("x", FABRIC);
        assert_eq!((checked.problems, checked.warnings), (vec![], vec![]));
        let fabric = &checked.value.fabrics()[0];
        assert_eq!((fabric.id.as_str(), fabric.layers), ("cotton-test", 2));
        assert!((fabric.mass.0 - 0.18).abs() < 1e-15 && (fabric.regain.0 - 0.085).abs() < 1e-15);
        let harms: Vec<Harm> = fabric.harms.iter().map(|limit| limit.harm).collect();
        assert_eq!(harms, [Harm::Scorch, Harm::DyeMigration]);
        let hold = Law::Hold {
            at: crate::quantity::Celsius(140.0),
            duration: Seconds(360.0),
        };
        assert_eq!(fabric.harms[1].law, hold);
    }

    #[test]
    fn layers_are_one_and_a_name_the_id_where_nothing_is_said() {
        let text = FABRIC
            .replace("layers = 2", "")
            .replace("name = \"Cotton jersey, test\"", "");
        let library = Library::parse("x", &text).value;
        let fabric = library.fabric("cotton-test").unwrap();
        assert_eq!((fabric.layers, fabric.name.as_str()), (1, "cotton-test"));
    }

    /// No known limit is allowed, and worth a look.
    #[test]
    fn a_fabric_may_have_no_known_limit() {
        let head = FABRIC.split("harms").next().unwrap();
        let checked = Library::parse("x", &format!("{head}harms = []\nsource = \"test\"\n"));
        assert_eq!(checked.problems, vec![]);
        assert_eq!(checked.warnings.len(), 1);
        assert_eq!(checked.value.fabrics()[0].harms, []);
        let found = problems(&format!("{head}source = \"test\"\n"));
        assert_eq!(found, ["fabric[0].harms: is missing"]);
    }

    #[test]
    fn what_cannot_be_is_named() {
        for (written, instead, expected) in [
            (
                "dye-migration",
                "scorch",
                "harms[1]: scorch is declared twice",
            ),
            (
                "dye-migration",
                "dye migration",
                "harms[1].harm: \"dye migration\" is unknown here",
            ),
            (
                "at = \"140 C\", for",
                "at = \"140 C\", during",
                "harms[1].during: is unknown here",
            ),
            (
                "at = \"140 C\", for",
                "at = \"140 C\", during",
                "harms[1].for: is missing",
            ),
            ("\"180 g/m2\"", "180", "mass: 180 has no unit"),
            (
                "\"180 g/m2\"",
                "\"180 gsm\"",
                "mass: \"gsm\" is no unit of mass by area",
            ),
            ("\"8.5 %\"", "8.5", "regain: \"8.5\" is more than the whole"),
            (
                "layers = 2",
                "layers = 0",
                "layers: 0 is not a whole number from 1 to 4",
            ),
            (
                "layers = 2",
                "layers = 1.5",
                "layers: 1.5 is not a whole number from 1 to 4",
            ),
            ("layers", "layer", "layer: is unknown here"),
            ("source = \"test\"", "", "source: is missing"),
        ] {
            assert!(FABRIC.contains(written), "{written}");
            let found = problems(&FABRIC.replacen(written, instead, 1));
            let expected = format!("fabric[0].{expected}");
            assert!(
                found.iter().any(|line| line.starts_with(&expected)),
                "{expected}\n{found:#?}"
            );
        }
    }
}
