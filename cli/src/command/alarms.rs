//! `inkdwell alarms`: which stand, what to do about them, and what people have done.

use clap::{Args, Subcommand};
use inkdwell_config::Quantity;
use inkdwell_config::problem::suggestion;
use inkdwell_config::quantity::Seconds;
use inkdwell_cure::alarm::{Kind, Priority};
use inkdwell_daemon::api::view::{
    Acknowledgement, AlarmChangeView, AlarmHistory, AlarmView, Alarms, ByWhy, SheetView, ToShelve,
};
use serde::Serialize;

use super::daemon_words::{caution, line, time};
use super::library_json::written;
use super::table::table;
use crate::Outcome;
use crate::client::{ByArguments, Client, DaemonArguments};
use crate::failure::Failure;
use crate::terminal::{Setting, print};

#[derive(Debug, Args)]
#[command(after_help = "\
An alarm is written NAME@ID, the ID being that of its station, probe, source or way out, or NAME alone where it \
is of the whole shop; inkdwell alarms list shows it so.

Examples:
  inkdwell alarms
  inkdwell alarms explain belt-stopped-hot
  inkdwell alarms ack belt-stopped-hot@belt-1 --why \"belt runs again\"
  inkdwell alarms shelve probe-noisy@zone-2 --for \"2 h\" --why \"shield comes this afternoon\"
  inkdwell alarms drill --why \"new phone\"

Exit codes: 0 nothing wants acknowledging, or it is done; 1 something does; 2 it could not be done, and why.

Inkdwell is no safety interlock: make safe first, then look. The dryer's own limits, local codes and licensed \
practice come before anything it says.")]
pub(crate) struct AlarmsArguments {
    #[command(subcommand)]
    pub(crate) command: Option<AlarmsCommand>,
    /// Write JSON instead of text
    #[arg(long, global = true)]
    pub(crate) json: bool,
    #[command(flatten)]
    pub(crate) daemon: DaemonArguments,
}

/// Which alarm, and who says what to it.
#[derive(Debug, Args)]
pub(crate) struct DealArguments {
    /// The alarm: NAME@ID, or NAME
    alarm: String,
    /// Why
    #[arg(long, value_name = "WORDS")]
    why: String,
    #[command(flatten)]
    by: ByArguments,
}

#[derive(Debug, Subcommand)]
pub(crate) enum AlarmsCommand {
    /// List the alarms that stand
    List {
        /// Also those that are normal again, or suppressed by design
        #[arg(long)]
        all: bool,
    },
    /// Acknowledge an alarm: somebody knows
    Ack {
        /// The alarm: NAME@ID, or NAME
        alarm: String,
        /// What there is to say to it
        #[arg(long, value_name = "WORDS", default_value = "")]
        why: String,
        #[command(flatten)]
        by: ByArguments,
    },
    /// Let a latched alarm go, once somebody has looked
    Reset(DealArguments),
    /// Put an alarm aside for a limited time
    Shelve {
        /// For how long, such as \"30 min\"
        #[arg(long = "for", value_name = "TIME")]
        lasting: String,
        #[command(flatten)]
        deal: DealArguments,
    },
    /// Take an alarm off the shelf
    Unshelve(DealArguments),
    /// Take an alarm out of service until it is put back
    TakeOut(DealArguments),
    /// Put an alarm back into service
    PutBack(DealArguments),
    /// Explain an alarm: cause, consequence, what to do first, how long one has; without a name, list all
    Explain {
        /// Its name
        name: Option<String>,
    },
    /// Show what has happened to alarms, the newest last
    History {
        /// One alarm, NAME@ID, or all of a NAME
        alarm: Option<String>,
        /// The newest so many
        #[arg(long, value_name = "N", default_value_t = 50, value_parser = clap::value_parser!(u64).range(1..=2000))]
        newest: u64,
    },
    /// Raise a test alarm, marked as a drill, which goes through every way out
    Drill {
        /// Why
        #[arg(long, value_name = "WORDS")]
        why: String,
        #[command(flatten)]
        by: ByArguments,
    },
}

pub(crate) fn run(typed: &AlarmsArguments) -> Result<Outcome, Failure> {
    let setting = Setting::of_stdout();
    match &typed.command {
        None => list(typed, false, setting),
        Some(AlarmsCommand::List { all }) => list(typed, *all, setting),
        Some(AlarmsCommand::Explain { name }) => explain(name.as_deref(), typed.json, setting),
        Some(AlarmsCommand::History { alarm, newest }) => {
            history(typed, alarm.as_deref(), *newest, setting)
        }
        Some(AlarmsCommand::Ack { alarm, why, by }) => {
            let by = by.name()?;
            let why = why.clone();
            deal(
                typed,
                alarm,
                "acknowledge",
                &Acknowledgement { by, why },
                setting,
            )
        }
        Some(AlarmsCommand::Reset(own)) => said(typed, own, "reset", setting),
        Some(AlarmsCommand::Unshelve(own)) => said(typed, own, "unshelve", setting),
        Some(AlarmsCommand::TakeOut(own)) => said(typed, own, "take-out", setting),
        Some(AlarmsCommand::PutBack(own)) => said(typed, own, "put-back", setting),
        Some(AlarmsCommand::Shelve { lasting, deal: own }) => {
            let body = ToShelve {
                for_s: seconds(lasting)?,
                by: own.by.name()?,
                why: own.why.clone(),
            };
            deal(typed, &own.alarm, "shelve", &body, setting)
        }
        Some(AlarmsCommand::Drill { why, by }) => {
            let (by, why) = (by.name()?, why.clone());
            post(typed, "/api/alarms/drill", &ByWhy { by, why }, setting)
        }
    }
}

