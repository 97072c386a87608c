//! Sign-off tests beside the verdicts.

use std::collections::HashMap;

use inkdwell_config::display::Units;
use inkdwell_config::quantity::{Celsius, CelsiusDifference};

use super::super::words::short;
use super::super::{ReportError, SignOff, SignOffs};
use super::{Desk, Run};
use crate::api::view::Decided;
use crate::journal::{KeptPass, RecordQuery};
use crate::record::{Dose, Judged, Record, SignedOff};
use crate::time::Micros;

/// A test with its record's time.
pub(super) type Test = (Micros, SignedOff);

impl Desk<'_> {
    /// All tests that were recorded from a time on, by batch.
    pub(super) fn tests(
        &self,
        from: Option<Micros>,
    ) -> Result<HashMap<u64, Vec<Test>>, ReportError> {
        let mut tests: HashMap<u64, Vec<Test>> = HashMap::new();
        let Some(from) = from else { return Ok(tests) };
        let query = RecordQuery {
            from,
            kinds: vec!["signed-off"],
            ..RecordQuery::default()
        };
        for kept in self.reader.records(query) {
            let kept = kept?;
            if let Record::SignedOff(test) = kept.record
                && kept.number <= self.as_of
            {
                tests.entry(test.batch).or_default().push((kept.at, test));
            }
        }
        Ok(tests)
    }

    /// The tests of a batch, and where they disagree with what was said of its prints.
    pub(super) fn sign_offs(&self, run: &Run<'_>, tests: &[Test]) -> SignOffs {
        let mut offs = SignOffs {
            tests: Vec::new(),
            review: Vec::new(),
        };
        for (at, test) in tests {
            let pass = run
                .passes
                .iter()
                .find(|own| Some(own.pass.pass) == test.pass);
            let judged = pass.and_then(|own| own.pass.judged.as_ref());
            let ink = &run.kept.batch.ink;
            offs.review
                .extend(disagreement(test, ink, pass, &run.passes, self.units));
            offs.tests.push(SignOff {
                verdict: judged.map(|judged| judged.verdict.clone()),
                cure: judged.and_then(|judged| judged.cure),
                method: test.method.clone(),
                passed: test.passed,
                result: test.result.clone(),
                pass: test.pass,
                recorded: Decided {
                    at: self.clock.moment(*at),
                    by: test.by.clone(),
                },
            });
        }
        offs
    }
}

/// By how much a test contradicts the ink's law, if it does.
fn disagreement(
    test: &SignedOff,
    ink: &str,
    pass: Option<&KeptPass>,
    passes: &[KeptPass],
    units: Units,
) -> Option<String> {
    let Some(kept) = pass else {
        return of_the_batch(test, ink, passes, units);
    };
    let judged = kept.pass.judged.as_ref()?;
    let (cure, method) = (judged.cure?, &test.method);
    let which = kept
        .pass
        .print
        .map_or(format!("pass {}", kept.pass.pass), |print| {
            format!("print {print}")
        });
    match (test.passed, judged.verdict.as_str()) {
        (false, "cured") => Some(format!(
            "{method} was failed by {which}, which got {} times what the law of ink {ink} asks ({} to {}): if the test \
             was made well, the law asks too little by at least {:.0} %, and wants review against the ink maker's data \
             sheet.",
            short(cure.best),
            short(cure.low),
            short(cure.high),
            100.0 * (cure.low - 1.0)
        )),
        (true, "under-cured") if cure.high > 0.0 => Some(format!(
            "{method} was passed by {which}, which got only {:.2} times what the law of ink {ink} asks ({:.2} to {:.2}): \
             one test proves little, but if more agree, the law asks at least {:.0} % more than this ink needs, and wants \
             review.",
            cure.best,
            cure.low,
            cure.high,
            100.0 * (1.0 / cure.high - 1.0)
        )),
        (true, "under-cured") => Some(format!(
            "{method} was passed by {which}, which got nothing of what the law of ink {ink} asks: {}: one test proves \
             little, but if more agree, the law wants review.",
            too_cool(std::iter::once(judged), units)?
        )),
        _ => None,
    }
}

/// How far below the ink's threshold the hottest of some prints stayed, where no dose tells it.
fn too_cool<'a>(seen: impl Iterator<Item = &'a Judged>, units: Units) -> Option<String> {
    let reached = |judged: &Judged| judged.peak_c + judged.uncertainty_c;
    let hottest = seen.max_by(|one, other| reached(one).total_cmp(&reached(other)))?;
    let most = Celsius(reached(hottest));
    let below = CelsiusDifference((hottest.threshold_c - most.0).max(0.0));
    Some(format!(
        "its film reached {} at most, {} below the threshold, and the law may ask so much more than this ink needs",
        units.temperature(most),
        units.difference(below)
    ))
}

/// Nobody said which print it was: it is held against all.
fn of_the_batch(test: &SignedOff, ink: &str, passes: &[KeptPass], units: Units) -> Option<String> {
    let judged = || passes.iter().filter_map(|kept| kept.pass.judged.as_ref());
    let (doses, verdicts): (Vec<Dose>, Vec<&str>) = judged()
        .filter_map(|judged| Some((judged.cure?, judged.verdict.as_str())))
        .unzip();
    let least = doses.iter().map(|dose| dose.low).reduce(f64::min)?;
    let most = doses.iter().map(|dose| dose.high).reduce(f64::max)?;
    let all = |verdict: &str| verdicts.iter().all(|own| *own == verdict);
    let method = &test.method;
    match test.passed {
        false if all("cured") => Some(format!(
            "{method} was failed by a print of this batch, and all that were seen were called cured, the weakest with at \
             least {least:.2} times what the law of ink {ink} asks: the law asks too little by {:.0} % or more, and wants \
             review against the ink maker's data sheet.",
            100.0 * (least - 1.0)
        )),
        true if all("under-cured") && most > 0.0 => Some(format!(
            "{method} was passed by a print of this batch, and all that were seen were called under-cured, the best with \
             at most {most:.2} times what the law of ink {ink} asks: the law may ask {:.0} % more than this ink needs.",
            100.0 * (1.0 / most - 1.0)
        )),
        true if all("under-cured") => Some(format!(
            "{method} was passed by a print of this batch, and all that were seen got nothing of what the law of ink {ink} \
             asks. Of the hottest, {}: it wants review.",
            too_cool(judged(), units)?
        )),
        _ => None,
    }
}
