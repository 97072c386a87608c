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
mod command;
mod holds;
mod model;
mod model_worker;
mod shop_file;
mod state;
mod timeline;
mod words;

use std::collections::HashMap;
use std::collections::VecDeque;
use std::sync::Arc;

use inkdwell_config::library::Library;
use inkdwell_config::problem::suggestion;
use inkdwell_config::quantity::{Celsius, MetresPerSecond};
use inkdwell_config::shop::{Calibration, Shop, SourceKind};
use inkdwell_config::station::StationKind;
use inkdwell_cure::alarm::{AlarmEvent, Job, Watchman};
use inkdwell_cure::live::{
    BatchLaws, BatchPlan, Floor, FloorEvent, InputId, SeenBy, SeenPass, Taken,
};
use inkdwell_cure::plan::PrintLaws;

use crate::intake::{Delivery, MessageMark, Notice, Receipt, Said, SourceId, Value};
use crate::record::{
    BatchClosed, BatchNoted, BatchOpened, Calibrated, HoldSettled, Judged, Occurred, Occurrence,
    PassAssigned, PassJudged, Place, RecipeLocked, RecipeRetired, Record, SignedOff,
};
use crate::time::{Micros, WallClock};

pub use command::{Command, Deal, OpenBatch, Refused};
pub use model::{InferJob, Inferred, ModelKey};
pub use model_worker::Inferrers;
pub use state::Unreadable;
pub use words::nobody_saw_it;

use alarms::ToHear;
use state::{OpenAt, State};
use timeline::{Placed, Timeline};

/// So many readings of an input are remembered, to know one again that comes twice.
const REMEMBERED: usize = 64;
/// The source of ticks, which stand among the readings of an entry; their value is how far the wall clock was
/// ahead of the steady time, in microseconds.
pub const TICKS: SourceId = SourceId(u16::MAX);
/// Their channel.
pub const TICK: &str = "tick";
/// Readings that come too late are told of once in so many seconds.
const TELL_LATE_EVERY: f64 = 60.0;

/// A reading as it is journaled.
#[derive(Debug, Clone, PartialEq)]
pub struct Taking {
    /// Its source's number in the shop file.
    pub source: SourceId,
    /// Its channel.
    pub channel: Arc<str>,
    /// When it was taken.
    pub at: Micros,
    /// What it reads.
    pub value: Value,
    /// Whether it went into the engine; not where it came too late.
    pub fed: bool,
}

/// What is to be committed in one go.
#[derive(Debug, Default)]
pub struct Entry {
    /// Readings, in the order in which they were fed.
    pub readings: Vec<Taking>,
    /// What was found and decided.
    pub records: Vec<(Micros, Record)>,
    /// Marks of messages whose readings these are.
    pub marks: Vec<(SourceId, MessageMark)>,
    /// To be called after the commit.
    pub receipts: Vec<Receipt>,
    /// Passes that have begun, for those who watch.
    pub began: Vec<FloorEvent>,
}

impl Entry {
    /// Whether there is nothing to commit or to acknowledge.
    pub fn is_empty(&self) -> bool {
        self.readings.is_empty()
            && self.records.is_empty()
            && self.marks.is_empty()
            && self.receipts.is_empty()
            && self.began.is_empty()
    }
}

/// Where the readings of a channel go.
#[derive(Debug)]
struct Route {
    input: InputId,
    comes_first: bool,
    timeline: Timeline,
    recent: VecDeque<(Micros, u64)>,
    late: u64,
}

/// A source as the keeper knows it.
#[derive(Debug)]
struct KnownSource {
    id: String,
    /// A played file or scenario: its times are exact, and its first reading is now.
    is_script: bool,
    /// By how much a script's times are ahead of the steady time.
    ahead: Option<i64>,
    /// Whether a script is being played, from its first reading to its end.
    plays: bool,
    /// When its newest reading was taken.
    newest: Micros,
    routes: HashMap<Arc<str>, Route>,
    /// Readings of channels that nothing in the shop file reads.
    unread: u64,
}

