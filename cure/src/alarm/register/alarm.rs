//! One alarm as it stands.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::alarm::cause::Cause;
use crate::alarm::event::{AlarmEvent, Change};
use crate::alarm::kind::{AlarmId, Kind};
use crate::alarm::life::{Life, State};
use crate::live::Micros;

/// An alarm that comes this often [close together](super::flood::CLOSE_TOGETHER) chatters: once it holds, it stays
/// until its condition has been gone for that long. (EEMUA 191 and ISA-18.2 call three in a minute chattering, from
/// memory; a slow one disturbs as well.)
const CHATTERS_FROM: usize = 3;

/// What an alarm belongs to.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Origin {
    /// Its station.
    pub station: Option<String>,
    /// The group within which the first counts: a station's heat, a source's wire.
    pub group: Option<String>,
}

/// Waiting for a delay to be over.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(super) struct Pending {
    pub(super) on: bool,
    pub(super) since: Micros,
    pub(super) delay: f64,
}

/// One alarm as it stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Alarm {
    /// Which.
    pub id: AlarmId,
    /// Where it belongs.
    pub origin: Origin,
    /// Its life.
    pub life: Life,
    /// When it came into its state.
    pub since: Micros,
    /// When it was raised last.
    pub raised: Option<Micros>,
    /// How many times its condition has come since it was last normal.
    pub count: u64,
    /// Why it holds or held.
    pub cause: Option<Cause>,
    /// The alarm of its group that was first.
    pub follows: Option<AlarmId>,
    /// Who put it into its state, and why, where a person did.
    pub said: Option<(String, String)>,
    pub(super) pending: Option<Pending>,
    /// When it was raised, as far as that is close to now.
    pub(super) recent: VecDeque<Micros>,
}

impl Alarm {
    /// One that has not come yet.
    pub(super) fn fresh(id: AlarmId, origin: Origin, at: Micros, suppressed: bool) -> Alarm {
        let sheet = id.kind.sheet();
        let mut life = Life::new(sheet.latches);
        if sheet.rests_with_station {
            life.suppress(suppressed);
        }
        Alarm {
            id,
            origin,
            life,
            since: at,
            raised: None,
            count: 0,
            cause: None,
            follows: None,
            said: None,
            pending: None,
            recent: VecDeque::new(),
        }
    }

    /// What people see.
    pub fn state(&self) -> State {
        self.life.state()
    }

    /// Whether it comes and goes more often than anybody can heed.
    pub(super) fn chatters(&self) -> bool {
        self.recent.len() >= CHATTERS_FROM
    }

    /// Whether it merely follows one of its own wire, which has been told of: the source that is down, the
    /// probe that is open.
    pub(super) fn hangs_on_a_wire(&self) -> bool {
        let wire = |kind: Kind| {
            matches!(
                kind,
                Kind::SourceDown
                    | Kind::ProbeOpen
                    | Kind::ProbeSilent
                    | Kind::ProbeOutOfRange
                    | Kind::ProbeNoisy
                    | Kind::ProbeStuck
            )
        };
        let own = self.id.kind;
        let follows = |first: &AlarmId| {
            let same_silence = own == Kind::ProbeSilent && first.kind == own;
            first.kind == Kind::SourceDown
                || same_silence
                || (wire(first.kind) && first.of == self.id.of)
        };
        wire(own) && self.follows.as_ref().is_some_and(follows)
    }

    /// What is told of it when it has changed.
    pub(super) fn event(
        &self,
        at: Micros,
        change: Change,
        from: State,
        announce: bool,
    ) -> AlarmEvent {
        AlarmEvent {
            id: self.id.clone(),
            station: self.origin.station.clone(),
            at,
            change,
            from,
            state: self.state(),
            priority: self.id.kind.sheet().priority,
            count: self.count,
            cause: self.cause.clone(),
            follows: self.follows.clone(),
            announce,
            drill: self.id.kind == Kind::Drill,
        }
    }
}
