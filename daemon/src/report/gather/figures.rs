//! What the prints of a batch got.

use inkdwell_cure::statistics::capability::{self, Limits, Refused};
use inkdwell_cure::statistics::individuals::IndividualsChart;
use inkdwell_cure::statistics::rules::look;
use inkdwell_cure::statistics::summary::Summary;
use inkdwell_cure::statistics::trend;

use super::super::{Capability, Chart, Figures, HarmFigures, Known, Pattern, Spread, Trend};
use crate::journal::KeptPass;
use crate::record::{Dose, Judged};

/// A trend that chance explains more often than this is none.
const NO_CHANCE: f64 = 0.01;

/// A print that was seen whole.
type Seen<'a> = (&'a KeptPass, &'a Judged);

/// The figures of measured prints, and of inferred ones; never mixed, since their doubts differ.
pub(super) fn figures(passes: &[KeptPass]) -> Vec<Figures> {
    ["measured", "inferred"]
        .into_iter()
        .filter_map(|evidence| of(passes, evidence))
        .collect()
}

fn of(passes: &[KeptPass], evidence: &str) -> Option<Figures> {
    let seen: Vec<Seen<'_>> = passes
        .iter()
        .filter_map(|kept| Some((kept, kept.pass.judged.as_ref()?)))
        .filter(|(_, judged)| judged.evidence == evidence)
        .collect();
    let spread = |figure: &dyn Fn(&Judged) -> Option<f64>| spread(&seen, figure);
    let cure = |end: fn(&Dose) -> f64| move |judged: &Judged| judged.cure.as_ref().map(end);
    // What is seen only in part has a peak that says nothing of the process.
    let whole: Vec<Seen<'_>> = seen
        .iter()
        .filter(|(_, judged)| !judged.cut)
        .copied()
        .collect();
    let peaks: Vec<f64> = whole.iter().map(|(_, judged)| judged.peak_c).collect();
    Some(Figures {
        evidence: evidence.to_owned(),
        prints: seen.len() as u64,
        peak_c: spread(&|judged| Some(judged.peak_c))?,
        time_above_s: spread(&|judged| Some(judged.time_above_s))?,
        cure_low: spread(&cure(|dose| dose.low)),
        cure_best: spread(&cure(|dose| dose.best)),
        harms: harms(&seen),
        chart: chart(&whole, &peaks),
        trend: climb(&whole, &peaks),
        capability: capable(&whole),
    })
}

fn spread(seen: &[Seen<'_>], figure: &dyn Fn(&Judged) -> Option<f64>) -> Option<Spread> {
    let (passes, figures): (Vec<u64>, Vec<f64>) = seen
        .iter()
        .filter_map(|(kept, judged)| Some((kept.pass.pass, figure(judged)?)))
        .unzip();
    let summary = Summary::of(&figures)?;
    Some(Spread {
        prints: summary.count as u64,
        least: summary.least,
        least_pass: passes[summary.least_at],
        lower_quartile: summary.lower_quartile,
        median: summary.median,
        upper_quartile: summary.upper_quartile,
        greatest: summary.greatest,
        greatest_pass: passes[summary.greatest_at],
        mean: summary.mean,
        deviation: summary.deviation,
    })
}

fn harms(seen: &[Seen<'_>]) -> Vec<HarmFigures> {
    let mut names: Vec<&str> = Vec::new();
    for (_, judged) in seen {
        for harm in &judged.harms {
            if !names.contains(&harm.harm.as_str()) {
                names.push(&harm.harm);
            }
        }
    }
    let figures = names.into_iter().filter_map(|name| {
        let dose = |judged: &Judged| {
            let own = judged.harms.iter().find(|harm| harm.harm == name);
            own.map(|harm| harm.dose)
        };
        Some(HarmFigures {
            harm: name.to_owned(),
            best: spread(seen, &|judged| dose(judged).map(|dose| dose.best))?,
            high: spread(seen, &|judged| dose(judged).map(|dose| dose.high))?,
        })
    });
    figures.collect()
}

fn chart(seen: &[Seen<'_>], peaks: &[f64]) -> Known<Chart> {
    let chart = match IndividualsChart::of(peaks) {
        Ok(chart) => chart,
        Err(error) => return Known::not(format!("{error}.")),
    };
    let found = look(peaks, &chart);
    let pass = |place: usize| seen[place].0.pass.pass;
    Known::Is(Chart {
        centre_c: chart.centre,
        mean_moving_range_c: chart.mean_moving_range,
        lower_c: chart.lower,
        upper_c: chart.upper,
        range_upper_c: chart.range_upper,
        stable: found.is_stable(),
        patterns: found
            .violations
            .iter()
            .map(|violation| Pattern {
                rule: violation.rule.name().to_owned(),
                first_pass: pass(violation.first),
                last_pass: pass(violation.last),
            })
            .collect(),
    })
}

fn climb(seen: &[Seen<'_>], peaks: &[f64]) -> Known<Trend> {
    let begun = seen.first().map_or(0, |(kept, _)| kept.pass.start.0);
    let hours: Vec<f64> = seen
        .iter()
        .map(|(kept, _)| (kept.pass.start.0 - begun) as f64 / 3.6e9)
        .collect();
    match trend::of(&hours, peaks) {
        None => Known::not("A trend wants eight prints or more."),
        Some(trend) if trend.by_chance > NO_CHANCE => Known::not(format!(
            "No trend: as much of one comes by chance in {:.0} of 100 runs.",
            100.0 * trend.by_chance
        )),
        Some(trend) => Known::Is(Trend {
            over_all_c: trend.over_all,
            c_per_hour: trend.slope,
            by_chance: trend.by_chance,
        }),
    }
}

/// Doses rise about exponentially with temperature, so that their logarithm is what may be normal.
fn capable(seen: &[Seen<'_>]) -> Known<Capability> {
    let doses: Option<Vec<f64>> = seen
        .iter()
        .map(|(_, judged)| judged.cure.map(|cure| cure.best.ln()))
        .collect();
    let Some(doses) = doses else {
        return Known::not(
            "Between colours an ink gels and is not cured: there is no dose to hold against a limit.",
        );
    };
    let limits = Limits {
        lower: Some(0.0),
        upper: None,
    };
    match capability::Capability::of(&doses, limits) {
        Ok(capability) => Known::Is(Capability {
            of: "the logarithm of the best cure dose, against that of 1".to_owned(),
            lower_limit: Some(0.0),
            upper_limit: None,
            cpk: Dose {
                low: capability.cpk.low,
                best: capability.cpk.best,
                high: capability.cpk.high,
            },
            prints: capability.count as u64,
        }),
        Err(Refused::NoNumber { .. }) => {
            Known::not("At least one print got no cure at all, and its dose has no logarithm.")
        }
        Err(refused) => Known::not(format!("{refused}.")),
    }
}
