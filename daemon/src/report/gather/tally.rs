//! What is counted over all prints of a report. Batches are gone over one after the other and forgotten, so that a year
//! takes no more memory than its largest batch.

use std::collections::{BTreeMap, BTreeSet};

use super::super::Totals;
use crate::journal::KeptPass;
use crate::time::Micros;

/// What a probe has seen.
#[derive(Debug, Default)]
pub(super) struct Saw {
    pub(super) prints: u64,
    pub(super) uncertainty: Option<f64>,
    pub(super) station: String,
    pub(super) last: Micros,
}

/// See the module.
#[derive(Debug, Default)]
pub(super) struct Tally {
    /// When the first print began.
    pub(super) first: Option<Micros>,
    /// When the last one ended.
    pub(super) last: Option<Micros>,
    /// Where prints were seen.
    pub(super) stations: BTreeSet<String>,
    /// By which probes.
    pub(super) probes: BTreeMap<String, Saw>,
    /// Troubles in passes.
    pub(super) totals: Totals,
}

impl Tally {
    /// Counts a print.
    pub(super) fn note(&mut self, kept: &KeptPass) {
        let pass = &kept.pass;
        let first = self.first.unwrap_or(pass.start);
        self.first = Some(first.min(pass.start));
        self.last = self.last.max(Some(pass.end));
        if !self.stations.contains(&pass.station) {
            self.stations.insert(pass.station.clone());
        }
        let judged = pass.judged.as_ref();
        if let Some(id) = &pass.probe {
            if !self.probes.contains_key(id) {
                self.probes.insert(id.clone(), Saw::default());
            }
            if let Some(own) = self.probes.get_mut(id) {
                own.prints += 1;
                own.station.clone_from(&pass.station);
                own.last = own.last.max(pass.end);
                if let Some(judged) = judged {
                    let doubt = own.uncertainty.unwrap_or(0.0);
                    own.uncertainty = Some(doubt.max(judged.uncertainty_c));
                }
            }
        }
        if let Some(judged) = judged {
            self.totals.faults += judged.faults;
            self.totals.gaps += judged.gaps;
            self.totals.cut += u64::from(judged.cut);
            self.totals.unseen += u64::from(judged.evidence == "none");
        }
    }
}
