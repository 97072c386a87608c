//! Why a print is not proved cured: the figure, and what would mend it.

use inkdwell_config::display::Units;
use inkdwell_config::fabric::Harm;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, Seconds};

use crate::judged::Band;

/// How far a pass is from a limit, and two ways across it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Remedy {
    /// How much hotter (cure) or cooler (harm) the same pass would have to be; `None` where no
    /// change within 200 °C would do.
    pub shift: Option<CelsiusDifference>,
    /// By what factor the time in the heat would have to grow (cure) or shrink (harm) at unchanged
    /// temperatures; `None` where time alone cannot do it.
    pub stretch: Option<f64>,
}

/// A reason in figures; [`Reason::sentence`] says it in words.
#[derive(Debug, Clone, PartialEq)]
pub enum Reason {
    /// Even at the high end of the uncertainty the ink did not get what it needs.
    UnderCured {
        /// The cure dose.
        dose: Band,
        /// The pass's time above the threshold.
        time_above: Seconds,
        /// The ink's threshold.
        threshold: Celsius,
        /// The time that the law asks for at the threshold, where it says one.
        needed: Option<Seconds>,
        /// The hottest sample.
        peak: Celsius,
        /// What would prove it cured.
        remedy: Remedy,
    },
    /// Even at the low end of the uncertainty the fabric got more than it can take.
    Overheated {
        /// Which harm.
        harm: Harm,
        /// Its dose.
        dose: Band,
        /// The hottest sample where the harm is judged.
        peak: Celsius,
        /// What would prove it unharmed.
        remedy: Remedy,
    },
    /// The ink got too little and the fabric too much in the same pass.
    Conflict,
    /// The limit of cure lies inside the uncertainty.
    CureWithinUncertainty {
        /// The cure dose.
        dose: Band,
        /// The expanded uncertainty.
        uncertainty: CelsiusDifference,
        /// What would prove it cured.
        remedy: Remedy,
    },
    /// The limit of a harm lies inside the uncertainty.
    HarmWithinUncertainty {
        /// Which harm.
        harm: Harm,
        /// Its dose.
        dose: Band,
        /// The expanded uncertainty.
        uncertainty: CelsiusDifference,
        /// What would prove it unharmed.
        remedy: Remedy,
    },
    /// What happened in a gap could change the verdict.
    HangsOnGap {
        /// When the longest gap begins, from the start of the trace.
        from: Seconds,
        /// How long it lasts.
        lasting: Seconds,
        /// How many gaps the pass has.
        gaps: u64,
        /// What the gap could hide.
        hides: Hidden,
    },
    /// The trace begins inside the pass.
    BeginsTooLate {
        /// The first temperature seen of the pass.
        at: Celsius,
        /// How long the gap lasts that hides the beginning, where it is not the trace's own.
        gap: Option<Seconds>,
    },
    /// The trace ends inside the pass.
    EndsTooSoon {
        /// The last temperature seen of the pass.
        at: Celsius,
        /// How long the gap lasts that hides the end, where it is not the trace's own.
        gap: Option<Seconds>,
    },
    /// The exit trace begins or ends while the print passes the probe.
    ObjectCut,
    /// The station declares a belt signal, and the trace has none.
    NoBeltSignal,
    /// The belt's signal is missing over most of the time in which this print was in the heat.
    BeltNotSeen {
        /// For so long.
        unseen: Seconds,
    },
    /// No change of the chamber explains the exit temperature.
    ExitUnexplained {
        /// What the exit probe showed of the print.
        shown: Celsius,
    },
    /// The exit probe showed no good sample of the print itself.
    PrintNotSeen,
    /// The ride that the recipe leans on is older than the recipe allows.
    RideTooOld {
        /// Its age when the print left.
        age: Seconds,
        /// How old it may be.
        every: Seconds,
    },
    /// A flash that did not reach the gel window.
    UnderFlashed {
        /// The surface peak.
        peak: Celsius,
        /// Where the window begins.
        from: Celsius,
        /// How far the peak must rise to be proved inside.
        short_by: CelsiusDifference,
    },
    /// A flash that went over the gel window.
    OverFlashed {
        /// The surface peak.
        peak: Celsius,
        /// Where the window ends.
        to: Celsius,
        /// How far the peak must fall to be proved inside.
        over_by: CelsiusDifference,
    },
    /// An edge of the gel window lies inside the uncertainty.
    GelWithinUncertainty {
        /// The surface peak.
        peak: Celsius,
        /// The edge of the window that is in doubt.
        edge: Celsius,
        /// Whether it is the lower edge.
        lower: bool,
        /// The expanded uncertainty.
        uncertainty: CelsiusDifference,
        /// How far the peak must move (up from the lower edge, down from the upper).
        move_by: CelsiusDifference,
    },
    /// The gel window is narrower than twice the uncertainty, so no peak can be proved inside.
    GelWindowTooNarrow {
        /// Where the window begins.
        from: Celsius,
        /// Where it ends.
        to: Celsius,
        /// The expanded uncertainty.
        uncertainty: CelsiusDifference,
    },
}

