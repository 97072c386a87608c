//! Why an alarm holds: its figures, and the sentence that says them.

use inkdwell_config::display::Units;
use inkdwell_config::fabric::Harm;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, MetresPerSecond, Seconds};
use serde::{Deserialize, Serialize};

use crate::reason::harmed;

/// What drifts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Drifting {
    /// The cure dose, toward too little.
    Cure,
    /// A harm dose, toward too much.
    Harm,
}

/// What is off a recipe.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum OffRecipe {
    /// The belt's speed.
    Belt {
        /// Now.
        now: MetresPerSecond,
        /// As locked.
        locked: MetresPerSecond,
    },
    /// What a probe shows.
    Probe {
        /// Its id.
        probe: String,
        /// Now.
        now: Celsius,
        /// As locked.
        locked: Celsius,
    },
    /// Something that is told in words.
    Other(String),
}

/// Why an alarm holds, in figures; [`Cause::sentence`] says it in words.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Cause {
    /// A print's verdict.
    Print {
        /// Its number in the batch.
        print: Option<u64>,
        /// The hottest sample.
        peak: Option<Celsius>,
        /// The verdict's word.
        verdict: String,
        /// The worst harm.
        harm: Option<Harm>,
    },
    /// So many in a row are unproven.
    InARow {
        /// How many.
        prints: u64,
        /// The number of the last of them.
        last: Option<u64>,
    },
    /// A dose moves toward its limit of 1.
    Drift {
        /// Which.
        what: Drifting,
        /// The dose now, smoothed.
        dose: f64,
        /// What it was when the batch began.
        began: f64,
        /// After so many more prints it reaches 1.
        prints: f64,
        /// Which is after about so long.
        after: Seconds,
    },
    /// Peaks move toward where there is no cure any more.
    PeakDrift {
        /// The peak now, smoothed.
        peak: Celsius,
        /// What it was when the batch began.
        began: Celsius,
        /// The least that proves a cure: what the ink's law asks for, and the probe's doubt.
        limit: Celsius,
        /// After so many more prints it reaches that.
        prints: f64,
        /// Which is after about so long.
        after: Seconds,
    },
    /// The belt stands.
    BeltStands {
        /// How hot the chamber is.
        chamber: Option<Celsius>,
    },
    /// The belt stands in a chamber that is cooling.
    BeltOff {
        /// How hot the chamber still is.
        chamber: Celsius,
        /// Below this the belt may stand.
        cooled_below: Celsius,
    },
    /// A print stayed in the heat for longer than the signal lets one expect.
    Slip {
        /// What the signal says.
        signal: MetresPerSecond,
        /// What the print's stay in the heat says.
        seen: MetresPerSecond,
    },
    /// A temperature is above its limit.
    Above {
        /// It.
        now: Celsius,
        /// The limit.
        limit: Celsius,
    },
    /// A temperature rises too fast.
    Rising {
        /// In a minute.
        per_minute: CelsiusDifference,
        /// How much it may.
        limit: CelsiusDifference,
        /// The temperature now.
        now: Celsius,
    },
    /// A temperature is below what it should be.
    Below {
        /// It.
        now: Celsius,
        /// What it should be.
        wanted: Celsius,
    },
    /// A zone stands apart from its neighbours.
    OutOfLine {
        /// By so much more (or less) than they.
        by: CelsiusDifference,
        /// The temperature now.
        now: Celsius,
    },
    /// Nothing has moved under a lit lamp.
    Idle {
        /// For so long.
        lasting: Seconds,
        /// What lies under it is so hot.
        now: Celsius,
    },
    /// The exhaust's signal says too little, or nothing.
    Exhaust {
        /// What it says.
        now: Option<f64>,
        /// From where it proves the exhaust.
        proved_from: f64,
    },
    /// The probe gives no number.
    NoNumber,
    /// The probe shows one number.
    Unmoving {
        /// Which.
        shown: Celsius,
        /// For so long.
        lasting: Seconds,
    },
    /// The probe scatters.
    Scatters {
        /// By so much is allowed (standard deviation).
        limit: CelsiusDifference,
    },
    /// Nothing was heard.
    Silent {
        /// For so long.
        lasting: Seconds,
    },
    /// What is shown cannot be.
    CannotBe {
        /// The number, as it came.
        shown: f64,
    },
    /// Something was due.
    Overdue {
        /// Since so long.
        since: Seconds,
    },
    /// A source does not hear its device.
    NotHeard {
        /// Why.
        why: String,
    },
    /// The wall clock was set.
    Stepped {
        /// It is ahead of the daemon's own time by so many seconds.
        ahead: Seconds,
    },
    /// Readings were turned away.
    TurnedAway {
        /// How many.
        readings: u64,
    },
    /// There is little room on the disk.
    Room {
        /// So many bytes.
        free: u64,
    },
    /// There is no room at all.
    NoRoom,
    /// So much waits to go out.
    Waiting {
        /// How many messages.
        messages: u64,
    },
    /// The ink is older than it may be.
    PotLife {
        /// How old it is.
        age: Seconds,
        /// How old it may be.
        limit: Seconds,
    },
    /// A print has passed without a batch.
    NoBatch,
    /// The station has left a recipe.
    Recipe {
        /// Its number.
        recipe: u64,
        /// What is off.
        off: OffRecipe,
    },
    /// So many alarms in ten minutes.
    Flood {
        /// How many.
        alarms: u64,
    },
    /// Somebody tests.
    Drill {
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
}

