//! `inkdwell batch`: the prints of one job, from opening to closing.

use clap::{Args, Subcommand};
use inkdwell_daemon::api::view::{
    Assigned, BatchInFull, BatchView, Batches, By, NewBatch, NewNote, NewSignOff, PassView, Passes,
    Status, ToAssign,
};
use serde_json::Value;

use super::daemon_words::{caution, counts, decided, hour, judged, line, so_many, time};
use super::holds;
use super::library_json::written;
use super::table::table;
use crate::Outcome;
use crate::client::{ByArguments, Client, DaemonArguments};
use crate::failure::Failure;
use crate::terminal::{Setting, print};

#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  inkdwell batch open --station belt-1 --job \"Harbour run\" --ink plastisol-standard --fabric cotton-jersey
  inkdwell batch note 3 \"Second screen was changed after print 40\"
  inkdwell batch unassigned
  inkdwell batch assign 3 118 119 120

A print belongs to the batch that is open when it enters the heat. One that enters while none is open is kept, \
and is judged when it is assigned to a batch later.

Exit codes: 0 done; 2 it could not be done, and why.")]
pub(crate) struct BatchArguments {
    #[command(subcommand)]
    pub(crate) command: BatchCommand,
    /// Write the daemon's JSON instead of text
    #[arg(long, global = true)]
    pub(crate) json: bool,
    #[command(flatten)]
    pub(crate) daemon: DaemonArguments,
}

#[derive(Debug, Subcommand)]
pub(crate) enum BatchCommand {
    /// Open a batch; the one that is open at the station is closed
    Open(OpenArguments),
    /// Close a batch
    Close {
        /// Its number
        batch: u64,
        #[command(flatten)]
        by: ByArguments,
    },
    /// List the newest batches
    List {
        /// Only those that are open
        #[arg(long)]
        open: bool,
        /// So many
        #[arg(long, value_name = "N", default_value_t = 20)]
        newest: u64,
    },
    /// Show a batch with its prints, notes and holds
    Show {
        /// Its number
        batch: u64,
    },
    /// Write a note to a batch
    Note {
        /// Its number
        batch: u64,
        /// What is worth knowing
        note: String,
        #[command(flatten)]
        by: ByArguments,
    },
    /// Record what a wash, rub, stretch or solvent test of a print found; the report holds it beside the verdict
    #[command(after_help = "\
Examples:
  inkdwell batch test 3 --method \"ISO 105-C06\" --print 17 --result \"grade 4-5 after 5 washes\" --passed
  inkdwell batch test 3 --method \"own stretch test\" --result \"cracked at 20 %\" --failed")]
    Test(TestArguments),
    /// List the newest passes that have no batch
    Unassigned,
    /// Give passes without a batch to one, each judged anew by its laws
    Assign {
        /// The batch's number
        batch: u64,
        /// The passes' numbers
        #[arg(required = true)]
        passes: Vec<u64>,
        #[command(flatten)]
        by: ByArguments,
    },
}

#[derive(Debug, Args)]
pub(crate) struct TestArguments {
    /// The batch's number
    batch: u64,
    /// By which method: "AATCC TM61" or "ISO 105-C06" (washing), "AATCC TM8" or "ISO 105-X12" (rubbing), or the
    /// shop's own in words
    #[arg(long, value_name = "METHOD")]
    method: String,
    /// What was found, such as a grade
    #[arg(long, value_name = "WORDS")]
    result: String,
    /// It was passed
    #[arg(long, required_unless_present = "failed", conflicts_with = "failed")]
    passed: bool,
    /// It was failed
    #[arg(long)]
    failed: bool,
    /// The print that was tested, by its number in the batch
    #[arg(long, value_name = "N")]
    print: Option<u64>,
    /// The print that was tested, by its pass
    #[arg(long, value_name = "N", conflicts_with = "print")]
    pass: Option<u64>,
    #[command(flatten)]
    by: ByArguments,
}

#[derive(Debug, Args)]
pub(crate) struct OpenArguments {
    /// The station, by its id
    #[arg(long, value_name = "ID")]
    station: String,
    /// The job's name
    #[arg(long, value_name = "NAME")]
    job: String,
    /// The ink, by its id
    #[arg(long, value_name = "INK")]
    ink: String,
    /// The fabric, by its id
    #[arg(long, value_name = "FABRIC")]
    fabric: String,
    /// The flash unit is the last heat, so that the ink's cure law decides
    #[arg(long)]
    last_heat: bool,
    /// How many prints it is to have
    #[arg(long, value_name = "N")]
    quantity: Option<u64>,
    /// What a blank costs, in the shop's money
    #[arg(long, value_name = "AMOUNT")]
    blank_cost: Option<f64>,
    /// The screen's mesh, in threads an inch
    #[arg(long, value_name = "COUNT")]
    mesh: Option<f64>,
    /// When the ink was mixed: 08:30 is the last time the clock showed that, else 2026-01-31T08:30:00+01:00
    #[arg(long, value_name = "TIME")]
    ink_mixed: Option<String>,
    /// The recipe that the station is held against
    #[arg(long, value_name = "N")]
    recipe: Option<u64>,
    #[command(flatten)]
    by: ByArguments,
}

