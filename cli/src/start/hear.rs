//! What is heard on this machine's wires, for a few seconds each.

use std::collections::BTreeMap;
use std::time::Duration;

use inkdwell_config::shop::{
    FlowControl, LineFormat, MqttTopic, Parity, Port, SerialSettings, SourceKind,
};
use inkdwell_daemon::source::lines::{Heard as Cut, LineReader};
use inkdwell_daemon::source::port::Wire;
use inkdwell_daemon::source::serial::TORN_WITHIN;
use tokio::io::AsyncReadExt;
use tokio::sync::mpsc::channel;
use tokio::time::{Instant, timeout_at};
use toml::Table;

use super::ports::{Seen, seen};
use crate::failure::Failure;
use crate::probe::listen::declare::{self, Declared};
use crate::probe::listen::heard::{Heard, Reading};
use crate::probe::listen::serial::{in_the_way, open, read};
use crate::probe::listen::{guess, hear};

/// The speeds at which devices usually speak, the likeliest first (common practice, no source).
pub(super) const SPEEDS: [u32; 7] = [9600, 115_200, 19_200, 38_400, 57_600, 4800, 2400];
/// At the first speed it is waited longer: a device may begin anew when its port is opened. One that says nothing in
/// this time at any speed says nothing: at a wrong speed noise would come.
const FIRST_WITHIN: Duration = Duration::from_secs(5);
const NEXT_WITHIN: Duration = Duration::from_secs(2);
/// So many lines that are understood are enough.
const ENOUGH: usize = 4;
/// A broker, or a bus, is listened to for so long.
const MESSAGES_FOR: Duration = Duration::from_secs(6);
/// So long after the last new topic nothing new is expected.
const NOTHING_NEW_FOR: Duration = Duration::from_secs(3);
/// More topics than these are more than one can be asked about.
pub(super) const MOST_TOPICS: usize = 40;

/// Where to hear.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Where {
    /// Which serial ports there are.
    Ports,
    /// A serial port, at one speed or at the usual ones.
    Line { port: Port, baud: Option<u32> },
    /// A broker; the keys of its source.
    Broker(Table),
    /// Devices on a bus; the keys of their source.
    Devices(Table),
}

/// What a serial port says.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct LineHeard {
    /// The speed at which it was understood.
    pub(super) baud: Option<u32>,
    /// Its last lines.
    pub(super) lines: Vec<Vec<u8>>,
    /// What they look like.
    pub(super) format: Option<LineFormat>,
    /// Bytes that came at all.
    pub(super) bytes: usize,
    /// Why it cannot be heard.
    pub(super) trouble: Option<String>,
}

/// What a topic says.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct TopicHeard {
    pub(super) payload: Vec<u8>,
    pub(super) retained: bool,
    /// How it could be read.
    pub(super) declarations: Vec<MqttTopic>,
}

/// What a broker says.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct BrokerHeard {
    pub(super) topics: BTreeMap<String, TopicHeard>,
    pub(super) trouble: Option<String>,
}

/// What devices say.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct DevicesHeard {
    pub(super) readings: BTreeMap<String, Reading>,
    pub(super) trouble: Option<String>,
}

/// Everything that was heard.
#[derive(Debug, Default)]
pub(super) struct Findings {
    pub(super) ports: Option<Result<Vec<Seen>, String>>,
    lines: Vec<(Port, Option<u32>, LineHeard)>,
    brokers: Vec<(Table, BrokerHeard)>,
    devices: Vec<(Table, DevicesHeard)>,
}

impl Findings {
    /// The ports that there are, where they were looked for.
    pub(super) fn ports(&self) -> &[Seen] {
        match &self.ports {
            Some(Ok(seen)) => seen,
            _ => &[],
        }
    }

    pub(super) fn line(&self, port: &Port, baud: Option<u32>) -> Option<&LineHeard> {
        let known = self
            .lines
            .iter()
            .find(|own| own.0 == *port && own.1 == baud);
        known.map(|own| &own.2)
    }

