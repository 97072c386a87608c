//! Alarms: which there are, how each lives, and what raises it.
//!
//! - [`Kind`] names an alarm and [`Kind::sheet`] is its page of the catalogue: cause, consequence, what to do
//!   first, how long one has.
//! - [`Life`] is the life of one alarm by the states of ANSI/ISA-18.2 and IEC 62682; the [`Register`] holds them
//!   all, with delays, counts, first-out and a cap on floods.
//! - [`Watchman`] is fed with the same readings, findings and ticks as the [`Floor`](crate::live::Floor), and
//!   says as [`AlarmEvent`]s what comes and goes.
//!
//! Like everything here it reads no clock: the same readings, decisions and ticks in the same order give the
//! same events, and [`Watchman::saved`] and [`Watchman::restored`] put it away and take it up again anywhere.
//!
//! ```
//! use inkdwell_cure::alarm::{Kind, Life, State};
//!
//! let mut life = Life::new(Kind::BeltStoppedHot.sheet().latches);
//! life.begins();
//! assert_eq!(life.state(), State::Unacknowledged);
//! life.ends();
//! assert_eq!(life.state(), State::LatchedUnacknowledged);
//! life.acknowledge()?;
//! life.reset()?;
//! assert_eq!(life.state(), State::Normal);
//! # Ok::<(), inkdwell_cure::alarm::NotNow>(())
//! ```

mod catalogue;
mod cause;
mod detect;
mod event;
mod job;
mod kind;
mod life;
mod limits;
mod plan;
mod register;
mod watchman;

pub use catalogue::{Hazard, Key, Sheet};
pub use cause::{Cause, Drifting, OffRecipe};
pub use detect::notice::Notice;
pub use event::{AlarmEvent, Change};
pub use inkdwell_config::shop::Priority;
pub use job::Job;
pub use kind::{AlarmId, Concerns, Kind};
pub use life::{Life, NotNow, State};
pub use register::{Alarm, Delays, Origin, Register, Says};
pub use watchman::{Unheeded, Watched, Watchman};
