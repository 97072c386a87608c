//! Plays the chapters: the daemon from its start to its stop, with a batch and a scenario after the other.

use chrono::{DateTime, SecondsFormat};
use inkdwell_config::shop::{Place, Shop};
use inkdwell_config::written::declared;
use inkdwell_daemon::journal::{self, PassQuery, Reader, RecordNumber, Shown};
use inkdwell_daemon::keeper::{Command, OpenBatch};
use inkdwell_daemon::record::{Occurrence, RecipeLocked, Record};
use inkdwell_daemon::shift::{self, Options, Shift};
use inkdwell_daemon::time::Micros;
use inkdwell_simulated_traces::scenario::Scenario;

use super::arguments::DemoArguments;
use super::chapter::{CHAPTERS, Chapter, announced, trouble};
use super::failed;
use super::folder::{Folder, SOURCE};
use super::teller::{Tally, Teller};
use crate::failure::Failure;
use crate::terminal::{Setting, print};

const STATION: &str = "belt-1";
/// A channel of which every row of every chapter has a reading.
const EVERY_ROW: &str = "belt-speed";
/// Who opens batches and locks the recipe.
const WHO: &str = "the morning shift";
/// By what share the belt, and by how many °C a zone, may leave the recipe.
const BELT_DRIFT: f64 = 0.05;
const ZONE_DRIFT: f64 = 6.0;

/// How the story ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum End {
    /// It was told whole.
    Whole,
    /// The user has stopped it.
    Interrupted,
}

/// Where the story is played.
pub(super) struct Stage<'a> {
    pub(super) folder: &'a Folder,
    pub(super) setting: Setting,
    pub(super) typed: &'a DemoArguments,
}

impl Stage<'_> {
    /// Plays all chapters, or until Ctrl-C; the daemon is stopped when this returns, whatever happened.
    pub(super) async fn play(&self) -> Result<(End, Tally), Failure> {
        let (shop, digest) = self
            .folder
            .shop(&CHAPTERS[0], self.seed(0), self.typed.speed)?;
        let mut teller = Teller::new(self.setting, &shop);
        let options = Options {
            shop: not_yet_running(shop),
            digest,
            folder: self.folder.data(),
            faster: f64::from(self.typed.speed),
            journal: journal::Settings::default(),
            keep_readings: None,
        };
        let shift = shift::start(options).await.map_err(failed)?;
        let stopping = shift.stopping();
        let played = tokio::select! {
            played = self.chapters(&shift, &mut teller) => played.map(|()| End::Whole),
            _ = tokio::signal::ctrl_c() => Ok(End::Interrupted),
            () = stopping.cancelled() => Ok(End::Interrupted),
        };
        shift.stop().await.map_err(failed)?;
        Ok((played?, teller.tally))
    }

    async fn chapters(&self, shift: &Shift, teller: &mut Teller) -> Result<(), Failure> {
        let reader = shift.readers().reader().map_err(failed)?;
        let mut told = RecordNumber(0);
        let mut recipe = None;
        for (number, chapter) in CHAPTERS.iter().enumerate() {
            let seed = self.seed(number);
            let (shop, digest) = self.folder.shop(chapter, seed, self.typed.speed)?;
            let scenario = self.scenario(chapter, seed, &shop, shift.now())?;
            let truth = self.folder.truth(&scenario)?;
            teller.begin(trouble(&scenario, &truth.prints), truth.prints);
            print(&self.heading(number, chapter, &scenario, &shop))?;

            let opened = self.open(shift, chapter, &scenario, recipe).await?;
            // The trace begins after its batch was opened.
            let begun = shift.now();
            self.scenario(chapter, seed, &shop, begun)?;
            shift.reload(shop.clone(), digest).await.map_err(failed)?;
            let mut script = Script {
                reader: &reader,
                begun,
                told,
            };
            script.follow(shift, teller).await?;
            if recipe.is_none() {
                recipe = Some(lock(shift, &reader, &shop, &scenario, opened).await?);
            }
            let (batch, by) = (opened, WHO.to_owned());
            let close = Command::CloseBatch { batch, by };
            shift.ask(close).await.map_err(failed)?;
            script.tell(teller)?;
            told = script.told;
        }
        Ok(())
    }

    /// Every chapter has garments of its own.
    fn seed(&self, chapter: usize) -> u64 {
        8 * u64::from(self.typed.seed) + chapter as u64
    }

    fn scenario(
        &self,
        chapter: &Chapter,
        seed: u64,
        shop: &Shop,
        started: Micros,
    ) -> Result<Scenario, Failure> {
        let prints = chapter.prints(self.typed.minutes);
        let started = DateTime::from_timestamp_micros(started.0).unwrap_or_default();
        let started = started.to_rfc3339_opts(SecondsFormat::Micros, true);
        self.folder.scenario(chapter, seed, prints, &started)?;
        self.folder.read(chapter, shop, seed)
    }

    fn heading(
        &self,
        number: usize,
        chapter: &Chapter,
        scenario: &Scenario,
        shop: &Shop,
    ) -> String {
        let title = format!("{}  {}", number + 1, chapter.title);
        let text = announced(scenario, shop.units);
        let text = self.setting.wrap("   ", 3, &text);
        format!("\n{}\n{text}\n\n", self.setting.strong(&title))
    }

    async fn open(
        &self,
        shift: &Shift,
        chapter: &Chapter,
        scenario: &Scenario,
        recipe: Option<u64>,
    ) -> Result<u64, Failure> {
        let open = OpenBatch {
            station: STATION.to_owned(),
            job: chapter.job.to_owned(),
            ink: scenario.ink.id.clone(),
            fabric: scenario.fabric.id.clone(),
            last_heat: false,
            quantity: scenario.prints.map(u64::from),
            blank_cost: None,
            mesh_per_inch: None,
            ink_mixed: None,
            recipe,
            by: WHO.to_owned(),
        };
        let opened = shift.ask(Command::OpenBatch(Box::new(open))).await;
        match opened.map_err(failed)? {
            Record::BatchOpened(opened) => Ok(opened.batch),
            other => Err(odd(&other)),
        }
    }
}

