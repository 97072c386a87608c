//! Passes as the journal keeps them.

use inkdwell_config::display::Units;
use inkdwell_config::fabric::Harm;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, Seconds};
use inkdwell_cure::judged::{Band, Evidence, HarmDose, JudgedPass, Verdict};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::time::Micros;

/// How a pass was seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Place {
    /// By a probe in its ink.
    Ride,
    /// By an exit probe.
    Exit,
    /// By a probe under a flash unit.
    Flash,
    /// By the print counter alone.
    Count,
}

/// One print's trip through the heat.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PassJudged {
    /// Its number in this journal, from 1.
    pub pass: u64,
    /// The station.
    pub station: String,
    /// The probe that saw it; absent where none did.
    pub probe: Option<String>,
    /// How it was seen.
    pub place: Place,
    /// When it began, or when it passed the eye that counted it.
    pub start: Micros,
    /// When it ended.
    pub end: Micros,
    /// The batch that was open when it began; absent where none was.
    pub batch: Option<u64>,
    /// Its number in that batch, from 1.
    pub print: Option<u64>,
    /// The belt's speed while it was in the heat.
    pub belt_m_per_min: Option<f64>,
    /// What is said of it; absent where no batch was open, since then nobody knows what it needed.
    pub judged: Option<Judged>,
}

/// A pass without a batch was given one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PassAssigned {
    /// Its number.
    pub pass: u64,
    /// Where it was seen.
    pub station: String,
    /// The batch.
    pub batch: u64,
    /// Its number in that batch.
    pub print: u64,
    /// Who said so.
    pub by: String,
    /// What is said of it by that batch's laws.
    pub judged: Judged,
}

/// The figures and the verdict of a pass, by the names of the contract `inkdwell.judge/1`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Judged {
    /// `measured`, `inferred` or `none`.
    pub evidence: String,
    /// Whether it was seen only in part.
    pub cut: bool,
    /// Good samples.
    pub samples: u64,
    /// Bad samples.
    pub faults: u64,
    /// Gaps.
    pub gaps: u64,
    /// Hottest good sample, in °C.
    pub peak_c: f64,
    /// Where time above counts from, in °C.
    pub threshold_c: f64,
    /// Seconds at or above it.
    pub time_above_s: f64,
    /// Steepest rise.
    pub max_rise_c_per_s: f64,
    /// Largest expanded uncertainty (k = 2).
    pub uncertainty_c: f64,
    /// The cure dose; absent under a flash unit between colours.
    pub cure: Option<Dose>,
    /// The harms.
    pub harms: Vec<HarmSeen>,
    /// The verdict's word.
    pub verdict: String,
    /// The worst harm's word, where it is `overheated`.
    pub harm: Option<String>,
    /// Why it is no better.
    pub reasons: Vec<String>,
    /// What else is worth knowing.
    pub remarks: Vec<String>,
}

/// A dose at T - U, T and T + U.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Dose {
    /// At T - U.
    pub low: f64,
    /// At T.
    pub best: f64,
    /// At T + U.
    pub high: f64,
}

/// The dose of a harm.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HarmSeen {
    /// Its word.
    pub harm: String,
    /// Its dose.
    #[serde(flatten)]
    pub dose: Dose,
}

impl From<Band> for Dose {
    fn from(band: Band) -> Dose {
        Dose {
            low: band.low,
            best: band.best,
            high: band.high,
        }
    }
}

impl From<Dose> for Band {
    fn from(dose: Dose) -> Band {
        Band {
            low: dose.low,
            best: dose.best,
            high: dose.high,
        }
    }
}

impl From<&HarmDose> for HarmSeen {
    fn from(harm: &HarmDose) -> HarmSeen {
        HarmSeen {
            harm: harm.harm.name().to_owned(),
            dose: harm.dose.into(),
        }
    }
}

/// A figure, or zero where nobody knows it: a record holds no figure that is no number.
fn known(figure: f64) -> f64 {
    if figure.is_finite() { figure } else { 0.0 }
}

impl Judged {
    /// What the engine said, its sentences in the units of the shop.
    pub fn new(pass: &JudgedPass, units: Units) -> Judged {
        Judged {
            evidence: pass.evidence.name().to_owned(),
            cut: pass.cut,
            samples: pass.samples,
            faults: pass.faults,
            gaps: pass.gaps,
            peak_c: known(pass.peak.0),
            threshold_c: pass.threshold.0,
            time_above_s: known(pass.time_above.0),
            max_rise_c_per_s: known(pass.max_rise),
            uncertainty_c: known(pass.uncertainty.0),
            cure: pass.cure.map(Dose::from),
            harms: pass.harms.iter().map(HarmSeen::from).collect(),
            verdict: pass.verdict.name().to_owned(),
            harm: pass.harm.map(|harm| harm.name().to_owned()),
            reasons: pass
                .reasons
                .iter()
                .map(|reason| reason.sentence(units))
                .collect(),
            remarks: pass
                .remarks
                .iter()
                .map(|remark| remark.sentence(units))
                .collect(),
        }
    }

    /// The figures as the engine has them; reasons and remarks are sentences here, and stay behind. A word of
    /// another version is taken for `unproven`, for no evidence, for no harm.
    pub fn figures(&self) -> JudgedPass {
        let harm = |word: &str| {
            let all = [
                Harm::Scorch,
                Harm::DyeMigration,
                Harm::Shrinkage,
                Harm::Melt,
            ];
            all.into_iter().find(|harm| harm.name() == word)
        };
        let verdicts = [
            Verdict::Cured,
            Verdict::UnderCured,
            Verdict::Overheated,
            Verdict::Gelled,
            Verdict::UnderFlashed,
            Verdict::OverFlashed,
        ];
        let mut verdicts = verdicts.into_iter();
        let mut evidence = [Evidence::Measured, Evidence::Inferred].into_iter();
        let harms = self.harms.iter().filter_map(|seen| {
            let harm = harm(&seen.harm)?;
            let dose = Band::from(seen.dose);
            Some(HarmDose { harm, dose })
        });
        JudgedPass {
            index: 1,
            evidence: evidence
                .find(|own| own.name() == self.evidence)
                .unwrap_or(Evidence::None),
            start: Seconds(0.0),
            end: Seconds(0.0),
            cut: self.cut,
            samples: self.samples,
            faults: self.faults,
            gaps: self.gaps,
            peak: Celsius(self.peak_c),
            threshold: Celsius(self.threshold_c),
            time_above: Seconds(self.time_above_s),
            max_rise: self.max_rise_c_per_s,
            uncertainty: CelsiusDifference(self.uncertainty_c),
            cure: self.cure.map(Band::from),
            harms: harms.collect(),
            verdict: verdicts
                .find(|own| own.name() == self.verdict)
                .unwrap_or(Verdict::Unproven),
            harm: self.harm.as_deref().and_then(harm),
            reasons: Vec::new(),
            remarks: Vec::new(),
        }
    }

    /// Whether nothing more has to be done about the print.
    pub fn is_good(&self) -> bool {
        matches!(self.verdict.as_str(), "cured" | "gelled")
    }
}
