//! Judging recorded traces.
//!
//! A file is gone over twice: once for its notes, which may stand at its end, and once for its rows,
//! which go block by block through the same engine that watches live. What is found is spooled, and
//! reaches standard output only when every file was sound to its end.

mod call;
mod channels;
mod exit;
mod file;
mod input;
mod json;
mod progress;
mod sheet;
mod spool;

pub(crate) use call::Call;
use call::Form;
pub(crate) use channels::Heading;

use crate::Outcome;
use crate::failure::Failure;
use crate::plot::Figure;
use crate::terminal::{Setting, copy_to_stdout};
use json::Json;
use progress::Progress;
use sheet::Sheet;
use spool::{Spool, Writer};

/// Judges every file of a call.
pub(crate) fn run(call: &Call) -> Result<Outcome, Failure> {
    let mut spool = Spool::new();
    let mut figure = call.plot.as_ref().map(|_| Figure::new(call.units));
    let mut progress = Progress::new(&call.files);
    let outcome = match call.form {
        Form::Json => judge_all(
            call,
            &mut Json::new(call),
            &mut spool,
            &mut figure,
            &mut progress,
        ),
        Form::Text => {
            let mut sheet = Sheet::new(call.units, Setting::of_stdout(), call.files.len() > 1);
            judge_all(call, &mut sheet, &mut spool, &mut figure, &mut progress)
        }
    }?;
    progress.finish();
    if let (Some(figure), Some(target)) = (figure, &call.plot) {
        figure.write(target)?;
    }
    copy_to_stdout(&mut spool.into_reader()?)?;
    Ok(outcome)
}

fn judge_all<W: Writer>(
    call: &Call,
    writer: &mut W,
    spool: &mut Spool,
    figure: &mut Option<Figure>,
    progress: &mut Progress,
) -> Result<Outcome, Failure> {
    let mut all_good = true;
    let mut any_before = false;
    let mut references = exit::References::default();
    writer.begin(spool)?;
    for named in &call.files {
        let place = (&mut *spool, &mut any_before);
        let found = match &call.reference {
            Some(reference) => exit::judge(call, named, reference, &mut references, writer, place)?,
            None => file::judge(call, named, writer, place, figure.as_mut(), progress)?,
        };
        all_good &= found.passes > 0 && found.all_good;
    }
    writer.end(spool)?;
    Ok(if all_good {
        Outcome::Fine
    } else {
        Outcome::Finding
    })
}