/// The shop before its dryer is switched on: a batch can be opened before the first reading comes.
fn not_yet_running(mut shop: Shop) -> Shop {
    shop.sources.clear();
    shop.probes.clear();
    shop.signals.clear();
    shop
}

/// One chapter as the journal has it.
struct Script<'a> {
    reader: &'a Reader,
    /// When it began, before its first reading.
    begun: Micros,
    /// The last record that was told.
    told: RecordNumber,
}

impl Script<'_> {
    /// Tells what is committed, until the trace is at its end.
    async fn follow(&mut self, shift: &Shift, teller: &mut Teller) -> Result<(), Failure> {
        let mut news = shift.listen();
        while !self.tell(teller)? {
            // Where news was missed there is all the more to tell.
            let _ = news.recv().await;
        }
        Ok(())
    }

    /// Tells what was committed since the last call; whether the trace has ended.
    fn tell(&mut self, teller: &mut Teller) -> Result<bool, Failure> {
        let mut ended = false;
        let last = self.reader.head().map_err(failed)?.number;
        while self.told < last {
            self.told.0 += 1;
            let kept = self.reader.record(self.told).map_err(failed)?;
            if !teller.knows_beginning() {
                teller.began(self.first_reading()?);
            }
            if let Some(text) = teller.tell(kept.at, &kept.record) {
                print(&text)?;
            }
            if let Record::Occurred(event) = &kept.record {
                ended |= matches!(event.what, Occurrence::SourceEnded { .. });
                if let Occurrence::SourceDown { why, .. } = &event.what {
                    return Err(Failure::new(format!("the simulated dryer fails: {why}")));
                }
            }
        }
        Ok(ended)
    }

    fn first_reading(&self) -> Result<Option<Micros>, Failure> {
        let channel = self.reader.channel(SOURCE, EVERY_ROW).map_err(failed)?;
        let Some(channel) = channel else {
            return Ok(None);
        };
        let mut readings = self.reader.readings(channel, self.begun, Micros(i64::MAX));
        let first = readings.next().transpose().map_err(failed)?;
        Ok(first.map(|first| first.at))
    }
}

/// Locks a recipe from the last ride of a batch: the belt and the zones as they were then.
async fn lock(
    shift: &Shift,
    reader: &Reader,
    shop: &Shop,
    scenario: &Scenario,
    batch: u64,
) -> Result<u64, Failure> {
    let query = PassQuery {
        batch: Some(batch),
        ..PassQuery::default()
    };
    let passes = reader.passes(&query).map_err(failed)?;
    let Some(ride) = passes.last().map(|kept| &kept.pass) else {
        return Err(Failure::new(
            "the good run has no print; run the demo again",
        ));
    };
    let mut zones = Vec::new();
    for probe in shop.probes.iter().filter(|own| own.place == Place::Zone) {
        let mean = mean(reader, &probe.channel, ride.start, ride.end)?;
        zones.extend(mean.map(|mean| (probe.id.clone(), mean)));
    }
    let recipe = RecipeLocked {
        // It is given when the recipe is locked.
        recipe: 0,
        station: STATION.to_owned(),
        ink: scenario.ink.id.clone(),
        fabric: scenario.fabric.id.clone(),
        declared: declared(&scenario.ink, &scenario.fabric),
        ride: ride.pass,
        belt_m_per_min: ride.belt_m_per_min,
        zones_c: zones,
        exit_c: None,
        belt_drift: BELT_DRIFT,
        zone_drift_c: ZONE_DRIFT,
        exit_drift_c: ZONE_DRIFT,
        ride_every_s: None,
        by: WHO.to_owned(),
        reference: None,
    };
    let locked = shift.ask(Command::LockRecipe(Box::new(recipe))).await;
    match locked.map_err(failed)? {
        Record::RecipeLocked(locked) => Ok(locked.recipe),
        other => Err(odd(&other)),
    }
}

/// The mean of what a channel showed between two moments.
fn mean(reader: &Reader, channel: &str, from: Micros, to: Micros) -> Result<Option<f64>, Failure> {
    let Some(channel) = reader.channel(SOURCE, channel).map_err(failed)? else {
        return Ok(None);
    };
    let (mut sum, mut count) = (0.0, 0_u32);
    for reading in reader.readings(channel, from, to) {
        if let Shown::Number(number) = reading.map_err(failed)?.shown {
            sum += number;
            count += 1;
        }
    }
    Ok((count > 0).then(|| sum / f64::from(count)))
}

/// The daemon answered with another record than was asked for.
fn odd(record: &Record) -> Failure {
    Failure::new(format!(
        "the daemon answered with a record of the kind {}; this is a fault of the program",
        record.kind()
    ))
}