impl KnownSource {
    /// Takes over what was known of the same source, whose channels are perhaps others now.
    fn go_on_from(&mut self, before: KnownSource) {
        (self.ahead, self.plays) = (before.ahead, before.plays);
        (self.newest, self.unread) = (before.newest, before.unread);
        for (channel, route) in before.routes {
            if let Some(own) = self.routes.get_mut(&channel) {
                (own.recent, own.late) = (route.recent, route.late);
            }
        }
    }
}

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

    /// When to tick, the steady time being `now`: while a script is played, not long after its last reading,
    /// however far the machine has fallen behind.
    pub fn tick_time(&self, now: Micros) -> Micros {
        let playing = self.sources.iter().filter(|known| known.plays);
        let newest = playing.map(|known| known.newest).min();
        newest.map_or(now, |newest| now.min(newest.plus_seconds(1.0)))
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

    /// Takes a delivery. `arrived` is its arrival in the steady time.
    pub fn take(&mut self, delivery: Delivery, arrived: Micros) {
        let Delivery {
            source,
            said,
            mark,
            receipt,
            ..
        } = delivery;
        self.entry.marks.extend(mark.map(|mark| (source, mark)));
        self.entry.receipts.extend(receipt);
        let Some(known) = self.sources.get(usize::from(source.0)) else {
            return;
        };
        let first = |said: &Said| {
            known
                .routes
                .get(&said.channel)
                .is_some_and(|r| r.comes_first)
        };
        let (before, after): (Vec<Said>, Vec<Said>) = said.into_iter().partition(first);
        for said in before.into_iter().chain(after) {
            self.take_one(source, said, arrived);
        }
    }

    fn take_one(&mut self, source: SourceId, said: Said, arrived: Micros) {
        let wall_ahead = self.wall.ahead();
        let Some(known) = self.sources.get_mut(usize::from(source.0)) else {
            return;
        };
        let Some(route) = known.routes.get_mut(&said.channel) else {
            known.unread += 1;
            return;
        };
        let placed = match (known.is_script, said.device_time) {
            (true, Some(device)) => {
                let ahead = *known.ahead.get_or_insert(device - arrived.0);
                let at = Micros(device - ahead);
                known.plays = true;
                known.newest = known.newest.max(at);
                Placed::At(at)
            }
            (_, device) => route
                .timeline
                .place(arrived, device, said.sequence, wall_ahead),
        };
        let Placed::At(at) = placed else { return };
        let bits = bits_of(&said.value);
        if route.recent.contains(&(at, bits)) {
            return;
        }
        let (found, rang) = (&mut self.state.found, &mut self.rang);
        let fed = feed(
            (&mut self.floor, &mut self.watchman),
            route,
            (at, &said.value),
            &mut |event| found.push(event),
            &mut |event| rang.push(event),
        );
        route.late += u64::from(!fed);
        self.entry.readings.push(Taking {
            source,
            channel: said.channel,
            at,
            value: said.value,
            fed,
        });
        self.note_alarms();
        let found = std::mem::take(&mut self.state.found);
        self.note_all(found);
    }

    /// Time goes on.
    pub fn tick(&mut self, now: Micros, wall: Micros) {
        if let Some(ahead_us) = self.wall.look(now, wall) {
            self.occurred(now, None, Occurrence::ClockStepped { ahead_us });
        }
        self.entry.readings.push(Taking {
            source: TICKS,
            channel: Arc::from(TICK),
            at: now,
            value: Value::Number(self.wall.ahead() as f64),
            fed: true,
        });
        let mut found = Vec::new();
        self.floor.tick(now, &mut |event| found.push(event));
        self.note_all(found);
        self.watch(now, self.wall.ahead());
        if self
            .late_told
            .is_none_or(|told| now.seconds_since(told) >= TELL_LATE_EVERY)
        {
            self.late_told = Some(now);
            self.tell_late(now);
        }
    }

    /// The watchman's tick.
    fn watch(&mut self, now: Micros, ahead: i64) {
        let rang = &mut self.rang;
        self.watchman
            .tick(now, ahead, &mut |event| rang.push(event));
        self.note_alarms();
    }

    fn tell_late(&mut self, now: Micros) {
        let mut told = Vec::new();
        for source in &mut self.sources {
            for (channel, route) in &mut source.routes {
                let readings = std::mem::take(&mut route.late);
                if readings > 0 {
                    told.push((channel.to_string(), readings));
                }
            }
        }
        told.sort();
        for (of, readings) in told {
            self.occurred(now, None, Occurrence::Late { of, readings });
        }
    }

    /// A source's state has changed.
    pub fn notice(&mut self, source: SourceId, notice: Notice, now: Micros) {
        let Some(known) = self.sources.get_mut(usize::from(source.0)) else {
            return;
        };
        known.plays &= notice != Notice::Ended;
        let source = known.id.clone();
        let what = match notice {
            Notice::Up => Occurrence::SourceUp { source },
            Notice::Down(why) => Occurrence::SourceDown { source, why },
            Notice::Ended => Occurrence::SourceEnded { source },
        };
        self.occurred(now, None, what);
    }

    /// Readings of a source found the queue full.
    pub fn turned_away(&mut self, source: SourceId, readings: u64, now: Micros) {
        if let Some(known) = self.sources.get(usize::from(source.0)) {
            let source = known.id.clone();
            self.occurred(now, None, Occurrence::TurnedAway { source, readings });
        }
    }

    /// Something happened.
    pub fn occurred(&mut self, now: Micros, station: Option<String>, what: Occurrence) {
        let notice = alarms::notice_of(&what).map(ToHear::Notice);
        self.notices.extend(notice.map(|notice| (now, notice)));
        let record = Record::Occurred(Occurred { station, what });
        self.entry.records.push((now, record));
    }

    /// All traces end here: open passes are judged as cut.
    pub fn finish(&mut self, now: Micros) {
        let mut found = Vec::new();
        self.floor.finish(&mut |event| found.push(event));
        self.note_all(found);
        self.tell_late(now);
    }

    fn note_all(&mut self, events: Vec<FloorEvent>) {
        for event in events {
            self.note(event);
        }
    }

    fn note(&mut self, event: FloorEvent) {
        self.told(event.clone());
        let rang = &mut self.rang;
        self.watchman.floor(&event, &mut |event| rang.push(event));
        self.note_alarms();
    }

    fn told(&mut self, event: FloorEvent) {
        match event {
            FloorEvent::PassStarted { .. } | FloorEvent::PassDropped { .. } => {
                self.entry.began.push(event);
            }
            FloorEvent::PassEnded(pass) => self.note_pass(*pass),
            FloorEvent::PrintLeft(left) => self.print_left(*left),
            FloorEvent::RecipeLeft {
                station,
                recipe,
                what,
                at,
            } => {
                let what = words::departure(&what, self.shop.units);
                self.occurred(at, Some(station), Occurrence::RecipeLeft { recipe, what });
            }
            FloorEvent::RecipeMet {
                station,
                recipe,
                at,
            } => self.occurred(at, Some(station), Occurrence::RecipeMet { recipe }),
        }
    }

    fn note_pass(&mut self, seen: SeenPass) {
        self.state.passes += 1;
        let units = self.shop.units;
        let judged = match (&seen.judged, seen.by, seen.batch) {
            (Some(judged), _, _) => Some(Judged::new(judged, units)),
            (None, SeenBy::Counter, Some(_)) => {
                let threshold = self.threshold_of(&seen.station);
                Some(words::nobody_saw_it(threshold))
            }
            _ => None,
        };
        let pass = PassJudged {
            pass: self.state.passes,
            station: seen.station,
            probe: seen.probe,
            place: match seen.by {
                SeenBy::Ride => Place::Ride,
                SeenBy::Flash => Place::Flash,
                SeenBy::Exit => Place::Exit,
                SeenBy::Counter => Place::Count,
            },
            start: seen.start,
            end: seen.end,
            batch: seen.batch,
            print: seen.print,
            belt_m_per_min: seen.belt.map(in_m_per_min),
            judged,
        };
        let held = self.state.holds.note(&pass);
        let at = pass.end;
        self.entry.records.push((at, Record::PassJudged(pass)));
        self.add(at, held);
    }

    fn threshold_of(&self, station: &str) -> f64 {
        let open = self.state.batches.get(station);
        open.map_or(0.0, |open| open.threshold_c)
    }

    fn add(&mut self, at: Micros, records: Vec<Record>) {
        self.entry
            .records
            .extend(records.into_iter().map(|record| (at, record)));
    }

    /// Does what a person asks, or says why not. What is recorded stands in the next entry as well.
    ///
    /// # Errors
    /// When it cannot be done: then nothing has changed.
    pub fn command(&mut self, command: Command, now: Micros) -> Result<Record, Refused> {
        self.heed();
        match command {
            Command::OpenBatch(open) => self.open(*open, now),
            Command::CloseBatch { batch, by } => {
                let by = said(by, "by", "who closes it")?;
                self.close(batch, by, now)
            }
            Command::NoteBatch { batch, note, by } => {
                if batch == 0 || batch > self.state.batches_made {
                    return Err(Refused::NoBatch { batch });
                }
                let note = said(note, "the note", "what is worth knowing")?;
                let by = said(by, "by", "who writes it")?;
                let record = Record::BatchNoted(BatchNoted { batch, note, by });
                Ok(self.record(now, record))
            }
            Command::SignOff(test) => self.sign_off(test, now),
            Command::AssignPass {
                pass,
                station,
                batch,
                printed,
                by,
                judged,
            } => {
                if batch == 0 || batch > self.state.batches_made {
                    return Err(Refused::NoBatch { batch });
                }
                let by = said(by, "by", "who says so")?;
                let print = self.floor.next_print(&station, batch, printed);
                let assigned = PassAssigned {
                    pass,
                    station,
                    batch,
                    print,
                    by,
                    judged: *judged,
                };
                Ok(self.assign(assigned, now))
            }
            Command::SettleHold {
                hold,
                outcome,
                by,
                why,
            } => {
                if !self.state.holds.is_open(hold) {
                    return Err(Refused::HoldNotOpen { hold });
                }
                let by = said(by, "by", "who settles it")?;
                let why = said(why, "why", "for example that a wash test was passed")?;
                let record = Record::HoldSettled(HoldSettled {
                    hold,
                    outcome,
                    by,
                    why,
                });
                Ok(self.record(now, record))
            }
            Command::LockRecipe(recipe) => self.lock(*recipe, now),
            Command::RetireRecipe { recipe, by, why } => {
                if !self.state.recipes.contains_key(&recipe) {
                    return Err(Refused::NoRecipe { recipe });
                }
                let by = said(by, "by", "who retires it")?;
                let why = said(why, "why", "for example that the ink was changed")?;
                let record = Record::RecipeRetired(RecipeRetired { recipe, by, why });
                Ok(self.record(now, record))
            }
            Command::Calibrate(calibrated) => self.calibrate(calibrated, now),
            Command::Alarm {
                alarm,
                deal,
                by,
                why,
            } => self.deal(&alarm, deal, (by, why), now),
            Command::Drill { by, why } => self.drill(by, why, now),
        }
    }

    /// Makes a record, and does what it says.
    fn record(&mut self, now: Micros, record: Record) -> Record {
        self.obey(now, &record);
        self.entry.records.push((now, record.clone()));
        record
    }

    /// Does what a record of a decision says: when it is made, and when it is replayed.
    fn obey(&mut self, now: Micros, record: &Record) {
        match record {
            Record::BatchOpened(opened) => self.obey_open(opened, now),
            Record::BatchClosed(closed) => {
                let station = self.station_of(closed.batch);
                if let Some(station) = station {
                    self.state.batches.remove(&station);
                    let mut found = Vec::new();
                    self.floor
                        .close_batch(&station, now, &mut |event| found.push(event));
                    self.note_all(found);
                    let rang = &mut self.rang;
                    let watchman = &mut self.watchman;
                    watchman.closed(&station, now, &mut |event| rang.push(event));
                    self.note_alarms();
                }
            }
            Record::HoldSettled(settled) => self.state.holds.settle(settled.hold),
            Record::RecipeLocked(locked) => {
                self.state.recipes_made = self.state.recipes_made.max(locked.recipe);
                self.know_ride(locked);
                let reference = None;
                let locked = RecipeLocked {
                    reference,
                    ..locked.clone()
                };
                self.state.recipes.insert(locked.recipe, locked);
            }
            Record::RecipeRetired(retired) => {
                self.state.recipes.remove(&retired.recipe);
            }
            Record::Calibrated(calibrated) => {
                if let Some(calibration) = calibration_of(calibrated) {
                    self.floor.calibrate(&calibrated.probe, &calibration);
                    let due = calibration.due;
                    self.watchman.calibrated(&calibrated.probe, due);
                }
                let probe = calibrated.probe.clone();
                self.state.calibrations.insert(probe, calibrated.clone());
            }
            Record::PassAssigned(assigned) => {
                let (station, given) = (&assigned.station, assigned.print.saturating_sub(1));
                self.floor.next_print(station, assigned.batch, given);
            }
            Record::AlarmChanged(changed) => self.obey_alarm(now, changed),
            Record::PassJudged(_)
            | Record::BatchNoted(_)
            | Record::SignedOff(_)
            | Record::HoldOpened(_)
            | Record::HoldJoined(_)
            | Record::Occurred(_)
            | Record::ShopDeclared(_) => {}
        }
    }

    fn station_of(&self, batch: u64) -> Option<String> {
        let mut open = self.state.batches.iter();
        open.find(|(_, open)| open.batch == batch)
            .map(|(station, _)| station.clone())
    }

    fn open(&mut self, open: OpenBatch, now: Micros) -> Result<Record, Refused> {
        let stations = || self.shop.stations.iter().map(|own| own.id.as_str());
        let station = self.shop.station(&open.station).ok_or_else(|| {
            let known: Vec<&str> = stations().collect();
            Refused::NoStation {
                id: open.station.clone(),
                remedy: suggestion(&open.station, &known),
            }
        })?;
        let ink = self.library.ink(&open.ink)?;
        let fabric = self.library.fabric(&open.fabric)?;
        if station.kind == StationKind::FlashUnit && !open.last_heat && ink.gel.is_none() {
            let ink = ink.id.clone();
            return Err(Refused::NoGel { ink });
        }
        let job = said(open.job, "the job", "its name")?;
        let by = said(open.by, "by", "who opens it")?;
        not_negative("the cost of a blank", open.blank_cost)?;
        not_negative("the mesh", open.mesh_per_inch)?;
        if let Some(recipe) = &open.recipe {
            self.check_recipe(*recipe, &open.station, &open.ink, &open.fabric)?;
        }
        let declared = inkdwell_config::written::declared(ink, fabric);
        if let Some(before) = self.open_batch(&open.station) {
            self.close(before, by.clone(), now)?;
        }
        let opened = BatchOpened {
            batch: self.state.batches_made + 1,
            station: open.station,
            job,
            ink: open.ink,
            fabric: open.fabric,
            declared,
            last_heat: open.last_heat,
            quantity: open.quantity,
            blank_cost: open.blank_cost,
            mesh_per_inch: open.mesh_per_inch,
            ink_mixed: open.ink_mixed,
            recipe: open.recipe,
            by,
        };
        Ok(self.record(now, Record::BatchOpened(opened)))
    }

    fn check_recipe(
        &self,
        recipe: u64,
        station: &str,
        ink: &str,
        fabric: &str,
    ) -> Result<(), Refused> {
        let known = self.state.recipes.get(&recipe);
        let known = known.ok_or(Refused::NoRecipe { recipe })?;
        if known.station != station || known.ink != ink || known.fabric != fabric {
            let (station, ink, fabric) = (&known.station, &known.ink, &known.fabric);
            let what = format!("{ink} on {fabric} at {station}");
            return Err(Refused::OtherRecipe { recipe, what });
        }
        Ok(())
    }

    fn obey_open(&mut self, opened: &BatchOpened, now: Micros) {
        self.state.batches_made = self.state.batches_made.max(opened.batch);
        let recipe = opened
            .recipe
            .and_then(|recipe| self.state.recipes.get(&recipe));
        let recipe = recipe.map(|recipe| self.settings_of(recipe));
        // It was written by this program, and read when it was opened.
        let declared = Library::parse("journal", &opened.declared).value;
        let (Some(ink), Some(fabric)) = (declared.inks().first(), declared.fabrics().first())
        else {
            return;
        };
        let plan = BatchPlan {
            number: opened.batch,
            laws: BatchLaws {
                laws: PrintLaws::new(ink, fabric),
                last_heat: opened.last_heat,
            },
            recipe,
        };
        let open = OpenAt {
            batch: opened.batch,
            threshold_c: ink.threshold.0,
        };
        self.state.batches.insert(opened.station.clone(), open);
        let job = Job {
            ink_mixed: opened.ink_mixed,
            ride_every: plan.recipe.as_ref().and_then(|locked| locked.ride_every),
            ..Job::new(opened.batch, ink, fabric)
        };
        self.await_prints(opened);
        let mut found = Vec::new();
        let floor = &mut self.floor;
        floor.open_batch(&opened.station, now, plan, &mut |event| found.push(event));
        self.note_all(found);
        let rang = &mut self.rang;
        let watchman = &mut self.watchman;
        watchman.opened(&opened.station, now, job, &mut |event| rang.push(event));
        self.note_alarms();
    }

    fn close(&mut self, batch: u64, by: String, now: Micros) -> Result<Record, Refused> {
        if self.station_of(batch).is_none() {
            return Err(Refused::BatchNotOpen { batch });
        }
        Ok(self.record(now, Record::BatchClosed(BatchClosed { batch, by })))
    }

    fn assign(&mut self, assigned: PassAssigned, now: Micros) -> Record {
        let (station, batch, pass) = (&assigned.station, Some(assigned.batch), assigned.pass);
        let held = self.state.holds.add(station, batch, pass, &assigned.judged);
        let record = Record::PassAssigned(assigned);
        self.entry.records.push((now, record.clone()));
        self.add(now, held);
        record
    }

    fn sign_off(&mut self, mut test: SignedOff, now: Micros) -> Result<Record, Refused> {
        let batch = test.batch;
        if batch == 0 || batch > self.state.batches_made {
            return Err(Refused::NoBatch { batch });
        }
        test.method = said(test.method, "the method", "for example ISO 105-C06")?;
        test.result = said(test.result, "the result", "for example the grade, 4-5")?;
        test.by = said(test.by, "by", "who tested it")?;
        Ok(self.record(now, Record::SignedOff(test)))
    }

    fn lock(&mut self, mut recipe: RecipeLocked, now: Micros) -> Result<Record, Refused> {
        recipe.by = said(recipe.by, "by", "who locks it")?;
        for (what, drift) in [
            ("the belt's drift", recipe.belt_drift),
            ("a zone's drift", recipe.zone_drift_c),
            ("the exit temperature's drift", recipe.exit_drift_c),
        ] {
            if !(drift > 0.0 && drift.is_finite()) {
                return Err(Refused::Senseless {
                    what,
                    value: drift.to_string(),
                    remedy: "give a number above zero",
                });
            }
        }
        recipe.recipe = self.state.recipes_made + 1;
        Ok(self.record(now, Record::RecipeLocked(recipe)))
    }

    fn calibrate(&mut self, mut calibrated: Calibrated, now: Micros) -> Result<Record, Refused> {
        let probes = self.shop.probes.iter().map(|probe| probe.id.as_str());
        let known: Vec<&str> = probes.collect();
        if !known.contains(&calibrated.probe.as_str()) {
            let remedy = suggestion(&calibrated.probe, &known);
            let id = calibrated.probe;
            return Err(Refused::NoProbe { id, remedy });
        }
        calibrated.by = said(calibrated.by, "by", "who made it")?;
        let rises = |pair: &[(f64, f64)]| pair[0].0 < pair[1].0;
        let finite = |point: &(f64, f64)| point.0.is_finite() && point.1.is_finite();
        let points = &calibrated.points_c;
        if points.is_empty() || !points.windows(2).all(rises) || !points.iter().all(finite) {
            return Err(Refused::Senseless {
                what: "the calibration's points",
                value: format!("{points:?}"),
                remedy: "give one or more, what was shown and what it should have been, rising",
            });
        }
        not_negative("the calibration's uncertainty", calibrated.uncertainty_c)?;
        if calibration_of(&calibrated).is_none() {
            return Err(Refused::Senseless {
                what: "the day of the calibration",
                value: calibrated.date,
                remedy: "write it as 2026-01-31",
            });
        }
        Ok(self.record(now, Record::Calibrated(calibrated)))
    }

    /// Feeds a reading, or a tick, again that was committed after the checkpoint. What comes of it was committed
    /// with it.
    pub fn replay(&mut self, taking: &Taking) {
        let mut found = Vec::new();
        if taking.source == TICKS {
            self.floor.tick(taking.at, &mut |event| found.push(event));
            self.note_all(std::mem::take(&mut found));
            let ahead = match taking.value {
                // Microseconds, which it was made of.
                Value::Number(ahead) => ahead as i64,
                Value::NoNumber(_) => 0,
            };
            self.watch(taking.at, ahead);
        } else if let Some(known) = self.sources.get_mut(usize::from(taking.source.0))
            && let Some(route) = known.routes.get_mut(&taking.channel)
        {
            if taking.fed {
                let rang = &mut self.rang;
                feed(
                    (&mut self.floor, &mut self.watchman),
                    route,
                    (taking.at, &taking.value),
                    &mut |event| found.push(event),
                    &mut |event| rang.push(event),
                );
            } else {
                remember(route, taking.at, bits_of(&taking.value));
            }
        }
        self.note_alarms();
        self.note_all(found);
        // What comes of it stands in the journal, and what the watchman was told is told it by the records.
        self.notices.clear();
        self.entry = Entry::default();
    }

    /// Does again what a decision that was committed after the checkpoint says.
    pub fn replay_record(&mut self, at: Micros, record: &Record) {
        if let Record::PassAssigned(assigned) = record {
            let (batch, pass) = (Some(assigned.batch), assigned.pass);
            let holds = &mut self.state.holds;
            holds.add(&assigned.station, batch, pass, &assigned.judged);
        }
        if let Record::PassJudged(pass) = record {
            self.was_inferred(pass);
        }
        self.obey(at, record);
        self.notices.clear();
        match record {
            Record::Occurred(occurred) => {
                let notice = alarms::notice_of(&occurred.what);
                self.notices
                    .extend(notice.map(|notice| (at, ToHear::Notice(notice))));
            }
            Record::PassJudged(pass) if pass.place == Place::Exit => {
                let print = ToHear::Print(Box::new(pass.clone()));
                self.notices.push((at, print));
            }
            _ => {}
        }
        self.heed();
        self.entry = Entry::default();
    }
}