    pub(super) fn broker(&self, source: &Table) -> Option<&BrokerHeard> {
        self.brokers
            .iter()
            .find(|own| own.0 == *source)
            .map(|own| &own.1)
    }

    pub(super) fn devices(&self, source: &Table) -> Option<&DevicesHeard> {
        self.devices
            .iter()
            .find(|own| own.0 == *source)
            .map(|own| &own.1)
    }

    /// Forgets what was heard on wires, so that they are heard anew.
    pub(super) fn forget(&mut self) {
        self.ports = None;
        self.lines.clear();
        self.brokers.clear();
        self.devices.clear();
    }

    /// Nothing is heard there: it is only to be known what would be asked.
    pub(super) fn hear_nothing(&mut self, place: &Where) {
        match place {
            Where::Ports => self.ports = Some(Ok(Vec::new())),
            Where::Line { port, baud } => {
                self.lines.push((port.clone(), *baud, LineHeard::default()));
            }
            Where::Broker(source) => {
                self.brokers.push((source.clone(), BrokerHeard::default()));
            }
            Where::Devices(source) => {
                self.devices.push((source.clone(), DevicesHeard::default()));
            }
        }
    }

    /// Hears, and remembers it.
    pub(super) async fn hear(
        &mut self,
        place: &Where,
        tell: impl FnMut(&str),
    ) -> Result<(), Failure> {
        match place {
            Where::Ports => {
                let looking = tokio::task::spawn_blocking(seen).await;
                self.ports = Some(looking.unwrap_or_else(|error| Err(error.to_string())));
            }
            Where::Line { port, baud } => {
                let heard = line(port, *baud, tell).await;
                self.lines.push((port.clone(), *baud, heard));
            }
            Where::Broker(source) => {
                let heard = broker(declare::read(source.clone())?).await;
                self.brokers.push((source.clone(), heard));
            }
            Where::Devices(source) => {
                let heard = devices(declare::read(source.clone())?).await;
                self.devices.push((source.clone(), heard));
            }
        }
        Ok(())
    }
}

/// Settings of a line as most devices have them.
fn settings(port: &Port, baud: u32) -> SerialSettings {
    SerialSettings {
        port: port.clone(),
        baud,
        data_bits: 8,
        parity: Parity::None,
        stop_bits: 1,
        flow: FlowControl::None,
    }
}

/// Listens to a port at one speed after the other until it is understood.
async fn line(port: &Port, baud: Option<u32>, mut tell: impl FnMut(&str)) -> LineHeard {
    let speeds: Vec<u32> = baud.map_or_else(|| SPEEDS.to_vec(), |baud| vec![baud]);
    let mut best = LineHeard::default();
    for (number, baud) in speeds.into_iter().enumerate() {
        let within = if number == 0 {
            FIRST_WITHIN
        } else {
            NEXT_WITHIN
        };
        tell(&format!("at {baud} bits a second ..."));
        let wire = match open(&settings(port, baud)).await {
            Ok((_, wire)) => wire,
            Err(trouble) => {
                best.trouble = Some(in_the_way(&trouble));
                return best;
            }
        };
        let heard = at_speed(wire, baud, within).await;
        if heard.format.is_some() {
            return heard;
        }
        if heard.bytes == 0 && number == 0 {
            return heard;
        }
        if heard.lines.len() >= best.lines.len() {
            best = heard;
        }
    }
    best
}

async fn at_speed(mut wire: Box<dyn Wire>, baud: u32, within: Duration) -> LineHeard {
    wire.discard_input();
    let (opened, mut reader) = (Instant::now(), LineReader::new());
    let end = opened + within;
    let mut heard = LineHeard::default();
    let mut buffer = vec![0; 4096];
    while let Ok(Ok(count @ 1..)) = timeout_at(end, wire.read(&mut buffer)).await {
        if heard.bytes == 0 && opened.elapsed() < TORN_WITHIN {
            reader.begin_torn();
        }
        heard.bytes += count;
        reader.feed(buffer.get(..count).unwrap_or_default(), &mut |cut| {
            if let Cut::Line(line) = cut {
                heard.lines.push(line.to_vec());
            }
        });
        // The last of them tell: the first may be a greeting.
        let spare = heard.lines.len().saturating_sub(40);
        heard.lines.drain(..spare);
        heard.format = guess::format(heard.lines.iter().map(Vec::as_slice));
        if let Some(format) = &heard.format {
            heard.baud = Some(baud);
            let lines = heard.lines.iter().map(Vec::as_slice);
            if guess::understood(format, lines) >= ENOUGH {
                return heard;
            }
        }
    }
    if heard.format.is_none() {
        heard.baud = None;
    }
    heard
}

