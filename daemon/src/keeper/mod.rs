//! The keeper: what every arrival, every tick and every command mean.
//!
//! It is the pure part of the engine task. Arrivals go in; what is to be committed piles up in an
//! [`Entry`] that the task takes and hands to the journal. The keeper never waits, opens or asks the time.
//!
//! Everything that it knows can be put away ([`Keeper::checkpoint`]). After a crash it is taken up from the
//! last checkpoint, and the entries that were committed after it are fed to it again ([`Keeper::replay`]):
//! the same readings in the same order give the same state, so that the next pass has the number, the batch
//! and the verdict that it would have had.

mod alarms;
mod arrivals;
mod command;
mod decide;
mod entry;
mod found;
mod holds;
mod model;
mod model_worker;
mod obey;
mod replay;
mod shop_file;
mod sources;
mod state;
mod timeline;
mod words;

use std::sync::Arc;

use inkdwell_config::library::Library;
use inkdwell_config::quantity::Celsius;
use inkdwell_config::shop::Shop;
use inkdwell_cure::alarm::{AlarmEvent, Watchman};
use inkdwell_cure::live::Floor;

use crate::record::Occurrence;
use crate::time::{Micros, WallClock};

pub(crate) use alarms::no_alarm;
pub use command::{Command, Deal, OpenBatch, Refused};
pub use entry::{Entry, TICK, TICKS, Taking};
pub use model::{InferJob, Inferred, ModelKey};
pub use model_worker::Inferrers;
pub use obey::calibration_of;
pub use state::Unreadable;
pub use words::nobody_saw_it;

use alarms::ToHear;
use sources::{KnownSource, known_sources};
use state::State;

/// See the module.
#[derive(Debug)]
pub struct Keeper {
    shop: Shop,
    library: Library,
    floor: Floor,
    watchman: Watchman,
    /// What the watchman is told once the entry is closed.
    notices: Vec<(Micros, ToHear)>,
    /// Room for what the watchman says.
    rang: Vec<AlarmEvent>,
    sources: Vec<KnownSource>,
    state: State,
    wall: WallClock,
    late_told: Option<Micros>,
    entry: Entry,
    inferring: model::Inferring,
}

impl Keeper {
    /// A keeper that has seen nothing yet.
    pub fn new(shop: Shop, now: Micros, wall: Micros) -> Keeper {
        let floor = Floor::new(&shop, now);
        let watchman = Watchman::new(&shop);
        Keeper::with(
            shop,
            (floor, watchman),
            State::default(),
            WallClock::at_start(now, wall),
        )
    }

    fn with(
        shop: Shop,
        (mut floor, mut watchman): (Floor, Watchman),
        state: State,
        wall: WallClock,
    ) -> Keeper {
        for calibrated in state.calibrations.values() {
            let declared = shop.probes.iter().find(|own| own.id == calibrated.probe);
            let declared = declared.and_then(|own| own.calibration.as_ref());
            if let Some(made) = calibration_of(calibrated)
                && declared.is_none_or(|declared| declared.date <= made.date)
            {
                floor.calibrate(&calibrated.probe, &made);
                watchman.calibrated(&calibrated.probe, made.due);
            }
        }
        let mut library = Library::shipped();
        library.add(shop.library.clone());
        let sources = known_sources(&shop, &floor, &state);
        Keeper {
            shop,
            library,
            floor,
            watchman,
            notices: Vec::new(),
            rang: Vec::new(),
            sources,
            state,
            wall,
            late_told: None,
            entry: Entry::default(),
            inferring: model::Inferring::default(),
        }
    }

    /// Takes up what was put away.
    ///
    /// # Errors
    /// When it is of another version or damaged: then the caller begins anew and replays.
    pub fn restored(
        shop: Shop,
        checkpoint: &[u8],
        now: Micros,
        wall: Micros,
    ) -> Result<Keeper, Unreadable> {
        let (saved, watched, state) = state::read(checkpoint)?;
        let (mut events, mut rang) = (Vec::new(), Vec::new());
        let floor = Floor::restored(&shop, saved, &mut |event| events.push(event));
        let mut note = |event| rang.push(event);
        let watchman = Watchman::restored(&shop, watched, now, &mut note);
        let wall = WallClock::at_start(now, wall);
        let mut keeper = Keeper::with(shop, (floor, watchman), state, wall);
        keeper.rang = rang;
        keeper.note_alarms();
        keeper.note_all(events);
        Ok(keeper)
    }

