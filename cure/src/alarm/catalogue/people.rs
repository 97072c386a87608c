//! Batches, recipes, rides, and the alarms about alarms. (Delays and limits: our own judgement.)

use inkdwell_config::shop::Priority;

use super::{Hazard, Key, PLAIN, Sheet};
use crate::alarm::kind::{Concerns, Kind};
use crate::alarm::register::Delays;

pub(super) const SHEETS: &[Sheet] = &[
    Sheet {
        kind: Kind::InkPastPotLife,
        name: "ink-past-pot-life",
        title: "the mixed ink has outlived its pot life",
        rests_with_station: true,
        cause: "Catalysed and discharge inks live some hours once they are mixed.",
        consequence: "It cures badly or does not discharge whatever the heat; a verdict on heat alone does not see that.",
        first: "Stop printing with it.",
        then: "Mix fresh ink, open a batch that says when, and wash-test the last prints.",
        time: "None is left: prints since then are doubtful.",
        ..PLAIN
    },
    Sheet {
        kind: Kind::NoBatchOpen,
        name: "no-batch-open",
        title: "prints pass with no batch open",
        cause: "Nobody has said what is being printed.",
        consequence: "Nobody knows what these prints need, so none of them is judged.",
        first: "Open the batch: inkdwell batch open.",
        then: "Give it the passes that went before: inkdwell batch assign.",
        time: "Any time the same day; sooner if something is wrong with them.",
        delays: Delays { on: 0.0, off: 0.0 },
        ..PLAIN
    },
    Sheet {
        kind: Kind::RecipeLeft,
        name: "recipe-left",
        title: "the station has left its recipe",
        rests_with_station: true,
        cause: "The belt's speed or a temperature is not what was locked with the reference ride.",
        consequence: "What the reference ride proved does not hold: prints may be under-cured or harmed.",
        first: "Stop feeding prints; let those inside run out, and lay them apart.",
        then: "Set it back as locked, or send a ride through and lock a recipe anew.",
        time: "Until the next print goes in.",
        delays: Delays { on: 0.0, off: 5.0 },
        hazard: Some(Hazard::Heat),
        ..PLAIN
    },
    Sheet {
        kind: Kind::RideOverdue,
        name: "ride-overdue",
        title: "another ride is due",
        priority: Priority::Low,
        rests_with_station: true,
        cause: "The recipe asks for a ride every so often, and none was seen for that long.",
        consequence: "What is inferred from the exit temperature counts as no evidence any more.",
        first: "Nothing has to be made safe: go on, knowing that prints are unproven from now on.",
        then: "Send the next print through with a probe in its ink.",
        time: "None is left; each print meanwhile is unproven.",
        keys: &[Key {
            name: "ride_every (of the recipe)",
            default: "none: without it no ride is ever due",
        }],
        ..PLAIN
    },
    Sheet {
        kind: Kind::AlarmFlood,
        name: "alarm-flood",
        title: "so many alarms come that some are held back",
        concerns: Concerns::Shop,
        cause: "One fault has many consequences: a supply, a network, an instrument. More than 10 in 10 minutes is what ANSI/ISA-18.2 calls a flood (from memory).",
        consequence: "Low and medium alarms are recorded but not announced until it is over; high ones always are.",
        first: "Go to the dryer and make it safe; then read inkdwell alarms list.",
        then: "Look at the first alarm of each group: the others follow from it.",
        time: "As long as the highest of them says.",
        hazard: Some(Hazard::Heat),
        ..PLAIN
    },
    Sheet {
        kind: Kind::Drill,
        name: "drill",
        title: "a drill: a test alarm, nothing is wrong",
        concerns: Concerns::Shop,
        cause: "Somebody has asked for it, to see that alarms reach whoever they should.",
        consequence: "None: it is marked as a drill wherever it is shown.",
        first: "Nothing has to be made safe.",
        then: "See by which ways it came, and acknowledge it.",
        time: "As long as the shop wants to give itself.",
        delays: Delays { on: 0.0, off: 60.0 },
        ..PLAIN
    },
];
