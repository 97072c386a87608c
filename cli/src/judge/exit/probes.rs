//! The exit probes of a station, as the shop file declares them.

use inkdwell_config::quantity::Metres;
use inkdwell_config::shop::{Place, Probe};
use inkdwell_config::station::Station;

use super::super::call::Call;
use crate::failure::Failure;
use crate::ride_file::Trace;

/// An exit probe with what exit evidence needs of it.
#[derive(Debug, Clone, Copy)]
pub(super) struct ExitProbe<'a> {
    pub(super) declared: &'a Probe,
    pub(super) distance: Metres,
    pub(super) spot: Metres,
}

/// The station's exit probes, nearest to the heat first.
pub(super) fn of<'a>(call: &'a Call, station: &Station) -> Result<Vec<ExitProbe<'a>>, Failure> {
    let declared = call.shop.iter().flat_map(|shop| &shop.probes);
    let here = declared.filter(|probe| {
        probe.place == Place::Exit && probe.station.as_ref().is_none_or(|id| *id == station.id)
    });
    let mut probes = here
        .map(|probe| {
            let lacks = |key: &str, example: &str| {
                Failure::new(format!(
                    "--shop: the exit probe {:?} has no {key}; add {key} = \"{example}\" to its [[probe]]",
                    probe.id
                ))
            };
            Ok(ExitProbe {
                declared: probe,
                distance: probe.distance.ok_or_else(|| lacks("distance", "0.35 m"))?,
                spot: probe.spot.ok_or_else(|| lacks("spot", "30 mm"))?,
            })
        })
        .collect::<Result<Vec<_>, Failure>>()?;
    probes.sort_by(|a, b| a.distance.0.total_cmp(&b.distance.0));
    if probes.is_empty() {
        return Err(Failure::new(format!(
            "--shop: station {:?} declares no exit probe; add a [[probe]] with id = \"exit\", station = {:?}, \
             place = \"exit\", and its distance and spot",
            station.id, station.id
        )));
    }
    Ok(probes)
}

impl ExitProbe<'_> {
    /// Its column in a trace.
    pub(super) fn column(&self, trace: &Trace) -> Option<usize> {
        let own = [&self.declared.channel, &self.declared.id];
        trace.columns.iter().position(|column| {
            column.kind.is_temperature()
                && own
                    .iter()
                    .any(|name| **name == column.name || **name == column.header)
        })
    }

    /// Its readings in a trace.
    pub(super) fn readings<'t>(&self, trace: &'t Trace) -> Option<&'t [(f64, f64)]> {
        Some(trace.series[self.column(trace)?].as_slice())
    }

    /// Whether a channel's name, as typed, is its.
    pub(super) fn is_called(&self, trace: &Trace, name: &str) -> bool {
        self.column(trace).is_some_and(|column| {
            let column = &trace.columns[column];
            name == column.name || name == column.header
        })
    }
}

/// The channel that is judged, and those further on that see the same prints; each must be in the
/// reference's trace as well.
pub(super) fn chosen<'a>(
    call: &Call,
    (run, file): (&Trace, &str),
    (ride, reference): (&Trace, &str),
    probes: &[ExitProbe<'a>],
) -> Result<Vec<ExitProbe<'a>>, Failure> {
    let names: Vec<&str> = probes
        .iter()
        .map(|probe| probe.declared.channel.as_str())
        .collect();
    let first = match call.channels.as_slice() {
        [] => probes.iter().position(|probe| probe.column(run).is_some()),
        [one] => {
            let asked = probes.iter().position(|probe| probe.is_called(run, one));
            if asked.is_none() {
                return Err(Failure::of_file(
                    file,
                    format_args!("channel {one:?} is none of an exit probe of the shop file"),
                    format_args!("the exit probes are {}", names.join(", ")),
                ));
            }
            asked
        }
        _ => {
            return Err(Failure::new(
                "--channel: with --place exit one exit probe is judged, those further on help; name one",
            ));
        }
    };
    let Some(first) = first else {
        return Err(no_column(run, file, &names));
    };
    let own = &probes[first..];
    if own[0].column(ride).is_none() {
        return Err(Failure::of_file(
            reference,
            format_args!(
                "the reference has no channel of the exit probe {:?}",
                own[0].declared.id
            ),
            format_args!(
                "record the ride together with it, in a column such as {}_c",
                own[0].declared.channel
            ),
        ));
    }
    let both = |probe: &&ExitProbe<'_>| probe.column(run).is_some() && probe.column(ride).is_some();
    Ok(own.iter().filter(both).copied().collect())
}

fn no_column(run: &Trace, file: &str, names: &[&str]) -> Failure {
    let like_exit = run
        .columns
        .iter()
        .find(|column| column.kind.is_temperature() && column.name.starts_with("exit"));
    match like_exit {
        Some(column) => Failure::of_file(
            file,
            format_args!("the shop file declares no exit probe {:?}", column.name),
            format_args!(
                "add a [[probe]] with id = {:?}, place = \"exit\", distance and spot, or channel = {:?} to the \
                 probe that it is",
                column.name, column.name
            ),
        ),
        None => Failure::of_file(
            file,
            format_args!(
                "has no channel of an exit probe; the shop file declares {}",
                names.join(", ")
            ),
            "name the probe's column after it, with its unit, as exit_c",
        ),
    }
}
