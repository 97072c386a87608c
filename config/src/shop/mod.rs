//! The shop file: everything that one shop declares, read and checked as a whole.
//!
//! For offline calls it needs no more than its `[[station]]` and, for exit evidence, the exit `[[probe]]`.

mod alarms;
mod board;
mod broker;
mod calibration;
mod folder;
mod probe;
mod reference;
mod secret;
mod sensor;
mod signal;
mod sink;
mod source;

use std::path::{Path, PathBuf};

pub use alarms::{Alarms, Thresholds};
pub use board::{Board, Tls};
pub use broker::{Broker, MqttVersion, TlsRoots};
pub use calibration::Calibration;
pub use probe::{Place, Probe, ReadingUnit, Senses};
pub use secret::Secret;
pub use sensor::Sensor;
pub use signal::{Signal, SignalKind};
pub use sink::{Priority, Sends, Sink, SinkKind};
pub use source::{
    FlowControl, LineFormat, Modbus, ModbusLink, Mqtt, MqttTopic, Parity, Port, Register,
    RegisterFormat, RegisterTable, SerialLine, SerialSettings, Source, SourceKind,
};

use crate::display::Units;
use crate::library::Library;
use crate::problem::{Checked, Problem, quoted};
use crate::reading::{Reading, TableReader, read_file};
use crate::shop::reference::{Ids, Known};
use crate::station::{Station, StationKind};

/// A whole shop.
#[derive(Debug, Clone, PartialEq)]
pub struct Shop {
    /// Its name, as reports and topics show it.
    pub name: String,
    /// Its time zone.
    pub timezone: chrono_tz::Tz,
    /// The units in which people are shown figures.
    pub units: Units,
    /// Where readings come from.
    pub sources: Vec<Source>,
    /// The heat sources that prints pass.
    pub stations: Vec<Station>,
    /// Temperature sensors.
    pub probes: Vec<Probe>,
    /// Inputs that are no temperatures.
    pub signals: Vec<Signal>,
    /// Where verdicts and alarms go.
    pub sinks: Vec<Sink>,
    /// What raises an alarm.
    pub alarms: Alarms,
    /// The daemon's own page.
    pub board: Board,
    /// The shop's own inks and fabrics: those of [`Shop::libraries`], and over them those declared here.
    pub library: Library,
    /// Files of further inks and fabrics, relative to the shop file. [`Shop::parse`], which opens nothing,
    /// only names them; [`Shop::load`] and [`Shop::check`] read them.
    pub libraries: Vec<PathBuf>,
    /// The file's text, as it was read: whoever keeps it can read the shop from it again.
    pub text: String,
}

impl Shop {
    /// Reads a text; `file` is what problems call it.
    pub fn parse(file: &str, text: &str) -> Checked<Shop> {
        let mut checked = Reading::of(file, text, read_shop);
        text.clone_into(&mut checked.value.text);
        checked
    }

    /// Reads a file, and the libraries that it names.
    ///
    /// # Errors
    /// Every problem in it and in them.
    pub fn load(path: &Path) -> Result<Shop, Vec<Problem>> {
        Shop::check(path).into_result()
    }

    /// Reads a file, and the libraries that it names, with every problem and warning in it and in them. A
    /// file that cannot be read is one problem, and an empty shop. All files that it names
    /// (libraries, what a source plays, certificates, secrets) are found from its own folder, wherever the call
    /// is made.
    pub fn check(path: &Path) -> Checked<Shop> {
        let file = path.display().to_string();
        let text = match read_file(path) {
            Ok(text) => text,
            Err(problem) => {
                let mut checked = Shop::parse(&file, "");
                checked.problems.push(problem);
                return checked;
            }
        };
        let mut checked = Shop::parse(&file, &text);
        let folder = path.parent().unwrap_or(Path::new(""));
        let mut library = Library::default();
        for named in &checked.value.libraries {
            let read = Library::check(&folder.join(named));
            library.add(read.value);
            checked.problems.extend(read.problems);
            checked.warnings.extend(read.warnings);
        }
        let own = std::mem::replace(&mut checked.value.library, library);
        checked.value.library.add(own);
        folder::find_from(&mut checked.value, folder);
        checked
    }

    /// The station of an id.
    pub fn station(&self, id: &str) -> Option<&Station> {
        self.stations.iter().find(|station| station.id == id)
    }
}

