//! Prints. (Delays are nought: a verdict is a fact. What to do is common practice, no source.)

use inkdwell_config::shop::Priority;

use super::{Hazard, Key, PLAIN, Sheet};
use crate::alarm::kind::{Concerns, Kind};
use crate::alarm::register::Delays;

pub(super) const SHEETS: &[Sheet] = &[
    Sheet {
        kind: Kind::PrintUnderCured,
        name: "print-under-cured",
        title: "a print did not get what its ink needs",
        cause: "The chamber is too cool or the belt too fast for this ink on this garment; or the garment was heavier or wetter than the others.",
        consequence: "The print looks dry, and cracks or washes out at the customer's.",
        first: "Stop feeding prints into this dryer; let those inside run out, and lay them apart.",
        then: "Look at the chamber's temperatures and the belt's speed against the recipe, mend what is off, send a ride through, and run the held prints again.",
        time: "Until the next print goes in: each that follows is likely to be as bad.",
        ..PLAIN
    },
    Sheet {
        kind: Kind::PrintOverheated,
        name: "print-overheated",
        title: "a print got more heat than its fabric can take",
        priority: Priority::High,
        cause: "The chamber is too hot, or the belt too slow or standing.",
        consequence: "The fabric is scorched, shrunk or melted, or its dye goes on into the ink. None of it can be undone, and cloth that scorches can catch fire.",
        first: "Keep the belt running so that nothing lies in the heat; if it smokes, switch the heat off and follow the shop's fire plan.",
        then: "Stop feeding prints, look at each that is held, and find what ran hot before the next one goes in.",
        time: "Until the next print goes in; no time at all if it smokes.",
        hazard: Some(Hazard::Heat),
        ..PLAIN
    },
    Sheet {
        kind: Kind::FlashOffWindow,
        name: "flash-off-window",
        title: "a print was flashed too little or too much",
        cause: "The lamp is too far, too near, or on for too short or too long; platens warm up over a run, so that the same seconds give more.",
        consequence: "Too little: the next colour smears. Too much: the next colour does not hold on it.",
        first: "Pause before the next colour goes on this print.",
        then: "Change the seconds under the lamp or its height, and test one print before going on.",
        time: "Until the next colour is laid.",
        ..PLAIN
    },
    Sheet {
        kind: Kind::PrintsUnproven,
        name: "prints-unproven",
        title: "nothing was proved of several prints in a row",
        cause: "A limit lies inside the probe's uncertainty, readings have gaps, or passes are seen only in part.",
        consequence: "They may be good; nobody can show it, and they pile up as holds.",
        first: "Lay these prints apart, so that they are not packed.",
        then: "Read the reasons of the last one: they say by how much to move, or which probe to mend.",
        time: "As many prints as the shop is ready to hold.",
        keys: &[Key {
            name: "unproven_in_row",
            default: "3 (our own judgement)",
        }],
        ..PLAIN
    },
    Sheet {
        kind: Kind::DriftTowardLimit,
        name: "drift-toward-limit",
        title: "prints drift toward a limit",
        cause: "Something changes slowly: a heater ages or sags, a filter clogs, the room or the garments change.",
        consequence: "If it goes on, prints will be under-cured or harmed; the forecast says when.",
        first: "Nothing is lost yet: note which way it drifts, and do not raise the belt's speed.",
        then: "Compare zones and belt with the recipe, correct what has moved, and send a ride through.",
        time: "What the forecast says; it presumes that the drift goes on as it has.",
        keys: &[Key {
            name: "drift_horizon",
            default: "50 prints: a forecast beyond that is not told (our own judgement)",
        }],
        ..PLAIN
    },
    Sheet {
        kind: Kind::TooHotToStack,
        name: "too-hot-to-stack",
        title: "prints leave too hot to be stacked on a fabric that migrates",
        concerns: Concerns::Probe,
        cause: "Prints have too little way or air to cool between the chamber and the stack.",
        consequence: "In a stack the heat stays for many minutes, and dye goes on migrating into the ink from below.",
        first: "Spread the prints out or hang them; do not stack them.",
        then: "Give them more way or a fan, or a cooler chamber with a slower belt, after a ride has proved it.",
        time: "A minute or so: the stack keeps what heat it gets.",
        rests_with_station: true,
        delays: Delays {
            on: 1.0,
            off: 120.0,
        },
        keys: &[Key {
            name: "stack_limit",
            default: "20 °C below where dye migration begins by the fabric's own law (our own judgement)",
        }],
        hazard: Some(Hazard::Heat),
        ..PLAIN
    },
];
