//! `--place exit`: every print that passed an exit probe, judged by inferred evidence.
//!
//! The heat model is fitted to the reference ride. Where in an object the print itself lies is learned there
//! too: it is what the exit probe saw when the ridden print passed it, in distance from the object's leading
//! edge. The same place is read in every later object, whatever the belt's speed.

use inkdwell_config::quantity::{Celsius, CelsiusDifference, Metres, MetresPerSecond, Share};
use inkdwell_config::shop::{Place, SignalKind};
use inkdwell_config::station::Station;
use inkdwell_cure::exit::judge::{judge as judge_inferred, no_evidence};
use inkdwell_cure::exit::objects::{Object, Seen, find, mean_between};
use inkdwell_cure::good_samples;
use inkdwell_cure::heat::fit::{ExitProbe, ExitReading, Fit, FitOptions, fit};
use inkdwell_cure::judged::JudgedPass;
use inkdwell_cure::plan::PrintLaws;
use inkdwell_cure::reason::Reason;
use inkdwell_cure::remark::Remark;
use inkdwell_cure::trace_file::{ColumnKind, Notes};

use super::call::{Call, Named};
use super::channels::{Context, Heading};
use super::file::Found;
use super::spool::{Spool, Writer};
use crate::failure::Failure;
use crate::ride_file::{RideFile, RideOf, Trace, note};

/// How far a speed that is only noted is doubted, k = 2.
const NOTED_DOUBT: Share = Share(0.15);
/// How far a signal is, k = 2.
const SIGNAL_DOUBT: Share = Share(0.02);
/// The room where nothing notes it.
const USUAL_ROOM: Celsius = Celsius(22.0);
/// Two readings of one infrared probe on one kind of print agree within this, k = 2, unless the shop file
/// says otherwise.
const REPEATS: CelsiusDifference = CelsiusDifference(1.0);
/// So much of the print is read on either side of its place at least, in metres.
const HALF_WINDOW: f64 = 0.02;

/// The reference ride, ready to be held against.
pub(super) struct Reference<'a> {
    fit: Fit,
    reading: ExitReading,
    probe: ExitProbe,
    /// From an object's leading edge to the print's place, in metres.
    place: f64,
    half_window: f64,
    /// The belt's own temperature at the exit.
    belt_level: f64,
    station: &'a Station,
    room: Option<Celsius>,
}

/// An exit trace along the belt.
struct ExitTrace {
    seen: Vec<Seen>,
    /// The belt's speed by time, in metres a second; one entry where it is only noted.
    speeds: Vec<(f64, f64)>,
    noted: bool,
}

impl ExitTrace {
    fn new(file: &str, trace: &Trace, channel: &str) -> Result<ExitTrace, Failure> {
        let column = trace.columns.iter().position(|column| {
            column.kind.is_temperature() && (column.name == channel || column.header == channel)
        });
        let column = column.ok_or_else(|| {
            let what = format_args!("has no exit channel {channel:?}");
            Failure::of_file(file, what, "name the probe's column after it, as exit_c")
        })?;
        let (speeds, noted) = speeds(file, trace)?;
        let mut way = Way::new(&speeds);
        let seen = good_samples(&trace.series[column])
            .into_iter()
            .map(|(time, celsius)| Seen {
                time,
                way: way.at(time),
                celsius,
            })
            .collect();
        Ok(ExitTrace {
            seen,
            speeds,
            noted,
        })
    }

    /// The mean speed over a stretch of time.
    fn mean_speed(&self, from: f64, to: f64) -> f64 {
        if self.noted || to <= from {
            return self.speeds.first().map_or(0.0, |speed| speed.1);
        }
        let mut way = Way::new(&self.speeds);
        let start = way.at(from);
        (way.at(to) - start) / (to - from)
    }
}

/// The belt's speeds by time: its signal, else the note.
fn speeds(file: &str, trace: &Trace) -> Result<(Vec<(f64, f64)>, bool), Failure> {
    let signal = trace
        .columns
        .iter()
        .position(|column| matches!(column.kind, ColumnKind::Belt(_)));
    if let Some(signal) = signal {
        let good: Vec<(f64, f64)> = trace.series[signal]
            .iter()
            .copied()
            .filter(|s| s.1 >= 0.0 && s.1 < 10.0)
            .collect();
        if !good.is_empty() {
            return Ok((good, false));
        }
    }
    match note::<MetresPerSecond>(file, &trace.notes, "belt")? {
        Some(speed) if speed.0 > 0.0 => Ok((vec![(0.0, speed.0)], true)),
        _ => Err(Failure::of_file(
            file,
            "nothing says how fast the belt ran",
            "record a belt signal such as belt_m_per_min, or add a note such as \"# belt: 2.6 m/min\"",
        )),
    }
}

/// The belt's way by time, from its speeds: each holds until the next.
struct Way<'a> {
    speeds: &'a [(f64, f64)],
    next: usize,
    time: f64,
    way: f64,
}

