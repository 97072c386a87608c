//! One run past the exit probes, from its file to its judged prints.

use std::io;

use inkdwell_config::quantity::{Celsius, CelsiusDifference, MetresPerSecond};
use inkdwell_config::shop::SignalKind;
use inkdwell_config::station::Station;
use inkdwell_cure::exit::run::{NOTED_DOUBT, REPEATS, Run, judge_run};
use inkdwell_cure::exit::way::Way;
use inkdwell_cure::exit::{Probe, Reference, ReferenceError};
use inkdwell_cure::judged::JudgedPass;
use inkdwell_cure::plan::{DEFAULT_MAX_GAP, PrintLaws};
use inkdwell_cure::remark::Remark;
use inkdwell_cure::trace_file::ColumnKind;

use super::super::call::{Call, Named};
use super::super::channels::{Context, Heading};
use super::super::file::Found;
use super::super::spool::{Spool, Writer};
use super::probes::{ExitProbe, chosen};
use super::reference::{Ridden, belt};
use crate::failure::Failure;
use crate::ride_file::{Trace, note, refused};

/// The room where nothing notes it.
const USUAL_ROOM: Celsius = Celsius(22.0);

/// A run's file with all that it is judged by.
pub(super) struct File<'a> {
    pub(super) call: &'a Call,
    pub(super) shown: &'a str,
    pub(super) trace: &'a Trace,
    pub(super) context: &'a Context<'a>,
    pub(super) station: &'a Station,
    pub(super) probes: &'a [ExitProbe<'a>],
}

/// Reads a run, laid out as the call says.
pub(super) fn read(call: &Call, named: &Named) -> Result<Trace, Failure> {
    let too_large = "cut it into parts, each from before a print until after one";
    let layout = call.layout.clone();
    match &named.path {
        None => Trace::from(&named.shown, io::stdin().lock(), layout, too_large),
        Some(path) => {
            let opened =
                std::fs::File::open(path).map_err(|error| refused(&named.shown, &error))?;
            Trace::from(&named.shown, opened, layout, too_large)
        }
    }
}

/// Judges every print of a run.
pub(super) fn judge<W: Writer>(
    file: &File<'_>,
    ridden: &Ridden,
    writer: &mut W,
    (spool, any_before): (&mut Spool, &mut bool),
) -> Result<Found, Failure> {
    let run_and_ride = (
        (file.trace, file.shown),
        (&ridden.trace, ridden.file.as_str()),
    );
    let own = chosen(file.call, run_and_ride.0, run_and_ride.1, file.probes)?;
    let mut remarks = ridden.remarks.clone();
    let reference = file.reference(&own, ridden, &mut remarks)?;
    let room = file.room(ridden, &mut remarks)?;
    let run = file.run(&own, ridden, remarks)?;
    let heading = Heading {
        file: file.shown.to_owned(),
        channel: own[0].declared.channel.clone(),
        ink: file.context.ink.name.clone(),
        fabric: file.context.fabric.name.clone(),
    };
    let laws = PrintLaws::new(file.context.ink, file.context.fabric);
    let mut passes: Vec<JudgedPass> = Vec::new();
    let mut model = reference.model(room).map_err(|error| {
        Failure::of_file(
            &ridden.file,
            error,
            "check the ride, its belt and the station's zones",
        )
    })?;
    ridden.promise(&mut model, &run, file.call.units);
    judge_run((&reference, &mut model), &run, &laws, &mut |pass| {
        passes.push(pass);
    });
    let mut all_good = true;
    for (number, pass) in passes.iter().enumerate() {
        if number > 0 || *any_before {
            spool.write(writer.separator())?;
        }
        if number == 0 {
            writer.heading(spool, &heading)?;
        }
        *any_before = true;
        all_good &= pass.verdict.is_good();
        writer.pass(spool, &heading, pass)?;
    }
    Ok(Found {
        passes: passes.len() as u64,
        all_good,
    })
}