fn read_shop(top: &TableReader<'_>) -> Shop {
    let (heading, mut seen, mut known) = (Heading::read(top), Ids::default(), Known::default());
    let mut sources = Vec::new();
    for (node, table) in top.tables("source") {
        let source = Source::read(&table);
        known.declare_source(table.glance("id"), source.as_ref());
        sources.extend(source.inspect(|source| seen.note("source", &source.id, &node)));
    }
    let mut stations = Vec::new();
    let mut station_tables = Vec::new();
    for (node, table) in top.tables("station") {
        let station = Station::read(&table);
        known.declare_station(table.glance("id"), station.as_ref());
        let Some(station) = station else { continue };
        seen.note("station", &station.id, &node);
        stations.push(station);
        station_tables.push(table);
    }
    let mut probes = Vec::new();
    for (node, table) in top.tables("probe") {
        let probe = Probe::read(&node, &table, &known);
        probes.extend(probe.inspect(|probe| seen.note("probe", &probe.id, &node)));
    }
    let mut signals = Vec::new();
    for (node, table) in top.tables("signal") {
        let signal = Signal::read(&node, &table, &known);
        signals.extend(signal.inspect(|signal| seen.note("signal", &signal.id, &node)));
    }
    for (station, table) in stations.iter().zip(&station_tables) {
        warn_of_speed(station, table, &signals);
    }
    let mut sinks = Vec::new();
    for (node, table) in top.tables("sink") {
        sinks.extend(Sink::read(&table).inspect(|sink| seen.note("sink", &sink.id, &node)));
    }
    Shop {
        text: String::new(),
        name: heading.name,
        timezone: heading.timezone,
        units: heading.units,
        sources,
        stations,
        probes,
        signals,
        sinks,
        alarms: Alarms::read(top, &known),
        board: Board::read(top),
        library: Library::read(top),
        libraries: heading.libraries,
    }
}

/// A dryer whose belt speed nobody tells can be watched, but nothing can be inferred or tuned on it.
fn warn_of_speed(station: &Station, table: &TableReader<'_>, signals: &[Signal]) {
    let told = signals.iter().any(|signal| {
        signal.station == station.id && matches!(signal.kind, SignalKind::Belt { .. })
    });
    if station.kind == StationKind::BeltDryer && station.belt.is_none() && !told {
        table.warn(
            "has neither a nominal belt speed nor a belt signal",
            "add belt = \"2.6 m/min\", or a [[signal]] of kind \"belt\"",
        );
    }
}

/// `[shop]`.
struct Heading {
    name: String,
    timezone: chrono_tz::Tz,
    units: Units,
    libraries: Vec<PathBuf>,
}

impl Heading {
    fn read(top: &TableReader<'_>) -> Heading {
        let mut heading = Heading {
            name: String::from("shop"),
            timezone: chrono_tz::UTC,
            units: Units::Metric,
            libraries: Vec::new(),
        };
        let Some(table) = top.optional("shop").and_then(|node| node.table()) else {
            return heading;
        };
        let name = table.required("name", "\"Our shop\"");
        if let Some(name) = name.and_then(|node| node.words()) {
            heading.name = name;
        }
        if let Some(node) = table.optional("timezone")
            && let Some(text) = node.text()
        {
            match text.parse() {
                Ok(timezone) => heading.timezone = timezone,
                Err(_) => node.report(
                    format!("{} is no time zone", quoted(&text)),
                    near_timezone(&text),
                ),
            }
        }
        let units = [("metric", Units::Metric), ("us", Units::Us)];
        let units = table.optional("units").and_then(|node| node.choice(&units));
        heading.units = units.unwrap_or_default();
        let libraries = table.optional("libraries").map(|node| node.texts());
        let libraries = libraries.into_iter().flatten();
        heading.libraries = libraries.map(PathBuf::from).collect();
        table.finish();
        heading
    }
}

fn near_timezone(text: &str) -> String {
    let names: Vec<&str> = chrono_tz::TZ_VARIANTS
        .iter()
        .map(|zone| zone.name())
        .collect();
    match crate::problem::nearest(text, names) {
        Some(near) => format!("did you mean {near:?}?"),
        None => "write a name of the IANA list, such as \"Europe/Vienna\"".to_owned(),
    }
}

/// What the tests of a shop file's parts share.
#[cfg(test)]
mod testing {
    use super::Shop;

    /// Every problem of a text, as `key: what; remedy`.
    pub(super) fn problems(text: &str) -> Vec<String> {
        let problems = Shop::parse("x", text).problems;
        let line = |problem: &crate::problem::Problem| {
            format!("{}: {}; {}", problem.key, problem.what, problem.remedy)
        };
        problems.iter().map(line).collect()
    }

    /// What is read from a text without a problem.
    pub(super) fn sound(text: &str) -> Shop {
        let checked = Shop::parse("x", text);
        assert_eq!(checked.problems, vec![]);
        checked.value
    }

    /// For each case, replaces a part of a sound text and looks for the beginning of a problem. The case's
    /// problem is the only one.
    pub(super) fn each_is_named(text: &str, cases: &[(&str, &str, &str)]) {
        sound(text);
        for (written, instead, expected) in cases {
            assert!(text.contains(written), "{written}");
            let found = problems(&text.replacen(written, instead, 1));
            let [only] = found.as_slice() else {
                panic!("{written} -> {instead}: {found:#?}");
            };
            assert!(only.starts_with(expected), "{expected}\n{only}");
        }
    }
}
