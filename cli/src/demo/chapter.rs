//! The chapters of the story: what is printed in each, and what goes wrong there.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::CelsiusDifference;
use inkdwell_simulated_traces::events::{Event, GarmentChange};
use inkdwell_simulated_traces::record::PrintRecord;
use inkdwell_simulated_traces::scenario::Scenario;

/// The shop file of the story.
pub(super) const SHOP: &str = include_str!("../../../simulated-traces/demo/shop.toml");

/// Minutes of the shop's time that the story takes at least.
pub(super) const LEAST_MINUTES: u32 = 43;
/// Minutes that one more ride takes.
const MINUTES_A_RIDE: f64 = 2.52;

/// One batch of the story.
#[derive(Debug, Clone, Copy)]
pub(super) struct Chapter {
    pub(super) title: &'static str,
    pub(super) job: &'static str,
    /// How many prints it needs.
    needs: u32,
    /// The name of its files.
    pub(super) name: &'static str,
    /// Its scenario file.
    pub(super) scenario: &'static str,
}

/// The story.
pub(super) const CHAPTERS: [Chapter; 5] = [
    Chapter {
        title: "A good run",
        job: "Harbour choir",
        needs: 3,
        name: "1-good-run",
        scenario: include_str!("../../../simulated-traces/demo/1-good-run.scenario.toml"),
    },
    Chapter {
        title: "A heater sags",
        job: "Night market",
        needs: 4,
        name: "2-heater-sags",
        scenario: include_str!("../../../simulated-traces/demo/2-heater-sags.scenario.toml"),
    },
    Chapter {
        title: "The belt stops",
        job: "Rowing club",
        needs: 2,
        name: "3-belt-stops",
        scenario: include_str!("../../../simulated-traces/demo/3-belt-stops.scenario.toml"),
    },
    Chapter {
        title: "A wrong garment",
        job: "Book fair",
        needs: 3,
        name: "4-wrong-garment",
        scenario: include_str!("../../../simulated-traces/demo/4-wrong-garment.scenario.toml"),
    },
    Chapter {
        title: "A probe breaks",
        job: "Kite festival",
        needs: 4,
        name: "5-probe-breaks",
        scenario: include_str!("../../../simulated-traces/demo/5-probe-breaks.scenario.toml"),
    },
];

impl Chapter {
    /// How many prints there are, the story taking so many minutes in all: all that is more than it needs
    /// goes into the first chapter.
    pub(super) fn prints(&self, minutes: u32) -> u32 {
        let spare = f64::from(minutes.saturating_sub(LEAST_MINUTES));
        // Never below zero, and bounded by what can be typed.
        let more = (spare / MINUTES_A_RIDE) as u32;
        match self.name == CHAPTERS[0].name {
            true => self.needs + more,
            false => self.needs,
        }
    }
}

/// What is going to happen, in sentences.
pub(super) fn announced(scenario: &Scenario, units: Units) -> String {
    let prints = scenario.prints.unwrap_or(0);
    let mut text = format!(
        "{prints} shirts go through, a probe in the ink of each: {} on {}. ",
        uncapitalised(&scenario.ink.name),
        uncapitalised(&scenario.fabric.name)
    );
    if scenario.events.is_empty() {
        text += "Nothing goes wrong.";
    }
    let sentences = scenario.events.iter().map(|event| sentence(event, units));
    text += &sentences.collect::<Vec<_>>().join(" ");
    text
}

fn sentence(event: &Event, units: Units) -> String {
    let degrees = |by: f64| units.difference(CelsiusDifference(by));
    match event {
        Event::HeaterSag {
            at,
            over,
            zone,
            by,
            panel_by,
            until,
        } => {
            let mended = until.map_or(String::new(), |until| {
                format!(" It is mended after {until:.0} s.")
            });
            format!(
                "After {at:.0} s the heater of zone {zone} sags: in {over:.0} s its air loses {} and its \
                 panel {}.{mended}",
                degrees(*by),
                degrees(*panel_by)
            )
        }
        Event::BeltStop { at, lasting } => format!(
            "After {at:.0} s, with a shirt in the second zone, the belt stops, and stands for {lasting:.0} s."
        ),
        Event::Garments { from, change, .. } => match change.as_ref() {
            GarmentChange::Fabric(fabric) => format!(
                "Number {from} is no T-shirt: {} lies among them, and nobody notices.",
                uncapitalised(&fabric.name)
            ),
            other => format!("Number {from} is a {}.", other.name()),
        },
        Event::ProbeBreak { at, until, .. } => {
            let replaced = until.map_or(String::new(), |until| {
                format!(
                    " It is replaced after {until:.0} s; another shirt has gone through by then."
                )
            });
            format!(
                "After {at:.0} s, with a shirt in the heat, the wire of the probe in the ink breaks.{replaced}"
            )
        }
        other => format!("{other:?}."),
    }
}

/// When the trouble of a chapter begins, in seconds of its trace.
pub(super) fn trouble(scenario: &Scenario, truth: &[PrintRecord]) -> Option<f64> {
    scenario.events.iter().find_map(|event| match event {
        Event::HeaterSag { at, .. } | Event::BeltStop { at, .. } | Event::ProbeBreak { at, .. } => {
            Some(*at)
        }
        Event::Garments { from, .. } => {
            let print = truth.iter().find(|print| print.index == *from)?;
            print.enters_s
        }
        _ => None,
    })
}

/// A name in the middle of a sentence; one that begins with an abbreviation stays as it is.
fn uncapitalised(name: &str) -> String {
    let mut letters = name.chars();
    match (letters.next(), letters.clone().next()) {
        (Some(first), Some(second)) if second.is_lowercase() => {
            first.to_lowercase().chain(letters).collect()
        }
        _ => name.to_owned(),
    }
}
