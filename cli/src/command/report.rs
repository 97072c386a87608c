//! `inkdwell report`: what was run, how each print was proved, what was wrong and what was done about it.

use std::fs;
use std::path::{Path, PathBuf};

use chrono::{DateTime, NaiveDate, NaiveTime};
use chrono_tz::Tz;
use clap::{Args, ValueEnum};
use inkdwell_config::shop::Shop;
use inkdwell_daemon::journal::{PassQuery, Reader, Readers};
use inkdwell_daemon::report::{self, Asked, Report, ShopFile, When, day_of};
use inkdwell_daemon::time::{Micros, wall};
use inkdwell_daemon::wall::WallTimes;
use sha2::{Digest, Sha256};

use super::library_json::written;
use crate::Outcome;
use crate::failure::Failure;
use crate::report::{csv, text};
use crate::terminal::{Setting, print};

#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  inkdwell report --data data --shop shop.toml
  inkdwell report --data data --shop shop.toml --day yesterday --out yesterday.html
  inkdwell report --data data --shop shop.toml --batch 7 --out batch-7.pdf
  inkdwell report --data data --shop shop.toml --job \"Harbour choir\"
  inkdwell report --data data --shop shop.toml --from 2026-03-02 --to 2026-03-06 --out week.json

It reads the journal itself, whether the daemon runs or not. Without a time it is about the day of the newest \
print. The ending of --out says the form: .txt, .html, .json, .csv (a line for every print) or .pdf. What it says, \
`inkdwell verify` holds against the journal later.

Exit codes: 0 every print is proved good; 1 at least one is not; 2 there is no report, and why.

Inkdwell watches and advises; it is no safety device. The ink maker's data sheet, a wash test, local codes and \
licensed practice come before any figure it shows.")]
pub(crate) struct ReportArguments {
    /// The data folder, or a backup of its journal
    #[arg(
        long,
        value_name = "PATH",
        env = "INKDWELL_DATA",
        required_unless_present = "schema"
    )]
    data: Option<PathBuf>,
    /// Write the JSON Schema of inkdwell.report/1, in which every figure is explained, and no report
    #[arg(long)]
    schema: bool,
    /// The shop file: its name, time zone, units and probes; without it times are in UTC and nothing is drawn
    #[arg(long, value_name = "FILE")]
    shop: Option<PathBuf>,
    /// A day of the shop's calendar: 2026-03-02, today or yesterday
    #[arg(long, value_name = "DAY", conflicts_with_all = ["from", "to", "batch"])]
    day: Option<String>,
    /// From this day, or this moment (2026-03-02T06:00:00+01:00)
    #[arg(long, value_name = "TIME", requires = "to")]
    from: Option<String>,
    /// To the end of this day, or to this moment
    #[arg(long, value_name = "TIME", requires = "from")]
    to: Option<String>,
    /// One batch, whenever it ran
    #[arg(long, value_name = "N", conflicts_with_all = ["from", "to"])]
    batch: Option<u64>,
    /// Only this station
    #[arg(long, value_name = "ID")]
    station: Option<String>,
    /// Only this job; alone, whenever it ran
    #[arg(long, value_name = "NAME")]
    job: Option<String>,
    /// When days begin, for shifts past midnight
    #[arg(long, value_name = "HH:MM", default_value = "00:00")]
    day_begins: String,
    /// The form on standard output
    #[arg(long, value_enum, conflicts_with = "out")]
    format: Option<Form>,
    /// Write it into this file
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Write over a file that is there
    #[arg(long, requires = "out")]
    force: bool,
    /// Sign the file with the shop's key, into FILE.sig beside it; `inkdwell key` makes one
    #[arg(long, value_name = "KEY_FILE", requires = "out")]
    sign: Option<PathBuf>,
}

