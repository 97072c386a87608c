//! Lines of text from a serial port.
//!
//! A device talks whether anybody listens or not: a line is stamped when its end has been read and offered
//! at once. Where the queue is full it is turned away, and counted as such.
//!
//! How a port is lost:
//! - reading gives an error, or nothing at all (the other end hung up): known at once;
//! - the driver keeps still. So after two seconds of silence, and every two seconds from then, the task looks
//!   whether the port is still there and still the same device;
//! - all seems well and yet nothing comes. A line that has a rhythm and falls out of it
//!   (`rhythm`) is opened anew.
//!
//! A lost port is looked for every second, and tried again with growing waits, or at once when it comes back.
//!
//! Opening may fall into the midst of a line. What comes within a tenth of a second is passed over up to the
//! first line's end; a device that keeps still for so long is between two lines.

use std::io;
use std::sync::Arc;
use std::time::Duration;

use inkdwell_config::shop::SerialLine;
use tokio::io::AsyncReadExt;
use tokio::time::{Instant, sleep_until};
use tokio_util::sync::CancellationToken;

use super::health::Health;
use super::lines::{Heard, LineParser, LineReader, Meaning};
use super::port::{self, Found, Ports, SystemPorts, Wire};
use super::rhythm::Rhythm;
use super::telling::Teller;
use super::waits::Waits;
use crate::intake::{Closed, Delivery, Intake, Offered, Said, SourceId};

/// So many bytes are read at once.
const CHUNK: usize = 4096;
/// What comes so soon after opening may be the rest of a line.
pub const TORN_WITHIN: Duration = Duration::from_millis(100);
/// How often a silent line's port is looked at.
const LOOK_EVERY: Duration = Duration::from_secs(2);
/// A port that says nothing for so long after it was opened is told as such.
const QUIET: Duration = Duration::from_secs(10);
/// So many lines in a row that nobody understands mean that the settings are wrong.
const GARBLED_IN_ROW: u32 = 20;
/// So many bytes of such a line are shown.
const SHOWN: usize = 40;

/// Reads lines until it is told to stop, or the intake closes.
pub async fn run(
    source: SourceId,
    settings: SerialLine,
    intake: Intake,
    health: Arc<Health>,
    stop: CancellationToken,
) {
    run_with(
        Arc::new(SystemPorts),
        source,
        settings,
        intake,
        health,
        stop,
    )
    .await;
}

/// The same, with the ports of another machine.
pub async fn run_with(
    ports: Arc<dyn Ports>,
    source: SourceId,
    settings: SerialLine,
    intake: Intake,
    health: Arc<Health>,
    stop: CancellationToken,
) {
    let mut teller = Teller::new(source, intake.clone(), Arc::clone(&health));
    let parser = match LineParser::new(&settings.format) {
        Ok(parser) => parser,
        Err(error) => {
            teller.down(format!(
                "pattern in the shop file cannot be used ({error}); correct it"
            ));
            // If nobody takes this, the daemon is stopping.
            let _ = teller.tell().await;
            return;
        }
    };
    let task = Task {
        ports,
        source,
        settings,
        parser,
        reader: LineReader::new(),
        intake,
        health,
        stop: stop.clone(),
        teller,
        rhythm: Rhythm::default(),
        waits: Waits::default(),
        garbled_in_row: 0,
    };
    task.run().await;
}

/// How listening ended.
enum End {
    /// The daemon stops.
    Stopped,
    /// The port is lost.
    Lost(String),
    /// The port is there, but its silence is odd.
    Silent,
}

impl From<Closed> for End {
    fn from(_: Closed) -> End {
        End::Stopped
    }
}

struct Task {
    ports: Arc<dyn Ports>,
    source: SourceId,
    settings: SerialLine,
    parser: LineParser,
    reader: LineReader,
    intake: Intake,
    health: Arc<Health>,
    stop: CancellationToken,
    teller: Teller,
    rhythm: Rhythm,
    waits: Waits,
    /// Lines since the last one that was understood.
    garbled_in_row: u32,
}

impl Task {
    async fn run(mut self) {
        let stop = self.stop.clone();
        tokio::select! {
            () = stop.cancelled() => {}
            () = self.connections() => {}
        }
    }

    /// One connection after the other; returns when the intake closes.
    async fn connections(&mut self) {
        loop {
            let why = match port::open(&self.ports, &self.settings.settings).await {
                Err(trouble) => trouble.to_string(),
                Ok((found, wire)) => match self.listen(&found, wire).await {
                    End::Stopped => return,
                    End::Lost(why) => why,
                    End::Silent => {
                        self.teller.down(self.silent());
                        self.rhythm.opened_in_vain();
                        continue;
                    }
                },
            };
            self.teller
                .down(format!("{why} (tried again every few seconds)"));
            self.rhythm.opened();
            if self.teller.tell().await.is_err() {
                return;
            }
            port::wait(&self.ports, &self.settings.settings.port, &mut self.waits).await;
        }
    }

