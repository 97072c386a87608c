//! The contract `inkdwell.judge/1`.

use inkdwell_config::display::Units;
use inkdwell_cure::judged::{Band, HarmDose, JudgedPass, Verdict};
use inkdwell_cure::plan::Watch;
use inkdwell_cure::remark::Remark;
use serde::Serialize;

use super::call::Call;
use super::channels::Heading;
use super::spool::{Spool, Writer};
use crate::failure::Failure;

/// Writes passes as JSON, each on a line of its own.
pub(super) struct Json {
    units: Units,
    /// How many passes had each verdict, in the order in which they are written.
    counts: Vec<(Verdict, u64)>,
}

#[derive(Serialize)]
struct PassJson<'a> {
    file: &'a str,
    channel: &'a str,
    index: u64,
    evidence: &'static str,
    start_s: f64,
    end_s: f64,
    cut: bool,
    samples: u64,
    faults: u64,
    gaps: u64,
    /// With `--place exit`: what the probe showed of the print itself.
    #[serde(skip_serializing_if = "Option::is_none")]
    exit_c: Option<f64>,
    peak_c: f64,
    threshold_c: f64,
    time_above_s: f64,
    max_rise_c_per_s: f64,
    uncertainty_c: f64,
    cure: Option<BandJson>,
    harms: Vec<HarmJson>,
    verdict: &'static str,
    harm: Option<&'static str>,
    reasons: Vec<String>,
    remarks: Vec<String>,
}

#[derive(Serialize)]
struct BandJson {
    low: f64,
    best: f64,
    high: f64,
}

#[derive(Serialize)]
struct HarmJson {
    harm: &'static str,
    #[serde(flatten)]
    dose: BandJson,
}

impl From<Band> for BandJson {
    fn from(band: Band) -> BandJson {
        BandJson {
            low: band.low,
            best: band.best,
            high: band.high,
        }
    }
}

impl From<&HarmDose> for HarmJson {
    fn from(harm: &HarmDose) -> HarmJson {
        HarmJson {
            harm: harm.harm.name(),
            dose: harm.dose.into(),
        }
    }
}

impl<'a> PassJson<'a> {
    fn new(heading: &'a Heading, pass: &JudgedPass, units: Units) -> PassJson<'a> {
        PassJson {
            file: &heading.file,
            channel: &heading.channel,
            index: pass.index,
            evidence: pass.evidence.name(),
            start_s: pass.start.0,
            end_s: pass.end.0,
            cut: pass.cut,
            samples: pass.samples,
            faults: pass.faults,
            gaps: pass.gaps,
            exit_c: pass.remarks.iter().find_map(|remark| match remark {
                Remark::LeftAt { shown } => Some(shown.0),
                _ => None,
            }),
            peak_c: pass.peak.0,
            threshold_c: pass.threshold.0,
            time_above_s: pass.time_above.0,
            max_rise_c_per_s: pass.max_rise,
            uncertainty_c: pass.uncertainty.0,
            cure: pass.cure.map(BandJson::from),
            harms: pass.harms.iter().map(HarmJson::from).collect(),
            verdict: pass.verdict.name(),
            harm: pass.harm.map(inkdwell_config::fabric::Harm::name),
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
}

impl Json {
    pub(super) fn new(call: &Call) -> Json {
        use Verdict::{Cured, Gelled, OverFlashed, Overheated, UnderCured, UnderFlashed, Unproven};
        let verdicts = match call.watch {
            Watch::FlashGel => vec![Gelled, UnderFlashed, OverFlashed, Unproven, Overheated],
            Watch::Ride | Watch::FlashFinal => vec![Cured, UnderCured, Overheated, Unproven],
        };
        let counts = verdicts.into_iter().map(|verdict| (verdict, 0)).collect();
        Json {
            units: call.units,
            counts,
        }
    }
}

impl Writer for Json {
    fn begin(&mut self, spool: &mut Spool) -> Result<(), Failure> {
        spool.write("{\"schema\":\"inkdwell.judge/1\",\"passes\":[")
    }

    fn separator(&self) -> &'static str {
        ",\n"
    }

    fn heading(&mut self, _spool: &mut Spool, _heading: &Heading) -> Result<(), Failure> {
        Ok(())
    }

    fn pass(
        &mut self,
        spool: &mut Spool,
        heading: &Heading,
        pass: &JudgedPass,
    ) -> Result<(), Failure> {
        for (verdict, count) in &mut self.counts {
            *count += u64::from(*verdict == pass.verdict);
        }
        let json = serde_json::to_string(&PassJson::new(heading, pass, self.units));
        spool.write(
            &json.map_err(|error| Failure::new(format!("a pass cannot be written ({error})")))?,
        )
    }

    fn end(&mut self, spool: &mut Spool) -> Result<(), Failure> {
        let counts: Vec<String> = self
            .counts
            .iter()
            .map(|(verdict, count)| format!("\"{}\":{count}", verdict.name()))
            .collect();
        spool.write(&format!("],\n\"counts\":{{{}}}}}\n", counts.join(",")))
    }
}
