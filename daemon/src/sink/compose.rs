//! From a record to what is sent of it.

use std::collections::HashMap;

use inkdwell_config::quantity::Seconds;
use inkdwell_config::shop::{Sends, Shop, Sink};

use super::alarm::{self, Wanted};
use super::message::{Event, Message, Verdict};
use crate::api::view::{CAUTION, Clock, sentence};
use crate::journal::{AsideNumber, ChainedRecord, ReadError, Reader};
use crate::record::{BatchOpened, Judged, PassJudged, Record, Settled};
use crate::time::Micros;

/// So many batches are remembered.
const BATCHES: usize = 64;

/// Something to be sent, and where it stands in the journal.
#[derive(Debug, Clone)]
pub(super) struct Letter {
    /// The record's number.
    pub(super) record: u64,
    /// When, on the wall clock, in microseconds since 1970-01-01 00:00 UTC: of a verdict, when the print left
    /// the heat.
    pub(super) shown: Micros,
    pub(super) message: Message,
    /// What it is among the things that were set aside, where it is sent again.
    pub(super) aside: Option<AsideNumber>,
}

/// Composes messages for one sink.
#[derive(Debug, Clone)]
pub(super) struct Composer {
    shop: String,
    sends: Sends,
    alarms: Wanted,
    batches: HashMap<u64, BatchOpened>,
}

impl Composer {
    pub(super) fn new(shop: &Shop, sink: &Sink, delay: Option<Seconds>) -> Composer {
        Composer {
            shop: shop.name.clone(),
            sends: sink.sends,
            alarms: Wanted::of(sink, delay),
            batches: HashMap::new(),
        }
    }

    /// What is to be sent of a record; `None` if nothing.
    pub(super) fn letter(
        &mut self,
        reader: &Reader,
        clock: &Clock,
        record: &ChainedRecord,
    ) -> Result<Option<Letter>, ReadError> {
        let (message, at) = match &record.kept.record {
            Record::PassJudged(_) | Record::PassAssigned(_) if !self.sends.verdicts => {
                return Ok(None);
            }
            Record::PassJudged(pass) => {
                let verdict = self.verdict(reader, clock, record, pass, None)?;
                (Message::Verdict(verdict), pass.end)
            }
            Record::PassAssigned(assigned) => {
                let Some(kept) = reader.pass(assigned.pass)? else {
                    return Ok(None);
                };
                let pass = PassJudged {
                    batch: Some(assigned.batch),
                    print: Some(assigned.print),
                    judged: Some(assigned.judged.clone()),
                    ..kept.pass
                };
                let by = Some(assigned.by.clone());
                let verdict = self.verdict(reader, clock, record, &pass, by)?;
                (Message::Verdict(verdict), pass.end)
            }
            Record::AlarmChanged(changed) => {
                let at = record.kept.at;
                if !self.sends.alarms || !self.alarms.takes(reader, at, changed)? {
                    return Ok(None);
                }
                let alarm = alarm::told(&self.shop, identity(record), clock, record, changed);
                (Message::Alarm(Box::new(alarm)), at)
            }
            // What the shop's own file says is nobody else's.
            Record::ShopDeclared(_) => return Ok(None),
            _ if !self.sends.events => return Ok(None),
            other => {
                let event = self.event(reader, clock, record, other)?;
                (Message::Event(event), record.kept.at)
            }
        };
        Ok(Some(Letter {
            record: record.kept.number.0,
            shown: clock.walls.shown(at),
            message,
            aside: None,
        }))
    }

    fn verdict(
        &mut self,
        reader: &Reader,
        clock: &Clock,
        record: &ChainedRecord,
        pass: &PassJudged,
        assigned_by: Option<String>,
    ) -> Result<Box<Verdict>, ReadError> {
        let batch = match pass.batch {
            Some(batch) => self.batch(reader, batch)?.cloned(),
            None => None,
        };
        let batch = batch.as_ref();
        let judged = pass.judged.as_ref();
        let seen = judged.filter(|judged| judged.evidence != "none");
        let figure = |figure: fn(&Judged) -> f64| seen.map(figure);
        Ok(Box::new(Verdict {
            schema: "inkdwell.verdict/1".to_owned(),
            id: identity(record),
            shop: self.shop.clone(),
            station: pass.station.clone(),
            record: record.kept.number.0,
            at: clock.moment(pass.end).at,
            pass: pass.pass,
            probe: pass.probe.clone(),
            place: pass.place,
            start: clock.moment(pass.start).at,
            batch: pass.batch,
            print: pass.print,
            job: batch.map(|batch| batch.job.clone()),
            ink: batch.map(|batch| batch.ink.clone()),
            fabric: batch.map(|batch| batch.fabric.clone()),
            belt_m_per_min: pass.belt_m_per_min,
            evidence: judged.map(|judged| judged.evidence.clone()),
            verdict: judged.map(|judged| judged.verdict.clone()),
            harm: judged.and_then(|judged| judged.harm.clone()),
            peak_c: figure(|judged| judged.peak_c),
            threshold_c: judged.map(|judged| judged.threshold_c),
            time_above_s: figure(|judged| judged.time_above_s),
            uncertainty_c: figure(|judged| judged.uncertainty_c),
            cure: judged.and_then(|judged| judged.cure),
            harms: judged.map_or_else(Vec::new, |judged| judged.harms.clone()),
            reasons: judged.map_or_else(Vec::new, |judged| judged.reasons.clone()),
            remarks: judged.map_or_else(Vec::new, |judged| judged.remarks.clone()),
            assigned_by,
            caution: CAUTION.to_owned(),
        }))
    }

