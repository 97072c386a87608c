//! `inkdwell inks`: the list, or one in full.

use inkdwell_config::display::Units;
use inkdwell_config::ink::Ink;
use inkdwell_config::law::Law;
use inkdwell_config::quantity::Seconds;
use inkdwell_cure::law::Counts;

use super::{curve, library, library_json};
use crate::Outcome;
use crate::arguments::InksArguments;
use crate::failure::Failure;
use crate::terminal::{Setting, print};

/// What stands below every figure of an ink or fabric.
pub(super) const CAUTION: &str =
    "The ink maker's data sheet and a wash test come before these figures.";

pub(crate) fn run(typed: &InksArguments) -> Result<Outcome, Failure> {
    let (shop, known) = library::load(&typed.library)?;
    let units = library::units(typed.units, shop.as_ref());
    let setting = Setting::of_stdout();
    if typed.json {
        let asked = |ink: &&Ink| typed.id.as_ref().is_none_or(|id| ink.id == *id);
        if let Some(id) = &typed.id {
            known
                .ink(id)
                .map_err(|unknown| Failure::new(unknown.to_string()))?;
        }
        print(&library_json::inks(known.inks().iter().filter(asked))?)?;
        return Ok(Outcome::Fine);
    }
    let text = match &typed.id {
        Some(id) => {
            let ink = known
                .ink(id)
                .map_err(|unknown| Failure::new(unknown.to_string()))?;
            in_full(ink, units, setting)
        }
        None => {
            let rows: Vec<[String; 3]> = known
                .inks()
                .iter()
                .map(|ink| row(&ink.id, &ink.name, need(&ink.cure, units)))
                .collect();
            list(["ink", "", "needs"], &rows, setting)
        }
    };
    print(&text)?;
    Ok(Outcome::Fine)
}

fn in_full(ink: &Ink, units: Units, setting: Setting) -> String {
    let mut text = format!(
        "{}\n{} · {}\n\n",
        setting.strong(&ink.name),
        ink.id,
        ink.family.name()
    );
    let mut line = |name: &str, value: String| text += &format!("{name:<18}{value}\n");
    line("needs", need(&ink.cure, units));
    line("time counts from", units.temperature(ink.threshold));
    if let Some(gel) = ink.gel {
        let (from, to) = (units.temperature(gel.from), units.temperature(gel.to));
        line("gels", format!("at a surface of {from} to {to}"));
    }
    if let Some(film) = ink.film {
        line("film", format!("{:.0} um as printed", film.0 * 1e6));
    }
    if let Some(water) = ink.water {
        line("water", format!("{:.0} % of the wet ink", water.0 * 100.0));
    }
    if let Some(pot_life) = ink.pot_life {
        line("pot life", time(pot_life));
    }
    if ink.needs_exhaust {
        line("fumes", "exhaust has to be proved while it runs".to_owned());
    }
    text += &format!(
        "\nHow long each temperature has to last for a full cure:\n\n{}",
        curve::draw(&ink.cure, Counts::Cure, units)
    );
    text += &format!(
        "\n{}\n\n{CAUTION}\n",
        setting.wrap("Source: ", 8, &ink.source)
    );
    text
}

/// A name padded for a list.
pub(super) fn row(id: &str, name: &str, what: String) -> [String; 3] {
    [id.to_owned(), name.to_owned(), what]
}

/// What a law asks for, in a line.
pub(super) fn need(law: &Law, units: Units) -> String {
    match law {
        Law::Hold { at, duration } => format!("{} at {}", time(*duration), units.temperature(*at)),
        Law::Equivalents { points } => {
            let points: Vec<String> = points
                .iter()
                .map(|(celsius, seconds)| {
                    format!("{} at {}", time(*seconds), units.temperature(*celsius))
                })
                .collect();
            points.join(", or ")
        }
    }
}

/// A time as people say it.
pub(super) fn time(time: Seconds) -> String {
    let whole = |number: f64| (number - number.round()).abs() < 1e-9;
    if time.0 >= 3600.0 && whole(time.0 / 3600.0) {
        format!("{:.0} h", time.0 / 3600.0)
    } else if time.0 >= 120.0 && whole(time.0 / 60.0) {
        format!("{:.0} min", time.0 / 60.0)
    } else {
        format!("{} s", time.0)
    }
}

/// A list in columns; the last one is wrapped.
pub(super) fn list(heads: [&str; 3], rows: &[[String; 3]], setting: Setting) -> String {
    let width = |column: usize| {
        let cells = rows.iter().map(|row| row[column].chars().count());
        cells.chain([heads[column].len()]).max().unwrap_or(0)
    };
    let (first, second) = (width(0), width(1));
    let mut text = format!("{:first$}  {:second$}  {}\n", heads[0], heads[1], heads[2]);
    text = setting.faint(text.trim_end()) + "\n";
    for row in rows {
        let lead = format!("{:first$}  {:second$}  ", row[0], row[1]);
        text += &setting.wrap(&lead, first + second + 4, &row[2]);
        text.push('\n');
    }
    text + "\n" + CAUTION + "\n"
}
