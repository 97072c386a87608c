//! The life of one alarm, by the states of ANSI/ISA-18.2 and IEC 62682.
//!
//! What the process does and what people have seen of it is the phase; whether the condition holds is part of
//! it, so that the two cannot contradict each other. Over it lie three silences: out of service, suppressed by
//! design, shelved. While one of them holds, nothing is announced, and the phase goes on below. Whatever
//! nobody has seen stays to be seen when the silence ends.

use serde::{Deserialize, Serialize};

use crate::live::Micros;

/// What people see of an alarm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// All is well.
    Normal,
    /// It holds, and nobody has acknowledged it.
    Unacknowledged,
    /// It holds, and somebody knows.
    Acknowledged,
    /// It holds no more, and nobody has acknowledged that it did.
    ReturnedUnacknowledged,
    /// It holds no more, but stays until somebody has looked; nobody has acknowledged it.
    LatchedUnacknowledged,
    /// It holds no more, but stays until somebody has looked and says so.
    LatchedAcknowledged,
    /// Somebody has put it aside for a limited time.
    Shelved,
    /// It means nothing now: its station is off.
    SuppressedByDesign,
    /// Somebody has taken it out of service.
    OutOfService,
}

impl State {
    /// All of them.
    pub const ALL: [State; 9] = [
        State::Normal,
        State::Unacknowledged,
        State::Acknowledged,
        State::ReturnedUnacknowledged,
        State::LatchedUnacknowledged,
        State::LatchedAcknowledged,
        State::Shelved,
        State::SuppressedByDesign,
        State::OutOfService,
    ];

    /// The word that contracts and screens use.
    pub fn name(self) -> &'static str {
        match self {
            State::Normal => "normal",
            State::Unacknowledged => "unacknowledged",
            State::Acknowledged => "acknowledged",
            State::ReturnedUnacknowledged => "returned-unacknowledged",
            State::LatchedUnacknowledged => "latched-unacknowledged",
            State::LatchedAcknowledged => "latched-acknowledged",
            State::Shelved => "shelved",
            State::SuppressedByDesign => "suppressed-by-design",
            State::OutOfService => "out-of-service",
        }
    }

    /// Whether somebody still has to acknowledge it.
    pub fn wants_acknowledging(self) -> bool {
        matches!(
            self,
            State::Unacknowledged | State::ReturnedUnacknowledged | State::LatchedUnacknowledged
        )
    }

    /// Whether one of the silences hides it.
    pub fn is_silenced(self) -> bool {
        matches!(
            self,
            State::Shelved | State::SuppressedByDesign | State::OutOfService
        )
    }
}

/// What the process does, and what people have seen of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
enum Phase {
    Normal,
    Unacknowledged,
    Acknowledged,
    Returned,
    LatchedUnacknowledged,
    LatchedAcknowledged,
}

/// Why something cannot be done to an alarm now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotNow {
    /// Nothing is to be acknowledged.
    #[error("there is nothing to acknowledge; inkdwell alarms list shows what there is")]
    NothingToAcknowledge,
    /// It is not latched.
    #[error("it is not latched, so there is nothing to reset")]
    NotLatched,
    /// It has to be acknowledged first.
    #[error("acknowledge it first, then reset it")]
    AcknowledgeFirst,
    /// It is not shelved.
    #[error("it is not shelved")]
    NotShelved,
    /// It is out of service.
    #[error("it is out of service; put it back first")]
    IsOutOfService,
    /// It is in service.
    #[error("it is in service")]
    IsInService,
}

/// The life of one alarm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Life {
    phase: Phase,
    latches: bool,
    shelved_until: Option<Micros>,
    by_design: bool,
    out_of_service: bool,
}

impl Life {
    /// An alarm that has never come. One that latches stays after its condition has gone, until it is reset.
    pub fn new(latches: bool) -> Life {
        Life {
            phase: Phase::Normal,
            latches,
            shelved_until: None,
            by_design: false,
            out_of_service: false,
        }
    }

    /// An alarm that is known only by the state that was recorded of it last. Whether its condition still holds
    /// nobody knows, so it counts as gone; what nobody had acknowledged still has to be, and what holds is soon
    /// raised anew.
    pub fn known_by(latches: bool, state: State, shelved_until: Option<Micros>) -> Life {
        let mut life = Life::new(latches);
        match state {
            State::Normal | State::SuppressedByDesign => {}
            State::Unacknowledged
            | State::ReturnedUnacknowledged
            | State::LatchedUnacknowledged => {
                life.phase = match latches {
                    true => Phase::LatchedUnacknowledged,
                    false => Phase::Returned,
                };
            }
            State::Acknowledged | State::LatchedAcknowledged => {
                if latches {
                    life.phase = Phase::LatchedAcknowledged;
                }
            }
            State::Shelved => life.shelved_until = shelved_until,
            State::OutOfService => life.out_of_service = true,
        }
        life
    }

