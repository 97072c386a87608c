//! How the evidence of a batch stands.

use inkdwell_cure::statistics::proportion::{at_least, needed_without_fault};

use super::super::words::{is_good, per_cent, prints};
use super::super::{Known, Proof};
use crate::journal::KeptPass;

/// The confidence of the bound.
const CONFIDENCE: f64 = 0.95;

/// Counts the evidence.
pub(super) fn proof(passes: &[KeptPass]) -> Proof {
    let count = |evidence: &str, good_only: bool| {
        let judged = passes.iter().filter_map(|kept| kept.pass.judged.as_ref());
        judged
            .filter(|judged| judged.evidence == evidence)
            .filter(|judged| !good_only || is_good(&judged.verdict))
            .count() as u64
    };
    let (measured, inferred) = (count("measured", false), count("inferred", false));
    let (measured_good, inferred_good) = (count("measured", true), count("inferred", true));
    let all = passes.len() as u64;
    let (seen, good) = (measured + inferred, measured_good + inferred_good);
    let good_at_least = match at_least(good, seen, CONFIDENCE) {
        Some(share) => Known::Is(share),
        None => Known::not("No probe saw any of these prints, so that nothing is proved of them."),
    };
    let words = words(all, seen, good, &good_at_least);
    Proof {
        prints: all,
        measured,
        measured_good,
        inferred,
        inferred_good,
        unseen: all - seen,
        good_at_least,
        words,
    }
}

fn words(all: u64, seen: u64, good: u64, share: &Known<f64>) -> String {
    let Known::Is(share) = share else {
        return match all {
            0 => "There is no print.".to_owned(),
            all => format!(
                "{} and no evidence: send a probe along, or wash-test some.",
                prints(all)
            ),
        };
    };
    let unseen = all - seen;
    if unseen == 0 {
        return format!(
            "Every print was seen by a probe, and {good} of {seen} are proved good. As a sample of such runs that shows, at \
             95 % confidence, that at least {} of such prints come out good.",
            per_cent(*share)
        );
    }
    let mut words = format!(
        "{good} of the {} that a probe saw are proved good; {} went unseen. If those seen are a fair sample of all, then at 95 % \
         confidence at least {} of all are good.",
        prints(seen),
        prints(unseen),
        per_cent(*share)
    );
    if good == seen
        && *share < 0.95
        && let Some(needed) = needed_without_fault(0.95, CONFIDENCE)
    {
        words += &format!(" To show 95 %, {needed} have to be seen without a fault.");
    }
    words
}
