//! A station as it is now: what is in it, what has left it, and what is to be done about that.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::{Celsius, MetresPerSecond};
use inkdwell_config::shop::{Place, Probe, Shop};
use inkdwell_config::station::{Station, StationKind};
use inkdwell_cure::live::Latest;
use inkdwell_cure::plan::ProbeDoubt;

use super::alarms::stands;
use super::running::{self, Trip};
use crate::api::Api;
use crate::api::refusal::Refusal;
use crate::api::view::{AlarmView, Clock, order};
use crate::journal::{Holds, KeptBatch, KeptHold, KeptPass, PassQuery, Reader};
use crate::keeper::Keeper;
use crate::source::health::Line;
use crate::time::Micros;

/// So many prints stand in the strip.
const STRIP: u64 = 40;
/// A probe that said nothing for so long, in seconds, shows nothing now.
const STALE: f64 = 30.0;

/// The whole shop, now.
pub(super) struct ShopNow {
    pub(super) name: String,
    pub(super) units: Units,
    pub(super) now: Micros,
    pub(super) clock: Clock,
    pub(super) stations: Vec<StationNow>,
    /// Alarms that stand, what wants to be seen first.
    pub(super) alarms: Vec<AlarmView>,
    /// Sources that are not heard, with why.
    pub(super) down: Vec<(String, String)>,
    pub(super) disk_full: bool,
    /// Prints that have no batch.
    pub(super) unassigned: u64,
    pub(super) open_holds: usize,
    /// The number of the last record of evidence.
    pub(super) record: u64,
    /// For how many seconds an alarm may be put aside at most.
    pub(super) shelve_longest: f64,
}

/// A zone of the chamber.
pub(super) struct ZoneNow {
    pub(super) name: String,
    /// What its probe shows; `None` where it shows nothing.
    pub(super) shows: Option<f64>,
    /// What is set: the recipe's, else the air that the shop file declares.
    pub(super) set: Option<f64>,
}

/// One station, now.
pub(super) struct StationNow {
    pub(super) id: String,
    pub(super) name: String,
    pub(super) kind: StationKind,
    pub(super) belt: Option<MetresPerSecond>,
    /// Whether a signal tells it.
    pub(super) belt_is_live: bool,
    pub(super) zones: Vec<ZoneNow>,
    pub(super) batch: Option<KeptBatch>,
    /// The last prints, the newest first.
    pub(super) last: Vec<KeptPass>,
    /// Holds that nobody has settled, with their passes.
    pub(super) holds: Vec<(KeptHold, Vec<KeptPass>)>,
    /// The print in the heat, as its probe sees it; else the last one that a probe saw.
    pub(super) trip: Option<Trip>,
    /// Whether a source that it is read from is not heard.
    pub(super) is_blind: bool,
}

/// What the daemon's task knows of a station.
pub(super) struct Seen {
    pub(super) station: Station,
    pub(super) probes: Vec<SeenProbe>,
    belt: Option<MetresPerSecond>,
    belt_is_live: bool,
    batch: Option<u64>,
    sources: Vec<String>,
}

/// What it knows of a probe.
pub(super) struct SeenProbe {
    pub(super) probe: Probe,
    pub(super) doubt: Option<ProbeDoubt>,
    /// Since when a print is in the heat.
    pub(super) open: Option<Micros>,
    latest: Option<Latest>,
}

fn seen(keeper: &Keeper, station: &Station, now: Micros) -> Seen {
    let (shop, floor) = (keeper.shop(), keeper.floor());
    let own = |id: Option<&String>| id == Some(&station.id);
    let near = keeper.open_threshold(&station.id).unwrap_or(Celsius(160.0));
    let probes = shop
        .probes
        .iter()
        .filter(|probe| own(probe.station.as_ref()));
    let probes: Vec<SeenProbe> = probes
        .map(|probe| SeenProbe {
            // With the calibration that holds.
            probe: floor.probe(&probe.id).unwrap_or(probe).clone(),
            doubt: floor.doubt(&probe.id, near),
            open: floor.open_pass(&probe.id),
            latest: floor.latest(&probe.id),
        })
        .collect();
    let signals = shop
        .signals
        .iter()
        .filter(|signal| own(Some(&signal.station)));
    let sources = signals.filter_map(|signal| signal.source.clone());
    let sources = sources.chain(probes.iter().filter_map(|seen| seen.probe.source.clone()));
    Seen {
        station: station.clone(),
        belt: floor.belt(&station.id, now),
        belt_is_live: floor.belt_is_live(&station.id, now),
        batch: keeper.open_batch(&station.id),
        sources: sources.collect(),
        probes,
    }
}

