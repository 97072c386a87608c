//! Inks and fabrics by id: those that ship with Inkdwell, and a shop's own.

use std::collections::BTreeSet;
use std::path::Path;

use crate::fabric::Fabric;
use crate::ink::Ink;
use crate::problem::{Checked, Problem, suggestion};
use crate::reading::{Reading, TableReader, read_file};

/// The inks that ship with Inkdwell.
pub const SHIPPED_INKS: &str = include_str!("../library/inks.toml");
/// The fabrics that ship with Inkdwell.
pub const SHIPPED_FABRICS: &str = include_str!("../library/fabrics.toml");

/// Inks and fabrics; a later one replaces an earlier one of the same id.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Library {
    inks: Vec<Ink>,
    fabrics: Vec<Fabric>,
}

/// An id that no library knows.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{kind} {id:?} is unknown; {remedy}")]
pub struct UnknownId {
    /// `ink` or `fabric`.
    pub kind: &'static str,
    /// The id asked for.
    pub id: String,
    /// The nearest one, or where to look.
    pub remedy: String,
}

impl Library {
    /// What ships with Inkdwell.
    pub fn shipped() -> Library {
        let mut library = Library::default();
        library.add(Library::parse("inks.toml", SHIPPED_INKS).value);
        library.add(Library::parse("fabrics.toml", SHIPPED_FABRICS).value);
        library
    }

    /// Reads the `[[ink]]` and `[[fabric]]` of a text; `file` is what problems call it.
    pub fn parse(file: &str, text: &str) -> Checked<Library> {
        Reading::of(file, text, Library::read)
    }

    /// Reads a file.
    ///
    /// # Errors
    /// Every problem in it.
    pub fn load(path: &Path) -> Result<Library, Vec<Problem>> {
        Library::check(path).into_result()
    }

    /// Reads a file, with every problem and warning in it; one that cannot be read is one problem, and an
    /// empty library.
    pub fn check(path: &Path) -> Checked<Library> {
        match read_file(path) {
            Ok(text) => Library::parse(&path.display().to_string(), &text),
            Err(problem) => Checked {
                value: Library::default(),
                problems: vec![problem],
                warnings: Vec::new(),
            },
        }
    }

    pub(crate) fn read(top: &TableReader<'_>) -> Library {
        let mut library = Library::default();
        let mut ids = BTreeSet::new();
        for (node, table) in top.tables("ink") {
            if let Some(ink) = Ink::read(&table) {
                if !ids.insert(ink.id.clone()) {
                    let what = format!("ink {:?} is declared twice", ink.id);
                    node.report(what, "give each its own id");
                }
                library.inks.push(ink);
            }
        }
        ids.clear();
        for (node, table) in top.tables("fabric") {
            if let Some(fabric) = Fabric::read(&table) {
                if !ids.insert(fabric.id.clone()) {
                    let what = format!("fabric {:?} is declared twice", fabric.id);
                    node.report(what, "give each its own id");
                }
                library.fabrics.push(fabric);
            }
        }
        library
    }

    /// Takes in another library, whose entries win by id.
    pub fn add(&mut self, later: Library) {
        self.inks
            .retain(|ink| later.inks.iter().all(|other| other.id != ink.id));
        self.inks.extend(later.inks);
        self.fabrics
            .retain(|fabric| later.fabrics.iter().all(|other| other.id != fabric.id));
        self.fabrics.extend(later.fabrics);
    }

    /// All inks.
    pub fn inks(&self) -> &[Ink] {
        &self.inks
    }

    /// All fabrics.
    pub fn fabrics(&self) -> &[Fabric] {
        &self.fabrics
    }

    /// The ink of an id.
    ///
    /// # Errors
    /// When there is none; the nearest id is named.
    pub fn ink(&self, id: &str) -> Result<&Ink, UnknownId> {
        let known = || self.inks.iter().map(|ink| ink.id.as_str()).collect();
        self.inks
            .iter()
            .find(|ink| ink.id == id)
            .ok_or_else(|| UnknownId::new("ink", id, known()))
    }

    /// The fabric of an id.
    ///
    /// # Errors
    /// When there is none; the nearest id is named.
    pub fn fabric(&self, id: &str) -> Result<&Fabric, UnknownId> {
        let known = || {
            self.fabrics
                .iter()
                .map(|fabric| fabric.id.as_str())
                .collect()
        };
        let found = self.fabrics.iter().find(|fabric| fabric.id == id);
        found.ok_or_else(|| UnknownId::new("fabric", id, known()))
    }
}

