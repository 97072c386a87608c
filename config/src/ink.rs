//! Inks: what each needs to be cured.

use serde::{Deserialize, Serialize};

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
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::library::Library;
    use crate::quantity::Seconds;

    const INK: &str = r#"
[[ink]]
id = "wb-test"
name = "Water-based, test"
family = "water-based"
threshold = "320 F"
cure = { law = "equivalents", points = [["150 C", "180 s"], ["160 C", "90 s"]] }
film = "80 um"
water = "55 %"
gel = { from = "104 C", to = "121 C" }
pot_life = "8 h"
needs_exhaust = true
source = "test"
"#;

    fn problems(text: &str) -> Vec<String> {
        let problems = Library::parse("x", text).problems;
        let line = |problem: &crate::problem::Problem| format!("{}: {}", problem.key, problem.what);
        problems.iter().map(line).collect()
    }

    fn ink(text: &str) -> Ink {
        let checked = Library::parse("x", text);
        assert_eq!((checked.problems, checked.warnings), (vec![], vec![]));
        checked.value.inks()[0].clone()
    }

    #[test]
    fn an_ink_is_read_with_all_its_keys() {
        let ink = ink(INK);
        assert_eq!(
            (ink.id.as_str(), ink.name.as_str()),
            ("wb-test", "Water-based, test")
        );
        assert_eq!(
            (ink.family, ink.threshold),
            (Family::WaterBased, Celsius(160.0))
        );
        assert!((ink.film.unwrap().0 - 80e-6).abs() < 1e-18);
        assert_eq!(
            (ink.water, ink.pot_life),
            (Some(Share(0.55)), Some(Seconds(28_800.0)))
        );
        let (from, to) = (Celsius(104.0), Celsius(121.0));
        assert_eq!(ink.gel, Some(GelWindow { from, to }));
        assert!(ink.needs_exhaust);
        assert_eq!(ink.source, "test");
    }

    #[test]
    fn what_may_be_left_out_may_be_left_out() {
        let text = "[[ink]]\nid = \"a\"\nfamily = \"other\"\nsource = \"t\"\ncure = { law = \"hold\", at = \"160 C\", for = \"5 s\" }\n";
        let ink = ink(text);
        assert_eq!((ink.name.as_str(), ink.threshold), ("a", Celsius(160.0)));
        assert_eq!(
            (ink.film, ink.water, ink.gel, ink.pot_life),
            (None, None, None, None)
        );
        assert!(!ink.needs_exhaust);
    }

    /// The threshold of a hold is its own temperature, in whatever unit it is written; a law of
    /// equivalents has none of its own.
    #[test]
    fn a_threshold_agrees_with_its_law() {
        let hold = "{ law = \"hold\", at = \"160 C\", for = \"5 s\" }";
        let at = INK.find("{ law").unwrap();
        let end = at + INK[at..].find('\n').unwrap();
        let held = INK.replace(&INK[at..end], hold);
        assert_eq!(ink(&held).threshold, Celsius(160.0));
        assert_eq!(
            ink(&held.replace("threshold = \"320 F\"", "")).threshold,
            Celsius(160.0)
        );
        let off = problems(&held.replace("320 F", "321 F"));
        assert_eq!(
            off,
            ["ink[0].threshold: \"321 F\" differs from the temperature of the ink's hold law"]
        );
        let none = problems(&INK.replace("threshold = \"320 F\"", ""));
        assert!(
            none[0].starts_with("ink[0].threshold: is missing"),
            "{none:?}"
        );
        assert_eq!(none.len(), 1);
    }

    #[test]
    fn what_cannot_be_is_named() {
        for (written, instead, expected) in [
            (
                "id = \"wb-test\"",
                "id = \"wb test\"",
                "id: \"wb test\" is no id",
            ),
            ("id = \"wb-test\"", "id = \"\"", "id: \"\" is no id"),
            (
                "\"water-based\"",
                "\"waterbased\"",
                "family: \"waterbased\" is unknown here",
            ),
            (
                "\"80 um\"",
                "\"80 m\"",
                "film: a film is between 1 um and 5 mm thick",
            ),
            (
                "\"55 %\"",
                "\"155 %\"",
                "water: \"155 %\" is more than the whole",
            ),
            (
                "to = \"121 C\"",
                "to = \"200 F\"",
                "gel: the window ends where it begins or below",
            ),
            ("to = \"121 C\"", "till = \"121 C\"", "gel.to: is missing"),
            ("\"8 h\"", "\"0 h\"", "pot_life: \"0 h\" is not above zero"),
            (
                "needs_exhaust = true",
                "needs_exhaust = \"yes\"",
                "needs_exhaust: \"yes\" is a text",
            ),
            (
                "needs_exhaust",
                "need_exhaust",
                "need_exhaust: is unknown here",
            ),
            ("source = \"test\"", "source = \" \"", "source: is empty"),
            ("source = \"test\"", "", "source: is missing"),
            ("cure =", "cures =", "cure: is missing"),
        ] {
            assert!(INK.contains(written), "{written}");
            let found = problems(&INK.replacen(written, instead, 1));
            let expected = format!("ink[0].{expected}");
            assert!(
                found.iter().any(|line| line.starts_with(&expected)),
                "{expected}\n{found:#?}"
            );
        }
    }
}
