//! Probes. (Delays and limits: our own judgement.)

use inkdwell_config::shop::Priority;

use super::{Key, PLAIN, Sheet};
use crate::alarm::kind::{Concerns, Kind};
use crate::alarm::register::Delays;

const PROBE: Sheet = Sheet {
    concerns: Concerns::Probe,
    rests_with_station: true,
    ..PLAIN
};

pub(super) const SHEETS: &[Sheet] = &[
    Sheet {
        kind: Kind::ProbeOpen,
        name: "probe-open",
        title: "a probe gives no number",
        cause: "A wire is broken, a plug is loose, or the instrument reports an open circuit.",
        consequence: "What the probe watched is not watched; passes that it saw are unproven.",
        first: "Do not trust what this probe showed last, and watch the dryer's own display instead.",
        then: "Look at plug and wire, change the probe, and send a ride through.",
        time: "As many prints as the shop is ready to hold.",
        delays: Delays { on: 3.0, off: 10.0 },
        ..PROBE
    },
    Sheet {
        kind: Kind::ProbeStuck,
        name: "probe-stuck",
        title: "a probe shows one number for too long",
        cause: "Its instrument or its line repeats an old value; a real temperature is never still.",
        consequence: "It hides whatever happens in the heat.",
        first: "Do not trust what it shows, and watch the dryer's own display instead.",
        then: "Switch its instrument off and on, and look at its line.",
        time: "Act as if nothing watched: a few prints.",
        delays: Delays { on: 0.0, off: 5.0 },
        keys: &[Key {
            name: "stuck_after",
            default: "2 min while hot, 30 s inside a pass; 15 times that where it shows steps of 0.5 °C or more",
        }],
        ..PROBE
    },
    Sheet {
        kind: Kind::ProbeNoisy,
        name: "probe-noisy",
        title: "a probe's readings scatter",
        cause: "A shield is not connected, a joint is loose, or a motor or lamp disturbs it.",
        consequence: "Peaks are overstated, passes have faults, and verdicts become unproven.",
        first: "Do not act on single figures of this probe.",
        then: "Tighten its joints, keep its wire away from mains, and connect the shield at one end.",
        time: "No hurry while prints are proved.",
        delays: Delays { on: 5.0, off: 30.0 },
        keys: &[Key {
            name: "noise_limit",
            default: "3 °C (standard deviation)",
        }],
        ..PROBE
    },
    Sheet {
        kind: Kind::ProbeSilent,
        name: "probe-silent",
        title: "a probe says nothing",
        cause: "Its instrument is off, its battery empty, or its line cut.",
        consequence: "What it watched is not watched; passes that it saw are unproven.",
        first: "Watch the dryer's own display instead.",
        then: "Look whether its source is heard (inkdwell alarms list), then at its instrument.",
        time: "As many prints as the shop is ready to hold.",
        delays: Delays { on: 0.0, off: 2.0 },
        keys: &[Key {
            name: "silent_after",
            default: "60 s",
        }],
        ..PROBE
    },
    Sheet {
        kind: Kind::ProbeOutOfRange,
        name: "probe-out-of-range",
        title: "a probe shows what cannot be",
        cause: "It is wired the wrong way round, of another type than declared, or in another unit.",
        consequence: "Its readings are not used; what it watched is not watched.",
        first: "Watch the dryer's own display instead.",
        then: "Compare its type, unit and poles with the shop file.",
        time: "As many prints as the shop is ready to hold.",
        delays: Delays { on: 3.0, off: 10.0 },
        ..PROBE
    },
    Sheet {
        kind: Kind::CalibrationOverdue,
        name: "calibration-overdue",
        title: "a probe's calibration is overdue",
        priority: Priority::Low,
        rests_with_station: false,
        cause: "The day by which it was to be made again is past.",
        consequence: "Its doubt is larger than what verdicts reckon with; a report that rests on it can be disputed.",
        first: "Nothing has to be made safe: go on working.",
        then: "Calibrate it, or have it done, and enter it with inkdwell probe.",
        time: "Days, not weeks.",
        ..PROBE
    },
];
