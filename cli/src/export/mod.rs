//! What the journal holds, as tables that a data frame library opens: readings, passes, events.
//!
//! A table is a list of columns ([`table`]), each with its unit in its name and a sentence; [`readings`], [`passes`] and
//! [`events`] give its rows one by one, and [`csv`] and [`parquet`] write them as they come, in constant memory.

pub(crate) mod csv;
pub(crate) mod events;
pub(crate) mod parquet;
pub(crate) mod passes;
pub(crate) mod readings;
pub(crate) mod table;

use inkdwell_daemon::journal::Reader;
use inkdwell_daemon::report::ShopFile;
use inkdwell_daemon::time::Micros;
use inkdwell_daemon::wall::WallTimes;

/// What is exported, and from when to when.
pub(crate) struct Wanted<'a> {
    pub(crate) reader: &'a Reader,
    pub(crate) shop: Option<&'a ShopFile>,
    pub(crate) walls: WallTimes,
    /// By the clock on the wall, in microseconds since 1970 UTC; the second excluded.
    pub(crate) shown: (Micros, Micros),
}

impl Wanted<'_> {
    /// Whether the wall clock showed a moment of it then.
    fn holds(&self, at: Micros) -> bool {
        let shown = self.walls.shown(at);
        shown >= self.shown.0 && shown < self.shown.1
    }

    /// Moments of the steady time that contain it.
    fn steady(&self) -> (Micros, Micros) {
        let (least, most) = self.walls.reach();
        let from = self.shown.0.0.saturating_sub(most);
        (Micros(from), Micros(self.shown.1.0.saturating_sub(least)))
    }
}