pub(crate) fn run(typed: BatchArguments) -> Result<Outcome, Failure> {
    let client = Client::find(&typed.daemon)?;
    let setting = Setting::of_stdout();
    let (text, json) = match typed.command {
        BatchCommand::Open(open) => opened(&client, open)?,
        BatchCommand::Close { batch, by } => {
            let by = By { by: by.name()? };
            let path = format!("/api/batches/{batch}/close");
            let (closed, json) = client.post::<BatchView>(&path, &by)?;
            let done = format!(
                "Batch {batch} is closed; its prints: {}.",
                counts(&closed.verdicts)
            );
            (setting.wrap("", 2, &done) + "\n", json)
        }
        BatchCommand::List { open, newest } => {
            let path = format!("/api/batches?open={open}&newest={newest}");
            let (batches, json) = client.get::<Batches>(&path)?;
            (list(&batches, setting), json)
        }
        BatchCommand::Show { batch } => shown(&client, batch, setting)?,
        BatchCommand::Note { batch, note, by } => {
            let by = by.name()?;
            let path = format!("/api/batches/{batch}/notes");
            let (_, json) = client.post::<BatchView>(&path, &NewNote { note, by })?;
            (format!("Noted to batch {batch}.\n"), json)
        }
        BatchCommand::Test(test) => tested(&client, test)?,
        BatchCommand::Unassigned => {
            let (passes, json) = client.get::<Passes>("/api/passes?unassigned=true&newest=200")?;
            (unassigned(&passes.passes, setting), json)
        }
        BatchCommand::Assign { batch, passes, by } => {
            let by = by.name()?;
            let path = format!("/api/batches/{batch}/passes");
            let (assigned, json) = client.post::<Assigned>(&path, &ToAssign { passes, by })?;
            let text = prints(&assigned.passes, setting) + "\n";
            (text + &caution(&assigned.caution, setting), json)
        }
    };
    print(&if typed.json { written(&json)? } else { text })?;
    Ok(Outcome::Fine)
}

fn opened(client: &Client, open: OpenArguments) -> Result<(String, Value), Failure> {
    let ink_mixed = match open.ink_mixed {
        Some(time) => Some(mixed(client, &time)?),
        None => None,
    };
    let new = NewBatch {
        station: open.station,
        job: open.job,
        ink: open.ink,
        fabric: open.fabric,
        last_heat: open.last_heat,
        quantity: open.quantity,
        blank_cost: open.blank_cost,
        mesh_per_inch: open.mesh,
        ink_mixed,
        recipe: open.recipe,
        by: open.by.name()?,
    };
    let (batch, json) = client.post::<BatchView>("/api/batches", &new)?;
    let text = format!("Batch {} is open at {}.\n", batch.batch, batch.station);
    Ok((text, json))
}

/// Records a test.
fn tested(client: &Client, test: TestArguments) -> Result<(String, Value), Failure> {
    let batch = test.batch;
    let pass = match (test.pass, test.print) {
        (Some(pass), _) => Some(pass),
        (None, None) => None,
        (None, Some(print)) => {
            let path = format!("/api/passes?batch={batch}&newest=5000");
            let (passes, _) = client.get::<Passes>(&path)?;
            let own = passes.passes.iter().find(|pass| pass.print == Some(print));
            let none = || {
                Failure::new(format!(
                    "print {print} is none of the newest 5000 of batch {batch}; name its pass with --pass"
                ))
            };
            Some(own.ok_or_else(none)?.pass)
        }
    };
    let new = NewSignOff {
        method: test.method,
        passed: test.passed,
        result: test.result,
        pass,
        by: test.by.name()?,
    };
    let path = format!("/api/batches/{batch}/sign-offs");
    let (_, json) = client.post::<BatchView>(&path, &new)?;
    let how = if new.passed { "passed" } else { "failed" };
    let text = format!(
        "Recorded: {} {how} by a print of batch {batch}.\n",
        new.method
    );
    Ok((text, json))
}

/// A time of the day is the last time the clock on the shop's wall showed it.
fn mixed(client: &Client, typed: &str) -> Result<String, Failure> {
    let Ok(time) = chrono::NaiveTime::parse_from_str(typed, "%H:%M") else {
        return Ok(typed.to_owned());
    };
    let (status, _) = client.get::<Status>("/api/status")?;
    let odd = || Failure::new("the daemon tells no time; is it of this version?");
    let now = chrono::DateTime::parse_from_rfc3339(&status.now.at).map_err(|_| odd())?;
    let today = now.date_naive().and_time(time);
    let before = match today <= now.naive_local() {
        true => today,
        false => today - chrono::Days::new(1),
    };
    let mixed = before.and_local_timezone(*now.offset()).single();
    Ok(mixed.ok_or_else(odd)?.to_rfc3339())
}

