//! `inkdwell export`: readings, passes or events as a table that a data frame library opens at once.

use std::fs::File;
use std::io::{self, BufWriter, IsTerminal};
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use inkdwell_daemon::journal::Readers;
use inkdwell_daemon::report::{ShopFile, When};
use inkdwell_daemon::table::{Column, listed};
use inkdwell_daemon::time::Micros;
use inkdwell_daemon::wall::WallTimes;

use super::bar::Bar;
use super::report::{range_of, shop_file, zone_of};
use crate::Outcome;
use crate::export::csv::Csv;
use crate::export::parquet::Parquet;
use crate::export::table::Rows;
use crate::export::{Wanted, events, passes, readings};
use crate::failure::Failure;

#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  inkdwell export passes --data data --out passes.parquet
  inkdwell export readings --data data --from 2026-03-02 --to 2026-03-02 --out monday.csv
  inkdwell export passes --columns

The ending of --out says the form, .csv or .parquet; without it CSV goes to standard output. Each column has its unit \
in its name; a Parquet file carries what --columns lists. It takes the same little memory for a day and for a year.

Exit codes: 0 written; 2 it could not be, and why.")]
pub(crate) struct ExportArguments {
    /// What
    #[arg(value_enum)]
    what: What,
    /// The data folder, or a backup of its journal
    #[arg(
        long,
        value_name = "PATH",
        env = "INKDWELL_DATA",
        required_unless_present = "columns"
    )]
    data: Option<PathBuf>,
    /// Another shop file than the one that held then, which the journal keeps
    #[arg(long, value_name = "FILE")]
    shop: Option<PathBuf>,
    /// From this day, or this moment (2026-03-02T06:00:00+01:00)
    #[arg(long, value_name = "TIME", requires = "to")]
    from: Option<String>,
    /// To the end of this day, or to this moment
    #[arg(long, value_name = "TIME", requires = "from")]
    to: Option<String>,
    /// Write it into this file
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Write over a file that is there
    #[arg(long, requires = "out")]
    force: bool,
    /// List the columns and what they say, and export nothing
    #[arg(long)]
    columns: bool,
}

/// What is exported.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum What {
    /// What every device said
    Readings,
    /// Every print's trip through the heat, with figures and verdict
    Passes,
    /// Every other record: batches, holds, decisions, troubles
    Events,
}

impl What {
    fn columns(self) -> &'static [Column] {
        match self {
            What::Readings => &readings::COLUMNS,
            What::Passes => &passes::COLUMNS,
            What::Events => &events::COLUMNS,
        }
    }
}

pub(crate) fn run(typed: &ExportArguments) -> Result<Outcome, Failure> {
    if typed.columns {
        crate::terminal::print(&listed(typed.what.columns()))?;
        return Ok(Outcome::Fine);
    }
    let failed = |error: &dyn std::fmt::Display| Failure::new(error.to_string());
    let data = typed.data.as_deref().unwrap_or(Path::new("."));
    let readers = Readers::at(data).map_err(|error| failed(&error))?;
    let reader = readers.reader().map_err(|error| failed(&error))?;
    let named = typed.shop.as_deref().map(shop_file).transpose()?;
    let (when, shown) = match (&typed.from, &typed.to) {
        (Some(from), Some(to)) => {
            let (from, before) = range_of(from, to, zone_of(named.as_ref(), &reader)?)?;
            (When::Range { from, before }, (from, before))
        }
        _ => (When::Always, (Micros(i64::MIN), Micros(i64::MAX))),
    };
    let shop = match named {
        Some(named) => Some(named),
        None => ShopFile::held(&reader, &when).map_err(|error| failed(&error))?,
    };
    let wanted = Wanted {
        walls: WallTimes::of(&reader).map_err(|error| failed(&error))?,
        reader: &reader,
        shop: shop.as_ref(),
        shown,
    };
    let sizes = reader.sizes().map_err(|error| failed(&error))?;
    let total = match typed.what {
        What::Readings => sizes.readings,
        What::Passes => sizes.passes,
        What::Events => sizes.records,
    };
    write(typed, &wanted, total)?;
    Ok(Outcome::Fine)
}

fn write(typed: &ExportArguments, wanted: &Wanted<'_>, total: u64) -> Result<(), Failure> {
    let columns = typed.what.columns();
    let Some(path) = &typed.out else {
        let out = BufWriter::new(io::stdout().lock());
        // A bar among the lines of a terminal helps nobody.
        let total = if io::stdout().is_terminal() { 0 } else { total };
        let mut csv = Csv::new(out, "standard output", columns)?;
        gone_over(typed.what, wanted, &mut csv, total)?;
        return csv.finish().map(|_| ());
    };
    let name = path.display().to_string();
    let ending = path
        .extension()
        .map(|ending| ending.to_string_lossy().to_lowercase());
    match ending.as_deref() {
        Some("csv") => {
            let mut csv = Csv::new(BufWriter::new(created(path, typed.force)?), &name, columns)?;
            gone_over(typed.what, wanted, &mut csv, total)?;
            csv.finish().map(|_| ())
        }
        Some("parquet") => {
            let mut parquet = Parquet::new(created(path, typed.force)?, &name, columns)?;
            gone_over(typed.what, wanted, &mut parquet, total)?;
            parquet.finish()
        }
        _ => Err(Failure::of_file(
            name,
            "its ending names no form of a table",
            "end it in .csv or .parquet",
        )),
    }
}

fn created(path: &Path, force: bool) -> Result<File, Failure> {
    if !force && path.exists() {
        return Err(Failure::of_file(
            path.display(),
            "there is a file of this name",
            "name another, or say --force",
        ));
    }
    File::create(path).map_err(|error| Failure::writing(path, &error))
}

fn gone_over(
    what: What,
    wanted: &Wanted<'_>,
    rows: &mut impl Rows,
    total: u64,
) -> Result<(), Failure> {
    let mut bar = Bar::new("exporting");
    let mut done = 0;
    let mut each = || {
        done += 1;
        if done % 4096 == 0 && total > 0 {
            bar.set(done, total);
        }
    };
    match what {
        What::Readings => readings::rows(wanted, rows, &mut each),
        What::Passes => passes::rows(wanted, rows, &mut each),
        What::Events => events::rows(wanted, rows, &mut each),
    }
}
