//! `inkdwell holds`: prints to be pulled, and what became of them.

use clap::{Args, Subcommand, ValueEnum};
use inkdwell_daemon::api::view::{HeldPrint, HoldView, Holds, Settlement};
use inkdwell_daemon::record::Settled;

use super::daemon_words::{caution, hour, line, so_many, time, verdict};
use super::library_json::written;
use crate::Outcome;
use crate::client::{ByArguments, Client, DaemonArguments};
use crate::failure::Failure;
use crate::terminal::{Setting, print};

#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  inkdwell holds
  inkdwell holds settle 4 re-run --why \"sent through at 2.2 m/min, the ride was cured\"

Exit codes: 0 no hold is open, or it is settled; 1 holds are open; 2 it could not be done, and why.")]
pub(crate) struct HoldsArguments {
    #[command(subcommand)]
    pub(crate) command: Option<HoldsCommand>,
    /// Also those that are settled
    #[arg(long)]
    pub(crate) all: bool,
    /// Write the daemon's JSON instead of text
    #[arg(long, global = true)]
    pub(crate) json: bool,
    #[command(flatten)]
    pub(crate) daemon: DaemonArguments,
}

#[derive(Debug, Subcommand)]
pub(crate) enum HoldsCommand {
    /// Settle a hold: say what was done with its prints
    Settle {
        /// Its number
        hold: u64,
        /// What was done
        #[arg(value_enum)]
        outcome: OutcomeArgument,
        /// Why
        #[arg(long, value_name = "WORDS")]
        why: String,
        #[command(flatten)]
        by: ByArguments,
    },
}

/// What was done with the prints of a hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum OutcomeArgument {
    /// Sent through the heat once more
    ReRun,
    /// Thrown away
    Scrapped,
    /// Found good by other means
    Released,
}

impl From<OutcomeArgument> for Settled {
    fn from(typed: OutcomeArgument) -> Settled {
        match typed {
            OutcomeArgument::ReRun => Settled::ReRun,
            OutcomeArgument::Scrapped => Settled::Scrapped,
            OutcomeArgument::Released => Settled::Released,
        }
    }
}

pub(crate) fn run(typed: &HoldsArguments) -> Result<Outcome, Failure> {
    let client = Client::find(&typed.daemon)?;
    let setting = Setting::of_stdout();
    if let Some(HoldsCommand::Settle {
        hold,
        outcome,
        why,
        by,
    }) = &typed.command
    {
        let settlement = Settlement {
            outcome: (*outcome).into(),
            by: by.name()?,
            why: why.clone(),
        };
        let path = format!("/api/holds/{hold}/settle");
        let (_, json) = client.post::<HoldView>(&path, &settlement)?;
        let text = format!("Hold {hold} is settled: {}.\n", word(settlement.outcome));
        print(&if typed.json { written(&json)? } else { text })?;
        return Ok(Outcome::Fine);
    }
    let state = if typed.all { "all" } else { "open" };
    let (holds, json) = client.get::<Holds>(&format!("/api/holds?state={state}"))?;
    print(&match typed.json {
        true => written(&json)?,
        false => list(&holds, setting),
    })?;
    let any_open = holds.holds.iter().any(|hold| hold.settled.is_none());
    Ok(if any_open {
        Outcome::Finding
    } else {
        Outcome::Fine
    })
}

fn list(holds: &Holds, setting: Setting) -> String {
    if holds.holds.is_empty() {
        return "No hold is open.\n".to_owned();
    }
    let told = holds.holds.iter().map(|hold| told(hold, setting) + "\n");
    told.collect::<String>() + &caution(&holds.caution, setting)
}

fn word(settled: Settled) -> &'static str {
    match settled {
        Settled::ReRun => "re-run",
        Settled::Scrapped => "scrapped",
        Settled::Released => "released",
    }
}

/// A hold in full.
pub(super) fn told(hold: &HoldView, setting: Setting) -> String {
    let what = verdict(&hold.verdict, hold.harm.as_deref());
    let of = match (&hold.batch, &hold.job) {
        (Some(batch), Some(job)) => format!(" of batch {batch}, {job},"),
        _ => String::new(),
    };
    let head = format!(
        "Hold {}: {}{of} at {}: {what}",
        hold.hold,
        so_many(hold.prints.len(), "print"),
        hold.station
    );
    let mut text = setting.strong(&setting.wrap("", 2, &head)) + "\n";
    for run in runs(&hold.prints) {
        text += &line("  pull", &run, setting);
    }
    let reasons = hold.prints.first().map(|print| print.reasons.join(" "));
    if let Some(reasons) = reasons.filter(|reasons| !reasons.is_empty()) {
        text += &line("  why", &reasons, setting);
    }
    if let Some(cost) = hold.cost {
        text += &line("  blanks", &format!("they cost {cost:.2}"), setting);
    }
    text += &match &hold.settled {
        None => {
            line("  now", &hold.remedy, setting)
                + &line(
                    "  settle",
                    &format!("inkdwell holds settle {} OUTCOME --why WORDS", hold.hold),
                    setting,
                )
        }
        Some(settled) => {
            let how = format!(
                "{} {} by {}: {}",
                word(settled.outcome),
                time(&settled.at),
                settled.by,
                settled.why
            );
            line("  settled", &how, setting)
        }
    };
    text
}

/// Prints that follow each other are told as one run.
fn runs(prints: &[HeldPrint]) -> Vec<String> {
    let mut runs: Vec<(&HeldPrint, &HeldPrint)> = Vec::new();
    for held in prints {
        let follows = |last: &HeldPrint| match (last.print, held.print) {
            (Some(last), Some(own)) => own == last + 1,
            _ => false,
        };
        match runs.last_mut() {
            Some((_, last)) if follows(last) => *last = held,
            _ => runs.push((held, held)),
        }
    }
    let name = |held: &HeldPrint| match held.print {
        Some(print) => format!("print {print}"),
        None => format!("pass {}", held.pass),
    };
    let told = runs.into_iter().map(|(first, last)| {
        if first.pass == last.pass {
            return format!("{}, out at {}", name(first), time(&first.out));
        }
        let to = last.print.unwrap_or_default();
        let prints = name(first).replacen("print", "prints", 1);
        format!(
            "{prints} to {to}, out from {} to {}",
            time(&first.out),
            hour(&last.out)
        )
    });
    told.collect()
}

#[cfg(test)]
mod tests {
    use inkdwell_daemon::api::view::Moment;

    use super::*;

    #[test]
    fn prints_that_follow_each_other_are_told_as_one_run() {
        let held = |pass: u64, print: Option<u64>| HeldPrint {
            pass,
            print,
            out: Moment {
                at: format!("2026-03-02T14:05:{pass:02}.000+01:00"),
                steady_s: 0.0,
            },
            reasons: Vec::new(),
        };
        let prints = [
            held(7, Some(3)),
            held(8, Some(4)),
            held(9, Some(5)),
            held(11, Some(9)),
            held(12, None),
        ];
        assert_eq!(
            runs(&prints),
            [
                "prints 3 to 5, out from 2026-03-02 14:05:07 to 14:05:09",
                "print 9, out at 2026-03-02 14:05:11",
                "pass 12, out at 2026-03-02 14:05:12",
            ]
        );
    }
}