    /// Everything that has to be known to go on from here.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn checkpoint(&mut self) -> Result<Vec<u8>, Unreadable> {
        self.state.timelines.clear();
        for source in &self.sources {
            for (channel, route) in &source.routes {
                let name = (source.id.clone(), channel.to_string());
                self.state.timelines.push((name, route.timeline.clone()));
            }
        }
        self.state.timelines.sort_by(|a, b| a.0.cmp(&b.0));
        state::write(self.floor.saved(), self.watchman.saved(), &self.state)
    }

    /// Another shop file holds from now on; open passes that it does not concern go on.
    pub fn reload(&mut self, shop: Shop, digest: String, now: Micros) -> Result<(), Unreadable> {
        self.heed();
        let kept = self.checkpoint()?;
        let (saved, watched, state) = state::read(&kept)?;
        let mut events = Vec::new();
        let floor = Floor::restored(&shop, saved, &mut |event| events.push(event));
        let mut rang = Vec::new();
        let mut note = |event| rang.push(event);
        let watchman = Watchman::restored(&shop, watched, now, &mut note);
        let entry = std::mem::take(&mut self.entry);
        let inferring = std::mem::take(&mut self.inferring);
        let rides = self.floor.rides();
        let rides: Vec<_> = rides
            .map(|(recipe, ride)| (recipe, Arc::clone(ride)))
            .collect();
        let (shop_before, before) = (self.shop.clone(), std::mem::take(&mut self.sources));
        *self = Keeper::with(shop, (floor, watchman), state, self.wall);
        (self.entry, self.inferring) = (entry, inferring);
        for (recipe, ride) in rides {
            self.floor.know_ride(recipe, ride);
        }
        for (number, before) in before.into_iter().enumerate() {
            // Only a source that is declared as before, at its place, goes on without a break.
            let now = self.shop.sources.get(number);
            if let Some(known) = self.sources.get_mut(number)
                && now == shop_before.sources.get(number)
            {
                known.go_on_from(before);
            }
        }
        self.rang = rang;
        self.note_alarms();
        self.note_all(events);
        self.occurred(now, None, Occurrence::ShopLoaded { digest });
        Ok(())
    }

    /// The shop.
    pub fn shop(&self) -> &Shop {
        &self.shop
    }

    /// Its inks and fabrics, the shipped ones among them.
    pub fn library(&self) -> &Library {
        &self.library
    }

    /// The live floor, to be looked at.
    pub fn floor(&self) -> &Floor {
        &self.floor
    }

    /// The number of the batch that is open at a station.
    pub fn open_batch(&self, station: &str) -> Option<u64> {
        self.state.batches.get(station).map(|open| open.batch)
    }

    /// How far the wall clock is ahead of the steady time, in microseconds.
    pub fn wall_ahead(&self) -> i64 {
        self.wall.ahead()
    }

    /// The threshold of the ink of the batch that is open at a station.
    pub fn open_threshold(&self, station: &str) -> Option<Celsius> {
        let open = self.state.batches.get(station);
        open.map(|open| Celsius(open.threshold_c))
    }

    /// What has piled up since the last call.
    pub fn take_entry(&mut self) -> Entry {
        self.heed();
        std::mem::take(&mut self.entry)
    }

    /// Whether nothing has piled up.
    pub fn is_idle(&self) -> bool {
        self.entry.is_empty()
    }

    /// Counts passes, batches, holds and recipes on from these.
    pub fn count_from(&mut self, passes: u64, batches: u64, holds: u64, recipes: u64) {
        self.state.passes = passes;
        self.state.batches_made = batches;
        self.state.recipes_made = recipes;
        self.state.holds.count_from(holds);
    }

    /// How many readings, and records beside them, have piled up.
    pub fn piled_up(&self) -> (usize, usize) {
        (self.entry.readings.len(), self.entry.records.len())
    }

    /// All traces end here: open passes are judged as cut.
    pub fn finish(&mut self, now: Micros) {
        let mut found = Vec::new();
        self.floor.finish(&mut |event| found.push(event));
        self.note_all(found);
        self.tell_late(now);
    }
}
