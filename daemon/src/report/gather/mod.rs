//! Reads a report from the journal.

mod alarms;
mod answer;
mod batch;
mod chamber;
mod figures;
mod happenings;
mod probes;
mod proof;
mod rides;
mod sign_offs;
mod tally;
mod tomorrow;

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::rc::Rc;

use inkdwell_config::display::Units;

use super::period::{Asked, Stretch, When};
use super::{Batch, Cost, Journal, Known, Period, Report, ReportError, SCHEMA, Shop, ShopFile};
use crate::api::view::{CAUTION, Clock};
use crate::journal::{Head, KeptBatch, KeptPass, PassQuery, Reader, RecordNumber};
use crate::record::RecipeLocked;
use crate::time::Micros;
use crate::wall::WallTimes;
use tally::Tally;

/// Why what wants the shop file is not known.
const NO_SHOP_FILE: &str =
    "The journal keeps no shop file from then, and none was named with --shop.";

/// More prints than this are not listed one by one: nobody reads as many, and a year has hundreds of thousands.
const MOST_LISTED: u64 = 20_000;
/// Longer than this no chamber is drawn: a day is what people look at.
const LONGEST_CHAMBER: f64 = 3.0 * 86_400.0;
/// More batches than this have no curves.
const MOST_CURVED: usize = 60;

/// What all parts of a report are made from.
struct Desk<'a> {
    reader: &'a Reader,
    shop: Option<&'a ShopFile>,
    as_of: RecordNumber,
    clock: Clock,
    units: Units,
    stretch: Option<Stretch>,
    /// Moments of the steady time around everything that the report is about.
    from: Micros,
    before: Micros,
    /// Whether prints are listed one by one.
    listed: bool,
    /// Whether rides are drawn.
    curved: bool,
    /// Recipes that were looked up: many batches have the same, and each carries a whole ride.
    recipes: RefCell<BTreeMap<u64, Option<Rc<RecipeLocked>>>>,
}

/// A batch with its prints that the report is about, in the order in which they began.
struct Run<'a> {
    kept: &'a KeptBatch,
    passes: Vec<KeptPass>,
}

/// Gathers a report. What a probe's readings mean, the time zone and the units come from the shop file that held when
/// the time ended, as the journal keeps it, or from another one that is given. Where there is neither, times are in UTC
/// and nothing is drawn that wants a probe's meaning. The report rests on the records up to `as_of`, or on all that
/// there are. `made` is the present moment, in microseconds since 1970 UTC.
///
/// # Errors
/// When the journal cannot be read, or has not what is asked about.
pub fn gather(
    reader: &Reader,
    shop: Option<&ShopFile>,
    asked: &Asked,
    as_of: Option<Head>,
    made: Micros,
) -> Result<Report, ReportError> {
    let head = match as_of {
        Some(head) => head,
        None => reader.head()?,
    };
    if head.number > reader.head()?.number {
        return Err(ReportError::NoHead(head.number.0));
    }
    let walls = WallTimes::of(reader)?;
    let kept = match shop {
        None => ShopFile::held_as_of(reader, &asked.when, &walls, head.number)?,
        Some(_) => None,
    };
    let shop = shop.or(kept.as_ref());
    let clock = Clock {
        walls,
        zone: shop.map_or(chrono_tz::UTC, |file| file.shop.timezone),
    };
    let stretch = asked.when.stretch(clock.zone);
    let (from, before) = match &stretch {
        Some(stretch) => stretch.steady(&clock.walls),
        None => (Micros(i64::MIN), Micros(i64::MAX)),
    };
    let mut desk = Desk {
        reader,
        shop,
        as_of: head.number,
        units: shop.map_or(Units::Metric, |file| file.shop.units),
        clock,
        stretch,
        from,
        before,
        listed: true,
        curved: true,
        recipes: RefCell::default(),
    };
    let chosen = desk.chosen(asked)?;
    let all: u64 = chosen.iter().map(|(_, passes)| passes).sum();
    desk.listed = all <= MOST_LISTED;
    desk.curved = chosen.len() <= MOST_CURVED;
    let mut tally = Tally::default();
    let batches = desk.batches(&chosen, &mut tally)?;
    let without = desk.without_batch(asked, &mut tally)?;
    desk.narrow(&chosen, &tally);
    desk.report(asked, batches, without, &tally, head, made)
}

