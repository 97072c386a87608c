//! Sentences that stand in records.

use inkdwell_config::display::Units;
use inkdwell_cure::live::Departure;

use crate::record::Judged;

/// What is off a recipe, in a sentence.
pub(super) fn departure(what: &Departure, units: Units) -> String {
    match what {
        Departure::Belt { now, locked } => format!(
            "the belt runs at {} instead of {}",
            units.speed(*now),
            units.speed(*locked)
        ),
        Departure::Zone { probe, now, locked } => format!(
            "{probe} shows {} instead of {}",
            units.temperature(*now),
            units.temperature(*locked)
        ),
        Departure::Exit { probe, now, locked } => format!(
            "{probe} sees prints leave at {} instead of {}",
            units.temperature(*now),
            units.temperature(*locked)
        ),
    }
}

/// What is said of a print that was counted and that no probe saw; `threshold_c` is its ink's, in °C.
pub fn nobody_saw_it(threshold_c: f64) -> Judged {
    Judged {
        evidence: "none".to_owned(),
        cut: false,
        samples: 0,
        faults: 0,
        gaps: 0,
        peak_c: 0.0,
        threshold_c,
        time_above_s: 0.0,
        max_rise_c_per_s: 0.0,
        uncertainty_c: 0.0,
        cure: None,
        harms: Vec::new(),
        verdict: "unproven".to_owned(),
        harm: None,
        reasons: vec![
            "It was counted, but no probe saw it: nobody knows what its ink got. Send a probe along more \
             often, or lock a recipe and let an exit probe see every print; a wash test tells afterwards."
                .to_owned(),
        ],
        remarks: Vec::new(),
    }
}

/// What is said of a print that an exit probe saw and of which nothing could be inferred.
pub(super) fn not_inferred(threshold_c: f64, why: &str) -> Judged {
    Judged {
        reasons: vec![format!(
            "An exit probe saw it leave, but nothing can be inferred of it: {why}. Ride one print with a probe in \
             its ink and lock the recipe anew; a wash test tells of this one."
        )],
        ..nobody_saw_it(threshold_c)
    }
}
