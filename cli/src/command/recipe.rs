//! `inkdwell recipe`: settings and a reference ride, locked for one ink, fabric and station.

use clap::{Args, Subcommand};
use inkdwell_config::Quantity;
use inkdwell_config::display::Units;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, MetresPerSecond, Seconds, Share};
use inkdwell_daemon::api::view::{LockedNow, NewRecipe, RecipeView, Recipes, ToRetire};
use serde_json::Value;

use super::daemon_words::{caution, decided, line, time};
use super::library_json::written;
use super::table::table;
use crate::Outcome;
use crate::client::{ByArguments, Client, DaemonArguments};
use crate::failure::Failure;
use crate::terminal::{Setting, print};

const CAUTION: &str = "\
Advice only: the ink maker's data sheet and a wash test decide.";

#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  inkdwell recipe lock 118 --ride-every \"4 h\"
  inkdwell batch open --recipe 1 --station belt-1 --job \"Harbour run\" --ink INK --fabric FABRIC

A recipe is what a ride that is proved good was printed with: its belt speed, what the zones' probes showed \
meanwhile, and what the exit probe showed of that print. While a batch is printed by it, the daemon says when the \
station leaves it.

Exit codes: 0 done; 2 it could not be done, and why.")]
pub(crate) struct RecipeArguments {
    #[command(subcommand)]
    pub(crate) command: RecipeCommand,
    /// Write the daemon's JSON instead of text
    #[arg(long, global = true)]
    pub(crate) json: bool,
    #[command(flatten)]
    pub(crate) daemon: DaemonArguments,
}

#[derive(Debug, Subcommand)]
pub(crate) enum RecipeCommand {
    /// Lock a recipe from a ride that is proved good
    Lock(LockArguments),
    /// List the recipes in force
    List {
        /// Also those that were retired
        #[arg(long)]
        all: bool,
    },
    /// Show a recipe
    Show {
        /// Its number
        recipe: u64,
    },
    /// Retire a recipe
    Retire {
        /// Its number
        recipe: u64,
        /// Why
        #[arg(long, value_name = "WORDS")]
        why: String,
        #[command(flatten)]
        by: ByArguments,
    },
}

#[derive(Debug, Args)]
pub(crate) struct LockArguments {
    /// The ride: the number of its pass
    ride: u64,
    /// By what share the belt may be off [default: "5 %"]
    #[arg(long, value_name = "SHARE")]
    belt_drift: Option<String>,
    /// By how much a zone may be off [default: "8 C"]
    #[arg(long, value_name = "DIFFERENCE")]
    zone_drift: Option<String>,
    /// By how much an exit temperature may be off [default: "6 C"]
    #[arg(long, value_name = "DIFFERENCE")]
    exit_drift: Option<String>,
    /// After how long another ride is due, such as "4 h"
    #[arg(long, value_name = "TIME")]
    ride_every: Option<String>,
    #[command(flatten)]
    by: ByArguments,
}

pub(crate) fn run(typed: RecipeArguments) -> Result<Outcome, Failure> {
    let client = Client::find(&typed.daemon)?;
    let setting = Setting::of_stdout();
    let (text, json) = match typed.command {
        RecipeCommand::Lock(lock) => locked(&client, &meant(&lock)?, setting)?,
        RecipeCommand::List { all } => {
            let (recipes, json) = client.get::<Recipes>(&format!("/api/recipes?retired={all}"))?;
            (list(&recipes, client.units()?, setting), json)
        }
        RecipeCommand::Show { recipe } => {
            let (recipe, json) = client.get::<RecipeView>(&format!("/api/recipes/{recipe}"))?;
            let text = shown(&recipe, client.units()?, setting);
            (text + "\n" + &caution(CAUTION, setting), json)
        }
        RecipeCommand::Retire { recipe, why, by } => {
            let body = ToRetire {
                by: by.name()?,
                why,
            };
            let path = format!("/api/recipes/{recipe}/retire");
            let (_, json) = client.post::<RecipeView>(&path, &body)?;
            (format!("Recipe {recipe} is retired.\n"), json)
        }
    };
    print(&if typed.json { written(&json)? } else { text })?;
    Ok(Outcome::Fine)
}

