//! Sources, clock, queue, disk and ways out. (Delays and limits: our own judgement.)

use inkdwell_config::shop::Priority;

use super::{Key, PLAIN, Sheet};
use crate::alarm::kind::{Concerns, Kind};
use crate::alarm::register::Delays;

pub(super) const SHEETS: &[Sheet] = &[
    Sheet {
        kind: Kind::SourceDown,
        name: "source-down",
        title: "a source does not hear its device",
        concerns: Concerns::Source,
        cause: "The device is off, its wire is out, or the network or broker is down.",
        consequence: "None of its probes and signals is watched; passes are unproven.",
        first: "Watch the dryer's own displays until it is back.",
        then: "Look at the device's power and wire; the alarm says what the source met last.",
        time: "As many prints as the shop is ready to hold.",
        delays: Delays { on: 5.0, off: 5.0 },
        ..PLAIN
    },
    Sheet {
        kind: Kind::ClockStepped,
        name: "clock-stepped",
        title: "the clock on the wall was set",
        priority: Priority::Low,
        concerns: Concerns::Shop,
        cause: "Somebody set the machine's clock, or it found its time server after a while without.",
        consequence: "None for verdicts, which rest on a time that never steps; times on screens and labels shift against each other.",
        first: "Nothing has to be made safe: go on working.",
        then: "See that the machine's time is right and kept by a time server.",
        time: "No hurry at all.",
        delays: Delays { on: 0.0, off: 60.0 },
        ..PLAIN
    },
    Sheet {
        kind: Kind::QueueOverflow,
        name: "queue-overflow",
        title: "readings found the queue full",
        concerns: Concerns::Source,
        cause: "The machine is too slow for what comes, or its disk is.",
        consequence: "Readings are lost; passes have gaps and become unproven.",
        first: "Stop whatever else works this machine hard.",
        then: "Look at its disk and processor; read devices less often.",
        time: "Minutes: every pass meanwhile may have gaps.",
        delays: Delays { on: 0.0, off: 60.0 },
        ..PLAIN
    },
    Sheet {
        kind: Kind::DiskNearlyFull,
        name: "disk-nearly-full",
        title: "the journal's disk is nearly full",
        concerns: Concerns::Shop,
        cause: "Journal, backups or something else fill it.",
        consequence: "Once it is full nothing is accepted any more, and no print is proved.",
        first: "Make room now: move old backups to another disk.",
        then: "Keep raw readings for a shorter time, or give the journal a larger disk.",
        time: "Hours; none once it is full.",
        delays: Delays { on: 0.0, off: 60.0 },
        keys: &[Key {
            name: "disk_room",
            default: "5 % of the disk, and 1 GB at least; for the whole shop only",
        }],
        ..PLAIN
    },
    Sheet {
        kind: Kind::OutboxGrowing,
        name: "outbox-growing",
        title: "what is to go out piles up",
        priority: Priority::Low,
        concerns: Concerns::Sink,
        cause: "The broker, server or address that it goes to does not answer, or refuses.",
        consequence: "Nothing is lost, but whoever is told that way hears of alarms late.",
        first: "See that alarms reach somebody another way.",
        then: "Look at the address, its certificate and its password; the daemon's log says what it answered.",
        time: "Hours: the outbox is kept on the disk.",
        delays: Delays {
            on: 60.0,
            off: 10.0,
        },
        ..PLAIN
    },
];