/// What a gap in a trace could hide.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hidden {
    /// The ink may have got the rest of what it needs.
    Cure,
    /// The fabric may have been harmed in this way.
    Harm(Harm),
}

/// The word for a print that was harmed in this way.
pub fn harmed(harm: Harm) -> &'static str {
    match harm {
        Harm::Scorch => "scorched",
        Harm::DyeMigration => "dye migrated",
        Harm::Shrinkage => "shrunk",
        Harm::Melt => "melted",
    }
}

/// The name of a harm as contracts and files write it.
pub fn harm_name(harm: Harm) -> &'static str {
    match harm {
        Harm::Scorch => "scorch",
        Harm::DyeMigration => "dye-migration",
        Harm::Shrinkage => "shrinkage",
        Harm::Melt => "melt",
    }
}

impl Reason {
    /// The reason in plain words: the figure, and what to do about it.
    pub fn sentence(&self, units: Units) -> String {
        match self {
            Reason::UnderCured {
                dose,
                time_above,
                threshold,
                needed,
                peak,
                remedy,
            } => {
                let need = needed.map_or_else(String::new, |needed| {
                    format!(" where {} are needed", seconds(needed))
                });
                format!(
                    "under-cured: {} above {}{need}, at most {} of the cure (peak {}); \
                     slow the belt or raise the chamber{}",
                    seconds(*time_above),
                    units.temperature(*threshold),
                    dose_number(dose.high),
                    units.temperature(*peak),
                    remedy.for_cure(units),
                )
            }
            Reason::Overheated {
                harm,
                dose,
                peak,
                remedy,
            } => format!(
                "{}: at least {} times what the fabric can take (peak {}); \
                 speed the belt up or lower the chamber{}",
                harmed(*harm),
                dose_number(dose.low),
                units.temperature(*peak),
                remedy.for_harm(units),
            ),
            Reason::Conflict => {
                "too little for the ink and too much for the fabric at once: no belt \
                speed mends both; take an ink that cures cooler, or a fabric that stands more"
                    .to_owned()
            }
            Reason::CureWithinUncertainty {
                dose,
                uncertainty,
                remedy,
            } => format!(
                "cure not proved: the dose lies between {} and {} within U = {}, and 1 is needed; \
                 slow the belt or raise the chamber{}",
                dose_number(dose.low),
                dose_number(dose.high),
                units.difference(*uncertainty),
                remedy.for_cure(units),
            ),
            Reason::HarmWithinUncertainty {
                harm,
                dose,
                uncertainty,
                remedy,
            } => format!(
                "{} not ruled out: its dose lies between {} and {} within U = {}, and the limit is 1; \
                 speed the belt up or lower the chamber{}",
                harm_name(*harm),
                dose_number(dose.low),
                dose_number(dose.high),
                units.difference(*uncertainty),
                remedy.for_harm(units),
            ),
            Reason::HangsOnGap {
                from,
                lasting,
                gaps,
                hides,
            } => {
                let which = if *gaps == 1 {
                    "the gap".to_owned()
                } else {
                    format!("the longest of {gaps} gaps,")
                };
                let what = match hides {
                    Hidden::Cure => "could hide the cure that is missing".to_owned(),
                    Hidden::Harm(harm) => {
                        format!("could hide that the fabric was {}", harmed(*harm))
                    }
                };
                format!(
                    "{which} of {} from {} on {what}; check the probe's lead and connector, and ride again",
                    seconds(*lasting),
                    seconds(*from),
                )
            }
            Reason::BeginsTooLate { at, gap: Some(gap) } => format!(
                "the trace of this pass begins too late, at {}: a gap of {} hides its beginning; \
                 check the probe's lead and connector, and ride again",
                units.temperature(*at),
                seconds(*gap),
            ),
            Reason::EndsTooSoon { at, gap: Some(gap) } => format!(
                "the trace of this pass ends too soon, at {}: a gap of {} hides its end; check the \
                 probe's lead and connector, and ride again",
                units.temperature(*at),
                seconds(*gap),
            ),
            Reason::BeginsTooLate { at, gap: None } => format!(
                "the trace begins too late, inside the pass at {}; start recording before the print \
                 enters the heat",
                units.temperature(*at),
            ),
            Reason::EndsTooSoon { at, gap: None } => format!(
                "the trace ends too soon, inside the pass at {}; record until the print has cooled",
                units.temperature(*at),
            ),
            Reason::ObjectCut => {
                "the exit trace begins or ends while this print passes the probe; record \
                from before the first print until after the last"
                    .to_owned()
            }
            Reason::NoBeltSignal => {
                "the station declares a belt signal and the trace has none, so nobody \
                knows how long this print was in the heat; record the signal, as belt_m_per_min"
                    .to_owned()
            }
            Reason::BeltNotSeen { unseen } => format!(
                "the belt's signal is missing over {} of this print's way through the heat, so nobody knows \
                 how long it was there; record the belt from before the first print on",
                seconds(*unseen)
            ),
            Reason::ExitUnexplained { shown } => format!(
                "no change of the chamber explains that it left at {}: another garment, a wet one, or a \
                 probe that looks elsewhere; ride one print to know",
                units.temperature(*shown)
            ),
            Reason::RideTooOld { age, every } => format!(
                "the last good ride of this recipe is {} old, and the recipe wants one every {}, so that nothing \
                 is inferred any more; send a probe along with the next print",
                lasting(*age),
                lasting(*every)
            ),
            Reason::PrintNotSeen => {
                "the exit probe has no good sample of the print itself; check its lead \
                and its aim, or ride one print to know"
                    .to_owned()
            }
            Reason::UnderFlashed {
                peak,
                from,
                short_by,
            } => format!(
                "under-flashed: peak {} where the gel window begins at {}; {} hotter is proved \
                 inside: flash longer or bring the lamp nearer",
                units.temperature(*peak),
                units.temperature(*from),
                units.difference(*short_by),
            ),
            Reason::OverFlashed { peak, to, over_by } => format!(
                "over-flashed: peak {} where the gel window ends at {}; {} cooler is proved inside: \
                 flash shorter or raise the lamp, and see whether the platens run hot",
                units.temperature(*peak),
                units.temperature(*to),
                units.difference(*over_by),
            ),
            Reason::GelWithinUncertainty {
                peak,
                edge,
                lower,
                uncertainty,
                move_by,
            } => format!(
                "gel not proved: peak {} lies within U = {} of the window's {} edge at {}; {} {} \
                 would prove it",
                units.temperature(*peak),
                units.difference(*uncertainty),
                if *lower { "lower" } else { "upper" },
                units.temperature(*edge),
                units.difference(*move_by),
                if *lower { "hotter" } else { "cooler" },
            ),
            Reason::GelWindowTooNarrow {
                from,
                to,
                uncertainty,
            } => format!(
                "the gel window from {} to {} is narrower than twice U = {}, so no peak is proved \
                 inside; use a probe with a smaller uncertainty",
                units.temperature(*from),
                units.temperature(*to),
                units.difference(*uncertainty),
            ),
        }
    }
}

