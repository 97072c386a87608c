//! The print in the heat: its film's temperature so far, and how far its doses have filled up.
//!
//! Its readings go through the same engine as they will when it has left the heat, only that here they end now. So
//! what is shown while it runs is what will be said of it, as far as it has come.

use inkdwell_config::library::Library;
use inkdwell_config::quantity::Celsius;
use inkdwell_config::quantity::Seconds;
use inkdwell_config::shop::{Place, Probe};
use inkdwell_config::station::StationKind;
use inkdwell_cure::engine::{Engine, EventKind};
use inkdwell_cure::judged::JudgedPass;
use inkdwell_cure::plan::{ChannelPlan, DEFAULT_MAX_GAP, DEFAULT_WAKE, PrintLaws, Watch};

use super::now::{Seen, SeenProbe};
use crate::api::refusal::Refusal;
use crate::api::ride::readings;
use crate::journal::{KeptBatch, KeptPass, Reader};
use crate::record::{Dose, HarmSeen};
use crate::time::Micros;

/// A trace is shown from so long before its print woke, in seconds.
const BEFORE: f64 = 10.0;
/// A print that is longer in the heat than this, in seconds, is shown from so long ago.
const LONGEST: f64 = 900.0;

/// What a temperature is held against.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Level {
    pub(super) name: String,
    pub(super) celsius: f64,
    /// Whether it is a limit, and not what is needed.
    pub(super) is_limit: bool,
}

/// A trip through the heat.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Trip {
    /// When it began.
    pub(super) since: Micros,
    /// Whether it goes on.
    pub(super) is_running: bool,
    /// The print's number in its batch, where it has left.
    pub(super) print: Option<u64>,
    /// Seconds from its beginning, and °C.
    pub(super) points: Vec<(f64, f64)>,
    pub(super) levels: Vec<Level>,
    /// The cure dose so far; `None` where nobody knows what the ink needs, or it is gelled only.
    pub(super) cure: Option<Dose>,
    pub(super) harms: Vec<HarmSeen>,
}

/// The trip that is shown of a station: the running one, else that of the last print that a probe saw.
pub(super) fn trip(
    reader: &Reader,
    seen: &Seen,
    batch: Option<&KeptBatch>,
    last: &[KeptPass],
    now: Micros,
) -> Result<Option<Trip>, Refusal> {
    let open = seen.probes.iter().filter_map(|own| Some((own, own.open?)));
    // The one that entered first leaves first.
    if let Some((own, since)) = open.min_by_key(|(_, since)| *since) {
        let since = since.max(now.plus_seconds(-LONGEST));
        return running(reader, seen, own, batch, since, now).map(Some);
    }
    let Some(kept) = last.iter().find(|kept| kept.pass.probe.is_some()) else {
        return Ok(None);
    };
    let own = seen.probes.iter();
    let mut own = own.filter(|own| Some(&own.probe.id) == kept.pass.probe.as_ref());
    match own.next() {
        Some(own) => ended(reader, &own.probe, kept).map(Some),
        None => Ok(None),
    }
}

/// A trip that is over.
pub(super) fn ended(reader: &Reader, probe: &Probe, kept: &KeptPass) -> Result<Trip, Refusal> {
    let pass = &kept.pass;
    let (from, to) = (
        pass.start.plus_seconds(-BEFORE),
        pass.end.plus_seconds(BEFORE),
    );
    let judged = pass.judged.as_ref();
    let batch = match pass.batch {
        Some(batch) => reader.batch(batch)?,
        None => None,
    };
    Ok(Trip {
        since: pass.start,
        is_running: false,
        print: pass.print.filter(|print| *print > 0),
        points: points(&readings(reader, probe, from, to)?, pass.start),
        levels: batch.map_or_else(Vec::new, |batch| Declared::of(&batch).levels()),
        cure: judged.and_then(|judged| judged.cure),
        harms: judged.map_or_else(Vec::new, |judged| judged.harms.clone()),
    })
}

fn points(readings: &[(Micros, f64)], since: Micros) -> Vec<(f64, f64)> {
    let points = readings.iter();
    points
        .map(|(at, celsius)| (at.seconds_since(since), *celsius))
        .collect()
}