/// A number that tells one value from another.
fn bits_of(value: &Value) -> u64 {
    match value {
        Value::Number(number) => number.to_bits(),
        Value::NoNumber(_) => f64::NAN.to_bits(),
    }
}

fn remember(route: &mut Route, at: Micros, bits: u64) {
    if route.recent.len() == REMEMBERED {
        route.recent.pop_front();
    }
    route.recent.push_back((at, bits));
}

/// Feeds a reading to the floor and shows it to the watchman; says whether it was used.
fn feed(
    (floor, watchman): (&mut Floor, &mut Watchman),
    route: &mut Route,
    (at, value): (Micros, &Value),
    found: &mut impl FnMut(FloorEvent),
    rang: &mut impl FnMut(AlarmEvent),
) -> bool {
    remember(route, at, bits_of(value));
    let number = match value {
        Value::Number(number) => Some(*number),
        Value::NoNumber(_) => None,
    };
    let fed = floor.read(route.input, at, number, found) == Taken::Fed;
    if fed {
        alarms::show(floor, watchman, (route.input, at, number), rang);
    }
    fed
}

fn known_sources(shop: &Shop, floor: &Floor, state: &State) -> Vec<KnownSource> {
    let timeline = |source: &str, channel: &str| {
        let mut known = state.timelines.iter();
        let known = known.find(|(name, _)| name.0 == source && name.1 == channel);
        known
            .map(|(_, timeline)| timeline.clone())
            .unwrap_or_default()
    };
    let sources = shop.sources.iter().map(|source| {
        let is_script = matches!(
            source.kind,
            SourceKind::Replay { .. } | SourceKind::Simulated { .. }
        );
        let routes = floor.channels_of(&source.id).map(|(channel, input)| {
            let route = Route {
                input,
                comes_first: floor.comes_first(input),
                timeline: timeline(&source.id, channel),
                recent: VecDeque::new(),
                late: 0,
            };
            (Arc::from(channel), route)
        });
        KnownSource {
            routes: routes.collect(),
            // A script begins anew with the daemon.
            ahead: None,
            id: source.id.clone(),
            is_script,
            plays: false,
            newest: Micros(i64::MIN),
            unread: 0,
        }
    });
    sources.collect()
}

