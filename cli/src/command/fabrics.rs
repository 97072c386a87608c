//! `inkdwell fabrics`: the list, or one in full.

use inkdwell_config::display::Units;
use inkdwell_config::fabric::Fabric;
use inkdwell_cure::law::Counts;

use super::inks::{list, need, row};
use super::{curve, library};
use crate::Outcome;
use crate::arguments::FabricsArguments;
use crate::failure::Failure;
use crate::terminal::{Setting, print};

pub(crate) fn run(typed: &FabricsArguments) -> Result<Outcome, Failure> {
    let (shop, known) = library::load(&typed.library)?;
    let units = library::units(typed.units, shop.as_ref());
    let setting = Setting::of_stdout();
    let text = match &typed.id {
        Some(id) => {
            let fabric = known
                .fabric(id)
                .map_err(|unknown| Failure::new(unknown.to_string()))?;
            in_full(fabric, units, setting)
        }
        None => {
            let limits = |fabric: &Fabric| row(&fabric.id, &fabric.name, limits(fabric, units));
            let rows: Vec<[String; 3]> = known.fabrics().iter().map(limits).collect();
            list(["fabric", "", "its limits begin"], &rows, setting)
        }
    };
    print(&text)?;
    Ok(Outcome::Fine)
}

fn limits(fabric: &Fabric, units: Units) -> String {
    let limits: Vec<String> = fabric
        .harms
        .iter()
        .map(|limit| {
            format!(
                "{} from {}",
                limit.harm.name(),
                units.temperature(limit.law.coolest().0)
            )
        })
        .collect();
    if limits.is_empty() {
        "none is known".to_owned()
    } else {
        limits.join(", ")
    }
}

fn in_full(fabric: &Fabric, units: Units, setting: Setting) -> String {
    let mut text = format!("{}\n{}\n\n", setting.strong(&fabric.name), fabric.id);
    let layers = if fabric.layers == 1 {
        "one layer"
    } else {
        "layers on the belt"
    };
    let count = if fabric.layers == 1 {
        String::new()
    } else {
        format!("{} ", fabric.layers)
    };
    text += &format!(
        "{:<18}{:.0} g/m2, {count}{layers}\n",
        "mass",
        fabric.mass.0 * 1000.0
    );
    text += &format!(
        "{:<18}{:.1} % of its dry mass\n",
        "regain",
        fabric.regain.0 * 100.0
    );
    for limit in &fabric.harms {
        text += &format!(
            "\n{}: the limit is {}\n\n",
            limit.harm.name(),
            need(&limit.law, units)
        );
        text += &curve::draw(&limit.law, Counts::Harm, units);
    }
    if fabric.harms.is_empty() {
        text += "\nNo limit is known, so no harm can be judged.\n";
    }
    text += &format!("\n{}\n", setting.wrap("Source: ", 8, &fabric.source));
    text
}