fn seconds(text: &str) -> Result<f64, Failure> {
    let read = Seconds::parse(text);
    read.map(|time| time.0)
        .map_err(|error| Failure::new(format!("--for: {error}")))
}

fn said(
    typed: &AlarmsArguments,
    own: &DealArguments,
    what: &str,
    setting: Setting,
) -> Result<Outcome, Failure> {
    let (by, why) = (own.by.name()?, own.why.clone());
    deal(typed, &own.alarm, what, &ByWhy { by, why }, setting)
}

fn deal(
    typed: &AlarmsArguments,
    alarm: &str,
    what: &str,
    body: &impl Serialize,
    setting: Setting,
) -> Result<Outcome, Failure> {
    let odd = |letter: char| !(letter.is_ascii_alphanumeric() || "-_@.".contains(letter));
    if alarm.contains(odd) {
        return Err(Failure::new(format!(
            "{alarm:?} is no alarm; write NAME@ID as inkdwell alarms list shows it"
        )));
    }
    post(typed, &format!("/api/alarms/{alarm}/{what}"), body, setting)
}

fn post(
    typed: &AlarmsArguments,
    path: &str,
    body: &impl Serialize,
    setting: Setting,
) -> Result<Outcome, Failure> {
    let client = Client::find(&typed.daemon)?;
    let (alarm, json) = client.post::<AlarmView>(path, body)?;
    print(&match typed.json {
        true => written(&json)?,
        false => {
            let until = alarm.shelved_until.as_ref();
            let until = until.map_or(String::new(), |until| format!(" until {}", time(until)));
            let state = words(&alarm.state);
            setting.wrap("", 2, &format!("{} is {state}{until}.", alarm.alarm)) + "\n"
        }
    })?;
    Ok(Outcome::Fine)
}

fn list(typed: &AlarmsArguments, all: bool, setting: Setting) -> Result<Outcome, Failure> {
    let client = Client::find(&typed.daemon)?;
    let state = if all { "all" } else { "standing" };
    let (alarms, json) = client.get::<Alarms>(&format!("/api/alarms?state={state}"))?;
    print(&match typed.json {
        true => written(&json)?,
        false => told(&alarms, setting),
    })?;
    let wants = |alarm: &AlarmView| alarm.state.ends_with("unacknowledged");
    Ok(match alarms.alarms.iter().any(wants) {
        true => Outcome::Finding,
        false => Outcome::Fine,
    })
}

fn told(alarms: &Alarms, setting: Setting) -> String {
    if alarms.alarms.is_empty() {
        return "No alarm stands.\n".to_owned();
    }
    let each = alarms.alarms.iter().map(|alarm| one(alarm, setting) + "\n");
    each.collect::<String>() + &caution(&alarms.caution, setting)
}

/// An alarm in full.
fn one(alarm: &AlarmView, setting: Setting) -> String {
    let drill = if alarm.drill { "DRILL, " } else { "" };
    let head = format!(
        "{} {}{}: {}",
        mark(&alarm.priority),
        drill,
        alarm.alarm,
        alarm.title
    );
    let mut text = setting.strong(&setting.wrap("", 2, &head)) + "\n";
    let times = match alarm.count {
        0 | 1 => String::new(),
        count => format!(", {count} times"),
    };
    let mut state = format!(
        "{}, {} priority, since {}{times}",
        words(&alarm.state),
        alarm.priority,
        time(&alarm.since)
    );
    if let Some(until) = &alarm.shelved_until {
        state += &format!(", until {}", time(until));
    }
    text += &line("  state", &state, setting);
    if !alarm.words.is_empty() {
        text += &line("  why", &alarm.words, setting);
    }
    if let Some(said) = &alarm.said {
        let why = match said.why.is_empty() {
            true => said.by.clone(),
            false => format!("{}: {}", said.by, said.why),
        };
        text += &line("  said by", &why, setting);
    }
    if let Some(first) = &alarm.follows {
        text += &line("  follows", first, setting);
    }
    if alarm.holds || alarm.state.ends_with("unacknowledged") {
        text += &line("  first", &alarm.first, setting);
        text += &line("  then", &alarm.then, setting);
        text += &line("  time", &alarm.time, setting);
        if let Some(own) = &alarm.caution {
            text += &line("  caution", own, setting);
        }
    }
    text
}

