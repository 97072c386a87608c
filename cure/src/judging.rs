//! From a found pass to a judged one: doses, verdict, reasons and remarks.

use inkdwell_config::fabric::Harm;
use inkdwell_config::ink::GelWindow;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, Seconds};

use crate::judged::{Band, Evidence, HarmDose, JudgedPass, Verdict};
use crate::law::Rate;
use crate::pass::{Edge, FoundPass};
use crate::plan::{ChannelPlan, Watch, strikes_bare_cloth};
use crate::reason::{Hidden, Reason, Remedy};
use crate::remark::Remark;
use crate::tally::Tally;
use crate::track::Track;
use crate::verdict::{Bounds, Standing, decide, worst_harm};

/// Time alone is no remedy where it would have to change by more than this factor.
const LARGEST_STRETCH: f64 = 5.0;

/// One law held against one pass.
struct Held<'a> {
    bounds: Bounds,
    rate: &'a Rate,
    track: &'a Track,
    tally: &'a Tally,
    /// Expanded uncertainty at the peak, in °C.
    u: f64,
}

impl<'a> Held<'a> {
    fn new(track: &'a Track, tally: &'a Tally, number: usize, u: f64) -> Option<Held<'a>> {
        let rate = track.rate(number)?;
        let bounds = Bounds::new(tally.laws.get(number)?, rate, tally, u);
        Some(Held {
            bounds,
            rate,
            track,
            tally,
            u,
        })
    }

    /// What would bring the low dose to 1.
    fn remedy_for_cure(&self) -> Remedy {
        let factor = 1.0 / self.bounds.dose.low;
        Remedy {
            shift: self.track.histogram.hotter_for_one(self.rate, -self.u),
            stretch: (factor <= LARGEST_STRETCH).then(|| (factor * 100.0).ceil() / 100.0),
        }
    }

    /// What would bring the high dose below 1.
    fn remedy_for_harm(&self) -> Remedy {
        let factor = 1.0 / self.bounds.dose.high;
        Remedy {
            shift: self.track.histogram.cooler_for_less(self.rate, self.u),
            stretch: (factor >= 1.0 / LARGEST_STRETCH).then(|| (factor * 100.0).floor() / 100.0),
        }
    }

    fn hangs_on_gap(&self, hides: Hidden) -> Option<Reason> {
        let gap = self.tally.longest_gap?;
        Some(Reason::HangsOnGap {
            from: Seconds(gap.from),
            lasting: Seconds(gap.lasting),
            gaps: self.tally.gaps,
            hides,
        })
    }
}

/// The cloth beside the print, as far as a junction there saw this pass.
pub(crate) struct ClothSeen<'a> {
    pub(crate) track: &'a Track,
    pub(crate) tally: Tally,
    /// Expanded uncertainty at its peak, in °C.
    pub(crate) u: f64,
}

/// Everything that is known of one pass before it is judged.
pub(crate) struct Case<'a> {
    pub(crate) plan: &'a ChannelPlan,
    pub(crate) index: u64,
    pub(crate) pass: &'a FoundPass,
    pub(crate) track: &'a Track,
    pub(crate) cloth: Vec<ClothSeen<'a>>,
    /// Cloth channels that had no good sample.
    pub(crate) silent_cloth: Vec<String>,
}

/// In which order the laws of a ride or final flash stand in its track: cure, then the harms.
pub(crate) fn track_rates(plan: &ChannelPlan) -> Vec<Rate> {
    let cure = (plan.watch != Watch::FlashGel).then(|| plan.laws.cure.clone());
    cure.into_iter()
        .chain(plan.laws.harms.iter().map(|(_, rate)| rate.clone()))
        .collect()
}

/// The harms whose laws stand in the track of a cloth channel, in order.
pub(crate) fn cloth_rates(plan: &ChannelPlan) -> Vec<Rate> {
    let bare = plan
        .laws
        .harms
        .iter()
        .filter(|(harm, _)| strikes_bare_cloth(*harm));
    bare.map(|(_, rate)| rate.clone()).collect()
}

