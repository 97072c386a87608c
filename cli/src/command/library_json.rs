//! Inks and fabrics as JSON, in °C, seconds, metres and kilograms.
//!
//! `{ "schema": "inkdwell.inks/1", "inks": [ … ] }` and `{ "schema": "inkdwell.fabrics/1", "fabrics":
//! [ … ] }`; what is not declared is null.

use inkdwell_config::fabric::Fabric;
use inkdwell_config::ink::Ink;
use inkdwell_config::law::Law;
use serde::Serialize;

use crate::failure::Failure;

#[derive(Serialize)]
struct Inks<'a> {
    schema: &'static str,
    inks: Vec<InkJson<'a>>,
}

#[derive(Serialize)]
struct Fabrics<'a> {
    schema: &'static str,
    fabrics: Vec<FabricJson<'a>>,
}

#[derive(Serialize)]
struct InkJson<'a> {
    id: &'a str,
    name: &'a str,
    family: &'static str,
    threshold_c: f64,
    cure: LawJson,
    gel_c: Option<[f64; 2]>,
    film_m: Option<f64>,
    water: Option<f64>,
    pot_life_s: Option<f64>,
    needs_exhaust: bool,
    source: &'a str,
}

#[derive(Serialize)]
struct FabricJson<'a> {
    id: &'a str,
    name: &'a str,
    mass_kg_per_m2: f64,
    regain: f64,
    layers: u8,
    harms: Vec<HarmJson>,
    source: &'a str,
}

#[derive(Serialize)]
struct HarmJson {
    harm: &'static str,
    #[serde(flatten)]
    law: LawJson,
}

#[derive(Serialize)]
#[serde(tag = "law", rename_all = "lowercase")]
enum LawJson {
    Hold { at_c: f64, for_s: f64 },
    Equivalents { points: Vec<PointJson> },
}

#[derive(Serialize)]
struct PointJson {
    at_c: f64,
    for_s: f64,
}

impl From<&Law> for LawJson {
    fn from(law: &Law) -> LawJson {
        match law {
            Law::Hold { at, duration } => LawJson::Hold {
                at_c: at.0,
                for_s: duration.0,
            },
            Law::Equivalents { points } => LawJson::Equivalents {
                points: points
                    .iter()
                    .map(|(at, duration)| PointJson {
                        at_c: at.0,
                        for_s: duration.0,
                    })
                    .collect(),
            },
        }
    }
}

/// Inks as JSON.
pub(super) fn inks<'a>(inks: impl Iterator<Item = &'a Ink>) -> Result<String, Failure> {
    let inks = inks.map(|ink| InkJson {
        id: &ink.id,
        name: &ink.name,
        family: ink.family.name(),
        threshold_c: ink.threshold.0,
        cure: LawJson::from(&ink.cure),
        gel_c: ink.gel.map(|gel| [gel.from.0, gel.to.0]),
        film_m: ink.film.map(|film| film.0),
        water: ink.water.map(|water| water.0),
        pot_life_s: ink.pot_life.map(|pot_life| pot_life.0),
        needs_exhaust: ink.needs_exhaust,
        source: &ink.source,
    });
    written(&Inks {
        schema: "inkdwell.inks/1",
        inks: inks.collect(),
    })
}

/// Fabrics as JSON.
pub(super) fn fabrics<'a>(fabrics: impl Iterator<Item = &'a Fabric>) -> Result<String, Failure> {
    let fabrics = fabrics.map(|fabric| FabricJson {
        id: &fabric.id,
        name: &fabric.name,
        mass_kg_per_m2: fabric.mass.0,
        regain: fabric.regain.0,
        layers: fabric.layers,
        harms: fabric
            .harms
            .iter()
            .map(|limit| HarmJson {
                harm: limit.harm.name(),
                law: LawJson::from(&limit.law),
            })
            .collect(),
        source: &fabric.source,
    });
    written(&Fabrics {
        schema: "inkdwell.fabrics/1",
        fabrics: fabrics.collect(),
    })
}

/// JSON for a person's eye and a line's end.
pub(super) fn written(value: &impl Serialize) -> Result<String, Failure> {
    serde_json::to_string_pretty(value)
        .map(|json| json + "\n")
        .map_err(|error| Failure::new(format!("the JSON cannot be written ({error})")))
}
