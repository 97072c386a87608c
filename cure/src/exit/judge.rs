//! From what was inferred of a print to its verdict, by the same rules as a ride's.

use inkdwell_config::fabric::Harm;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, Seconds};

use crate::exit::objects::Object;
use crate::heat::fit::{Estimate, Inferred, LimitName};
use crate::judged::{Evidence, JudgedPass, Verdict};
use crate::plan::PrintLaws;
use crate::reason::{Reason, Remedy};
use crate::remark::Remark;
use crate::verdict::{Bounds, Standing, decide, worst_harm};

/// An object as it is counted and timed in its trace.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Counted {
    /// Its number, from 1.
    pub index: u64,
    /// What passed.
    pub object: Object,
    /// Good samples in it.
    pub samples: u64,
    /// Bad samples in it.
    pub faults: u64,
    /// Stretches in it without a good sample that are longer than allowed.
    pub gaps: u64,
}

/// Judges a print that an exit probe saw.
pub fn judge(
    inferred: &Inferred,
    counted: &Counted,
    laws: &PrintLaws,
    remarks: Vec<Remark>,
) -> JudgedPass {
    let object = &counted.object;
    let cure = Bounds::without_gap(inferred.cure);
    let harms: Vec<(Harm, Bounds)> = inferred
        .harms
        .iter()
        .map(|harm| (harm.harm, Bounds::without_gap(harm.dose)))
        .collect();
    let (mut verdict, mut harm) = decide(&cure, &harms);
    if object.cut && verdict != Verdict::Overheated {
        verdict = Verdict::Unproven;
        harm = None;
    }
    let mut reasons: Vec<Reason> = harms
        .iter()
        .filter_map(|(harm, bounds)| harm_reason(*harm, bounds, inferred))
        .collect();
    reasons.extend(cure_reason(&cure, verdict, inferred, laws));
    if object.cut {
        reasons.push(Reason::ObjectCut);
    }
    if verdict == Verdict::Cured {
        reasons.clear();
    }
    JudgedPass {
        index: counted.index,
        evidence: Evidence::Inferred,
        start: Seconds(object.start),
        end: Seconds(object.end),
        cut: object.cut,
        samples: counted.samples,
        faults: counted.faults,
        gaps: counted.gaps,
        peak: inferred.peak,
        threshold: laws.threshold,
        time_above: Seconds(inferred.time_above.best),
        max_rise: inferred.max_rise,
        uncertainty: inferred.doubt,
        cure: Some(inferred.cure),
        harms: inferred.harms.clone(),
        verdict,
        harm: harm
            .or_else(|| worst_harm(&harms))
            .filter(|_| verdict == Verdict::Overheated),
        reasons,
        remarks,
    }
}

/// A print of which nothing can be inferred: its figures are no numbers.
pub fn no_evidence(
    counted: &Counted,
    laws: &PrintLaws,
    reason: Reason,
    remarks: Vec<Remark>,
) -> JudgedPass {
    let object = &counted.object;
    JudgedPass {
        index: counted.index,
        evidence: Evidence::None,
        start: Seconds(object.start),
        end: Seconds(object.end),
        cut: object.cut,
        samples: counted.samples,
        faults: counted.faults,
        gaps: counted.gaps,
        peak: Celsius(f64::NAN),
        threshold: laws.threshold,
        time_above: Seconds(f64::NAN),
        max_rise: f64::NAN,
        uncertainty: CelsiusDifference(f64::NAN),
        cure: None,
        harms: Vec::new(),
        verdict: Verdict::Unproven,
        harm: None,
        reasons: vec![reason],
        remarks,
    }
}

fn estimate(inferred: &Inferred, name: LimitName) -> Option<&Estimate> {
    inferred
        .margins
        .iter()
        .find(|estimate| estimate.limit == name)
}

/// By how much the whole history would have to move for a proved verdict.
fn remedy(inferred: &Inferred, name: LimitName) -> Remedy {
    let lacking = estimate(inferred, name).map(|estimate| -estimate.guarded().0);
    let shift = lacking.filter(|lacking| *lacking > 0.0 && *lacking < 200.0);
    Remedy {
        shift: shift.map(|lacking| CelsiusDifference((lacking * 10.0).ceil() / 10.0)),
        stretch: None,
    }
}

fn doubt(inferred: &Inferred, name: LimitName) -> CelsiusDifference {
    estimate(inferred, name).map_or(inferred.doubt, |estimate| estimate.doubt)
}

fn harm_reason(harm: Harm, bounds: &Bounds, inferred: &Inferred) -> Option<Reason> {
    let name = LimitName::Harm(harm);
    let (dose, remedy) = (bounds.dose, remedy(inferred, name));
    match bounds.standing() {
        Standing::Reached => Some(Reason::Overheated {
            harm,
            dose,
            peak: inferred.peak,
            remedy,
        }),
        Standing::Missed => None,
        Standing::Open { .. } => {
            let uncertainty = doubt(inferred, name);
            Some(Reason::HarmWithinUncertainty {
                harm,
                dose,
                uncertainty,
                remedy,
            })
        }
    }
}

fn cure_reason(
    cure: &Bounds,
    verdict: Verdict,
    inferred: &Inferred,
    laws: &PrintLaws,
) -> Vec<Reason> {
    let (dose, remedy) = (cure.dose, remedy(inferred, LimitName::Cure));
    match cure.standing() {
        Standing::Missed => {
            let under = Reason::UnderCured {
                dose,
                time_above: Seconds(inferred.time_above.best),
                threshold: laws.threshold,
                needed: laws.cure.time_needed(laws.threshold),
                peak: inferred.peak,
                remedy,
            };
            let conflict = (verdict == Verdict::Overheated).then_some(Reason::Conflict);
            [under].into_iter().chain(conflict).collect()
        }
        Standing::Open { .. } if verdict != Verdict::Overheated => {
            let uncertainty = doubt(inferred, LimitName::Cure);
            vec![Reason::CureWithinUncertainty {
                dose,
                uncertainty,
                remedy,
            }]
        }
        _ => Vec::new(),
    }
}