    async fn listen(&mut self, found: &Found, mut wire: Box<dyn Wire>) -> End {
        wire.discard_input();
        self.reader.begin();
        let opened = Instant::now();
        let mut heard = None;
        let mut look_at = opened + LOOK_EVERY;
        let mut buffer = vec![0; CHUNK];
        loop {
            tokio::select! {
                told = self.teller.tell_if_any() => if let Err(closed) = told { return closed.into() },
                read = wire.read(&mut buffer) => {
                    let count = match read {
                        Ok(0) => return End::Lost(self.hung_up("it hung up")),
                        Ok(count) => count,
                        Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
                        Err(error) => return End::Lost(self.hung_up(&error.to_string())),
                    };
                    let now = Instant::now();
                    if heard.is_none() && now - opened < TORN_WITHIN {
                        self.reader.begin_torn();
                    }
                    heard = Some(now);
                    look_at = now + LOOK_EVERY;
                    if let Err(closed) = self.take(buffer.get(..count).unwrap_or_default()).await {
                        return closed.into();
                    }
                }
                () = sleep_until(look_at) => {
                    look_at = Instant::now() + LOOK_EVERY;
                    if let Some(end) = self.look(found, opened, heard).await {
                        return end;
                    }
                }
            }
        }
    }

    /// Looks what a silence means.
    async fn look(
        &mut self,
        found: &Found,
        opened: Instant,
        heard: Option<Instant>,
    ) -> Option<End> {
        let port = &self.settings.settings.port;
        if let Err(why) = port::still_there(&self.ports, port, found).await {
            return Some(End::Lost(why));
        }
        let silence = heard.unwrap_or(opened).elapsed();
        if self.rhythm.odd_silence().is_some_and(|odd| silence >= odd) {
            return Some(End::Silent);
        }
        if heard.is_none() && silence >= QUIET && self.rhythm.odd_silence().is_none() {
            self.teller.down(format!(
                "{} is open, but nothing comes; see the device's power, its cable, and baud in the shop file",
                self.name()
            ));
        }
        None
    }

    /// Takes what was read just now.
    async fn take(&mut self, bytes: &[u8]) -> Result<(), Closed> {
        let arrived = std::time::Instant::now();
        let (mut said, mut garbled): (Vec<Vec<Said>>, Option<Vec<u8>>) = (Vec::new(), None);
        let (parser, health, in_row) = (&mut self.parser, &self.health, &mut self.garbled_in_row);
        let mut cannot = |line: &[u8]| {
            health.garbled();
            *in_row = in_row.saturating_add(1);
            garbled = Some(line.to_vec());
        };
        let mut understood = 0;
        self.reader.feed(bytes, &mut |heard| match heard {
            Heard::TooLong => cannot(b"no line's end"),
            Heard::Line(line) => match parser.read(line) {
                Meaning::Blank => {}
                Meaning::Garbled(_) => cannot(line),
                Meaning::Said(readings) => {
                    health.understood(readings.len() as u64);
                    understood += 1;
                    said.push(readings);
                }
            },
        });
        if understood > 0 {
            self.garbled_in_row = 0;
            self.rhythm.heard(Instant::now());
            self.waits.reset();
            self.teller.up();
            self.tell_first().await?;
        } else if let Some(line) = garbled
            && self.garbled_in_row >= GARBLED_IN_ROW
        {
            self.teller.down(self.not_understood(&line));
        }
        for said in said.into_iter().filter(|said| !said.is_empty()) {
            let delivery = Delivery {
                source: self.source,
                arrived,
                said,
                mark: None,
                receipt: None,
            };
            if self.intake.offer(delivery) == Offered::Closed {
                return Err(Closed);
            }
        }
        Ok(())
    }

    /// What is to be told comes before the readings, where there is room for it.
    async fn tell_first(&mut self) -> Result<(), Closed> {
        tokio::select! {
            biased;
            told = self.teller.tell() => told,
            () = std::future::ready(()) => Ok(()),
        }
    }

    fn name(&self) -> String {
        port::named(&self.settings.settings.port)
    }

    fn hung_up(&self, why: &str) -> String {
        port::lost(&self.settings.settings.port, why)
    }

    fn silent(&self) -> String {
        format!(
            "nothing comes from {} any more although it is there; see the device's power and its cable (it is opened anew from time to time)",
            self.name()
        )
    }

    fn not_understood(&self, line: &[u8]) -> String {
        let shown = line.get(..SHOWN.min(line.len())).unwrap_or_default();
        format!(
            "{} sends lines that cannot be understood, such as \"{}\"; correct format and baud in the shop file, or see how the device is set",
            self.name(),
            shown.escape_ascii()
        )
    }
}