/// What is meant by a call of `lock`.
fn meant(lock: &LockArguments) -> Result<NewRecipe, Failure> {
    Ok(NewRecipe {
        ride: lock.ride,
        belt_drift: quantity::<Share>("--belt-drift", lock.belt_drift.as_deref())?
            .map(Share::value),
        zone_drift_c: quantity::<CelsiusDifference>("--zone-drift", lock.zone_drift.as_deref())?
            .map(CelsiusDifference::value),
        exit_drift_c: quantity::<CelsiusDifference>("--exit-drift", lock.exit_drift.as_deref())?
            .map(CelsiusDifference::value),
        ride_every_s: quantity::<Seconds>("--ride-every", lock.ride_every.as_deref())?
            .map(Seconds::value),
        by: lock.by.name()?,
    })
}

/// A quantity with its unit, where one was typed.
pub(super) fn quantity<Q: Quantity>(
    option: &str,
    typed: Option<&str>,
) -> Result<Option<Q>, Failure> {
    let parsed = typed.map(Q::parse).transpose();
    parsed.map_err(|error| Failure::new(format!("{option}: {error}")))
}

fn locked(client: &Client, new: &NewRecipe, setting: Setting) -> Result<(String, Value), Failure> {
    let (locked, json) = client.post::<LockedNow>("/api/recipes", new)?;
    let mut text = shown(&locked.recipe, client.units()?, setting);
    for remark in &locked.remarks {
        text += &line("remark", remark, setting);
    }
    text.push('\n');
    text += &caution(&locked.caution, setting);
    Ok((text, json))
}

fn belt(recipe: &RecipeView, units: Units) -> String {
    let speed = recipe.belt_m_per_min;
    speed.map_or_else(
        || "-".to_owned(),
        |speed| units.speed(MetresPerSecond(speed / 60.0)),
    )
}

fn list(recipes: &Recipes, units: Units, setting: Setting) -> String {
    if recipes.recipes.is_empty() {
        return "No recipe is in force; inkdwell recipe lock PASS locks one.\n".to_owned();
    }
    let rows: Vec<[String; 4]> = recipes
        .recipes
        .iter()
        .map(|recipe| {
            let retired = match recipe.retired {
                Some(_) => " (retired)",
                None => "",
            };
            [
                recipe.recipe.to_string(),
                recipe.station.clone(),
                belt(recipe, units),
                format!("{} on {}{retired}", recipe.ink, recipe.fabric),
            ]
        })
        .collect();
    let text = table(["recipe", "station", "belt", "print"], &rows, setting);
    text + "\n" + &caution(&recipes.caution, setting)
}

fn shown(recipe: &RecipeView, units: Units, setting: Setting) -> String {
    let mut text = setting.strong(&format!("Recipe {}", recipe.recipe)) + "\n";
    let difference = |celsius: f64| units.difference(CelsiusDifference(celsius));
    let print = format!("{} on {} at {}", recipe.ink, recipe.fabric, recipe.station);
    text += &line("print", &print, setting);
    text += &line("ride", &format!("pass {}", recipe.ride), setting);
    if recipe.belt_m_per_min.is_some() {
        let drift = format!("{:.1} %", recipe.belt_drift * 100.0);
        let belt = belt(recipe, units);
        text += &line("belt", &format!("{belt}, may be {drift} off"), setting);
    }
    for zone in &recipe.zones {
        let zone = format!(
            "{} shows {}, may be {} off",
            zone.probe,
            units.temperature(Celsius(zone.mean_c)),
            difference(recipe.zone_drift_c)
        );
        text += &line("zone", &zone, setting);
    }
    if let Some(exit) = recipe.exit_c {
        let exit = format!(
            "the print left at {}, may be {} off",
            units.temperature(Celsius(exit)),
            difference(recipe.exit_drift_c)
        );
        text += &line("exit", &exit, setting);
    }
    if !recipe.inferred_by.is_empty() {
        let inferred = format!(
            "each print is inferred from this ride as it passes {}",
            recipe.inferred_by.join(" and ")
        );
        text += &line("infers", &inferred, setting);
    }
    if let Some(every) = recipe.ride_every_s {
        let every = format!("another is due every {:.1} h", every / 3600.0);
        text += &line("rides", &every, setting);
    }
    text += &line("locked", &decided(&recipe.locked), setting);
    if let Some(retired) = &recipe.retired {
        let how = format!("{} by {}: {}", time(&retired.at), retired.by, retired.why);
        text += &line("retired", &how, setting);
    }
    text
}
