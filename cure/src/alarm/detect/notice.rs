//! What the daemon is told of sources, clock, queue, disk and ways out.

use inkdwell_config::quantity::Seconds;

use crate::alarm::cause::Cause;
use crate::alarm::kind::Kind;
use crate::alarm::register::Says;

/// What the watchman is told, besides readings and what the floor finds.
#[derive(Debug, Clone, PartialEq)]
pub enum Notice {
    /// The daemon has begun to listen: what was silent meanwhile is not held against anybody.
    Woke,
    /// A source hears its device.
    SourceUp(String),
    /// A source does not, and why.
    SourceDown(String, String),
    /// A source has come to its end; its probes are silent by design.
    SourceEnded(String),
    /// The wall clock was set; it is ahead of the steady time by this now.
    ClockStepped(Seconds),
    /// So many readings of a source found the queue full.
    TurnedAway(String, u64),
    /// So many bytes are left on the journal's disk, which is too little.
    DiskLow(u64),
    /// The disk is full: nothing is accepted.
    DiskFull,
    /// There is room on the disk again.
    DiskRoom,
    /// So much waits to go out by a way.
    OutboxGrowing(String, u64),
    /// That way is clear again.
    OutboxClear(String),
}

impl Notice {
    /// Which alarm of what it concerns, and what it says. What is over in the moment in which it happens says
    /// both that it is and that it is not.
    pub(in crate::alarm) fn says(&self) -> Told<'_> {
        match self {
            Notice::Woke => None,
            Notice::SourceUp(source) | Notice::SourceEnded(source) => off(Kind::SourceDown, source),
            Notice::SourceDown(source, why) => {
                let why = why.clone();
                on(Kind::SourceDown, source, Cause::NotHeard { why }, false)
            }
            Notice::ClockStepped(ahead) => {
                let ahead = *ahead;
                on(Kind::ClockStepped, "", Cause::Stepped { ahead }, true)
            }
            Notice::TurnedAway(source, readings) => {
                let readings = *readings;
                on(
                    Kind::QueueOverflow,
                    source,
                    Cause::TurnedAway { readings },
                    true,
                )
            }
            Notice::DiskLow(free) => {
                let free = *free;
                on(Kind::DiskNearlyFull, "", Cause::Room { free }, false)
            }
            Notice::DiskFull => on(Kind::DiskNearlyFull, "", Cause::NoRoom, false),
            Notice::DiskRoom => off(Kind::DiskNearlyFull, ""),
            Notice::OutboxGrowing(sink, messages) => {
                let messages = *messages;
                on(
                    Kind::OutboxGrowing,
                    sink,
                    Cause::Waiting { messages },
                    false,
                )
            }
            Notice::OutboxClear(sink) => off(Kind::OutboxGrowing, sink),
        }
    }
}

/// The alarm, what it is of, what is said, and whether it is over at once.
type Told<'a> = Option<(Kind, &'a str, Says, bool)>;

fn on(kind: Kind, of: &str, cause: Cause, momentary: bool) -> Told<'_> {
    Some((kind, of, Says::On(cause), momentary))
}

fn off(kind: Kind, of: &str) -> Told<'_> {
    Some((kind, of, Says::Off, false))
}
