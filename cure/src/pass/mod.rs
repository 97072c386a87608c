//! Finding passes in a trace and summing up what each received.

pub(crate) mod cloth;
pub(crate) mod flash;
pub(crate) mod ride;

use serde::{Deserialize, Serialize};

use crate::tally::{Gap, Tally};

/// How the trace lies to one end of a pass.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) enum Edge {
    /// The trace shows it.
    Seen,
    /// The trace begins or ends inside the pass, at this temperature.
    OutsideTrace(f64),
    /// It lies in a gap; the temperature is that of the pass's sample beside the gap.
    InGap(f64, Gap),
}

impl Edge {
    pub(crate) fn is_cut(self) -> bool {
        self != Edge::Seen
    }
}

/// A pass as found: where it lies and its sums, not judged yet.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(crate) struct FoundPass {
    pub(crate) start: f64,
    pub(crate) end: f64,
    pub(crate) begins: Edge,
    pub(crate) ends: Edge,
    pub(crate) tally: Tally,
}

/// What a finder says while it is fed.
pub(crate) enum Finding<'a> {
    /// A pass has begun at this time.
    Began(f64),
    /// What began was too short to be a pass.
    Dropped { start: f64, end: f64 },
    /// A pass is complete; the track still holds its time at temperature.
    Found(Box<FoundPass>, &'a crate::track::Track),
}
