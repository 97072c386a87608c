//! `inkdwell fabrics`: the list, or one in full.

use inkdwell_config::display::Units;
use inkdwell_config::fabric::Fabric;
use inkdwell_cure::law::Counts;

use super::inks::{CAUTION, list, need, row};
use super::{curve, library, library_json};
use crate::Outcome;
use crate::arguments::FabricsArguments;
use crate::failure::Failure;
use crate::terminal::{Setting, print};

pub(crate) fn run(typed: &FabricsArguments) -> Result<Outcome, Failure> {
    let (shop, known) = library::load(&typed.library)?;
    let units = library::units(typed.units, shop.as_ref());
    let setting = Setting::of_stdout();
    if typed.json {
        let asked = |fabric: &&Fabric| typed.id.as_ref().is_none_or(|id| fabric.id == *id);
        if let Some(id) = &typed.id {
            known
                .fabric(id)
                .map_err(|unknown| Failure::new(unknown.to_string()))?;
        }
        print(&library_json::fabrics(
            known.fabrics().iter().filter(asked),
        )?)?;
        return Ok(Outcome::Fine);
    }
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
        let limits = need(&limit.law, units);
        let words = format!("{}: the limit is {limits}", limit.harm.name());
        text += &format!("\n{}\n\n", setting.wrap("", 2, &words));
        text += &curve::draw(&limit.law, Counts::Harm, units);
    }
    if fabric.harms.is_empty() {
        text += "\nNo limit is known, so no harm can be judged.\n";
    }
    text += &format!(
        "\n{}\n\n{CAUTION}\n",
        setting.wrap("Source: ", 8, &fabric.source)
    );
    text
}
