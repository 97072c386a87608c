//! Inks: what each needs to be cured.

use crate::law::Law;
use crate::problem::quoted;
use crate::quantity::{Celsius, Metres, Seconds, Share};
use crate::reading::{Node, TableReader};

/// The chemistry of an ink, as far as its heat is concerned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Family {
    /// PVC in plasticiser: no water, fuses.
    Plastisol,
    /// Dispersion in water: dries, then cures.
    WaterBased,
    /// Water-based with a reducing agent that takes the garment's dye out in the dryer.
    Discharge,
    /// Two-part silicone.
    Silicone,
    /// Anything else.
    Other,
}

/// The surface temperatures between which a flashed print is gelled: dry to the touch, not yet fused.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GelWindow {
    /// Below it the print is still wet.
    pub from: Celsius,
    /// Above it the next colour no longer bonds.
    pub to: Celsius,
}

/// An ink and its cure law.
#[derive(Debug, Clone, PartialEq)]
pub struct Ink {
    /// The name by which files and commands call it.
    pub id: String,
    /// The name that people read.
    pub name: String,
    /// Its chemistry.
    pub family: Family,
    /// The temperature above which a pass reports its time: `at` of a hold law.
    pub threshold: Celsius,
    /// What cures it.
    pub cure: Law,
    /// Thickness of the wet film as printed.
    pub film: Option<Metres>,
    /// Water (or other volatile) in the wet ink, as a share of its mass; `None`: taken from the family.
    pub water: Option<Share>,
    /// The window for flashing between colours.
    pub gel: Option<GelWindow>,
    /// How long the mixed ink lives.
    pub pot_life: Option<Seconds>,
    /// Whether its fumes need a proved exhaust.
    pub needs_exhaust: bool,
    /// Where the figures come from.
    pub source: String,
}

const FAMILIES: [(&str, Family); 5] = [
    ("plastisol", Family::Plastisol),
    ("water-based", Family::WaterBased),
    ("discharge", Family::Discharge),
    ("silicone", Family::Silicone),
    ("other", Family::Other),
];

impl Family {
    /// The word that files use.
    pub fn name(self) -> &'static str {
        FAMILIES
            .iter()
            .find(|(_, family)| *family == self)
            .map_or("other", |(name, _)| name)
    }
}

impl Ink {
    /// Reads one `[[ink]]`.
    pub(crate) fn read(table: &TableReader<'_>) -> Option<Ink> {
        let id = table
            .required("id", "\"plastisol-red\"")
            .and_then(|node| read_id(&node));
        let name = table.optional("name").and_then(|node| node.words());
        let family = table
            .required("family", "\"plastisol\"")
            .and_then(|node| node.choice(&FAMILIES));
        let example = "{ law = \"hold\", at = \"160 C\", for = \"5 s\" }";
        let cure = table.required("cure", example).and_then(|node| {
            let cure = node.table()?;
            let law = Law::read(&cure);
            cure.finish();
            law
        });
        let threshold = read_threshold(table, cure.as_ref());
        let film = table.optional("film").and_then(|node| read_film(&node));
        let water = table.optional("water").and_then(|node| node.quantity());
        let gel = table.optional("gel").and_then(|node| read_gel(&node));
        let pot_life = table
            .optional("pot_life")
            .and_then(|node| node.above_zero());
        let needs_exhaust = table
            .optional("needs_exhaust")
            .and_then(|node| node.truth());
        let source = table
            .required("source", "\"where the numbers come from\"")
            .and_then(|node| node.words());
        table.finish();
        let id = id?;
        Some(Ink {
            name: name.unwrap_or_else(|| id.clone()),
            id,
            family: family?,
            threshold: threshold?,
            cure: cure?,
            film,
            water,
            gel,
            pot_life,
            needs_exhaust: needs_exhaust.unwrap_or(false),
            source: source?,
        })
    }
}

/// An id: letters, digits, `-`, `_` and `.`, so that it can be typed and stand in a topic.
pub(crate) fn read_id(node: &Node<'_>) -> Option<String> {
    let id = node.text()?;
    let fits = |letter: char| letter.is_alphanumeric() || matches!(letter, '-' | '_' | '.');
    if id.is_empty() || id.len() > 64 || !id.chars().all(fits) {
        node.report(
            format!("{} is no id", quoted(&id)),
            "use up to 64 letters, digits, -, _ and . without spaces",
        );
        return None;
    }
    Some(id)
}

fn read_threshold(table: &TableReader<'_>, cure: Option<&Law>) -> Option<Celsius> {
    let node = table.optional("threshold");
    let stated: Option<Option<Celsius>> = node.as_ref().map(Node::quantity);
    match (cure, node, stated) {
        (Some(Law::Hold { at, .. }), None, _) => Some(*at),
        (Some(Law::Hold { at, .. }), Some(node), Some(Some(threshold))) => {
            if (threshold.0 - at.0).abs() > 1e-6 {
                node.report(
                    format!(
                        "{} differs from the temperature of the ink's hold law",
                        node.written()
                    ),
                    format!("write \"{} C\" or leave it out", at.0),
                );
                return None;
            }
            Some(*at)
        }
        (Some(Law::Equivalents { .. }), None, _) => {
            table.report(
                "threshold",
                "is missing; a law of equivalents has none of its own",
                "add threshold = \"160 C\", above which a pass reports its time",
            );
            None
        }
        (_, _, stated) => stated.flatten(),
    }
}

fn read_film(node: &Node<'_>) -> Option<Metres> {
    let film: Metres = node.quantity()?;
    if !(1e-6..=5e-3).contains(&film.0) {
        node.report(
            "a film is between 1 um and 5 mm thick",
            "write for example \"80 um\"",
        );
        return None;
    }
    Some(film)
}

fn read_gel(node: &Node<'_>) -> Option<GelWindow> {
    let table = node.table()?;
    let from: Option<Celsius> = table
        .required("from", "\"104 C\"")
        .and_then(|node| node.quantity());
    let to: Option<Celsius> = table
        .required("to", "\"121 C\"")
        .and_then(|node| node.quantity());
    table.finish();
    let (from, to) = (from?, to?);
    if from.0 >= to.0 {
        node.report(
            "the window ends where it begins or below",
            "write from the cooler to the hotter",
        );
        return None;
    }
    Some(GelWindow { from, to })
}