impl<'a> Way<'a> {
    fn new(speeds: &'a [(f64, f64)]) -> Way<'a> {
        Way {
            speeds,
            next: 0,
            time: 0.0,
            way: 0.0,
        }
    }

    /// The way at a time; times do not go backwards.
    fn at(&mut self, time: f64) -> f64 {
        while self
            .speeds
            .get(self.next + 1)
            .is_some_and(|next| next.0 <= time)
        {
            let until = self.speeds[self.next + 1].0;
            self.way += self.speeds[self.next].1 * (until - self.time).max(0.0);
            self.time = self.time.max(until);
            self.next += 1;
        }
        self.way + self.speeds.get(self.next).map_or(0.0, |speed| speed.1) * (time - self.time)
    }
}

/// The exit probe of a station in the shop file, nearest to the heat.
fn probe_of<'a>(
    call: &'a Call,
    station: &Station,
) -> Result<&'a inkdwell_config::shop::Probe, Failure> {
    let shop = call.shop.as_ref();
    let probes = shop
        .into_iter()
        .flat_map(|shop| &shop.probes)
        .filter(|probe| {
            probe.place == Place::Exit && probe.station.as_ref().is_some_and(|id| *id == station.id)
        });
    let near = |probe: &&inkdwell_config::shop::Probe| {
        probe
            .distance
            .map_or(u64::MAX, |distance| (distance.0 * 1e6) as u64)
    };
    probes.min_by_key(near).ok_or_else(|| {
        Failure::new(format!(
            "--shop: station {:?} declares no exit probe; add a [[probe]] with place = \"exit\" and its distance",
            station.id
        ))
    })
}

impl<'a> Reference<'a> {
    /// Reads the reference ride and fits the heat model to it.
    pub(super) fn read(
        call: &'a Call,
        file: &str,
        context: &Context<'_>,
    ) -> Result<Reference<'a>, Failure> {
        let station = context.station_for_exit()?;
        let station = call
            .shop
            .as_ref()
            .and_then(|shop| shop.station(&station))
            .ok_or_else(|| {
                Failure::new(
                    "--station: exit evidence needs the station; name it and the shop file",
                )
            })?;
        let declared = probe_of(call, station)?;
        let trace = Trace::read(file)?;
        let ride = RideFile::of(
            &RideOf {
                ink: context.ink,
                fabric: context.fabric,
                station,
                channel: None,
                uncertainty: None,
                units: call.units,
            },
            file,
            &trace,
        )?;
        let fitted = fit(
            std::slice::from_ref(&ride.ride),
            station,
            context.ink,
            context.fabric,
            FitOptions::default(),
        )
        .map_err(|error| {
            Failure::of_file(file, error, "ride again, with a whole pass and its belt")
        })?;
        let distance = declared.distance.unwrap_or(Metres(0.0));
        let exit = ExitTrace::new(file, &trace, &declared.channel)?;
        let not_seen = |what: &str| {
            Failure::of_file(
                file,
                what,
                "record the exit probe from before the print until after it",
            )
        };
        let time = fitted
            .passes(0, distance)
            .ok_or_else(|| not_seen("is no ride of a belt"))?
            .0;
        let objects = find(&exit.seen, None);
        let object = objects
            .iter()
            .find(|object| object.start <= time && object.end >= time)
            .or_else(|| {
                objects
                    .iter()
                    .min_by(|a, b| away(a, time).total_cmp(&away(b, time)))
            })
            .ok_or_else(|| not_seen("shows nothing that passed the exit probe"))?;
        let mut way = Way::new(&exit.speeds);
        let place = (way.at(time) - object.lead).clamp(0.0, object.trail - object.lead);
        let half_window = HALF_WINDOW.max(0.5 * declared.spot.map_or(0.0, |spot| spot.0));
        let shown = print_part(&exit, object, place, half_window)
            .ok_or_else(|| not_seen("has no good exit sample of the print"))?;
        let belt_level = exit
            .seen
            .iter()
            .find(|seen| seen.time < object.start)
            .map_or(f64::NAN, |seen| seen.celsius);
        let uncertainty = declared.uncertainty.unwrap_or(REPEATS);
        Ok(Reference {
            reading: ExitReading {
                celsius: Celsius(shown),
                belt: belt_of(ride.ride.trip),
                belt_uncertainty: Share(0.0),
            },
            fit: fitted,
            probe: ExitProbe {
                distance,
                uncertainty,
            },
            place,
            half_window,
            belt_level,
            station,
            room: note(file, &trace.notes, "room")?,
        })
    }
}

fn belt_of(trip: inkdwell_cure::heat::fit::Trip) -> MetresPerSecond {
    match trip {
        inkdwell_cure::heat::fit::Trip::Belt(speed) => speed,
        inkdwell_cure::heat::fit::Trip::Lamp(_) => MetresPerSecond(0.0),
    }
}

fn away(object: &Object, time: f64) -> f64 {
    (object.start - time).max(time - object.end).max(0.0)
}

