//! The shop file: everything that one shop declares, read and checked as a whole.
//!
//! For offline calls it needs no more than its `[[station]]` and, for exit evidence, the exit `[[probe]]`.

mod alarms;
mod board;
mod probe;
mod signal;
mod sink;
mod source;

use std::path::Path;

pub use alarms::{Alarms, Thresholds};
pub use board::{Board, Tls};
pub use probe::{Calibration, Place, Probe, Sensor};
pub use signal::{Signal, SignalKind};
pub use sink::{Priority, Sink, SinkKind};
pub use source::{
    LineFormat, Modbus, ModbusLink, Mqtt, MqttTopic, Parity, Port, Register, RegisterFormat,
    RegisterTable, Secret, SerialLine, SerialSettings, Source, SourceKind,
};

use crate::display::Units;
use crate::library::Library;
use crate::problem::{Checked, Problem, suggestion};
use crate::reading::{Node, Reading, TableReader, read_file};
use crate::station::Station;

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
    /// The shop's own inks and fabrics.
    pub library: Library,
}

impl Shop {
    /// Reads a text; `file` is what problems call it.
    pub fn parse(file: &str, text: &str) -> Checked<Shop> {
        Reading::of(file, text, read_shop)
    }

    /// Reads a file.
    ///
    /// # Errors
    /// Every problem in it.
    pub fn load(path: &Path) -> Result<Shop, Vec<Problem>> {
        let text = read_file(path).map_err(|problem| vec![problem])?;
        Shop::parse(&path.display().to_string(), &text).into_result()
    }

    /// The station of an id.
    pub fn station(&self, id: &str) -> Option<&Station> {
        self.stations.iter().find(|station| station.id == id)
    }
}

fn read_shop(top: &TableReader<'_>) -> Shop {
    let (name, timezone, units) = read_shop_table(top);
    let mut seen = Ids::default();
    // What is declared may be referred to, even if it is declared wrongly.
    let mut known = Known::default();
    let mut sources = Vec::new();
    for (node, table) in top.tables("source") {
        known.sources.extend(table.glance("id"));
        let source = Source::read(&table);
        sources.extend(source.inspect(|source| seen.note("source", &source.id, &node)));
    }
    let mut stations = Vec::new();
    for (node, table) in top.tables("station") {
        known.stations.extend(table.glance("id"));
        let station = Station::read(&table);
        stations.extend(station.inspect(|station| seen.note("station", &station.id, &node)));
    }
    let mut probes = Vec::new();
    for (node, table) in top.tables("probe") {
        probes.extend(
            Probe::read(&table, &known).inspect(|probe| seen.note("probe", &probe.id, &node)),
        );
    }
    let mut signals = Vec::new();
    for (node, table) in top.tables("signal") {
        let signal = Signal::read(&table, &known);
        signals.extend(signal.inspect(|signal| seen.note("signal", &signal.id, &node)));
    }
    let mut sinks = Vec::new();
    for (node, table) in top.tables("sink") {
        sinks.extend(Sink::read(&table).inspect(|sink| seen.note("sink", &sink.id, &node)));
    }
    let alarms = Alarms::read(top, &known);
    let board = Board::read(top);
    let library = Library::read(top);
    Shop {
        name,
        timezone,
        units,
        sources,
        stations,
        probes,
        signals,
        sinks,
        alarms,
        board,
        library,
    }
}

fn read_shop_table(top: &TableReader<'_>) -> (String, chrono_tz::Tz, Units) {
    let mut shop = (String::from("shop"), chrono_tz::UTC, Units::Metric);
    let Some(table) = top.optional("shop").and_then(|node| node.table()) else {
        return shop;
    };
    if let Some(name) = table
        .required("name", "\"Our shop\"")
        .and_then(|node| node.text())
    {
        shop.0 = name;
    }
    if let Some(node) = table.optional("timezone")
        && let Some(text) = node.text()
    {
        match text.parse() {
            Ok(timezone) => shop.1 = timezone,
            Err(_) => node.report(format!("{text:?} is no time zone"), near_timezone(&text)),
        }
    }
    let units = [("metric", Units::Metric), ("us", Units::Us)];
    if let Some(units) = table.optional("units").and_then(|node| node.choice(&units)) {
        shop.2 = units;
    }
    table.finish();
    shop
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

/// Ids already used, each in its own kind.
#[derive(Default)]
struct Ids(Vec<(&'static str, String)>);

impl Ids {
    fn note(&mut self, kind: &'static str, id: &str, node: &Node<'_>) {
        let entry = (kind, id.to_owned());
        if self.0.contains(&entry) {
            node.report(
                format!("{kind} {id:?} is declared twice"),
                "give each its own id",
            );
        }
        self.0.push(entry);
    }
}

/// What probes and signals may refer to.
#[derive(Default)]
pub(crate) struct Known<'a> {
    sources: Vec<&'a str>,
    stations: Vec<&'a str>,
}

impl Known<'_> {
    /// A station's id that must be declared.
    fn station(&self, node: &Node<'_>) -> Option<String> {
        refer(node, "station", &self.stations)
    }

    /// A source's id that must be declared.
    fn source(&self, node: &Node<'_>) -> Option<String> {
        refer(node, "source", &self.sources)
    }
}

fn refer(node: &Node<'_>, kind: &str, known: &[&str]) -> Option<String> {
    let id = node.text()?;
    if !known.contains(&id.as_str()) {
        node.report(
            format!("no {kind} {id:?} is declared"),
            suggestion(&id, known),
        );
        return None;
    }
    Some(id)
}
