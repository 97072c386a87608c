//! The keys of a scenario file, as they are written.

use std::fmt;
use std::marker::PhantomData;

use inkdwell_config::Quantity;
use inkdwell_config::problem::Problem;
use inkdwell_config::quantity::{
    Celsius, CelsiusDifference, Metres, MetresPerSecond, Seconds, Share,
};
use serde::Deserialize;
use serde::de::{Deserializer, Error, Visitor};
use toml::Spanned;

/// A quantity as it is written: a text with its unit (or a bare number, where the quantity has no unit).
#[derive(Debug, Clone, Copy)]
pub(super) struct Written<Q>(pub(super) Q);

impl<'de, Q: Quantity> Deserialize<'de> for Written<Q> {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Reader<Q>(PhantomData<Q>);
        impl<Q: Quantity> Visitor<'_> for Reader<Q> {
            type Value = Written<Q>;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{} in quotes; {}", Q::NAME, Q::EXAMPLE)
            }
            fn visit_str<E: Error>(self, text: &str) -> Result<Written<Q>, E> {
                Q::parse(text).map(Written).map_err(E::custom)
            }
            fn visit_f64<E: Error>(self, number: f64) -> Result<Written<Q>, E> {
                self.visit_str(&number.to_string())
            }
            fn visit_i64<E: Error>(self, number: i64) -> Result<Written<Q>, E> {
                self.visit_str(&number.to_string())
            }
        }
        from.deserialize_any(Reader(PhantomData))
    }
}

/// A scenario file.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct File {
    /// The shop file, beside this one.
    pub(super) shop: String,
    /// What the scenario is meant to show.
    #[serde(default)]
    pub(super) about: String,
    pub(super) station: Spanned<String>,
    pub(super) ink: Spanned<String>,
    pub(super) fabric: Spanned<String>,
    pub(super) seed: u64,
    pub(super) record: RecordKind,
    /// RFC 3339.
    pub(super) started: Option<String>,
    /// Belt speed; the station's where it is missing.
    pub(super) belt: Option<Written<MetresPerSecond>>,
    pub(super) room: Option<Written<Celsius>>,
    /// How many prints; a run without it has no end, rides and flashes are one.
    pub(super) prints: Option<u32>,
    #[serde(default)]
    pub(super) ride_every: u32,
    /// When the first print is laid on the belt.
    pub(super) first: Option<Written<Seconds>>,
    /// Flash: from heating to heating.
    pub(super) every: Option<Written<Seconds>>,
    /// Flash: how long the panel stays.
    pub(super) stay: Option<Written<Seconds>>,
    /// Flash: platens at the start, and what they become.
    pub(super) platen: Option<[Written<Celsius>; 2]>,
    /// Between rows.
    pub(super) interval: Option<Written<Seconds>>,
    /// When the trace begins and ends, on the clock on which the first print is laid at `first`.
    pub(super) begin: Option<Written<Seconds>>,
    pub(super) until: Option<Written<Seconds>>,
    /// What the trace notes as its uncertainty.
    pub(super) uncertainty: Option<String>,
    /// What truly stands there, where chance shall not decide.
    #[serde(default)]
    pub(super) truth: Truth,
    #[serde(default)]
    pub(super) column: Vec<Column>,
    #[serde(default)]
    pub(super) event: Vec<Spanned<Fault>>,
}

#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum RecordKind {
    Rides,
    Run,
    Flash,
}

/// What truly stands there.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Truth {
    /// What dryer, batch and fixed probes are drawn from; the scenario's seed where it is missing. Files of
    /// one shop share it.
    pub(super) seed: Option<u64>,
    /// Everything as declared or usual, no scatter.
    #[serde(default)]
    pub(super) as_declared: bool,
    /// By how much the air of each zone is off, and its panel.
    #[serde(default)]
    pub(super) air_off: Vec<Written<CelsiusDifference>>,
    #[serde(default)]
    pub(super) panel_off: Vec<Written<CelsiusDifference>>,
    pub(super) film: Option<Written<Metres>>,
    /// Water in the cloth, for each of dry fibre.
    pub(super) moisture: Option<Written<Share>>,
}

