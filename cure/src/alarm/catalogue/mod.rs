//! The catalogue: of every alarm what it means, what comes of it, what to do first, and how long one has.
//!
//! Thresholds and delays are common practice or our own judgement, as each file says; an ink maker's data
//! sheet, the dryer maker's manual and local codes come before any of them.

mod belt;
mod chamber;
mod flash;
mod people;
mod print;
mod probe;
mod shop;

use inkdwell_config::shop::Priority;

use super::kind::{Concerns, Kind};
use super::register::Delays;

/// What an alarm may have to do with that hurts people.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hazard {
    /// Heat and fire.
    Heat,
    /// Fumes.
    Fumes,
}

impl Hazard {
    /// What has to be kept in mind, in sentences.
    pub fn caution(self) -> &'static str {
        match self {
            Hazard::Heat => {
                "Inkdwell is no safety interlock: the dryer's own excess-temperature limit (NFPA 86 asks for one \
                 that is independent of its controller), guards and stops stay in place and working, and they, \
                 local codes and licensed electricians and gas fitters come first. Hot surfaces burn. If it \
                 smokes or burns, get people out and call the fire service."
            }
            Hazard::Fumes => {
                "Inkdwell is no safety interlock and measures no air: the exhaust's own interlock stays in place \
                 and working. Fumes of some inks harm (formaldehyde: 29 CFR 1910.1048); the ink maker's safety \
                 sheet, local codes and licensed practice come first. Who feels ill goes out into fresh air."
            }
        }
    }
}

/// A key of the shop file that an alarm hangs on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Key {
    /// Its name, in `[alarms]` or `[[alarms.station]]`.
    pub name: &'static str,
    /// What holds where it is not given, and where that comes from.
    pub default: &'static str,
}

/// All about one alarm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sheet {
    /// The alarm.
    pub kind: Kind,
    /// The word by which files and commands call it.
    pub name: &'static str,
    /// What it says, in a few words.
    pub title: &'static str,
    /// How much it matters.
    pub priority: Priority,
    /// What it is of.
    pub concerns: Concerns,
    /// Whether it stays, once it has returned, until somebody has looked and resets it.
    pub latches: bool,
    /// Whether it means nothing while its station is off.
    pub rests_with_station: bool,
    /// Delays, in seconds.
    pub delays: Delays,
    /// What is behind it.
    pub cause: &'static str,
    /// What comes of it if nobody does anything.
    pub consequence: &'static str,
    /// What to do first: make safe.
    pub first: &'static str,
    /// What to do then: look.
    pub then: &'static str,
    /// How long one has.
    pub time: &'static str,
    /// What the shop file can set.
    pub keys: &'static [Key],
    /// What has to be kept in mind.
    pub hazard: Option<Hazard>,
}

/// What most alarms have in common; a sheet says what is its own.
const PLAIN: Sheet = Sheet {
    kind: Kind::Drill,
    name: "",
    title: "",
    priority: Priority::Medium,
    concerns: Concerns::Station,
    latches: false,
    rests_with_station: false,
    delays: Delays { on: 0.0, off: 0.0 },
    cause: "",
    consequence: "",
    first: "",
    then: "",
    time: "",
    keys: &[],
    hazard: None,
};

/// All sheets, a chapter a file.
const CHAPTERS: [&[Sheet]; 7] = [
    print::SHEETS,
    belt::SHEETS,
    chamber::SHEETS,
    flash::SHEETS,
    probe::SHEETS,
    shop::SHEETS,
    people::SHEETS,
];

impl Kind {
    /// All about it.
    pub fn sheet(self) -> &'static Sheet {
        let mut sheets = CHAPTERS.iter().flat_map(|chapter| chapter.iter());
        sheets.find(|sheet| sheet.kind == self).unwrap_or(&PLAIN)
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn every_alarm_has_one_sheet_and_it_says_all() {
        let sheets = || CHAPTERS.iter().flat_map(|chapter| chapter.iter());
        assert_eq!(sheets().count(), Kind::ALL.len());
        let mut names = BTreeSet::new();
        for kind in Kind::ALL {
            let sheet = kind.sheet();
            assert_eq!(sheet.kind, kind);
            assert!(names.insert(sheet.name), "{} stands twice", sheet.name);
            assert_eq!(Kind::named(sheet.name), Some(kind));
            for text in [
                sheet.title,
                sheet.cause,
                sheet.consequence,
                sheet.first,
                sheet.then,
                sheet.time,
            ] {
                assert!(text.len() > 10, "{}: {text:?}", sheet.name);
                assert!(!text.contains('\n') && !text.contains("  "), "{text:?}");
            }
        }
    }

    /// The word in records is the word in the catalogue.
    #[test]
    fn files_and_commands_call_it_alike() {
        for kind in Kind::ALL {
            let written = format!("{kind:?}");
            let kebab = written
                .char_indices()
                .fold(String::new(), |mut text, (at, letter)| {
                    if letter.is_uppercase() && at > 0 {
                        text.push('-');
                    }
                    text.push(letter.to_ascii_lowercase());
                    text
                });
            assert_eq!(kebab, kind.name());
        }
    }

    /// Whatever has to do with heat, fire or fumes says that this is no safety interlock.
    #[test]
    fn what_can_hurt_people_bears_its_caution() {
        for kind in Kind::ALL {
            let sheet = kind.sheet();
            let chapter = [belt::SHEETS, chamber::SHEETS, flash::SHEETS];
            let hot = chapter
                .iter()
                .any(|own| own.iter().any(|own| own.kind == kind));
            if hot {
                let caution = sheet.hazard.map(Hazard::caution);
                assert!(
                    caution.is_some_and(|text| text.contains("no safety interlock")),
                    "{}",
                    sheet.name
                );
            }
        }
    }
}