/// A mark of its own for each priority.
fn mark(priority: &str) -> &'static str {
    match priority {
        "high" => "!!!",
        "medium" => "!! ",
        _ => "!  ",
    }
}

/// A state as people read it.
fn words(state: &str) -> &str {
    match state {
        "unacknowledged" => "not acknowledged",
        "returned-unacknowledged" => "over, not acknowledged",
        "latched-unacknowledged" => "over, latched, not acknowledged",
        "latched-acknowledged" => "over, latched: look, then reset it",
        "suppressed-by-design" => "suppressed, its station being off",
        "out-of-service" => "out of service",
        other => other,
    }
}

fn history(
    typed: &AlarmsArguments,
    alarm: Option<&str>,
    newest: u64,
    setting: Setting,
) -> Result<Outcome, Failure> {
    let client = Client::find(&typed.daemon)?;
    let of = match alarm {
        None => String::new(),
        Some(alarm)
            if alarm
                .chars()
                .all(|letter| letter.is_ascii_alphanumeric() || "-_@.".contains(letter)) =>
        {
            format!("&alarm={alarm}")
        }
        Some(alarm) => {
            return Err(Failure::new(format!(
                "{alarm:?} is no alarm; inkdwell alarms explain lists all"
            )));
        }
    };
    let path = format!("/api/alarms/history?newest={newest}{of}");
    let (history, json) = client.get::<AlarmHistory>(&path)?;
    print(&match typed.json {
        true => written(&json)?,
        false => past(&history, setting),
    })?;
    Ok(Outcome::Fine)
}

fn past(history: &AlarmHistory, setting: Setting) -> String {
    if history.changes.is_empty() {
        return "No alarm has ever come.\n".to_owned();
    }
    let each = history.changes.iter().rev();
    each.map(|change| setting.wrap("", 4, &happened(change)) + "\n")
        .collect()
}

fn happened(change: &AlarmChangeView) -> String {
    let drill = if change.drill { " (drill)" } else { "" };
    let mut text = format!(
        "{}  {}{drill} {}",
        time(&change.at),
        change.alarm,
        change.change
    );
    if let Some(said) = &change.said {
        text += &format!(" by {}", said.by);
        if !said.why.is_empty() {
            text += &format!(": {}", said.why);
        }
    } else if matches!(change.change.as_str(), "raised" | "counted") {
        if change.count > 1 {
            text += &format!(", for the {}. time", change.count);
        }
        text += &format!(". {}", change.words);
    }
    text
}

fn explain(name: Option<&str>, json: bool, setting: Setting) -> Result<Outcome, Failure> {
    let Some(name) = name else {
        let sheets: Vec<SheetView> = Kind::ALL.into_iter().map(SheetView::new).collect();
        print(&match json {
            true => written(&sheets)?,
            false => catalogue(setting),
        })?;
        return Ok(Outcome::Fine);
    };
    // NAME@ID is what the list shows, and what one types then.
    let plain = name.split_once('@').map_or(name, |(plain, _)| plain);
    let kind = Kind::named(plain).ok_or_else(|| {
        let names: Vec<&str> = Kind::ALL.into_iter().map(Kind::name).collect();
        Failure::new(format!(
            "there is no alarm {name:?}; {}",
            suggestion(plain, &names)
        ))
    })?;
    print(&match json {
        true => written(&SheetView::new(kind))?,
        false => sheet(kind, setting),
    })?;
    Ok(Outcome::Fine)
}

fn catalogue(setting: Setting) -> String {
    let rows = Kind::ALL.into_iter().map(|kind| {
        let own = kind.sheet();
        [
            own.name.to_owned(),
            own.priority.name().to_owned(),
            own.title.to_owned(),
        ]
    });
    let rows: Vec<[String; 3]> = rows.collect();
    table(["alarm", "priority", "says"], &rows, setting)
}

/// A page of the catalogue.
fn sheet(kind: Kind, setting: Setting) -> String {
    let own = kind.sheet();
    let head = format!("{} {}: {}", mark(own.priority.name()), own.name, own.title);
    let mut text = setting.strong(&setting.wrap("", 2, &head)) + "\n";
    let latches = if own.latches {
        "; it stays until somebody has looked and resets it"
    } else {
        ""
    };
    let urgency = match own.priority {
        Priority::High => "act now",
        Priority::Medium => "act soon",
        Priority::Low => "look when you can",
    };
    let priority = format!("{}: {urgency}{latches}", own.priority.name());
    for (name, what) in [
        ("  priority", priority.as_str()),
        ("  cause", own.cause),
        ("  consequence", own.consequence),
        ("  first", own.first),
        ("  then", own.then),
        ("  time", own.time),
    ] {
        text += &line(name, what, setting);
    }
    for key in own.keys {
        text += &line(
            "  set by",
            &format!("{}, by default {}", key.name, key.default),
            setting,
        );
    }
    if let Some(hazard) = own.hazard {
        text += &line("  caution", hazard.caution(), setting);
    }
    text
}
