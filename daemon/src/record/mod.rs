//! What the journal keeps as evidence: every verdict, every decision of a person, every event.
//!
//! A record is written once and never changed; its JSON is what the chain of hashes is made over, so the
//! members' names and order are a file format: new members are added with a default, none is renamed.

mod alarm;
mod batch;
mod event;
mod pass;
mod shop;

use std::borrow::Cow;

use serde::{Deserialize, Serialize};

pub use alarm::AlarmChanged;
pub use batch::{
    BatchClosed, BatchNoted, BatchOpened, HoldJoined, HoldOpened, HoldSettled, RecipeLocked,
    RecipeRetired, Settled, SignedOff,
};
pub use event::{Calibrated, Occurred, Occurrence};
pub use pass::{Dose, HarmSeen, Judged, PassAssigned, PassJudged, Place};
pub use shop::ShopDeclared;
pub(crate) use shop::sha256_of;

/// One record.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Record {
    /// A print has left the heat.
    PassJudged(PassJudged),
    /// A pass that had no batch was given one, and judged by its laws.
    PassAssigned(PassAssigned),
    /// A batch was opened.
    BatchOpened(BatchOpened),
    /// A batch was closed.
    BatchClosed(BatchClosed),
    /// Somebody wrote a note to a batch.
    BatchNoted(BatchNoted),
    /// A print of a batch was tested.
    SignedOff(SignedOff),
    /// Prints are to be pulled.
    HoldOpened(HoldOpened),
    /// One more print of a hold.
    HoldJoined(HoldJoined),
    /// Somebody has settled a hold.
    HoldSettled(HoldSettled),
    /// Settings and a reference ride were locked.
    RecipeLocked(RecipeLocked),
    /// A recipe holds no more.
    RecipeRetired(RecipeRetired),
    /// A probe was calibrated.
    Calibrated(Calibrated),
    /// Something happened.
    Occurred(Occurred),
    /// An alarm has come, gone, or was dealt with.
    AlarmChanged(Box<AlarmChanged>),
    /// A shop file holds from now on.
    ShopDeclared(ShopDeclared),
}

impl Record {
    /// The record as news tell it: without the readings that a recipe keeps of its ride, which are many, and
    /// without a shop file's text.
    pub fn without_readings(&self) -> Cow<'_, Record> {
        match self {
            Record::RecipeLocked(locked) if locked.reference.is_some() => {
                let reference = None;
                let locked = RecipeLocked {
                    reference,
                    ..locked.clone()
                };
                Cow::Owned(Record::RecipeLocked(locked))
            }
            Record::ShopDeclared(declared) => Cow::Owned(Record::ShopDeclared(ShopDeclared {
                sha256: declared.sha256.clone(),
                text: String::new(),
            })),
            other => Cow::Borrowed(other),
        }
    }

    /// The word in its member `kind`.
    pub fn kind(&self) -> &'static str {
        match self {
            Record::PassJudged(_) => "pass-judged",
            Record::PassAssigned(_) => "pass-assigned",
            Record::BatchOpened(_) => "batch-opened",
            Record::BatchClosed(_) => "batch-closed",
            Record::BatchNoted(_) => "batch-noted",
            Record::SignedOff(_) => "signed-off",
            Record::HoldOpened(_) => "hold-opened",
            Record::HoldJoined(_) => "hold-joined",
            Record::HoldSettled(_) => "hold-settled",
            Record::RecipeLocked(_) => "recipe-locked",
            Record::RecipeRetired(_) => "recipe-retired",
            Record::Calibrated(_) => "calibrated",
            Record::Occurred(_) => "occurred",
            Record::AlarmChanged(_) => "alarm-changed",
            Record::ShopDeclared(_) => "shop-declared",
        }
    }
}