/// The form of a report.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Form {
    /// For the terminal
    Text,
    /// One page that wants nothing from elsewhere
    Html,
    /// Data, schema inkdwell.report/1
    Json,
    /// A line for every print
    Csv,
    /// To be printed, filed and searched
    Pdf,
}

pub(crate) fn run(typed: &ReportArguments) -> Result<Outcome, Failure> {
    if typed.schema {
        print(&written(&report::schema())?)?;
        return Ok(Outcome::Fine);
    }
    let form = form(typed)?;
    let data = typed.data.as_deref().unwrap_or(Path::new("."));
    let readers = Readers::at(data).map_err(failed)?;
    let reader = readers.reader().map_err(failed)?;
    let shop = typed.shop.as_deref().map(shop_file).transpose()?;
    let zone = shop
        .as_ref()
        .map_or(chrono_tz::UTC, |file| file.shop.timezone);
    let asked = asked(typed, &reader, zone)?;
    let report = report::gather(&reader, shop.as_ref(), &asked, None, wall()).map_err(failed)?;
    let bytes = in_form(&report, form)?;
    match &typed.out {
        None if form == Form::Pdf => {
            return Err(Failure::new(
                "a PDF is no text for a terminal; name a file with --out",
            ));
        }
        None => print(&String::from_utf8_lossy(&bytes))?,
        Some(file) => {
            write_new(file, &bytes, typed.force)?;
            if let Some(key) = &typed.sign {
                crate::report::signing::sign(key, file, &bytes, typed.force)?;
            }
            let setting = Setting::of_stdout();
            let told = format!("{}: {}", file.display(), report.answer.sentence);
            print(&(setting.wrap("", 2, &told) + "\n"))?;
        }
    }
    let good = |verdict: &str| matches!(verdict, "cured" | "gelled");
    let proved = report.counts.iter().all(|count| good(&count.verdict));
    Ok(match proved && report.without_batch == 0 {
        true => Outcome::Fine,
        false => Outcome::Finding,
    })
}

fn failed(error: impl std::fmt::Display) -> Failure {
    Failure::new(error.to_string())
}

/// What the ending of a file, or the call, says.
fn form(typed: &ReportArguments) -> Result<Form, Failure> {
    let Some(file) = &typed.out else {
        return Ok(typed.format.unwrap_or(Form::Text));
    };
    let ending = file
        .extension()
        .map(|ending| ending.to_string_lossy().to_lowercase());
    match ending.as_deref() {
        Some("txt") => Ok(Form::Text),
        Some("html" | "htm") => Ok(Form::Html),
        Some("json") => Ok(Form::Json),
        Some("csv") => Ok(Form::Csv),
        Some("pdf") => Ok(Form::Pdf),
        _ => Err(Failure::of_file(
            file.display(),
            "its ending names no form of a report",
            "end it in .txt, .html, .json, .csv or .pdf",
        )),
    }
}

fn in_form(report: &Report, form: Form) -> Result<Vec<u8>, Failure> {
    Ok(match form {
        Form::Text => text::told(report, Setting::of_stdout()).into_bytes(),
        Form::Html => report::html::page(report).map_err(failed)?.into_bytes(),
        Form::Json => written(report)?.into_bytes(),
        Form::Csv => csv::prints(report).into_bytes(),
        Form::Pdf => report::pdf::document(report).map_err(failed)?,
    })
}

/// Writes a file that is not there yet, or may be written over.
pub(crate) fn write_new(file: &Path, bytes: &[u8], force: bool) -> Result<(), Failure> {
    if !force && file.exists() {
        return Err(Failure::of_file(
            file.display(),
            "there is a file of this name",
            "name another, or say --force",
        ));
    }
    fs::write(file, bytes).map_err(|error| Failure::writing(file, &error))
}