impl Desk<'_> {
    /// The batches that the report is about, each with about how many prints.
    fn chosen(&self, asked: &Asked) -> Result<Vec<(KeptBatch, u64)>, ReportError> {
        let mut numbers: BTreeMap<u64, u64> = BTreeMap::new();
        match asked.when {
            When::Batch(batch) => {
                numbers.insert(batch, 0);
            }
            _ => {
                let touched = self.reader.batches_touched(self.from, self.before)?;
                numbers.extend(touched.into_iter().map(|batch| (batch, 0)));
                let station = asked.station.as_deref();
                let with_passes =
                    self.reader
                        .batches_of_passes(self.from, self.before, station, self.as_of)?;
                numbers.extend(with_passes);
            }
        }
        let mut chosen = Vec::new();
        for (number, passes) in numbers {
            let Some(kept) = self.reader.batch_as_of(number, self.as_of)? else {
                continue;
            };
            if wanted(asked, &kept) {
                chosen.push((kept, passes));
            }
        }
        match asked.when {
            When::Batch(batch) if chosen.is_empty() => Err(ReportError::NoBatch(batch)),
            _ => Ok(chosen),
        }
    }

    /// Goes over one batch after the other.
    fn batches(
        &self,
        chosen: &[(KeptBatch, u64)],
        tally: &mut Tally,
    ) -> Result<Vec<Batch>, ReportError> {
        let tests = self.tests(chosen.iter().map(|(kept, _)| kept.opened).min())?;
        let mut batches = Vec::with_capacity(chosen.len());
        for (kept, _) in chosen {
            let mut passes = Vec::new();
            self.each_pass(
                PassQuery {
                    batch: Some(kept.batch.batch),
                    ..PassQuery::default()
                },
                |pass| {
                    tally.note(&pass);
                    passes.push(pass);
                },
            )?;
            let run = Run { kept, passes };
            let tests = tests.get(&kept.batch.batch);
            batches.push(self.batch(&run, tests.map_or(&[], Vec::as_slice))?);
        }
        Ok(batches)
    }

    /// How many prints belong to no batch.
    fn without_batch(&self, asked: &Asked, tally: &mut Tally) -> Result<u64, ReportError> {
        // Of a job or a batch they are not.
        if asked.job.is_some() || matches!(asked.when, When::Batch(_)) {
            return Ok(0);
        }
        let query = PassQuery {
            station: asked.station.clone(),
            without_batch: true,
            ..PassQuery::default()
        };
        let mut without = 0;
        self.each_pass(query, |pass| {
            tally.note(&pass);
            without += 1;
        })?;
        Ok(without)
    }

    /// Hands out the passes of the time in the order in which they began.
    fn each_pass(
        &self,
        query: PassQuery,
        mut each: impl FnMut(KeptPass),
    ) -> Result<(), ReportError> {
        let query = PassQuery {
            from: self.stretch.map(|_| self.from),
            before: self.stretch.map(|_| self.before),
            ..query
        };
        self.reader.each_pass_as_of(&query, self.as_of, |kept| {
            if self.holds(kept.pass.start) {
                each(kept);
            }
        })?;
        Ok(())
    }

    /// Whether a moment belongs to what is asked about.
    fn holds(&self, at: Micros) -> bool {
        let stretch = self.stretch.as_ref();
        stretch.is_none_or(|stretch| stretch.contains(at, &self.clock.walls))
    }

    /// Where nothing says when, the batches do.
    fn narrow(&mut self, chosen: &[(KeptBatch, u64)], tally: &Tally) {
        if self.stretch.is_some() {
            return;
        }
        let opened = chosen.iter().map(|(kept, _)| kept.opened);
        let closed = chosen
            .iter()
            .filter_map(|(kept, _)| kept.closed.as_ref().map(|(at, _)| *at));
        let first = opened.chain(tally.first).min();
        let last = closed.chain(tally.last).max();
        if let (Some(first), Some(last)) = (first, last) {
            self.from = first;
            self.before = Micros(last.0 + 1);
        }
    }

    fn report(
        &self,
        asked: &Asked,
        batches: Vec<Batch>,
        without: u64,
        tally: &Tally,
        head: Head,
        made: Micros,
    ) -> Result<Report, ReportError> {
        let (happenings, totals) = self.happenings(asked, tally)?;
        let mut report = Report {
            schema: SCHEMA.to_owned(),
            program: env!("CARGO_PKG_VERSION").to_owned(),
            // It was never the daemon's own time.
            made: self.made(made),
            shop: self.shop(),
            period: self.period(asked),
            journal: Journal {
                head: head.to_string(),
                record: head.number.0,
                fingerprint: String::new(),
            },
            answer: answer::answer(&batches, without),
            counts: answer::counts(batches.iter().flat_map(|batch| batch.counts.iter())),
            prints: batches.iter().map(|batch| batch.proof.prints).sum(),
            without_batch: without,
            tomorrow: Vec::new(),
            holds_open: batches
                .iter()
                .flat_map(|batch| &batch.holds)
                .filter(|hold| hold.settled.is_none())
                .count() as u64,
            scrapped: scrapped(&batches),
            alarms: self.alarms(asked)?,
            chamber: self.chamber(tally, asked)?,
            probes: self.probes(tally)?,
            totals,
            happenings,
            remarks: self.remarks(without)?,
            caution: CAUTION.to_owned(),
            batches,
        };
        report.tomorrow = tomorrow::advice(&report, self.units);
        report.journal.fingerprint = report.reckon_fingerprint()?;
        Ok(report)
    }

    fn made(&self, made: Micros) -> crate::api::view::Moment {
        let time = chrono::DateTime::from_timestamp_micros(made.0).unwrap_or_default();
        let local = time.with_timezone(&self.clock.zone).fixed_offset();
        crate::api::view::Moment {
            at: local.to_rfc3339_opts(chrono::SecondsFormat::Millis, false),
            steady_s: made.0 as f64 / 1e6,
        }
    }

    fn shop(&self) -> Shop {
        Shop {
            name: match self.shop {
                Some(file) => Known::Is(file.shop.name.clone()),
                None => Known::not(NO_SHOP_FILE),
            },
            timezone: self.clock.zone.name().to_owned(),
            us_units: self.units == Units::Us,
            file_sha256: self.shop.map(|file| file.sha256.clone()),
            file_record: self.shop.and_then(|file| file.record),
        }
    }

    fn period(&self, asked: &Asked) -> Period {
        let told = |at: Micros| {
            let time = chrono::DateTime::from_timestamp_micros(at.0).unwrap_or_default();
            let local = time.with_timezone(&self.clock.zone).fixed_offset();
            local.to_rfc3339_opts(chrono::SecondsFormat::Micros, false)
        };
        Period {
            kind: asked.when.kind().to_owned(),
            title: asked.when.title(self.clock.zone),
            from: self.stretch.map(|stretch| told(stretch.from)),
            before: self.stretch.map(|stretch| told(stretch.before)),
            batch: match asked.when {
                When::Batch(batch) => Some(batch),
                _ => None,
            },
            station: asked.station.clone(),
            job: asked.job.clone(),
        }
    }

    fn remarks(&self, without: u64) -> Result<Vec<String>, ReportError> {
        let mut remarks = Vec::new();
        match self.shop {
            None => remarks.push(format!(
                "{NO_SHOP_FILE} Times are in UTC, and neither rides nor the chamber can be drawn."
            )),
            Some(file) if file.record.is_none() => {
                let held = self.reader.shop_as_of(self.before, self.as_of)?;
                if held.is_some_and(|held| held.declared.sha256 != file.sha256) {
                    remarks.push(
                        "The shop file that was named is another one than held then: names, zones and probes may have \
                         been declared otherwise. Verdicts rest on what held then."
                            .to_owned(),
                    );
                }
            }
            Some(_) => {
                let held = self
                    .reader
                    .shops_between(self.from, self.before, self.as_of)?;
                if held > 1 {
                    remarks.push(format!(
                        "The shop file was changed: {held} held one after the other. What a probe's readings mean is \
                         taken from the last of them; verdicts rest on what held then."
                    ));
                }
            }
        }
        if !self.listed {
            remarks.push(format!(
                "More than {MOST_LISTED} prints: they are not listed one by one. Ask by the day or by the batch for \
                 each print's proof."
            ));
        }
        if without > 0 {
            remarks.push(format!(
                "{} without a batch: nobody can say what their ink needed. Give them to one with `inkdwell batch \
                 assign`.",
                super::words::prints(without)
            ));
        }
        Ok(remarks)
    }
}

fn wanted(asked: &Asked, kept: &KeptBatch) -> bool {
    let job = asked.job.as_ref();
    let job = job.is_none_or(|job| kept.batch.job.to_lowercase() == job.to_lowercase());
    let station = asked.station.as_ref();
    job && station.is_none_or(|station| *station == kept.batch.station)
}

/// What was scrapped in all batches.
fn scrapped(batches: &[Batch]) -> Cost {
    let own = batches.iter().map(|batch| &batch.scrapped);
    let prints = own.clone().map(|cost| cost.prints).sum();
    let unpriced: u64 = own
        .clone()
        .filter(|cost| cost.money.known().is_none())
        .map(|cost| cost.prints)
        .sum();
    let money = match unpriced {
        0 => Known::Is(own.filter_map(|cost| cost.money.known()).sum()),
        unpriced => Known::not(format!(
            "Nobody said what the blanks of {unpriced} of them cost; `inkdwell batch open --blank-cost` does."
        )),
    };
    Cost { prints, money }
}
