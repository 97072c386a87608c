//! What the interface says and is told, as JSON.
//!
//! Temperatures are in °C, durations in seconds, speeds in metres a minute, whatever the shop shows to people;
//! a time is a [`Moment`]. What is not known is null. New members may come; none is renamed.

mod alarm;
mod batch;
mod event;
mod hold;
mod moment;
mod now;
mod pass;
mod probe;
mod recipe;
mod sink;
mod status;

pub use alarm::{
    Acknowledgement, AlarmChangeView, AlarmHistory, AlarmView, Alarms, ByWhy, Catalogue, KeyView,
    SaidView, SheetView, ToShelve, order,
};
pub use batch::{
    Assigned, BatchInFull, BatchView, Batches, By, Count, Decided, NewBatch, NewNote, NewSignOff,
    NoteView, ToAssign,
};
pub use event::{EventView, Events, sentence};
pub use hold::{HeldPrint, HoldView, Holds, Remedy, SettledView, Settlement};
pub use moment::{Clock, Moment};
pub use now::{
    LeftView, LevelView, NowView, ProgressView, SaysView, StationNowView, ToDoView, TripView,
    ZoneNowView,
};
pub use pass::{PassInFull, PassView, Passes};
pub use probe::{CalibrationView, NewCalibration, ProbeView, Probes, ReadingView};
pub use recipe::{LockedNow, NewRecipe, RecipeView, Recipes, RetiredView, ToRetire, ZoneView};
pub use sink::{AsideView, SinkState, SinkView, Sinks};
pub use status::{RunningPass, SourceState, SourceView, StationView, Status};

/// What stands wherever a person reads a figure to act upon.
pub const CAUTION: &str = "\
Advice only: Inkdwell is no safety device. Heat burns and fumes need exhaust. The ink maker's data sheet, a \
wash test, local codes and licensed practice come first.";
