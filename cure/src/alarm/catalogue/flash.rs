//! Flash units, platens and the exhaust. (Limits: common practice, no source.)

use inkdwell_config::shop::Priority;

use super::{Hazard, Key, PLAIN, Sheet};
use crate::alarm::kind::{Concerns, Kind};
use crate::alarm::register::Delays;

pub(super) const SHEETS: &[Sheet] = &[
    Sheet {
        kind: Kind::FlashLitIdle,
        name: "flash-lit-idle",
        title: "a flash unit is lit and nothing moves under it",
        priority: Priority::High,
        latches: true,
        cause: "The press has stopped, or somebody has walked away, with the lamp over a platen.",
        consequence: "Garment, adhesive and platen scorch and may catch fire.",
        first: "Swing the lamp away or switch it off.",
        then: "Look at the garment and the platen beneath it; never leave a lit flash unit alone.",
        time: "A minute or less.",
        keys: &[
            Key {
                name: "flash_idle",
                default: "2 min (our own judgement)",
            },
            Key {
                name: "flash_lit_from",
                default: "90 °C at any of its probes (our own judgement)",
            },
        ],
        delays: Delays { on: 0.0, off: 2.0 },
        hazard: Some(Hazard::Heat),
        ..PLAIN
    },
    Sheet {
        kind: Kind::PlatenOverheating,
        name: "platen-overheating",
        title: "a platen is too hot",
        concerns: Concerns::Probe,
        rests_with_station: true,
        cause: "Many flashes in a row: each leaves heat in the platen.",
        consequence: "Ink gels in the screen, adhesive fails, and the same flash seconds give too much.",
        first: "Pause the flash over that platen; the platen burns whoever touches it.",
        then: "Shorten the flash, or let the platens cool or turn idle once round.",
        time: "A few prints.",
        delays: Delays {
            on: 10.0,
            off: 30.0,
        },
        keys: &[Key {
            name: "platen_limit",
            default: "75 °C (common practice, no source)",
        }],
        hazard: Some(Hazard::Heat),
        ..PLAIN
    },
    Sheet {
        kind: Kind::ExhaustNotProved,
        name: "exhaust-not-proved",
        title: "the exhaust is not proved while an ink needs it",
        priority: Priority::High,
        latches: true,
        rests_with_station: true,
        cause: "The fan is off or its belt broken, the duct is closed or clogged, or the proving switch or its wire has failed.",
        consequence: "Fumes stay in the room and harm whoever breathes them; solvents may gather to what can burn.",
        first: "Stop feeding prints of this ink, air the room, and bring people out where it smells or stings.",
        then: "See whether the fan turns and the duct draws; only then look at the switch and its wire.",
        time: "Minutes; none where it stings or smells.",
        delays: Delays {
            on: 30.0,
            off: 10.0,
        },
        keys: &[Key {
            name: "exhaust_grace",
            default: "30 s (our own judgement)",
        }],
        hazard: Some(Hazard::Fumes),
        ..PLAIN
    },
];