fn running(
    reader: &Reader,
    seen: &Seen,
    own: &SeenProbe,
    batch: Option<&KeptBatch>,
    since: Micros,
    now: Micros,
) -> Result<Trip, Refusal> {
    let from = since.plus_seconds(-BEFORE);
    let film = points(&readings(reader, &own.probe, from, now)?, since);
    let declared = batch.map(Declared::of);
    let judged = match &declared {
        Some(declared) => {
            let cloth = cloth(reader, seen, from, now, since)?;
            declared.judged(seen, own, &film, &cloth)
        }
        None => None,
    };
    Ok(Trip {
        since,
        is_running: true,
        print: None,
        levels: declared.map_or_else(Vec::new, |declared| declared.levels()),
        cure: judged
            .as_ref()
            .and_then(|judged| judged.cure)
            .map(Dose::from),
        harms: judged.map_or_else(Vec::new, |judged| {
            judged.harms.iter().map(HarmSeen::from).collect()
        }),
        points: film,
    })
}

/// A probe on the cloth beside the print, and what it showed.
struct Beside<'a>(&'a SeenProbe, Vec<(f64, f64)>);

fn cloth<'a>(
    reader: &Reader,
    seen: &'a Seen,
    from: Micros,
    now: Micros,
    since: Micros,
) -> Result<Vec<Beside<'a>>, Refusal> {
    let cloth = seen
        .probes
        .iter()
        .filter(|own| own.probe.place == Place::Cloth);
    let cloth = cloth.map(|own| {
        let shown = readings(reader, &own.probe, from, now)?;
        Ok(Beside(own, points(&shown, since)))
    });
    cloth.collect()
}

/// What a batch's ink and fabric were declared as when it was opened.
struct Declared {
    library: Library,
    last_heat: bool,
}

impl Declared {
    fn of(batch: &KeptBatch) -> Declared {
        Declared {
            library: Library::parse("journal", &batch.batch.declared).value,
            last_heat: batch.batch.last_heat,
        }
    }

    /// Where its ink begins to cure and its fabric to take harm.
    fn levels(&self) -> Vec<Level> {
        let level = |name: &str, celsius: Celsius, is_limit| Level {
            name: name.to_owned(),
            celsius: celsius.0,
            is_limit,
        };
        let inks = self
            .library
            .inks()
            .iter()
            .map(|ink| level("threshold", ink.threshold, false));
        let fabrics = self.library.fabrics().iter();
        let harms = fabrics.flat_map(|fabric| &fabric.harms);
        let harms = harms.map(|harm| level(harm.harm.name(), harm.law.coolest().0, true));
        inks.chain(harms).collect()
    }

    /// What would be said of a print if it left the heat now.
    fn judged(
        &self,
        seen: &Seen,
        own: &SeenProbe,
        film: &[(f64, f64)],
        cloth: &[Beside<'_>],
    ) -> Option<JudgedPass> {
        let (ink, fabric) = (
            self.library.inks().first()?,
            self.library.fabrics().first()?,
        );
        let watch = match (seen.station.kind, self.last_heat) {
            (StationKind::BeltDryer, _) => Watch::Ride,
            (StationKind::FlashUnit, true) => Watch::FlashFinal,
            (StationKind::FlashUnit, false) => Watch::FlashGel,
        };
        let plan = ChannelPlan {
            laws: PrintLaws::new(ink, fabric),
            watch,
            doubt: own.doubt?,
            max_gap: seen.station.max_gap.unwrap_or(DEFAULT_MAX_GAP),
            wake: seen.station.wake.unwrap_or(DEFAULT_WAKE),
        };
        let mut engine = Engine::new();
        let channel = engine.add_channel(plan);
        for Beside(own, shown) in cloth {
            if let Some(doubt) = own.doubt {
                let cloth = engine.add_cloth(channel, &own.probe.id, doubt);
                for (at, celsius) in shown {
                    engine.feed_cloth(cloth, Seconds(*at), Some(Celsius(*celsius)));
                }
            }
        }
        let mut judged = None;
        let mut note = |event: inkdwell_cure::engine::Event| {
            if let EventKind::PassJudged(pass) = event.kind {
                judged = Some(*pass);
            }
        };
        engine.feed_all(channel, film, &mut note);
        engine.finish(&mut note);
        judged
    }
}