    /// What people see.
    pub fn state(&self) -> State {
        if self.out_of_service {
            return State::OutOfService;
        }
        if self.by_design {
            return State::SuppressedByDesign;
        }
        if self.shelved_until.is_some() {
            return State::Shelved;
        }
        match self.phase {
            Phase::Normal => State::Normal,
            Phase::Unacknowledged => State::Unacknowledged,
            Phase::Acknowledged => State::Acknowledged,
            Phase::Returned => State::ReturnedUnacknowledged,
            Phase::LatchedUnacknowledged => State::LatchedUnacknowledged,
            Phase::LatchedAcknowledged => State::LatchedAcknowledged,
        }
    }

    /// Whether its condition holds, delays included, whatever people see of it.
    pub fn holds(&self) -> bool {
        matches!(self.phase, Phase::Unacknowledged | Phase::Acknowledged)
    }

    /// Until when it is shelved.
    pub fn shelved_until(&self) -> Option<Micros> {
        self.shelved_until
    }

    /// Whether it is suppressed by design, out of service or not.
    pub fn is_suppressed(&self) -> bool {
        self.by_design
    }

    /// Its condition begins to hold.
    pub fn begins(&mut self) {
        if !self.holds() {
            self.phase = Phase::Unacknowledged;
        }
    }

    /// Its condition holds no more.
    pub fn ends(&mut self) {
        let silenced = self.state().is_silenced();
        self.phase = match (self.phase, self.latches) {
            (Phase::Unacknowledged, true) => Phase::LatchedUnacknowledged,
            // Nobody was told, so nobody need acknowledge.
            (Phase::Unacknowledged, false) if silenced => Phase::Normal,
            (Phase::Unacknowledged, false) => Phase::Returned,
            (Phase::Acknowledged, true) => Phase::LatchedAcknowledged,
            (Phase::Acknowledged, false) => Phase::Normal,
            (other, _) => other,
        };
    }

    /// Somebody has seen it.
    ///
    /// # Errors
    /// When there is nothing to be seen.
    pub fn acknowledge(&mut self) -> Result<(), NotNow> {
        if !self.state().wants_acknowledging() {
            return Err(NotNow::NothingToAcknowledge);
        }
        self.phase = match self.phase {
            Phase::Unacknowledged => Phase::Acknowledged,
            Phase::LatchedUnacknowledged => Phase::LatchedAcknowledged,
            Phase::Returned => Phase::Normal,
            other => other,
        };
        Ok(())
    }

    /// Somebody has looked, and lets a latched alarm go.
    ///
    /// # Errors
    /// When it is not latched, or not acknowledged yet.
    pub fn reset(&mut self) -> Result<(), NotNow> {
        match self.state() {
            State::LatchedAcknowledged => {
                self.phase = Phase::Normal;
                Ok(())
            }
            State::LatchedUnacknowledged => Err(NotNow::AcknowledgeFirst),
            _ => Err(NotNow::NotLatched),
        }
    }

    /// Somebody puts it aside until a moment. One that is shelved already gets the new end.
    ///
    /// # Errors
    /// When it is out of service.
    pub fn shelve(&mut self, until: Micros) -> Result<(), NotNow> {
        if self.out_of_service {
            return Err(NotNow::IsOutOfService);
        }
        self.shelved_until = Some(until);
        Ok(())
    }

    /// The shelf is left; says whether it holds and so is announced anew.
    ///
    /// # Errors
    /// When it is not shelved.
    pub fn unshelve(&mut self) -> Result<bool, NotNow> {
        self.shelved_until.take().ok_or(NotNow::NotShelved)?;
        Ok(self.lifted())
    }

    /// Its station has been switched off or on. Where that changes something, says whether it is announced anew.
    pub fn suppress(&mut self, suppressed: bool) -> Option<bool> {
        if self.by_design == suppressed {
            return None;
        }
        self.by_design = suppressed;
        Some(!suppressed && self.lifted())
    }

    /// Somebody takes it out of service.
    ///
    /// # Errors
    /// When it is out of service.
    pub fn take_out(&mut self) -> Result<(), NotNow> {
        if self.out_of_service {
            return Err(NotNow::IsOutOfService);
        }
        self.out_of_service = true;
        Ok(())
    }

    /// Somebody puts it back; says whether it holds and so is announced anew.
    ///
    /// # Errors
    /// When it is in service.
    pub fn put_back(&mut self) -> Result<bool, NotNow> {
        if !self.out_of_service {
            return Err(NotNow::IsInService);
        }
        self.out_of_service = false;
        Ok(self.lifted())
    }

    /// A silence has ended: what holds has to be seen anew, unless another silence lies over it.
    fn lifted(&mut self) -> bool {
        if self.state().is_silenced() || !self.holds() {
            return false;
        }
        self.phase = Phase::Unacknowledged;
        true
    }
}
