//! The belt. (That it runs until the chamber is below about 93 °C, 200 °F: common practice, no source. Delays:
//! our own judgement; cloth at a scorching 220 °C takes harm within about 8 s.)

use inkdwell_config::shop::Priority;

use super::{Hazard, Key, PLAIN, Sheet};
use crate::alarm::kind::Kind;
use crate::alarm::register::Delays;

pub(super) const SHEETS: &[Sheet] = &[
    Sheet {
        kind: Kind::BeltStoppedHot,
        name: "belt-stopped-hot",
        title: "the belt stands in a hot chamber",
        priority: Priority::High,
        latches: true,
        cause: "The drive has failed, was switched off, or the belt is jammed.",
        consequence: "What lies on it scorches within seconds and may catch fire; the belt itself burns.",
        first: "Start the belt at once; if it does not start, switch the heat off, open what may be opened, and keep people and a fire extinguisher near.",
        then: "Take out what lay inside when it is safe to, find why it stopped, and look at every print that was in the heat.",
        time: "Seconds: at a scorching heat cloth takes harm within ten.",
        delays: Delays { on: 5.0, off: 2.0 },
        keys: &[
            Key {
                name: "belt_stop_grace",
                default: "5 s (our own judgement)",
            },
            Key {
                name: "cooled_below",
                default: "93.3 °C, 200 °F (common practice, no source)",
            },
        ],
        hazard: Some(Hazard::Heat),
        ..PLAIN
    },
    Sheet {
        kind: Kind::BeltSlipping,
        name: "belt-slipping",
        title: "prints go slower than the belt's signal says",
        cause: "The belt slips on its drum, its tension is lost, or the signal is scaled wrongly.",
        consequence: "Prints stay in the heat for longer than anybody thinks: they scorch, and inferred verdicts are wrong.",
        first: "Stop feeding prints; let those inside run out.",
        then: "Time a mark on the belt over a known length, tighten what is loose, and mend the signal's scale.",
        time: "Minutes; none if prints begin to brown.",
        keys: &[Key {
            name: "belt_slip",
            default: "20 % (our own judgement)",
        }],
        hazard: Some(Hazard::Heat),
        ..PLAIN
    },
    Sheet {
        kind: Kind::BeltOffBeforeCooled,
        name: "belt-off-before-cooled",
        title: "the belt was switched off before the chamber had cooled",
        priority: Priority::High,
        cause: "The dryer was shut down too early at the end of work.",
        consequence: "The belt, and whatever lies on it, burns where it stands; bearings and drum warp.",
        first: "Switch the belt on again, the heat left off.",
        then: "Stay with it until the chamber is cool; never leave a hot dryer alone.",
        time: "Minutes at most.",
        delays: Delays { on: 10.0, off: 5.0 },
        keys: &[Key {
            name: "cooled_below",
            default: "93.3 °C, 200 °F (common practice, no source)",
        }],
        hazard: Some(Hazard::Heat),
        ..PLAIN
    },
];