/// A column.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Column {
    /// With its unit, such as `film_c`, `film_f`, `film_k_mv`, `belt_m_per_min`, `prints_count`.
    pub(super) name: Spanned<String>,
    pub(super) sees: Spanned<String>,
    /// Exit columns: which probe of the shop file it is.
    pub(super) probe: Option<Spanned<String>>,
    /// Zone columns: its number, from 1; and whether it is the panel.
    pub(super) zone: Option<usize>,
    #[serde(default)]
    pub(super) panel: bool,
    /// No flaws at all but rounding.
    #[serde(default)]
    pub(super) exact: bool,
    /// Tolerance class of a thermocouple (1, 2 or 3) and its type's letter.
    pub(super) class: Option<u8>,
    #[serde(rename = "type")]
    pub(super) kind: Option<char>,
    pub(super) lag: Option<Written<Seconds>>,
    pub(super) noise: Option<Written<CelsiusDifference>>,
    pub(super) bias: Option<Written<CelsiusDifference>>,
    /// Relative error of the gain.
    pub(super) gain: Option<f64>,
    /// What it rounds to, in the column's unit.
    pub(super) resolution: Option<f64>,
    pub(super) drop_out: Option<Written<Share>>,
    pub(super) spike: Option<Written<Share>>,
}

/// Something that goes wrong, or changes.
#[derive(Debug, Deserialize)]
#[serde(tag = "what", rename_all = "kebab-case", deny_unknown_fields)]
pub(super) enum Fault {
    BeltSpeed {
        at: Written<Seconds>,
        to: Written<MetresPerSecond>,
    },
    BeltSlip {
        at: Written<Seconds>,
        over: Option<Written<Seconds>>,
        by: Written<Share>,
        #[serde(default)]
        unseen: bool,
        until: Option<Written<Seconds>>,
    },
    BeltStop {
        at: Written<Seconds>,
        lasting: Written<Seconds>,
    },
    HeaterSag {
        at: Written<Seconds>,
        over: Option<Written<Seconds>>,
        zone: usize,
        by: Written<CelsiusDifference>,
        panel_by: Option<Written<CelsiusDifference>>,
        until: Option<Written<Seconds>>,
    },
    WrongGarment {
        from: u32,
        #[serde(default = "one")]
        count: u32,
        fabric: String,
    },
    WetGarments {
        from: u32,
        #[serde(default = "one")]
        count: u32,
        moisture: Written<Share>,
    },
    HeavyGarments {
        from: u32,
        #[serde(default = "one")]
        count: u32,
        factor: f64,
    },
    ThickFilm {
        from: u32,
        #[serde(default = "one")]
        count: u32,
        factor: f64,
    },
    DropOut {
        at: Written<Seconds>,
        lasting: Written<Seconds>,
        column: Option<String>,
    },
    ProbeBreak {
        at: Written<Seconds>,
        column: String,
        /// `open` says so, `stuck` stays at its last reading.
        #[serde(rename = "as")]
        how: Broken,
        until: Option<Written<Seconds>>,
    },
    Spike {
        at: Written<Seconds>,
        column: String,
        by: Written<CelsiusDifference>,
    },
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Broken {
    Open,
    Stuck,
}

fn one() -> u32 {
    1
}

/// Where things stand in a file, for problems.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place<'a> {
    pub(super) file: &'a str,
    pub(super) text: &'a str,
}

impl Place<'_> {
    /// A problem at an offset of the text.
    pub(super) fn problem(
        &self,
        at: Option<usize>,
        key: &str,
        what: String,
        remedy: String,
    ) -> Problem {
        let line = |at: usize| {
            self.text
                .bytes()
                .take(at)
                .filter(|byte| *byte == b'\n')
                .count()
        };
        Problem {
            file: self.file.to_owned(),
            line: at.map(|at| line(at) as u64 + 1),
            key: key.to_owned(),
            what,
            remedy,
        }
    }
}

/// Reads the keys of a text.
pub(super) fn parse(file: &str, text: &str) -> Result<File, Problem> {
    toml::from_str(text).map_err(|error| broken(file, text, &error))
}

/// The shop file that a scenario names.
pub(super) fn shop_named(file: &str, text: &str) -> Result<String, Problem> {
    parse(file, text).map(|read| read.shop)
}

fn broken(file: &str, text: &str, error: &toml::de::Error) -> Problem {
    let place = Place { file, text };
    let what = error.message().lines().collect::<Vec<_>>().join(", ");
    // A quantity says itself what to write.
    let (what, remedy) = what.rsplit_once("; ").unwrap_or((
        &what,
        "mend it as `inkdwell simulate --example` shows, which explains every key",
    ));
    place.problem(
        error.span().map(|span| span.start),
        "",
        what.to_owned(),
        remedy.to_owned(),
    )
}