/// What a record of a calibration says, as a shop file would; `None` where its day is none.
pub fn calibration_of(calibrated: &Calibrated) -> Option<Calibration> {
    let day = |text: &str| chrono::NaiveDate::parse_from_str(text, "%Y-%m-%d").ok();
    let points = calibrated.points_c.iter();
    Some(Calibration {
        points: points
            .map(|(shown, right)| (Celsius(*shown), Celsius(*right)))
            .collect(),
        uncertainty: calibrated
            .uncertainty_c
            .map(inkdwell_config::quantity::CelsiusDifference),
        date: day(&calibrated.date)?,
        by: calibrated.by.clone(),
        due: calibrated.due.as_deref().and_then(day),
    })
}

/// To a thousandth of a millimetre a minute: what lies below is rounding.
fn in_m_per_min(belt: MetresPerSecond) -> f64 {
    (belt.0 * 60e6).round() / 1e6
}

/// A text that has to say something.
fn said(text: String, what: &'static str, example: &'static str) -> Result<String, Refused> {
    let text = text.trim();
    if text.is_empty() {
        return Err(Refused::Empty { what, example });
    }
    Ok(text.to_owned())
}

fn not_negative(what: &'static str, value: Option<f64>) -> Result<(), Refused> {
    match value {
        Some(value) if !(value >= 0.0 && value.is_finite()) => Err(Refused::Senseless {
            what,
            value: value.to_string(),
            remedy: "give a number, zero or more",
        }),
        _ => Ok(()),
    }
}
