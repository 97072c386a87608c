//! Holds, and what can still be done about their prints.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::moment::{Clock, Moment};
use crate::journal::{KeptBatch, KeptHold, KeptPass};
use crate::record::Settled;

/// How a hold is settled.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Settlement {
    /// What was done with its prints.
    pub outcome: Settled,
    /// By whom.
    pub by: String,
    /// Why.
    pub why: String,
}

/// How a hold was settled.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SettledView {
    /// When.
    pub at: Moment,
    /// What was done with its prints.
    pub outcome: Settled,
    /// By whom.
    pub by: String,
    /// Why.
    pub why: String,
}

/// A print to be pulled.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HeldPrint {
    /// Its pass.
    pub pass: u64,
    /// Its number in the batch.
    pub print: Option<u64>,
    /// When it left the heat: what the clock on the wall showed tells which print it is.
    pub out: Moment,
    /// Why it is no better.
    pub reasons: Vec<String>,
}

/// Prints to be pulled.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HoldView {
    /// Its number.
    pub hold: u64,
    /// The batch; null where none was open.
    pub batch: Option<u64>,
    /// The job's name.
    pub job: Option<String>,
    /// The station's id.
    pub station: String,
    /// The verdict that its prints share.
    pub verdict: String,
    /// The harm, where they are `overheated`.
    pub harm: Option<String>,
    /// How they were seen: `measured`, `inferred` or `none`.
    pub evidence: String,
    /// When it was opened.
    pub opened: Moment,
    /// Its prints, in the order in which they joined.
    pub prints: Vec<HeldPrint>,
    /// What can still be done, in a sentence.
    pub remedy: String,
    /// Whether they may be sent through the heat once more.
    pub may_re_run: bool,
    /// What their blanks cost, in the shop's money, where the batch says what one costs.
    pub cost: Option<f64>,
    /// How it was settled; null while it is open.
    pub settled: Option<SettledView>,
}

/// Holds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Holds {
    /// By their numbers.
    pub holds: Vec<HoldView>,
    /// What to keep in mind.
    pub caution: String,
}

/// What can still be done about a print.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Remedy {
    /// In a sentence.
    pub sentence: &'static str,
    /// Whether it may be sent through the heat once more.
    pub may_re_run: bool,
}

impl Remedy {
    /// That of a verdict.
    pub fn of(verdict: &str, evidence: &str) -> Remedy {
        let (sentence, may_re_run) = match (verdict, evidence) {
            ("under-cured", _) => (
                "They can go through the heat once more, in the settings of a ride that cured.",
                true,
            ),
            ("under-flashed", _) => (
                "While they are on the platen they can be flashed once more, before the next colour.",
                true,
            ),
            ("overheated", _) => (
                "They cannot go through again: heat has done its harm. Look at each, and scrap what shows it.",
                false,
            ),
            ("over-flashed", _) => (
                "They cannot be flashed back: the next colour may not hold. Test it on one before going on.",
                false,
            ),
            (_, "none") => (
                "Nobody saw them: wash-test some, or send them through once more with a probe riding along.",
                true,
            ),
            _ => (
                "Nothing is proved of them: wash-test some, or send them through once more with a probe riding \
                 along.",
                true,
            ),
        };
        Remedy {
            sentence,
            may_re_run,
        }
    }
}

impl HoldView {
    /// What the journal keeps, told. `passes` are those of the hold; `batch` is its batch.
    pub fn new(
        kept: &KeptHold,
        passes: Vec<KeptPass>,
        batch: Option<&KeptBatch>,
        clock: &Clock,
    ) -> HoldView {
        let hold = kept.hold.clone();
        let remedy = Remedy::of(&hold.verdict, &hold.evidence);
        let cost = batch.and_then(|batch| batch.batch.blank_cost);
        HoldView {
            hold: hold.hold,
            batch: hold.batch,
            job: batch.map(|batch| batch.batch.job.clone()),
            station: hold.station,
            verdict: hold.verdict,
            harm: hold.harm,
            evidence: hold.evidence,
            opened: clock.moment(kept.opened),
            cost: cost.map(|cost| cost * passes.len() as f64),
            prints: passes
                .into_iter()
                .map(|kept| HeldPrint {
                    pass: kept.pass.pass,
                    print: kept.pass.print.filter(|print| *print > 0),
                    out: clock.moment(kept.pass.end),
                    reasons: kept.pass.judged.map_or_else(Vec::new, |own| own.reasons),
                })
                .collect(),
            remedy: remedy.sentence.to_owned(),
            may_re_run: remedy.may_re_run,
            settled: kept.settled.as_ref().map(|(at, settled)| SettledView {
                at: clock.moment(*at),
                outcome: settled.outcome,
                by: settled.by.clone(),
                why: settled.why.clone(),
            }),
        }
    }
}