/// Reads a shop file, with the digest of its text.
pub(crate) fn shop_file(path: &Path) -> Result<ShopFile, Failure> {
    let shop = Shop::load(path).map_err(Failure::from)?;
    let bytes = fs::read(path).map_err(|error| {
        Failure::of_file(
            path.display(),
            format_args!("cannot be read ({error})"),
            "check its rights",
        )
    })?;
    let digest = Sha256::digest(&bytes);
    let sha256 = digest.iter().map(|byte| format!("{byte:02x}")).collect();
    Ok(ShopFile { shop, sha256 })
}

/// What the call asks about.
fn asked(typed: &ReportArguments, reader: &Reader, zone: Tz) -> Result<Asked, Failure> {
    let begins = NaiveTime::parse_from_str(&typed.day_begins, "%H:%M").map_err(|_| {
        let typed = &typed.day_begins;
        Failure::new(format!(
            "--day-begins: {typed:?} is no hour; write it as 06:00"
        ))
    })?;
    let when = match (&typed.day, &typed.from, &typed.to, typed.batch) {
        (_, _, _, Some(batch)) => When::Batch(batch),
        (Some(day), ..) => When::Day {
            date: date(day, begins, zone)?,
            begins,
        },
        (None, Some(from), Some(to), _) => between(from, to, begins, zone)?,
        _ if typed.job.is_some() => When::Always,
        _ => match newest(reader)? {
            Some(shown) => When::Day {
                date: day_of(shown, begins, zone),
                begins,
            },
            None => When::Day {
                date: day_of(wall(), begins, zone),
                begins,
            },
        },
    };
    Ok(Asked {
        when,
        station: typed.station.clone(),
        job: typed.job.clone(),
    })
}

/// What the clock on the wall showed when the newest print went in.
fn newest(reader: &Reader) -> Result<Option<Micros>, Failure> {
    let query = PassQuery {
        newest: Some(1),
        ..PassQuery::default()
    };
    let passes = reader.passes(&query).map_err(failed)?;
    let walls = WallTimes::of(reader).map_err(failed)?;
    Ok(passes.first().map(|kept| walls.shown(kept.pass.start)))
}

fn date(typed: &str, begins: NaiveTime, zone: Tz) -> Result<NaiveDate, Failure> {
    let today = day_of(wall(), begins, zone);
    match typed.trim().to_lowercase().as_str() {
        "today" => Ok(today),
        "yesterday" => Ok(today.pred_opt().unwrap_or(today)),
        other => other.parse().map_err(|_| no_day(typed)),
    }
}

fn no_day(typed: &str) -> Failure {
    Failure::new(format!(
        "{typed:?} is no day; write it as 2026-03-02, or say today or yesterday"
    ))
}

/// Two days, or two moments.
fn between(from: &str, to: &str, begins: NaiveTime, zone: Tz) -> Result<When, Failure> {
    let moment =
        |text: &str| DateTime::parse_from_rfc3339(text).map(|at| Micros(at.timestamp_micros()));
    if let (Ok(from), Ok(before)) = (moment(from), moment(to)) {
        return match from < before {
            true => Ok(When::Range { from, before }),
            false => Err(Failure::new("--to is not after --from; turn them round")),
        };
    }
    if moment(from).is_ok() != moment(to).is_ok() {
        return Err(Failure::new(
            "--from and --to are a day and a moment; write both as 2026-03-02, or both as 2026-03-02T06:00:00+01:00",
        ));
    }
    let (first, last) = (date(from, begins, zone)?, date(to, begins, zone)?);
    match first <= last {
        true => Ok(When::Days {
            first,
            last,
            begins,
        }),
        false => Err(Failure::new("--to is before --from; turn them round")),
    }
}

/// From one day or moment to another, by the clock on the wall; the second moment excluded.
pub(crate) fn range_of(from: &str, to: &str, zone: Tz) -> Result<(Micros, Micros), Failure> {
    let when = between(from, to, NaiveTime::MIN, zone)?;
    let all = (Micros(i64::MIN), Micros(i64::MAX));
    Ok(when.shown(zone).unwrap_or(all))
}