impl Remedy {
    fn for_cure(&self, units: Units) -> String {
        match (self.shift, self.stretch) {
            (Some(shift), Some(stretch)) => format!(
                ": about {} hotter, or {stretch:.2} times as long in the heat, would prove it",
                units.difference(shift)
            ),
            (Some(shift), None) => {
                format!(": about {} hotter would prove it", units.difference(shift))
            }
            (None, Some(stretch)) => {
                format!(": about {stretch:.2} times as long in the heat would prove it")
            }
            (None, None) => String::new(),
        }
    }

    fn for_harm(&self, units: Units) -> String {
        match (self.shift, self.stretch) {
            (Some(shift), Some(stretch)) => format!(
                ": about {} cooler, or {stretch:.2} of the time in the heat, would clear it",
                units.difference(shift)
            ),
            (Some(shift), None) => {
                format!(": about {} cooler would clear it", units.difference(shift))
            }
            (None, Some(stretch)) => {
                format!(": about {stretch:.2} of the time in the heat would clear it")
            }
            (None, None) => String::new(),
        }
    }
}

/// Seconds as people read them: a tenth below ten, whole ones above.
pub(crate) fn seconds(time: Seconds) -> String {
    if time.0 < 9.95 {
        format!("{:.1} s", time.0)
    } else {
        format!("{:.0} s", time.0)
    }
}

/// A long time as people read it: hours and minutes.
fn lasting(time: Seconds) -> String {
    let minutes = (time.0 / 60.0).round();
    match (minutes / 60.0).floor() {
        0.0 => format!("{minutes} min"),
        hours if minutes == 60.0 * hours => format!("{hours} h"),
        hours => format!("{hours} h {} min", minutes - 60.0 * hours),
    }
}

/// A dose as people read it: two decimals, fewer where it is large.
fn dose_number(dose: f64) -> String {
    if dose < 10.0 {
        format!("{dose:.2}")
    } else if dose < 1000.0 {
        format!("{dose:.0}")
    } else {
        "over 1000".to_owned()
    }
}
