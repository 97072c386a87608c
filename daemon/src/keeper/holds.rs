//! Holds: prints that somebody has to pull before they are packed.
//!
//! Prints of one batch that are held for the same reason are one hold, until somebody settles it.

use serde::{Deserialize, Serialize};

use crate::record::{HoldJoined, HoldOpened, Judged, PassJudged, Record};

/// A hold that nobody has settled.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Open {
    hold: u64,
    batch: Option<u64>,
    station: String,
    verdict: String,
    harm: Option<String>,
    evidence: String,
}

/// All holds that nobody has settled.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Holds {
    open: Vec<Open>,
    made: u64,
}

impl Holds {
    /// Puts a print on hold unless it is good; the records that say so.
    pub(super) fn note(&mut self, pass: &PassJudged) -> Vec<Record> {
        match &pass.judged {
            Some(judged) => self.add(&pass.station, pass.batch, pass.pass, judged),
            None => Vec::new(),
        }
    }

    /// The same for a pass that was given its batch later.
    pub(super) fn add(
        &mut self,
        station: &str,
        batch: Option<u64>,
        pass: u64,
        judged: &Judged,
    ) -> Vec<Record> {
        if judged.is_good() {
            return Vec::new();
        }
        let same = |open: &&Open| {
            open.batch == batch
                && open.station == station
                && open.verdict == judged.verdict
                && open.harm == judged.harm
                && open.evidence == judged.evidence
        };
        if let Some(open) = self.open.iter().find(same) {
            let hold = open.hold;
            return vec![Record::HoldJoined(HoldJoined { hold, pass })];
        }
        self.made += 1;
        let opened = HoldOpened {
            hold: self.made,
            batch,
            station: station.to_owned(),
            verdict: judged.verdict.clone(),
            evidence: judged.evidence.clone(),
            harm: judged.harm.clone(),
        };
        self.open.push(Open {
            hold: opened.hold,
            batch,
            station: opened.station.clone(),
            verdict: opened.verdict.clone(),
            harm: opened.harm.clone(),
            evidence: opened.evidence.clone(),
        });
        let joined = HoldJoined {
            hold: self.made,
            pass,
        };
        vec![Record::HoldOpened(opened), Record::HoldJoined(joined)]
    }

    /// Counts holds on from this.
    pub(super) fn count_from(&mut self, made: u64) {
        self.made = made;
    }

    /// Whether a hold is open.
    pub(super) fn is_open(&self, hold: u64) -> bool {
        self.open.iter().any(|open| open.hold == hold)
    }

    /// Somebody has settled it.
    pub(super) fn settle(&mut self, hold: u64) {
        self.open.retain(|open| open.hold != hold);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn judged(verdict: &str) -> Judged {
        Judged {
            evidence: "measured".to_owned(),
            cut: false,
            samples: 100,
            faults: 0,
            gaps: 0,
            peak_c: 150.0,
            threshold_c: 160.0,
            time_above_s: 0.0,
            max_rise_c_per_s: 4.0,
            uncertainty_c: 1.5,
            cure: None,
            harms: Vec::new(),
            verdict: verdict.to_owned(),
            harm: None,
            reasons: Vec::new(),
            remarks: Vec::new(),
        }
    }

    fn kinds(records: &[Record]) -> Vec<&'static str> {
        records.iter().map(Record::kind).collect()
    }

    #[test]
    fn prints_of_one_batch_and_reason_are_one_hold_until_it_is_settled() {
        let mut holds = Holds::default();
        let add = |holds: &mut Holds, batch, pass, verdict| {
            kinds(&holds.add("belt-1", batch, pass, &judged(verdict)))
        };
        assert!(add(&mut holds, Some(1), 1, "cured").is_empty());
        let fresh = ["hold-opened", "hold-joined"];
        assert_eq!(add(&mut holds, Some(1), 2, "under-cured"), fresh);
        assert_eq!(add(&mut holds, Some(1), 3, "under-cured"), ["hold-joined"]);
        assert_eq!(add(&mut holds, Some(1), 4, "unproven"), fresh);
        assert_eq!(add(&mut holds, Some(2), 5, "under-cured"), fresh);
        holds.settle(1);
        assert!(!holds.is_open(1) && holds.is_open(2));
        assert_eq!(add(&mut holds, Some(1), 6, "under-cured"), fresh);
    }
}