/// Listens to a broker until nothing new comes.
async fn broker(kind: SourceKind) -> BrokerHeard {
    let declared = Declared {
        kind,
        is_read: false,
    };
    let (tell, mut messages) = channel(1024);
    let task = tokio::spawn(hear(declared, tell));
    let mut heard = BrokerHeard::default();
    let end = Instant::now() + MESSAGES_FOR;
    let mut patience = end;
    while let Ok(next) = timeout_at(patience.min(end), messages.recv()).await {
        match next {
            // Why it ended is known as soon as its task has ended.
            None => {
                heard.trouble = task.await.ok().and_then(Result::err);
                return heard;
            }
            Some(Heard::Trouble(why)) => heard.trouble = Some(why),
            Some(Heard::Message {
                topic,
                payload,
                retained,
                ..
            }) => {
                let Ok(topic) = String::from_utf8(topic) else {
                    continue;
                };
                if heard.topics.len() >= MOST_TOPICS && !heard.topics.contains_key(&topic) {
                    continue;
                }
                let declarations = guess::declarations(&topic, &payload);
                let said = TopicHeard {
                    payload,
                    retained,
                    declarations,
                };
                if heard.topics.insert(topic, said).is_none() {
                    patience = Instant::now() + NOTHING_NEW_FOR;
                }
            }
            Some(_) => {}
        }
    }
    heard.trouble = ended(task).await.or(heard.trouble);
    heard
}

/// Why a wire could not be heard, if that is known by now.
async fn ended(task: tokio::task::JoinHandle<Result<(), String>>) -> Option<String> {
    if !task.is_finished() {
        task.abort();
    }
    task.await.ok()?.err()
}

/// Polls devices until each channel has been heard.
async fn devices(kind: SourceKind) -> DevicesHeard {
    let channels = match &kind {
        SourceKind::Modbus(modbus) => modbus.registers.len(),
        _ => 0,
    };
    let declared = Declared {
        kind,
        is_read: true,
    };
    let (tell, mut answers) = channel(1024);
    let task = tokio::spawn(hear(declared, tell));
    let mut heard = DevicesHeard::default();
    let end = Instant::now() + MESSAGES_FOR;
    while let Ok(next) = timeout_at(end, answers.recv()).await {
        let Some(next) = next else {
            heard.trouble = task.await.ok().and_then(Result::err);
            return heard;
        };
        if let Heard::Trouble(why) = &next {
            heard.trouble = Some(why.clone());
        }
        if let Some(Ok(readings)) = next.taken() {
            for reading in readings {
                heard
                    .readings
                    .insert(reading.channel.clone(), reading.clone());
            }
        }
        if heard.readings.len() >= channels {
            break;
        }
    }
    heard.trouble = ended(task).await.or(heard.trouble);
    heard
}

impl LineHeard {
    /// What its last line that is understood says, by a format.
    pub(super) fn readings(&self, format: &LineFormat) -> Vec<Reading> {
        let Ok(mut parser) = inkdwell_daemon::source::lines::LineParser::new(format) else {
            return Vec::new();
        };
        let mut last: Vec<Reading> = Vec::new();
        for line in &self.lines {
            if let Some(Ok(readings)) = read(&mut parser, line).taken() {
                for reading in readings {
                    match last.iter_mut().find(|own| own.channel == reading.channel) {
                        Some(own) => *own = reading.clone(),
                        None => last.push(reading.clone()),
                    }
                }
            }
        }
        last
    }
}
