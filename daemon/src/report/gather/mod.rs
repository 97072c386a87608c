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
mod tomorrow;

use std::collections::BTreeMap;

use inkdwell_config::display::Units;

use super::period::{Asked, Stretch, When};
use super::{Cost, Journal, Known, Period, Report, ReportError, SCHEMA, Shop, ShopFile};
use crate::api::view::{CAUTION, Clock};
use crate::journal::{Head, KeptBatch, KeptPass, PassQuery, Reader, RecordNumber};
use crate::time::Micros;
use crate::wall::WallTimes;

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
}

/// A batch with its prints that the report is about, in the order in which they began.
struct Run {
    kept: KeptBatch,
    passes: Vec<KeptPass>,
}

/// Gathers a report. Without a shop file its times are in UTC and nothing is drawn that wants a probe's meaning. It rests on
/// the records up to `as_of`, or on all that there are. `made` is the present moment, in microseconds since 1970 UTC.
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
    let clock = Clock {
        walls: WallTimes::of(reader)?,
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
    };
    let (runs, without) = desk.runs(asked)?;
    desk.narrow(&runs, &without);
    let all: u64 = runs.iter().map(|run| run.passes.len() as u64).sum();
    desk.listed = all <= MOST_LISTED;
    desk.curved = runs.len() <= MOST_CURVED;
    desk.report(asked, &runs, &without, head, made)
}

impl Desk<'_> {
    /// The batches with their prints, and the prints that have no batch.
    fn runs(&self, asked: &Asked) -> Result<(Vec<Run>, Vec<KeptPass>), ReportError> {
        let (from, before) = match self.stretch {
            Some(_) => (Some(self.from), Some(self.before)),
            None => (None, None),
        };
        let query = PassQuery {
            from,
            before,
            station: asked.station.clone(),
            batch: match asked.when {
                When::Batch(batch) => Some(batch),
                _ => None,
            },
            ..PassQuery::default()
        };
        let mut by_batch: BTreeMap<u64, Vec<KeptPass>> = BTreeMap::new();
        let mut without = Vec::new();
        self.reader
            .each_pass_as_of(&query, self.as_of, |mut kept| {
                if !self.holds(kept.pass.start) {
                    return;
                }
                if let Some(judged) = &mut kept.pass.judged {
                    judged.remarks = Vec::new();
                }
                match kept.pass.batch {
                    Some(batch) => by_batch.entry(batch).or_default().push(kept),
                    None => without.push(kept),
                }
            })?;
        for batch in self.touched(asked)? {
            by_batch.entry(batch).or_default();
        }
        let mut runs = Vec::new();
        for (number, passes) in by_batch {
            let Some(kept) = self.reader.batch_as_of(number, self.as_of)? else {
                continue;
            };
            if self.wanted(asked, &kept) {
                runs.push(Run { kept, passes });
            }
        }
        if let When::Batch(batch) = asked.when
            && runs.is_empty()
        {
            return Err(ReportError::NoBatch(batch));
        }
        if asked.job.is_some() {
            without.clear();
        }
        Ok((runs, without))
    }

    /// Batches that are told of even if they have no print.
    fn touched(&self, asked: &Asked) -> Result<Vec<u64>, ReportError> {
        if let When::Batch(batch) = asked.when {
            return Ok(vec![batch]);
        }
        let touched = self.reader.batches_touched(self.from, self.before)?;
        Ok(touched)
    }

    fn wanted(&self, asked: &Asked, kept: &KeptBatch) -> bool {
        let job = asked.job.as_ref();
        let job = job.is_none_or(|job| kept.batch.job.to_lowercase() == job.to_lowercase());
        let station = asked.station.as_ref();
        job && station.is_none_or(|station| *station == kept.batch.station)
    }

    /// Whether a moment belongs to what is asked about.
    fn holds(&self, at: Micros) -> bool {
        let stretch = self.stretch.as_ref();
        stretch.is_none_or(|stretch| stretch.contains(at, &self.clock.walls))
    }

    /// Where nothing says when, the batches do.
    fn narrow(&mut self, runs: &[Run], without: &[KeptPass]) {
        if self.stretch.is_some() {
            return;
        }
        let opened = runs.iter().map(|run| run.kept.opened);
        let closed = runs
            .iter()
            .filter_map(|run| run.kept.closed.as_ref().map(|(at, _)| *at));
        let passes = || runs.iter().flat_map(|run| &run.passes).chain(without);
        let first = opened.chain(passes().map(|kept| kept.pass.start)).min();
        let last = closed.chain(passes().map(|kept| kept.pass.end)).max();
        if let (Some(first), Some(last)) = (first, last) {
            self.from = first;
            self.before = Micros(last.0 + 1);
        }
    }

    fn report(
        &self,
        asked: &Asked,
        runs: &[Run],
        without: &[KeptPass],
        head: Head,
        made: Micros,
    ) -> Result<Report, ReportError> {
        let batches = runs
            .iter()
            .map(|run| self.batch(run))
            .collect::<Result<Vec<_>, _>>()?;
        let chamber = self.chamber(runs, without, asked)?;
        let probes = self.probes(runs, without)?;
        let (happenings, totals) = self.happenings(asked, runs, without)?;
        let counts = answer::counts(batches.iter().flat_map(|batch| batch.counts.iter()));
        let scrapped = scrapped(&batches);
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
            answer: answer::answer(&batches, without.len() as u64),
            counts,
            prints: batches.iter().map(|batch| batch.proof.prints).sum(),
            without_batch: without.len() as u64,
            tomorrow: Vec::new(),
            holds_open: batches
                .iter()
                .flat_map(|batch| &batch.holds)
                .filter(|hold| hold.settled.is_none())
                .count() as u64,
            scrapped,
            alarms: self.alarms(asked)?,
            chamber,
            probes,
            totals,
            happenings,
            remarks: self.remarks(without.len() as u64)?,
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
                None => Known::not("No shop file was named."),
            },
            timezone: self.clock.zone.name().to_owned(),
            us_units: self.units == Units::Us,
            file_sha256: self.shop.map(|file| file.sha256.clone()),
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
            None => remarks.push(
                "No shop file was named: times are in UTC, and neither rides nor the chamber can be drawn. Name it \
                 with --shop."
                    .to_owned(),
            ),
            Some(file) => {
                if let Some(held) = self.shop_that_held()?
                    && held != file.sha256
                {
                    remarks.push(
                        "The shop file that was named is another one than the daemon had loaded last: names, zones and \
                         probes may have been declared otherwise then. Verdicts rest on what held then."
                            .to_owned(),
                    );
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

/// What was scrapped in all batches.
fn scrapped(batches: &[super::Batch]) -> Cost {
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