/// What the probe showed of the print itself.
fn print_part(exit: &ExitTrace, object: &Object, place: f64, half_window: f64) -> Option<f64> {
    let middle = object.lead + place;
    mean_between(&exit.seen, middle - half_window, middle + half_window).or_else(|| {
        mean_between(
            &exit.seen,
            middle - 3.0 * half_window,
            middle + 3.0 * half_window,
        )
    })
}

/// Judges every print of an exit file against a reference ride.
pub(super) fn judge<W: Writer>(
    call: &Call,
    named: &Named,
    reference: &str,
    writer: &mut W,
    place: (&mut Spool, &mut bool),
) -> Result<Found, Failure> {
    if named.path.is_none() {
        return Err(Failure::new(
            "-: exit traces are read from files; name the file",
        ));
    }
    let notes = Trace::read(&named.shown)?.notes;
    let context = Context::new(call, &named.shown, &notes)?;
    let reference = Reference::read(call, reference, &context)?;
    let found = judge_file(
        call,
        &named.shown,
        &notes,
        &context,
        &reference,
        writer,
        place,
    )?;
    if found.passes == 0 {
        eprintln!(
            "inkdwell: {}: no print found; looked for what is warmer or colder than the belt",
            named.shown
        );
    }
    Ok(found)
}

fn judge_file<W: Writer>(
    call: &Call,
    file: &str,
    notes: &Notes,
    context: &Context<'_>,
    reference: &Reference<'_>,
    writer: &mut W,
    (spool, any_before): (&mut Spool, &mut bool),
) -> Result<Found, Failure> {
    let trace = Trace::read(file)?;
    let declared = probe_of(call, reference.station)?;
    let exit = ExitTrace::new(file, &trace, &declared.channel)?;
    let heading = Heading {
        file: file.to_owned(),
        channel: declared.channel.clone(),
        ink: context.ink.name.clone(),
        fabric: context.fabric.name.clone(),
    };
    let laws = PrintLaws::new(context.ink, context.fabric);
    let remarks = remarks(file, notes, reference, exit.noted)?;
    let level = Some(reference.belt_level).filter(|level| level.is_finite());
    let blind = exit.noted && declares_belt_signal(call, reference.station);
    let mut found = Found {
        passes: 0,
        all_good: true,
    };
    for object in find(&exit.seen, level) {
        let index = found.passes + 1;
        let pass = if blind {
            no_evidence(&object, index, &laws, Reason::NoBeltSignal)
        } else {
            judge_object(&exit, &object, index, &laws, reference, &remarks)
        };
        if found.passes == 0 {
            if *any_before {
                spool.write(writer.separator())?;
            }
            writer.heading(spool, &heading)?;
        } else {
            spool.write(writer.separator())?;
        }
        *any_before = true;
        found.passes += 1;
        found.all_good &= pass.verdict.is_good();
        writer.pass(spool, &heading, &pass)?;
    }
    Ok(found)
}

fn declares_belt_signal(call: &Call, station: &Station) -> bool {
    let signals = call.shop.iter().flat_map(|shop| &shop.signals);
    signals
        .filter(|signal| signal.station == station.id)
        .any(|signal| matches!(signal.kind, SignalKind::Belt { .. }))
}

fn remarks(
    file: &str,
    notes: &Notes,
    reference: &Reference<'_>,
    noted: bool,
) -> Result<Vec<Remark>, Failure> {
    let mut remarks = vec![Remark::PresumesGarment];
    if noted {
        remarks.push(Remark::BeltOnlyNoted {
            per_cent: NOTED_DOUBT.0 * 100.0,
        });
    }
    let own: Option<Celsius> = note(file, notes, "room")?;
    if own.or(reference.room).is_none() {
        remarks.push(Remark::RoomAssumed { room: USUAL_ROOM });
    }
    Ok(remarks)
}

fn judge_object(
    exit: &ExitTrace,
    object: &Object,
    index: u64,
    laws: &PrintLaws,
    reference: &Reference<'_>,
    remarks: &[Remark],
) -> JudgedPass {
    let Some(shown) = print_part(exit, object, reference.place, reference.half_window) else {
        return no_evidence(object, index, laws, Reason::PrintNotSeen);
    };
    let shown = Celsius(shown);
    // The speed that counts is that over the time in which this print was in the heat and on its way.
    let passing = exit.mean_speed(object.start, object.end).max(1e-6);
    let middle = object.start + reference.place / passing;
    let length = reference.station.heated_length.0 + reference.probe.distance.0;
    let speed = exit.mean_speed((middle - length / passing).max(0.0), middle);
    let reading = ExitReading {
        celsius: shown,
        belt: MetresPerSecond(speed),
        belt_uncertainty: if exit.noted {
            NOTED_DOUBT
        } else {
            SIGNAL_DOUBT
        },
    };
    match reference
        .fit
        .infer(&reference.probe, &reference.reading, &reading)
    {
        Ok(inferred) => {
            let mut remarks = remarks.to_vec();
            remarks.push(Remark::LeftAt { shown });
            judge_inferred(&inferred, object, index, laws, remarks)
        }
        Err(_) => no_evidence(object, index, laws, Reason::ExitUnexplained { shown }),
    }
}