/// A time as people say it.
pub(crate) fn lasting(time: Seconds) -> String {
    let seconds = time.0.max(0.0);
    if seconds < 120.0 {
        format!("{seconds:.0} s")
    } else if seconds < 7_200.0 {
        format!("{:.0} min", seconds / 60.0)
    } else if seconds < 172_800.0 {
        format!("{:.1} h", seconds / 3600.0)
    } else {
        format!("{:.0} days", seconds / 86_400.0)
    }
}

fn numbered(print: Option<u64>) -> String {
    print.map_or_else(|| "A print".to_owned(), |print| format!("Print {print}"))
}

/// So many more prints.
fn so_many(prints: f64) -> String {
    match prints.round() as u64 {
        0 | 1 => "1 more print".to_owned(),
        prints => format!("{prints} more prints"),
    }
}

impl Cause {
    /// In a sentence, the figures in these units.
    pub fn sentence(&self, units: Units) -> String {
        self.of_prints(units)
            .or_else(|| self.of_heat(units))
            .or_else(|| self.of_probes(units))
            .unwrap_or_else(|| self.of_the_shop(units))
    }

    fn of_prints(&self, units: Units) -> Option<String> {
        Some(match self {
            Cause::Print {
                print,
                peak,
                verdict,
                harm,
            } => {
                let what = match harm {
                    Some(harm) => harmed(*harm).to_owned(),
                    None => verdict.clone(),
                };
                let peak = peak.map_or(String::new(), |peak| {
                    format!("; its peak was {}", units.temperature(peak))
                });
                format!("{} is {what}{peak}.", numbered(*print))
            }
            Cause::InARow { prints, last } => {
                let last = last.map_or(String::new(), |last| format!(", print {last} the last"));
                format!("{prints} prints in a row are unproven{last}.")
            }
            Cause::Drift {
                what,
                dose,
                began,
                prints,
                after,
            } => {
                let (name, end) = match what {
                    Drifting::Cure => ("cure", "is under-cured"),
                    Drifting::Harm => ("harm", "is harmed"),
                };
                format!(
                    "The {name} dose has gone from {began:.2} to {dose:.2}; if that goes on, a print {end} in \
                     about {} ({}).",
                    lasting(*after),
                    so_many(*prints)
                )
            }
            Cause::PeakDrift {
                peak,
                began,
                limit,
                prints,
                after,
            } => format!(
                "The peak has gone from {} to {}; if that goes on, it is no more than {}, and no cure is proved, in \
                 about {} ({}).",
                units.temperature(*began),
                units.temperature(*peak),
                units.temperature(*limit),
                lasting(*after),
                so_many(*prints)
            ),
            Cause::NoBatch => "A print has passed while no batch was open.".to_owned(),
            Cause::PotLife { age, limit } => format!(
                "The ink was mixed {} ago and lives {}.",
                lasting(*age),
                lasting(*limit)
            ),
            _ => return None,
        })
    }