impl File<'_> {
    /// Learns from the reference what the probes show of its print.
    fn reference<'f>(
        &self,
        own: &[ExitProbe<'_>],
        ridden: &'f Ridden,
        remarks: &mut Vec<Remark>,
    ) -> Result<Reference<'f>, Failure> {
        let mut probes: Vec<(Probe, &[(f64, f64)])> = Vec::new();
        for probe in own {
            let Some(readings) = probe.readings(&ridden.trace) else {
                continue;
            };
            let uncertainty = self.doubt(probe);
            if uncertainty.is_none() && remarks.iter().all(|known| !is_repeats(known)) {
                let uncertainty = REPEATS;
                remarks.push(Remark::ExitRepeats { uncertainty });
            }
            let probe = Probe {
                distance: probe.distance,
                spot: probe.spot,
                uncertainty: uncertainty.unwrap_or(REPEATS),
            };
            probes.push((probe, readings));
        }
        let pitch = self.station.print_pitch.map(|pitch| pitch.0);
        Reference::learn(&ridden.fit, &probes, &ridden.way, pitch).map_err(|error| {
            let remedy = match error {
                ReferenceError::NoBelt => "name a ride through the dryer",
                _ => "record the exit probe from before the ridden print until after it, and check its distance",
            };
            Failure::of_file(&ridden.file, error, remedy)
        })
    }

    /// How well an exit probe repeats itself: the call's figure, the note's, or its own in the shop file. The
    /// tolerance of a sensor's class is what it is off all the time, which cancels against the reference.
    fn doubt(&self, probe: &ExitProbe<'_>) -> Option<CelsiusDifference> {
        let given = self.call.uncertainty.or(self.context.noted);
        given.or(probe.declared.uncertainty)
    }

    fn run(
        &self,
        own: &[ExitProbe<'_>],
        ridden: &Ridden,
        mut remarks: Vec<Remark>,
    ) -> Result<Run<'_>, Failure> {
        let max_gap = self
            .call
            .max_gap
            .or(self.station.max_gap)
            .unwrap_or(DEFAULT_MAX_GAP);
        let belt_declared = self
            .signals()
            .any(|kind| matches!(kind, SignalKind::Belt { .. }));
        let measured = belt(self.trace).and_then(|readings| Way::measured(readings, max_gap.0));
        let way = match measured {
            Some(way) => way,
            None => self.noted_belt(belt_declared, ridden, &mut remarks)?,
        };
        let counter = self
            .trace
            .columns
            .iter()
            .position(|column| column.kind == ColumnKind::Count);
        let eye = self.signals().find_map(|kind| match kind {
            SignalKind::Count { distance } => distance,
            _ => None,
        });
        Ok(Run {
            exits: own.iter().map(|probe| probe.readings(self.trace)).collect(),
            way,
            belt_declared,
            count: counter.map(|counter| self.trace.series[counter].as_slice()),
            eye: eye.map(|eye| own[0].distance.0 - eye.0),
            pitch: self.station.print_pitch.map(|pitch| pitch.0),
            max_gap,
            remarks,
        })
    }

    /// The run's room: its own note, else the reference's, else what is usual.
    fn room(&self, ridden: &Ridden, remarks: &mut Vec<Remark>) -> Result<Celsius, Failure> {
        let room: Option<Celsius> = note(self.shown, &self.trace.notes, "room")?;
        Ok(room.or(ridden.room).unwrap_or_else(|| {
            remarks.push(Remark::RoomAssumed { room: USUAL_ROOM });
            USUAL_ROOM
        }))
    }

    fn signals(&self) -> impl Iterator<Item = SignalKind> {
        let signals = self.call.shop.iter().flat_map(|shop| &shop.signals);
        signals
            .filter(|signal| signal.station == self.station.id)
            .map(|signal| signal.kind)
    }

    /// The belt where no signal tells it. Where the station declares one, prints are found but nothing is
    /// inferred, so that any speed near the truth will do.
    fn noted_belt(
        &self,
        declared: bool,
        ridden: &Ridden,
        remarks: &mut Vec<Remark>,
    ) -> Result<Way, Failure> {
        let noted: Option<MetresPerSecond> = note(self.shown, &self.trace.notes, "belt")?;
        match noted {
            Some(speed) if speed.0 > 0.0 => {
                if !declared {
                    remarks.push(Remark::BeltOnlyNoted {
                        per_cent: 100.0 * NOTED_DOUBT.0,
                    });
                }
                Ok(Way::steady(speed.0))
            }
            None if declared => Ok(Way::steady(ridden.speed())),
            Some(_) => {
                let line = self.trace.notes.get("belt").map_or(1, |note| note.line);
                Err(Failure::at_line(
                    self.shown,
                    line,
                    "belt",
                    "a belt that stands brings no print",
                    "note its real speed, or record its signal, as belt_m_per_min",
                ))
            }
            None => Err(Failure::of_file(
                self.shown,
                "nothing says how fast the belt ran",
                "record its signal, as belt_m_per_min, or add a note such as \"# belt: 2.6 m/min\"",
            )),
        }
    }
}

fn is_repeats(remark: &Remark) -> bool {
    matches!(remark, Remark::ExitRepeats { .. })
}