fn list(batches: &Batches, setting: Setting) -> String {
    let rows: Vec<[String; 5]> = batches
        .batches
        .iter()
        .map(|batch| {
            let state = match &batch.closed {
                Some(_) => "",
                None => "open",
            };
            [
                batch.batch.to_string(),
                state.to_owned(),
                batch.station.clone(),
                time(&batch.opened.at).chars().take(16).collect(),
                format!("{}: {}", batch.job, counts(&batch.verdicts)),
            ]
        })
        .collect();
    let mut text = match rows.is_empty() {
        true => "There is no such batch.\n".to_owned(),
        false => table(
            ["batch", "", "station", "opened", "job and prints"],
            &rows,
            setting,
        ),
    };
    if batches.unassigned > 0 {
        let unassigned = so_many(
            usize::try_from(batches.unassigned).unwrap_or(usize::MAX),
            "print",
        );
        text +=
            &format!("\nWithout a batch: {unassigned}; inkdwell batch unassigned lists them.\n");
    }
    text
}

fn shown(client: &Client, batch: u64, setting: Setting) -> Result<(String, Value), Failure> {
    let (full, json) = client.get::<BatchInFull>(&format!("/api/batches/{batch}"))?;
    let path = format!("/api/passes?batch={batch}&newest=20");
    let (passes, _) = client.get::<Passes>(&path)?;
    let own = &full.batch;
    let mut text = setting.strong(&format!("Batch {batch}: {}", own.job)) + "\n";
    let mut tell = |name: &str, what: Option<String>| {
        if let Some(what) = what {
            text += &line(name, &what, setting);
        }
    };
    tell("station", Some(own.station.clone()));
    let last_heat = if own.last_heat {
        ", flash unit as the last heat"
    } else {
        ""
    };
    tell(
        "print",
        Some(format!("{} on {}{last_heat}", own.ink, own.fabric)),
    );
    tell("recipe", own.recipe.map(|recipe| recipe.to_string()));
    tell(
        "mesh",
        own.mesh_per_inch
            .map(|mesh| format!("{mesh} threads an inch")),
    );
    tell("ink mixed", own.ink_mixed.as_ref().map(time));
    tell("a blank", own.blank_cost.map(|cost| format!("{cost:.2}")));
    tell("opened", Some(decided(&own.opened)));
    tell("closed", own.closed.as_ref().map(decided));
    let of = own
        .quantity
        .map_or_else(String::new, |quantity| format!(" of {quantity}"));
    tell(
        "prints",
        Some(format!("{}{of}: {}", own.prints, counts(&own.verdicts))),
    );
    for note in &own.notes {
        tell(
            "note",
            Some(format!("{} ({} by {})", note.note, time(&note.at), note.by)),
        );
    }
    if !passes.passes.is_empty() {
        let newest = passes.passes.len() as u64;
        if newest < own.prints {
            text += &format!("\nThe newest {newest}:\n");
        } else {
            text.push('\n');
        }
        text += &prints(&passes.passes, setting);
    }
    for hold in &full.holds {
        text.push('\n');
        text += &holds::told(hold, setting);
    }
    text.push('\n');
    text += &caution(&full.caution, setting);
    Ok((text, json))
}

/// Passes of one batch.
fn prints(passes: &[PassView], setting: Setting) -> String {
    let rows: Vec<[String; 5]> = passes
        .iter()
        .map(|pass| {
            let reasons = pass.judged.iter().flat_map(|judged| &judged.reasons);
            let reasons: Vec<&str> = reasons.map(String::as_str).collect();
            [
                pass.print
                    .map_or_else(|| "-".to_owned(), |print| print.to_string()),
                pass.pass.to_string(),
                hour(&pass.end),
                judged(pass.judged.as_ref()),
                reasons.join(" "),
            ]
        })
        .collect();
    table(["print", "pass", "out", "verdict", ""], &rows, setting)
}

fn unassigned(passes: &[PassView], setting: Setting) -> String {
    if passes.is_empty() {
        return "Every print has a batch.\n".to_owned();
    }
    let rows: Vec<[String; 4]> = passes
        .iter()
        .map(|pass| {
            let kept = match pass.readings_kept {
                true => "",
                false => "its readings are not kept any more: it cannot be judged anew",
            };
            [
                pass.pass.to_string(),
                pass.station.clone(),
                time(&pass.start),
                kept.to_owned(),
            ]
        })
        .collect();
    table(["pass", "station", "in", ""], &rows, setting)
        + "\nGive them to a batch: inkdwell batch assign BATCH PASS...\n"
}