impl UnknownId {
    fn new(kind: &'static str, id: &str, known: Vec<&str>) -> UnknownId {
        UnknownId {
            kind,
            id: id.to_owned(),
            remedy: suggestion(id, &known),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fabric::Harm;
    use crate::law::Law;

    #[test]
    fn what_ships_is_sound_and_complete() {
        for (file, text) in [
            ("inks.toml", SHIPPED_INKS),
            ("fabrics.toml", SHIPPED_FABRICS),
        ] {
            let checked = Library::parse(file, text);
            assert!(checked.problems.is_empty(), "{:#?}", checked.problems);
            assert!(checked.warnings.is_empty(), "{:#?}", checked.warnings);
        }
        let library = Library::shipped();
        assert_eq!((library.inks().len(), library.fabrics().len()), (8, 7));
        let inks = library.inks().iter().map(|ink| &ink.source);
        for source in inks.chain(library.fabrics().iter().map(|fabric| &fabric.source)) {
            assert!(source.contains("the maker's data sheet"), "{source}");
            assert!(
                source.contains("no source") || source.contains("from memory"),
                "{source}"
            );
        }
    }

    /// Needs and limits as the trade has them (common practice, no source): whole-film temperatures in
    /// degrees Fahrenheit as people quote them, water-based 160 C for 90 s and about 3 min at 150 C.
    #[test]
    fn what_ships_is_what_the_trade_says() {
        let library = Library::shipped();
        for (id, fahrenheit) in [
            ("plastisol-standard", 320.0..=320.0),
            ("plastisol-high-build", 320.0..=320.0),
            ("plastisol-low-cure", 270.0..=281.0),
            ("plastisol-low-bleed", 290.0..=301.0),
        ] {
            let at = library.ink(id).unwrap().threshold.0 * 1.8 + 32.0;
            assert!(fahrenheit.contains(&at), "{id} {at}");
        }
        let points = |id: &str| match &library.ink(id).unwrap().cure {
            Law::Equivalents { points } => points.clone(),
            Law::Hold { .. } => panic!("{id}"),
        };
        let time_at = |id: &str, at: f64| {
            let point = points(id).into_iter().find(|point| point.0.0 == at);
            point.map(|point| point.1.0)
        };
        assert_eq!(time_at("water-based", 160.0), Some(90.0));
        assert_eq!(time_at("water-based", 150.0), Some(180.0));
        assert!((120.0..=180.0).contains(&time_at("discharge", 160.0).unwrap()));
        assert!(library.ink("discharge").unwrap().needs_exhaust);
        // Cotton scorches from about 190-205 C, disperse dye migrates from about 138-149 C, nylon
        // shrinks from about 150 C: at those, within minutes.
        for (id, harm, at) in [
            ("cotton-jersey", Harm::Scorch, 190.0),
            ("polyester", Harm::DyeMigration, 138.0),
            ("nylon", Harm::Shrinkage, 150.0),
        ] {
            let fabric = library.fabric(id).unwrap();
            let limit = fabric
                .harms
                .iter()
                .find(|limit| limit.harm == harm)
                .unwrap();
            assert!((limit.law.coolest().0.0 - at).abs() <= 6.0, "{id}");
        }
    }

    /// Regain of a blend by share of mass (ASTM D1909's values from memory: cotton 8 %, polyester 0.4 %,
    /// viscose 12 %).
    #[test]
    fn a_blend_holds_the_water_of_its_fibres() {
        let library = Library::shipped();
        for (id, expected) in [
            ("blend-50-50", 0.5 * 0.08 + 0.5 * 0.004),
            ("tri-blend", 0.5 * 0.004 + 0.25 * 0.08 + 0.25 * 0.12),
        ] {
            let regain = library.fabric(id).unwrap().regain.0;
            assert!((regain - expected).abs() < 5e-4, "{id} {regain}");
        }
    }

    #[test]
    fn a_later_entry_replaces_an_earlier_one() {
        let mut library = Library::shipped();
        let text = SHIPPED_INKS.replace("Standard plastisol", "Our own plastisol");
        library.add(Library::parse("ours.toml", &text).value);
        assert_eq!(library.inks().len(), 8);
        assert_eq!(
            library.ink("plastisol-standard").unwrap().name,
            "Our own plastisol"
        );
    }

    #[test]
    fn an_unknown_id_names_the_nearest() {
        let error = Library::shipped()
            .ink("plastisol-standart")
            .unwrap_err()
            .to_string();
        assert!(error.contains("\"plastisol-standard\""), "{error}");
    }

    #[test]
    fn every_problem_is_reported_at_once_with_its_line() {
        let text = r#"
[[ink]]
id = "a b"
famly = "plastisol"
cure = { law = "equivalents", points = [["160 C", "90 s"], ["150 C", "180 s"]] }
film = 80

[[fabric]]
id = "f"
mass = "180 g/m2"
regain = 0.08
harms = [ { harm = "scorch", law = "hold", at = "200", for = "5 s" }, { harm = "burn", law = "hold", at = "200 C", for = "0 s" } ]
source = "test"
"#;
        let problems = Library::parse("ours.toml", text).problems;
        let lines: Vec<String> = problems.iter().map(ToString::to_string).collect();
        for expected in [
            "ours.toml:3: ink[0].id: \"a b\" is no id",
            "ours.toml:4: ink[0].famly: is unknown here; did you mean \"family\"?",
            "ours.toml:2: ink[0].family: is missing",
            "ours.toml:5: ink[0].cure.points[1]: [\"150 C\", \"180 s\"] is not hotter",
            "ours.toml:6: ink[0].film: 80 has no unit",
            "ours.toml:2: ink[0].source: is missing",
            "ours.toml:12: fabric[0].harms[0].at: 200 has no unit",
            "ours.toml:12: fabric[0].harms[1].harm: \"burn\" is unknown here",
            "ours.toml:12: fabric[0].harms[1].for: \"0 s\" is not above zero",
        ] {
            assert!(
                lines.iter().any(|line| line.starts_with(expected)),
                "{expected}\n{lines:#?}"
            );
        }
        assert_eq!(lines.len(), 9, "{lines:#?}");
    }

    #[test]
    fn broken_toml_is_a_problem_with_its_line() {
        let problems = Library::parse("ours.toml", "[[ink]]\nid = \n").problems;
        let lines: Vec<String> = problems.iter().map(ToString::to_string).collect();
        let found = |line: &String| line.starts_with("ours.toml:2: this is not TOML");
        assert!(lines.iter().any(found), "{lines:#?}");
    }
}