    fn of_heat(&self, units: Units) -> Option<String> {
        Some(match self {
            Cause::BeltStands { chamber } => match chamber {
                Some(chamber) => format!(
                    "The belt stands, and the chamber is at {}.",
                    units.temperature(*chamber)
                ),
                None => "The belt stands while a batch is being printed.".to_owned(),
            },
            Cause::BeltOff {
                chamber,
                cooled_below,
            } => format!(
                "The belt is off and the chamber still at {}; it should run until that is below {}.",
                units.temperature(*chamber),
                units.temperature(*cooled_below)
            ),
            Cause::Slip { signal, seen } => format!(
                "The belt's signal says {}, but the last print went through the heat at about {}.",
                units.speed(*signal),
                units.speed(*seen)
            ),
            Cause::Above { now, limit } => format!(
                "It shows {}, above {}.",
                units.temperature(*now),
                units.temperature(*limit)
            ),
            Cause::Rising {
                per_minute,
                limit,
                now,
            } => format!(
                "It rises by {} a minute, more than {}, and is at {}.",
                units.difference(*per_minute),
                units.difference(*limit),
                units.temperature(*now)
            ),
            Cause::Below { now, wanted } => format!(
                "It shows {} where {} is wanted.",
                units.temperature(*now),
                units.temperature(*wanted)
            ),
            Cause::OutOfLine { by, now } => format!(
                "It shows {}, {} {} than its neighbours, set temperatures allowed for.",
                units.temperature(*now),
                units.difference(CelsiusDifference(by.0.abs())),
                if by.0 < 0.0 { "less" } else { "more" }
            ),
            Cause::Idle { lasting: time, now } => format!(
                "Nothing has moved under the lit lamp for {}; what lies there is at {}.",
                lasting(*time),
                units.temperature(*now)
            ),
            Cause::Exhaust { now, proved_from } => match now {
                Some(now) => format!("Its signal is at {now}; from {proved_from} up it proves it."),
                None => "Its signal says nothing.".to_owned(),
            },
            Cause::Recipe { recipe, off } => {
                let off = match off {
                    OffRecipe::Belt { now, locked } => format!(
                        "the belt runs at {} instead of {}",
                        units.speed(*now),
                        units.speed(*locked)
                    ),
                    OffRecipe::Probe { probe, now, locked } => format!(
                        "{probe} shows {} instead of {}",
                        units.temperature(*now),
                        units.temperature(*locked)
                    ),
                    OffRecipe::Other(words) => words.clone(),
                };
                format!("Recipe {recipe} is left: {off}.")
            }
            _ => return None,
        })
    }

    fn of_probes(&self, units: Units) -> Option<String> {
        Some(match self {
            Cause::NoNumber => "It gives no number.".to_owned(),
            Cause::Unmoving {
                shown,
                lasting: time,
            } => format!(
                "It has shown {} without the least change for {}.",
                units.temperature(*shown),
                lasting(*time)
            ),
            Cause::Scatters { limit } => format!(
                "Its readings scatter by more than {} (standard deviation).",
                units.difference(*limit)
            ),
            Cause::Silent { lasting: time } => {
                format!("It has said nothing for {}.", lasting(*time))
            }
            Cause::CannotBe { shown } => {
                format!("It shows {shown:.1}, which no print or dryer has.")
            }
            Cause::Overdue { since } => format!("It was due {} ago.", lasting(*since)),
            _ => return None,
        })
    }

    fn of_the_shop(&self, _: Units) -> String {
        match self {
            Cause::NotHeard { why } => format!("Its device is not heard: {why}."),
            Cause::Stepped { ahead } => format!(
                "The clock on the wall was set; it is {} {} the daemon's own time.",
                lasting(Seconds(ahead.0.abs())),
                if ahead.0 < 0.0 { "behind" } else { "ahead of" }
            ),
            Cause::TurnedAway { readings } => {
                format!("{readings} readings found the queue full and are lost.")
            }
            Cause::Room { free } => {
                format!(
                    "{:.1} GB are free on the journal's disk.",
                    *free as f64 / 1e9
                )
            }
            Cause::NoRoom => "The journal's disk is full: nothing is accepted.".to_owned(),
            Cause::Waiting { messages } => format!("{messages} messages wait to go out."),
            Cause::Flood { alarms } => format!("{alarms} alarms have come within ten minutes."),
            Cause::Drill { by, why } => format!("This is a drill, by {by}: {why}"),
            // All others are told above.
            _ => String::new(),
        }
    }
}