impl Case<'_> {
    fn u(&self) -> f64 {
        self.plan.doubt.uncertainty.at(self.pass.tally.peak)
    }

    /// The harms with their doses, each where it strikes.
    fn harms(&self) -> Vec<(Harm, Held<'_>)> {
        let on_film_from = usize::from(self.plan.watch != Watch::FlashGel);
        let mut on_cloth = 0;
        let mut held = Vec::new();
        for (number, (harm, _)) in self.plan.laws.harms.iter().enumerate() {
            let mut here = None;
            if strikes_bare_cloth(*harm) {
                here = self
                    .cloth
                    .iter()
                    .filter_map(|cloth| Held::new(cloth.track, &cloth.tally, on_cloth, cloth.u))
                    .reduce(|a, b| {
                        if a.bounds.dose.best >= b.bounds.dose.best {
                            a
                        } else {
                            b
                        }
                    });
                on_cloth += 1;
            }
            let on_film = || {
                Held::new(
                    self.track,
                    &self.pass.tally,
                    on_film_from + number,
                    self.u(),
                )
            };
            held.extend(here.or_else(on_film).map(|here| (*harm, here)));
        }
        held
    }

    /// Judges the pass.
    pub(crate) fn judge(&self) -> JudgedPass {
        let harms = self.harms();
        let bounds: Vec<(Harm, Bounds)> = harms
            .iter()
            .map(|(harm, held)| (*harm, held.bounds))
            .collect();
        let (mut judged, mut reasons) = (self.figures(&harms), Vec::new());
        let overheated = worst_harm(&bounds);
        if overheated.is_some() {
            judged.harm = overheated;
            judged.verdict = Verdict::Overheated;
            reasons.extend(
                harms
                    .iter()
                    .filter_map(|(harm, held)| overheat_reason(*harm, held)),
            );
        }
        let cure = match self.plan.watch {
            Watch::FlashGel => None,
            Watch::Ride | Watch::FlashFinal => Held::new(self.track, &self.pass.tally, 0, self.u()),
        };
        judged.cure = cure.as_ref().map(|cure| cure.bounds.dose);
        if self.pass.begins.is_cut() || self.pass.ends.is_cut() {
            if overheated.is_none() {
                judged.verdict = Verdict::Unproven;
            }
            reasons.extend(self.cut_reasons());
        } else if let Some(cure) = &cure {
            let (verdict, _) = decide(&cure.bounds, &bounds);
            judged.verdict = verdict;
            reasons.extend(self.cure_reasons(cure, verdict));
            reasons.extend(
                harms
                    .iter()
                    .flat_map(|(harm, held)| open_harm_reasons(*harm, held)),
            );
        } else if let Some(gel) = self.plan.laws.gel {
            self.judge_gel(gel, &bounds, &mut judged, &mut reasons);
            reasons.extend(
                harms
                    .iter()
                    .flat_map(|(harm, held)| open_harm_reasons(*harm, held)),
            );
        }
        if judged.verdict.is_good() {
            reasons.clear();
        }
        judged.reasons = reasons;
        judged.remarks = self.remarks(judged.verdict);
        judged
    }

    fn figures(&self, harms: &[(Harm, Held<'_>)]) -> JudgedPass {
        let FoundPass {
            start,
            end,
            begins,
            ends,
            tally,
        } = self.pass;
        JudgedPass {
            index: self.index,
            evidence: Evidence::Measured,
            start: Seconds(*start),
            end: Seconds(*end),
            cut: begins.is_cut() || ends.is_cut(),
            samples: tally.samples,
            faults: tally.faults,
            gaps: tally.gaps,
            peak: Celsius(tally.peak),
            threshold: self.threshold(),
            time_above: Seconds(tally.time_above),
            max_rise: tally.max_rise,
            uncertainty: CelsiusDifference(self.u()),
            cure: None,
            harms: harms
                .iter()
                .map(|(harm, held)| HarmDose {
                    harm: *harm,
                    dose: held.bounds.dose,
                })
                .collect(),
            verdict: Verdict::Unproven,
            harm: None,
            reasons: Vec::new(),
            remarks: Vec::new(),
        }
    }

    fn threshold(&self) -> Celsius {
        match (self.plan.watch, self.plan.laws.gel) {
            (Watch::FlashGel, Some(gel)) => gel.from,
            _ => self.plan.laws.threshold,
        }
    }

    fn cure_reasons(&self, cure: &Held<'_>, verdict: Verdict) -> Vec<Reason> {
        let dose = cure.bounds.dose;
        match cure.bounds.standing() {
            Standing::Reached => Vec::new(),
            Standing::Missed => {
                let under = self.under_cured(cure, dose);
                let conflict = (verdict == Verdict::Overheated).then_some(Reason::Conflict);
                [under].into_iter().chain(conflict).collect()
            }
            Standing::Open { .. } if verdict == Verdict::Overheated => Vec::new(),
            Standing::Open {
                within_uncertainty,
                hangs_on_gap,
            } => {
                let doubt = within_uncertainty.then(|| Reason::CureWithinUncertainty {
                    dose,
                    uncertainty: CelsiusDifference(cure.u),
                    remedy: cure.remedy_for_cure(),
                });
                let gap = hangs_on_gap
                    .then(|| cure.hangs_on_gap(Hidden::Cure))
                    .flatten();
                gap.into_iter().chain(doubt).collect()
            }
        }
    }

    fn under_cured(&self, cure: &Held<'_>, dose: Band) -> Reason {
        Reason::UnderCured {
            dose,
            time_above: Seconds(self.pass.tally.time_above),
            threshold: self.plan.laws.threshold,
            needed: cure.rate.time_needed(self.plan.laws.threshold),
            peak: Celsius(self.pass.tally.peak),
            remedy: cure.remedy_for_cure(),
        }
    }

    fn judge_gel(
        &self,
        gel: GelWindow,
        harms: &[(Harm, Bounds)],
        judged: &mut JudgedPass,
        reasons: &mut Vec<Reason>,
    ) {
        let (peak, u) = (self.pass.tally.peak, self.u());
        let (from, to) = (gel.from.0, gel.to.0);
        let verdict = if peak - u >= from && peak + u <= to {
            Verdict::Gelled
        } else if peak + u < from {
            Verdict::UnderFlashed
        } else if peak - u > to {
            Verdict::OverFlashed
        } else {
            Verdict::Unproven
        };
        reasons.extend(gel_reason(verdict, gel, peak, u));
        if judged.verdict != Verdict::Overheated {
            let unharmed = harms
                .iter()
                .all(|(_, harm)| harm.standing() == Standing::Missed);
            judged.verdict = if unharmed { verdict } else { Verdict::Unproven };
        }
    }

    fn cut_reasons(&self) -> Vec<Reason> {
        let parts = |edge: Edge| match edge {
            Edge::Seen => None,
            Edge::OutsideTrace(celsius) => Some((Celsius(celsius), None)),
            Edge::InGap(celsius, gap) => Some((Celsius(celsius), Some(Seconds(gap.lasting)))),
        };
        let begins = parts(self.pass.begins).map(|(at, gap)| Reason::BeginsTooLate { at, gap });
        let ends = parts(self.pass.ends).map(|(at, gap)| Reason::EndsTooSoon { at, gap });
        begins.into_iter().chain(ends).collect()
    }

    fn remarks(&self, verdict: Verdict) -> Vec<Remark> {
        let tally = &self.pass.tally;
        let mut remarks = Vec::new();
        if let Some(thermocouple) = self.plan.doubt.assumed {
            let uncertainty = CelsiusDifference(self.u());
            remarks.push(Remark::AssumedUncertainty {
                thermocouple,
                uncertainty,
            });
        }
        if tally.merged > 0 {
            remarks.push(Remark::EqualTimes {
                merged: tally.merged,
            });
        }
        remarks.extend(self.slow_logger());
        if tally.gaps > 0 && verdict != Verdict::Unproven {
            remarks.push(Remark::GapsWithoutWeight { gaps: tally.gaps });
        }
        if self.plan.laws.harms.is_empty() {
            remarks.push(Remark::NoHarmKnown);
        }
        for channel in &self.silent_cloth {
            remarks.push(Remark::ClothSilent {
                channel: channel.clone(),
            });
        }
        let bare = self
            .plan
            .laws
            .harms
            .iter()
            .filter(|(harm, _)| strikes_bare_cloth(*harm));
        let harms: Vec<Harm> = bare.map(|(harm, _)| *harm).collect();
        let ride = self.plan.watch == Watch::Ride;
        if ride && self.cloth.is_empty() && self.silent_cloth.is_empty() && !harms.is_empty() {
            remarks.push(Remark::ClothNotSeen { harms });
        }
        remarks
    }

    /// A trace whose usual interval is longer than the largest gap is nearly all gap.
    fn slow_logger(&self) -> Option<Remark> {
        let tally = &self.pass.tally;
        let intervals = tally.samples.saturating_sub(1);
        (intervals > 0 && tally.gaps * 2 > intervals).then(|| Remark::SlowLogger {
            interval: Seconds((self.pass.end - self.pass.start) / intervals as f64),
            max_gap: self.plan.max_gap,
        })
    }
}

fn overheat_reason(harm: Harm, held: &Held<'_>) -> Option<Reason> {
    (held.bounds.standing() == Standing::Reached).then(|| Reason::Overheated {
        harm,
        dose: held.bounds.dose,
        peak: Celsius(held.tally.peak),
        remedy: held.remedy_for_harm(),
    })
}

fn open_harm_reasons(harm: Harm, held: &Held<'_>) -> Vec<Reason> {
    let Standing::Open {
        within_uncertainty,
        hangs_on_gap,
    } = held.bounds.standing()
    else {
        return Vec::new();
    };
    let doubt = within_uncertainty.then(|| Reason::HarmWithinUncertainty {
        harm,
        dose: held.bounds.dose,
        uncertainty: CelsiusDifference(held.u),
        remedy: held.remedy_for_harm(),
    });
    let gap = hangs_on_gap
        .then(|| held.hangs_on_gap(Hidden::Harm(harm)))
        .flatten();
    gap.into_iter().chain(doubt).collect()
}

fn gel_reason(verdict: Verdict, gel: GelWindow, peak: f64, u: f64) -> Option<Reason> {
    let (from, to) = (gel.from.0, gel.to.0);
    let difference = |celsius: f64| CelsiusDifference((celsius * 10.0).ceil() / 10.0);
    let (short_by, over_by) = (difference(from + u - peak), difference(peak + u - to));
    let (at_peak, uncertainty) = (Celsius(peak), CelsiusDifference(u));
    match verdict {
        Verdict::UnderFlashed => Some(Reason::UnderFlashed {
            peak: at_peak,
            from: gel.from,
            short_by,
        }),
        Verdict::OverFlashed => Some(Reason::OverFlashed {
            peak: at_peak,
            to: gel.to,
            over_by,
        }),
        Verdict::Unproven if to - from < 2.0 * u => Some(Reason::GelWindowTooNarrow {
            from: gel.from,
            to: gel.to,
            uncertainty,
        }),
        Verdict::Unproven => {
            let lower = peak - u < from;
            Some(Reason::GelWithinUncertainty {
                peak: at_peak,
                edge: if lower { gel.from } else { gel.to },
                lower,
                uncertainty,
                move_by: if lower { short_by } else { over_by },
            })
        }
        _ => None,
    }
}
