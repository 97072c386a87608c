//! The answer in one sentence.

use std::collections::BTreeMap;

use super::super::words::{is_good, prints, verdict_words};
use super::super::{Answer, Batch, VerdictCount};

/// Counts of several batches, added up.
pub(super) fn counts<'a>(counts: impl Iterator<Item = &'a VerdictCount>) -> Vec<VerdictCount> {
    let mut sums: BTreeMap<(String, Option<String>), u64> = BTreeMap::new();
    for count in counts {
        *sums
            .entry((count.verdict.clone(), count.harm.clone()))
            .or_default() += count.prints;
    }
    let sums = sums.into_iter();
    sums.map(|((verdict, harm), prints)| VerdictCount {
        verdict,
        harm,
        prints,
    })
    .collect()
}

/// The answer.
pub(super) fn answer(batches: &[Batch], without: u64) -> Answer {
    let all: u64 = batches.iter().map(|batch| batch.proof.prints).sum();
    if all + without == 0 {
        return Answer {
            sentence: "Nothing was printed.".to_owned(),
            all_good: true,
        };
    }
    let counts = counts(batches.iter().flat_map(|batch| batch.counts.iter()));
    let good: u64 = counts
        .iter()
        .filter(|count| is_good(&count.verdict))
        .map(|count| count.prints)
        .sum();
    let holds = || batches.iter().flat_map(|batch| &batch.holds);
    let open = holds().filter(|hold| hold.settled.is_none()).count();
    let held: usize = holds()
        .filter(|hold| hold.settled.is_none())
        .map(|hold| hold.passes.len())
        .sum();
    let (all, bad) = (all + without, all - good);
    let mut sentence = if bad + without == 0 {
        match all {
            1 => "The one print is proved good.".to_owned(),
            all => format!("All {all} prints are proved good."),
        }
    } else {
        let others = counts.iter().filter(|count| !is_good(&count.verdict));
        let mut others: Vec<String> = others
            .map(|count| {
                let word = verdict_words(&count.verdict, count.harm.as_deref());
                format!("{} {word}", count.prints)
            })
            .collect();
        if without > 0 {
            others.push(format!("{without} without a batch"));
        }
        format!(
            "{good} of {} proved good; {}.",
            prints(all),
            others.join(", ")
        )
    };
    if open > 0 {
        let (holds, word) = match open {
            1 => ("1 hold is".to_owned(), prints(held as u64)),
            open => (format!("{open} holds are"), prints(held as u64)),
        };
        sentence.pop();
        sentence += &format!(", and {holds} not settled ({word} to pull).");
    } else if bad > 0 {
        sentence.pop();
        sentence += ", and every hold is settled.";
    }
    Answer {
        sentence,
        all_good: bad + without == 0 || (open == 0 && without == 0),
    }
}