    fn batch(&mut self, reader: &Reader, number: u64) -> Result<Option<&BatchOpened>, ReadError> {
        if !self.batches.contains_key(&number)
            && let Some(kept) = reader.batch(number)?
        {
            if self.batches.len() >= BATCHES {
                self.batches.clear();
            }
            self.batches.insert(number, kept.batch);
        }
        Ok(self.batches.get(&number))
    }

    fn event(
        &mut self,
        reader: &Reader,
        clock: &Clock,
        record: &ChainedRecord,
        body: &Record,
    ) -> Result<Event, ReadError> {
        let of_batch = |composer: &mut Composer, batch| {
            let batch = composer.batch(reader, batch)?;
            Ok::<_, ReadError>(batch.map(|batch| batch.station.clone()))
        };
        let of_hold = |hold| Ok::<_, ReadError>(reader.hold(hold)?.map(|kept| kept.hold.station));
        let of_recipe =
            |recipe| Ok::<_, ReadError>(reader.recipe(recipe)?.map(|kept| kept.recipe.station));
        let mut kind = body.kind().to_owned();
        let (station, text) = match body {
            Record::BatchOpened(batch) => (
                Some(batch.station.clone()),
                format!(
                    "Batch {} was opened by {}: {}, {} on {}.",
                    batch.batch, batch.by, batch.job, batch.ink, batch.fabric
                ),
            ),
            Record::BatchClosed(closed) => (
                of_batch(self, closed.batch)?,
                format!("Batch {} was closed by {}.", closed.batch, closed.by),
            ),
            Record::BatchNoted(note) => (
                of_batch(self, note.batch)?,
                format!("{} noted to batch {}: {}", note.by, note.batch, note.note),
            ),
            Record::HoldOpened(hold) => (
                Some(hold.station.clone()),
                format!(
                    "Hold {}: pull prints from the catch bin, {}.",
                    hold.hold, hold.verdict
                ),
            ),
            Record::HoldJoined(joined) => (
                of_hold(joined.hold)?,
                format!(
                    "The print of pass {} belongs to hold {}.",
                    joined.pass, joined.hold
                ),
            ),
            Record::HoldSettled(settled) => {
                let outcome = match settled.outcome {
                    Settled::ReRun => "sent through the heat again",
                    Settled::Scrapped => "scrapped",
                    Settled::Released => "released",
                };
                let text = format!(
                    "Hold {} was settled by {}, its prints {outcome}: {}",
                    settled.hold, settled.by, settled.why
                );
                (of_hold(settled.hold)?, text)
            }
            Record::RecipeLocked(recipe) => (
                Some(recipe.station.clone()),
                format!(
                    "Recipe {} was locked by {} from the ride of pass {}.",
                    recipe.recipe, recipe.by, recipe.ride
                ),
            ),
            Record::RecipeRetired(retired) => (
                of_recipe(retired.recipe)?,
                format!(
                    "Recipe {} was retired by {}: {}",
                    retired.recipe, retired.by, retired.why
                ),
            ),
            Record::Calibrated(made) => (
                None,
                format!(
                    "Probe {} was calibrated by {} on {}.",
                    made.probe, made.by, made.date
                ),
            ),
            Record::Occurred(occurred) => {
                let word = serde_json::to_value(&occurred.what).ok();
                let word = word.and_then(|json| Some(json.get("event")?.as_str()?.to_owned()));
                kind = word.unwrap_or(kind);
                (occurred.station.clone(), sentence(&occurred.what))
            }
            other => (
                None,
                format!("A record of the kind {} was made.", other.kind()),
            ),
        };
        Ok(Event {
            schema: "inkdwell.event/1".to_owned(),
            id: identity(record),
            shop: self.shop.clone(),
            station,
            record: record.kept.number.0,
            at: clock.moment(record.kept.at).at,
            kind,
            text,
        })
    }
}

/// By which a record is known again, all over the world: half of its hash is enough.
fn identity(record: &ChainedRecord) -> String {
    let mut hash = record.hash.to_string();
    hash.truncate(32);
    hash
}
