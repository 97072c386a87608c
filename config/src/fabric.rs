//! Fabrics: what each can take.

use crate::ink::read_id;
use crate::law::Law;
use crate::quantity::{KilogramsPerSquareMetre, Share};
use crate::reading::{Node, TableReader};

/// A way in which heat harms a fabric.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
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

/// A harm law that is quicker than this where it begins leaves much uncounted below.
const SLOW_ENOUGH: f64 = 300.0;

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
        let name = table.optional("name").and_then(|node| node.text());
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
        let source = source.and_then(|node| node.text());
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
    let read: Vec<Option<HarmLimit>> = node.elements()?.iter().map(read_limit).collect();
    let mut seen = Vec::new();
    for (number, element) in node.elements()?.iter().enumerate() {
        if let Some(limit) = &read[number] {
            if seen.contains(&limit.harm) {
                element.report(
                    format!("{} is declared twice", limit.harm.name()),
                    "keep one law for each harm",
                );
                return None;
            }
            seen.push(limit.harm);
        }
    }
    read.into_iter().collect()
}

fn read_limit(node: &Node<'_>) -> Option<HarmLimit> {
    let table = node.table()?;
    let harm = table
        .required("harm", "\"scorch\"")
        .and_then(|node| node.choice(&HARMS));
    let law = Law::read(&table);
    table.finish();
    if let Some(law @ Law::Equivalents { .. }) = &law {
        let (at, time) = law.coolest();
        if time.0 < SLOW_ENOUGH {
            node.warn(
                format!(
                    "begins at {:.0} C with {:.0} s, and nothing below counts",
                    at.0, time.0
                ),
                "add a cooler point of five minutes or more",
            );
        }
    }
    Some(HarmLimit {
        harm: harm?,
        law: law?,
    })
}
