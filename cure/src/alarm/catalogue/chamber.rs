//! The chamber and its heaters. (Limits: our own judgement from the declared set temperatures.)

use inkdwell_config::shop::Priority;

use super::{Hazard, Key, PLAIN, Sheet};
use crate::alarm::kind::{Concerns, Kind};
use crate::alarm::register::Delays;

pub(super) const SHEETS: &[Sheet] = &[
    Sheet {
        kind: Kind::ChamberOverLimit,
        name: "chamber-over-limit",
        title: "the chamber is hotter than it may be",
        priority: Priority::High,
        concerns: Concerns::Probe,
        latches: true,
        cause: "A controller or contactor hangs, a fan has failed, or something burns inside.",
        consequence: "Prints scorch, and cloth, lint and ink residues may catch fire.",
        first: "Switch the heat off and keep the belt and the exhaust running; if it smokes, follow the shop's fire plan.",
        then: "When it has cooled, look for lint and stuck prints, and have the controller and its own limit tested before it is used again.",
        time: "A minute or less.",
        delays: Delays { on: 5.0, off: 30.0 },
        keys: &[Key {
            name: "chamber_limit",
            default: "set air + 30 °C, set panel + 80 °C (our own judgement)",
        }],
        hazard: Some(Hazard::Heat),
        ..PLAIN
    },
    Sheet {
        kind: Kind::ChamberRisingFast,
        name: "chamber-rising-fast",
        title: "the chamber grows hotter abnormally fast",
        priority: Priority::High,
        concerns: Concerns::Probe,
        latches: true,
        cause: "Something burns inside, or a heater is on without its fan or controller.",
        consequence: "The limit will be passed within a minute or two; fire.",
        first: "Switch the heat off; keep the belt and the exhaust running unless the fire plan says otherwise.",
        then: "Look in from a distance; do not open a chamber that smokes.",
        time: "Seconds to a minute.",
        delays: Delays { on: 2.0, off: 30.0 },
        keys: &[Key {
            name: "chamber_rise_per_min",
            default: "60 °C a minute, of air only (our own judgement: heating up from cold is slower)",
        }],
        hazard: Some(Hazard::Heat),
        ..PLAIN
    },
    Sheet {
        kind: Kind::HeaterShortOfSet,
        name: "heater-short-of-set",
        title: "a heater does not reach its set temperature",
        concerns: Concerns::Probe,
        rests_with_station: true,
        cause: "An element, a burner or a phase has failed, a door or flap is open, or the set temperature was changed.",
        consequence: "Prints are under-cured, or the belt has to run slower than planned.",
        first: "Do not feed prints yet.",
        then: "Compare what the dryer's own display shows with this probe, look at the breakers from outside, and call whoever is licensed to open it.",
        time: "No hurry before the first print; none may go in.",
        delays: Delays {
            on: 120.0,
            off: 10.0,
        },
        keys: &[
            Key {
                name: "zone_reach",
                default: "15 °C below set counts as reached (our own judgement)",
            },
            Key {
                name: "warm_up",
                default: "45 min (our own judgement)",
            },
        ],
        hazard: Some(Hazard::Heat),
        ..PLAIN
    },
    Sheet {
        kind: Kind::HeaterSagging,
        name: "heater-sagging",
        title: "a heater falls behind where it had settled",
        concerns: Concerns::Probe,
        rests_with_station: true,
        cause: "An element or burner has failed while running, the supply sags, or the load grew: heavier or wetter garments, prints laid closer.",
        consequence: "The next prints are under-cured.",
        first: "Stop feeding prints; let those inside run out, and lay them apart.",
        then: "Wait until the zone is back, or slow the belt to what a ride proves, and have the heater looked at.",
        time: "Until the next print goes in.",
        delays: Delays {
            on: 15.0,
            off: 30.0,
        },
        keys: &[Key {
            name: "zone_sag",
            default: "12 °C (our own judgement)",
        }],
        hazard: Some(Hazard::Heat),
        ..PLAIN
    },
    Sheet {
        kind: Kind::ZoneOutOfLine,
        name: "zone-out-of-line",
        title: "a zone is out of line with its neighbours",
        concerns: Concerns::Probe,
        rests_with_station: true,
        cause: "One zone's fan, heater or probe is not as the others', set temperatures allowed for.",
        consequence: "What rides prove holds no more once that zone changes; prints may be under-cured or harmed.",
        first: "Stop feeding prints until it is known which zone is wrong.",
        then: "Compare the dryer's own displays; move the probe to the neighbouring zone to tell it from the heater.",
        time: "A few prints.",
        delays: Delays {
            on: 60.0,
            off: 60.0,
        },
        keys: &[Key {
            name: "zone_apart",
            default: "25 °C (our own judgement)",
        }],
        hazard: Some(Hazard::Heat),
        ..PLAIN
    },
];