/// Looks at the shop, or at one of its stations.
pub(super) async fn look(api: &Api, only: Option<String>) -> Result<ShopNow, Refusal> {
    let (name, units, looked, mut alarms, shelve_longest, now) = api
        .look(move |keeper, now| {
            let shop: &Shop = keeper.shop();
            let wanted = |station: &&Station| only.as_ref().is_none_or(|only| *only == station.id);
            let stations = shop.stations.iter().filter(wanted);
            let seen: Vec<Seen> = stations.map(|station| seen(keeper, station, now)).collect();
            let alarms: Vec<_> = keeper.alarms().cloned().collect();
            let longest = keeper.shelve_longest();
            (shop.name.clone(), shop.units, seen, alarms, longest, now)
        })
        .await?;
    alarms.sort_by_key(order);
    let disk_full = api.shift.disk_is_full();
    let mut down = Vec::new();
    for (id, health) in api.shift.sources() {
        if let Line::Down(why) = health.line() {
            down.push((id, why));
        }
    }
    let question = move |reader: &Reader, clock: &Clock| {
        let told = alarms
            .iter()
            .map(|alarm| AlarmView::new(alarm, units, clock));
        let told = told.filter(stands);
        let stations = looked.into_iter().map(|seen| {
            let is_blind = |source: &String| down.iter().any(|(id, _)| id == source);
            let blind = seen.sources.iter().any(is_blind);
            station(seen, blind, now, reader)
        });
        Ok(ShopNow {
            name,
            units,
            now,
            clock: clock.clone(),
            stations: stations.collect::<Result<_, Refusal>>()?,
            down,
            alarms: told.collect(),
            disk_full,
            unassigned: crate::api::batches::unassigned(reader)?,
            open_holds: reader.holds(Holds::Open)?.len(),
            record: reader.head()?.number.0,
            shelve_longest,
        })
    };
    api.read(question).await
}

fn station(
    seen: Seen,
    is_blind: bool,
    now: Micros,
    reader: &Reader,
) -> Result<StationNow, Refusal> {
    let batch = match seen.batch {
        Some(batch) => reader.batch(batch)?,
        None => None,
    };
    let last = reader.passes(&PassQuery {
        station: Some(seen.station.id.clone()),
        newest: Some(STRIP),
        ..PassQuery::default()
    })?;
    let mut holds = Vec::new();
    for kept in reader.holds(Holds::Open)? {
        if kept.hold.station == seen.station.id {
            let mut passes = Vec::new();
            for pass in &kept.passes {
                passes.extend(reader.pass(*pass)?);
            }
            holds.push((kept, passes));
        }
    }
    let trip = running::trip(reader, &seen, batch.as_ref(), &last, now)?;
    let recipe = match batch.as_ref().and_then(|batch| batch.batch.recipe) {
        Some(recipe) => reader.recipe(recipe)?.map(|kept| kept.recipe.zones_c),
        None => None,
    };
    Ok(StationNow {
        zones: zones(&seen, &recipe.unwrap_or_default(), now),
        id: seen.station.id,
        name: seen.station.name,
        kind: seen.station.kind,
        belt: seen.belt,
        belt_is_live: seen.belt_is_live,
        batch,
        last,
        holds,
        trip,
        is_blind,
    })
}

fn zones(seen: &Seen, recipe: &[(String, f64)], now: Micros) -> Vec<ZoneNow> {
    let probes = seen.probes.iter();
    let probes = probes.filter(|own| matches!(own.probe.place, Place::Zone | Place::Platen));
    let zone = |own: &SeenProbe| {
        let latest = own
            .latest
            .filter(|latest| now.seconds_since(latest.at) < STALE);
        let shows = latest.and_then(|latest| latest.value);
        let locked = recipe.iter().find(|(id, _)| *id == own.probe.id);
        let zone = own.probe.zone.map(|zone| zone as usize);
        let declared = zone.and_then(|zone| seen.station.zones.get(zone.checked_sub(1)?)?.air);
        let name = match (own.probe.place, own.probe.zone) {
            (Place::Platen, _) => "Platen".to_owned(),
            (_, Some(zone)) => format!("Zone {zone}"),
            (_, None) => own.probe.id.clone(),
        };
        ZoneNow {
            name,
            shows: shows.filter(|shows| shows.is_finite()),
            set: locked
                .map(|(_, celsius)| *celsius)
                .or(declared.map(|air| air.0)),
        }
    };
    probes.map(zone).collect()
}

impl ShopNow {
    /// The alarms that concern a station: its own, and the whole shop's. (What has become of prints, verdicts and
    /// holds say already.)
    pub(super) fn alarms_at<'a>(&'a self, station: &'a str) -> impl Iterator<Item = &'a AlarmView> {
        let at = move |alarm: &&AlarmView| {
            let is_here = alarm.station.as_deref().is_none_or(|own| own == station);
            is_here && !alarm.name.starts_with("print-")
        };
        self.alarms.iter().filter(at)
    }
}
