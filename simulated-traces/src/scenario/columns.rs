//! From a column as it is written to one that sees and errs.

use inkdwell_config::problem::{Problem, suggestion};
use inkdwell_config::quantity::Celsius;
use inkdwell_config::shop::{Place as ProbePlace, Probe, Sensor as Declared, Shop, SignalKind};
use inkdwell_cure::sensor::{Infrared, ThermocoupleType, ToleranceClass};

use super::chance;
use super::file::{Column, Place};
use crate::channel::{Channel, Sees, Unit};
use crate::sensor::Flaws;

const SEES: [&str; 10] = [
    "film", "cloth", "exit", "belt", "count", "zone", "surface", "platen", "junction", "room",
];

/// What the columns of a scenario are read with.
pub(super) struct Desk<'a> {
    pub(super) place: Place<'a>,
    pub(super) shop: &'a Shop,
    pub(super) station: &'a str,
    pub(super) room: Celsius,
    /// The seed of probes that change from trace to trace, and of those that stay.
    pub(super) seed: u64,
    pub(super) place_seed: u64,
    /// Whether every sensor is exact.
    pub(super) exact: bool,
}

impl Desk<'_> {
    /// Reads a column.
    pub(super) fn read(&self, column: &Column) -> Result<Channel, Problem> {
        let name = column.name.get_ref();
        let unit = self.unit(column)?;
        let probe = self.probe(column)?;
        let sees = self.sees(column, probe)?;
        Ok(Channel {
            name: name.clone(),
            sees,
            unit,
            flaws: self.flaws(column, sees, unit, probe)?,
        })
    }

    fn problem(
        &self,
        at: &toml::Spanned<String>,
        key: &str,
        what: String,
        remedy: String,
    ) -> Problem {
        self.place.problem(
            Some(at.span().start),
            &format!("column.{key}"),
            what,
            remedy,
        )
    }

    fn unit(&self, column: &Column) -> Result<Unit, Problem> {
        let name = column.name.get_ref().as_str();
        let endings = [
            ("_m_per_min", Unit::MetresPerMinute),
            ("_ft_per_min", Unit::FeetPerMinute),
            ("_count", Unit::Count),
            ("_c", Unit::Celsius),
            ("_f", Unit::Fahrenheit),
        ];
        if let Some((_, unit)) = endings.iter().find(|(ending, _)| name.ends_with(ending)) {
            return Ok(*unit);
        }
        let letter = name
            .strip_suffix("_mv")
            .and_then(|rest| rest.rsplit_once('_'));
        letter
            .and_then(|(_, letter)| letter.chars().next())
            .and_then(ThermocoupleType::from_letter)
            .map(Unit::Millivolts)
            .ok_or_else(|| {
                self.problem(
                    &column.name,
                    "name",
                    format!("{name:?} says no unit"),
                    "end it on _c, _f, _k_mv, _m_per_min, _ft_per_min or _count".to_owned(),
                )
            })
    }

    /// The exit probe that a column names.
    fn probe(&self, column: &Column) -> Result<Option<&Probe>, Problem> {
        let Some(name) = &column.probe else {
            return Ok(None);
        };
        let here = |probe: &&Probe| {
            probe.place == ProbePlace::Exit && probe.station.as_deref() == Some(self.station)
        };
        let known: Vec<&Probe> = self.shop.probes.iter().filter(here).collect();
        let found = known.iter().find(|probe| probe.id == *name.get_ref());
        found.copied().map(Some).ok_or_else(|| {
            let ids: Vec<&str> = known.iter().map(|probe| probe.id.as_str()).collect();
            let what = format!("{} has no exit probe {:?}", self.station, name.get_ref());
            self.problem(name, "probe", what, suggestion(name.get_ref(), &ids))
        })
    }

    fn sees(&self, column: &Column, probe: Option<&Probe>) -> Result<Sees, Problem> {
        let word = column.sees.get_ref().as_str();
        Ok(match word {
            "film" => Sees::Film,
            "cloth" => Sees::Cloth,
            "exit" => Sees::Exit {
                distance: probe
                    .and_then(|probe| probe.distance)
                    .map_or(0.35, |metres| metres.0),
                spot: probe
                    .and_then(|probe| probe.spot)
                    .map_or(0.03, |metres| metres.0),
            },
            "belt" => Sees::Belt,
            "count" => Sees::Count {
                distance: self.eye().unwrap_or(0.1),
            },
            "zone" => Sees::Zone {
                number: column.zone.unwrap_or(1),
                panel: column.panel,
            },
            "surface" => Sees::Surface,
            "platen" => Sees::Platen,
            "junction" => Sees::Junction,
            "room" => Sees::Room,
            _ => {
                let what = format!("{word:?} is nothing that a column sees");
                return Err(self.problem(&column.sees, "sees", what, suggestion(word, &SEES)));
            }
        })
    }

    /// Where the shop's photo-eye stands.
    fn eye(&self) -> Option<f64> {
        self.shop
            .signals
            .iter()
            .find_map(|signal| match signal.kind {
                SignalKind::Count { distance } if signal.station == self.station => {
                    distance.map(|metres| metres.0)
                }
                _ => None,
            })
    }

    fn flaws(
        &self,
        column: &Column,
        sees: Sees,
        unit: Unit,
        probe: Option<&Probe>,
    ) -> Result<Flaws, Problem> {
        let mut flaws = if self.exact || column.exact {
            Flaws::none()
        } else {
            self.usual_flaws(column, sees, unit, probe)?
        };
        flaws.resolution = match unit {
            Unit::Millivolts(_) => 0.001,
            Unit::Celsius | Unit::Fahrenheit => 0.1,
            Unit::MetresPerMinute | Unit::FeetPerMinute => 0.01,
            Unit::Count => 1.0,
        };
        let set = |flaw: &mut f64, written: Option<f64>| {
            if let Some(value) = written {
                *flaw = value;
            }
        };
        set(&mut flaws.lag, column.lag.map(|lag| lag.0.0));
        set(&mut flaws.noise, column.noise.map(|noise| noise.0.0));
        set(&mut flaws.gain, column.gain);
        set(&mut flaws.resolution, column.resolution);
        set(&mut flaws.drop_out, column.drop_out.map(|share| share.0.0));
        set(&mut flaws.spike, column.spike.map(|share| share.0.0));
        if let Some(bias) = column.bias {
            flaws.bias = bias.0.0;
            flaws.of_tolerance = 0.0;
        }
        Ok(flaws)
    }

    fn usual_flaws(
        &self,
        column: &Column,
        sees: Sees,
        unit: Unit,
        probe: Option<&Probe>,
    ) -> Result<Flaws, Problem> {
        let fixed = !matches!(sees, Sees::Film | Sees::Cloth);
        let seed = if fixed { self.place_seed } else { self.seed };
        let purpose = format!("flaws of {}", column.name.get_ref());
        let mut chance = chance(seed, &purpose);
        if matches!(sees, Sees::Exit { .. } | Sees::Surface) {
            let declared = declared_optics(probe, self.room);
            // The surface's true emissivity lies about the declared one as far as that is in doubt.
            let emissivity =
                chance.about(declared.emissivity, 0.5 * declared.emissivity_uncertainty);
            return Ok(Flaws::infrared(Infrared {
                emissivity: emissivity.clamp(0.05, 1.0),
                ..declared
            }));
        }
        if sees == Sees::Junction {
            return Ok(Flaws {
                noise: 0.03,
                bias: chance.between(-0.3, 0.3),
                ..Flaws::none()
            });
        }
        let letter = match unit {
            Unit::Millivolts(kind) => kind.letter(),
            _ => column.kind.unwrap_or('K'),
        };
        let class = match column.class {
            Some(1) => ToleranceClass::One,
            Some(3) => ToleranceClass::Three,
            _ => ToleranceClass::Two,
        };
        let kind = ThermocoupleType::from_letter(letter).ok_or_else(|| {
            let what = format!("{letter:?} is no thermocouple type");
            self.problem(
                &column.name,
                "type",
                what,
                "write for example \"K\"".to_owned(),
            )
        })?;
        Ok(Flaws::thermocouple(kind, class, &mut chance))
    }
}

/// The optics as the shop declares them: what a probe shows is taken as it is, so that the set emissivity
/// is what the reading was made with.
fn declared_optics(probe: Option<&Probe>, room: Celsius) -> Infrared {
    let usual = Infrared {
        set_emissivity: 0.95,
        emissivity: 0.95,
        emissivity_uncertainty: 0.02,
        reflected: room,
        band: (8e-6, 14e-6),
    };
    match probe.and_then(|probe| probe.sensor) {
        Some(Declared::Infrared {
            set_emissivity,
            emissivity,
            emissivity_uncertainty,
            reflected,
            band,
        }) => Infrared {
            set_emissivity,
            emissivity,
            emissivity_uncertainty,
            reflected: reflected.unwrap_or(room),
            band: (band.0.0, band.1.0),
        },
        _ => usual,
    }
}
