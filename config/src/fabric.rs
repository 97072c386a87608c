//! Fabrics: what each can take.

use crate::display::Units;
use crate::ink::read_id;
use crate::law::Law;
use crate::quantity::{KilogramsPerSquareMetre, Seconds, Share};
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
