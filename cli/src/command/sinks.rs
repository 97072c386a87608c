//! `inkdwell sinks`: how the ways out are, what waits for each, what the other side refused and why; and sending
//! that once more.

use clap::{Args, Subcommand};
use inkdwell_daemon::api::view::{AsideView, By, SinkState, SinkView, Sinks};

use super::daemon_words::{line, time};
use super::library_json::written;
use crate::Outcome;
use crate::client::{ByArguments, Client, DaemonArguments};
use crate::failure::Failure;
use crate::terminal::{Setting, print};

/// So many refusals are told of each; `--json` has more.
const TOLD: usize = 3;

#[derive(Debug, Args)]
#[command(after_help = "\
Nothing is lost while a way out takes nothing: what waits lies in the journal. What the other side refuses for \
good is set aside with its reason; mend what is in the way, and have it sent again.

Examples:
  inkdwell sinks
  inkdwell sinks retry office

Exit codes: 0 every way out takes what is sent, or it is done; 1 one does not, or has set something aside; 2 it \
could not be done, and why.

A message that does not come proves nothing: nobody leaves a hot dryer alone because a telephone is silent.")]
pub(crate) struct SinksArguments {
    #[command(subcommand)]
    pub(crate) command: Option<SinksCommand>,
    /// Write JSON instead of text
    #[arg(long, global = true)]
    pub(crate) json: bool,
    #[command(flatten)]
    pub(crate) daemon: DaemonArguments,
}

#[derive(Debug, Subcommand)]
pub(crate) enum SinksCommand {
    /// List the ways out: whether each takes what is sent, what waits, what was refused and why
    List,
    /// Send again what a way out has set aside
    Retry {
        /// Its id in the shop file
        sink: String,
        #[command(flatten)]
        by: ByArguments,
    },
}

pub(crate) fn run(typed: &SinksArguments) -> Result<Outcome, Failure> {
    let setting = Setting::of_stdout();
    match &typed.command {
        None | Some(SinksCommand::List) => list(typed, setting),
        Some(SinksCommand::Retry { sink, by }) => retry(typed, sink, by, setting),
    }
}

fn list(typed: &SinksArguments, setting: Setting) -> Result<Outcome, Failure> {
    let client = Client::find(&typed.daemon)?;
    let (sinks, json) = client.get::<Sinks>("/api/sinks")?;
    print(&match typed.json {
        true => written(&json)?,
        false => told(&sinks.sinks, setting),
    })?;
    let ails = |own: &SinkView| own.state == SinkState::Blocked || own.set_aside > 0;
    Ok(match sinks.sinks.iter().any(ails) {
        true => Outcome::Finding,
        false => Outcome::Fine,
    })
}

fn retry(
    typed: &SinksArguments,
    sink: &str,
    by: &ByArguments,
    setting: Setting,
) -> Result<Outcome, Failure> {
    let odd = |letter: char| !(letter.is_ascii_alphanumeric() || "-_.".contains(letter));
    if sink.is_empty() || sink.contains(odd) {
        return Err(Failure::new(format!(
            "{sink:?} is no way out's id; inkdwell sinks lists them"
        )));
    }
    let by = By { by: by.name()? };
    let client = Client::find(&typed.daemon)?;
    let (own, json) = client.post::<SinkView>(&format!("/api/sinks/{sink}/retry"), &by)?;
    print(&match typed.json {
        true => written(&json)?,
        false => {
            let said = format!(
                "{sink} sends again what it has set aside. What is refused once more is set aside again; look with \
                 inkdwell sinks."
            );
            setting.wrap("", 0, &said) + "\n" + &one(&own, setting)
        }
    })?;
    Ok(Outcome::Fine)
}

fn told(sinks: &[SinkView], setting: Setting) -> String {
    if sinks.is_empty() {
        return setting.wrap(
            "",
            0,
            "The shop file declares no way out: verdicts and alarms are told on the board and in this terminal alone. \
             A [[sink]] sends them further.",
        ) + "\n";
    }
    let each = sinks.iter().map(|own| one(own, setting));
    each.collect::<Vec<_>>().join("\n")
}

/// A way out in full.
fn one(own: &SinkView, setting: Setting) -> String {
    let state = match own.state {
        SinkState::Starting => "has sent nothing since the start",
        SinkState::Open => "takes what is sent",
        SinkState::Blocked => "TAKES NOTHING",
    };
    let head = format!("{} ({}): {state}", own.sink, own.kind);
    let mut text = setting.strong(&setting.wrap("", 2, &head)) + "\n";
    if let Some(why) = &own.why {
        text += &line("  why", why, setting);
    }
    let waiting = match own.waiting {
        0 => "nothing".to_owned(),
        count => counted(count, "record", "records"),
    };
    text += &line("  waiting", &waiting, setting);
    let sent = match own.sent {
        0 => "nothing since the start".to_owned(),
        count => format!(
            "{} since the start",
            counted(count, "message or point", "messages and points")
        ),
    };
    text += &line("  taken", &sent, setting);
    if let Some(last) = &own.last_taken {
        text += &line("  last taken", &time(last), setting);
    }
    if own.failed > 0 {
        text += &line(
            "  failed",
            &format!(
                "{} to send, made again",
                counted(own.failed, "attempt", "attempts")
            ),
            setting,
        );
    }
    text + &aside(own, setting)
}

/// What it has set aside.
fn aside(own: &SinkView, setting: Setting) -> String {
    let mut text = String::new();
    if own.set_aside > 0 {
        let count = counted(own.set_aside, "refusal", "refusals");
        let said = format!(
            "{count}; mend what is in the way, then: inkdwell sinks retry {}",
            own.sink
        );
        text += &line("  set aside", &said, setting);
    }
    if own.dropped > 0 {
        let said = format!(
            "{} more not kept, since there were too many",
            counted(own.dropped, "refusal", "refusals")
        );
        text += &line("", &said, setting);
    }
    let newest = own.newest_aside.iter().take(TOLD);
    text.extend(newest.map(|refused| line("", &refusal(refused), setting)));
    text
}

fn refusal(refused: &AsideView) -> String {
    let what = match refused.record {
        Some(record) => format!("record {record}"),
        None => "readings".to_owned(),
    };
    let again = if refused.again {
        ", to be sent again"
    } else {
        ""
    };
    format!("{} {what}{again}: {}", time(&refused.at), refused.why)
}

fn counted(count: u64, one: &str, many: &str) -> String {
    match count {
        1 => format!("1 {one}"),
        count => format!("{count} {many}"),
    }
}
