//! `--place exit`: every print that passed an exit probe, judged by inferred evidence.
//!
//! The heat model is fitted to the reference ride; `reference` makes that ready, once for an ink on a fabric. `file`
//! reads a run and sends it through [`inkdwell_cure::exit::run`]; `probes` are the exit probes that the
//! shop file declares.

mod file;
mod probes;
mod reference;

use super::call::{Call, Named};
use super::channels::Context;
use super::file::Found;
use super::spool::{Spool, Writer};
use crate::failure::Failure;

pub(super) use reference::References;

/// Judges every print of an exit file against a reference ride.
pub(super) fn judge<W: Writer>(
    call: &Call,
    named: &Named,
    reference: &str,
    references: &mut References,
    writer: &mut W,
    place: (&mut Spool, &mut bool),
) -> Result<Found, Failure> {
    let trace = file::read(call, named)?;
    let context = Context::new(call, &named.shown, &trace.notes)?;
    let station = context.station.ok_or_else(|| {
        Failure::new(
            "--station: exit evidence needs the station that the prints went through; name it",
        )
    })?;
    let probes = probes::of(call, station)?;
    let ridden = references.of(call, reference, &context, (&trace, &named.shown))?;
    let found = file::judge(
        &file::File {
            call,
            shown: &named.shown,
            trace: &trace,
            context: &context,
            station,
            probes: &probes,
        },
        ridden,
        writer,
        place,
    )?;
    if found.passes == 0 {
        eprintln!(
            "inkdwell: {}: no print found; looked for what has the shape of the reference's print and differs \
             from the belt, and for steps of a counter",
            named.shown
        );
    }
    Ok(found)
}
