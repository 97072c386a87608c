//! Modbus devices, polled as the daemon polls them: its own source does it, and what goes over the wire is heard on the
//! way.

use std::collections::VecDeque;
use std::io;
use std::pin::Pin;
use std::sync::{Arc, Mutex};
use std::task::{Context, Poll};
use std::time::{Duration, Instant};

use inkdwell_config::shop::{Modbus, ModbusLink, Port, SerialSettings};
use inkdwell_daemon::intake::{self, Arrival, Delivery, Notice, SourceId};
use inkdwell_daemon::source::health::Health;
use inkdwell_daemon::source::modbus;
use inkdwell_daemon::source::port::{Found, Ports, SystemPorts, Trouble, Wire};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::sync::mpsc::Sender;
use tokio::time::{MissedTickBehavior, interval};
use tokio_util::sync::CancellationToken;

use super::heard::{Heard, Reading};
use super::serial::{called, in_the_way};

/// So often it is looked whether a question has had its time.
const LOOK_EVERY: Duration = Duration::from_millis(100);
/// Deliveries on their way to the screen.
const QUEUE: usize = 256;
/// More bytes of one exchange are not kept.
const LONGEST: usize = 1024;

/// A question, and what came.
#[derive(Debug)]
struct Exchange {
    at: Instant,
    asked: Vec<u8>,
    came: Vec<u8>,
}

/// What goes over the wire.
#[derive(Debug, Default, Clone)]
struct Overheard {
    exchanges: Arc<Mutex<VecDeque<Exchange>>>,
    /// Why the port could not be opened, for who has no shop file.
    refused: Arc<Mutex<Option<String>>>,
}

impl Overheard {
    fn asked(&self, bytes: &[u8]) {
        if let Ok(mut exchanges) = self.exchanges.lock() {
            exchanges.push_back(Exchange {
                at: Instant::now(),
                asked: bytes.to_vec(),
                came: Vec::new(),
            });
        }
    }

    fn came(&self, bytes: &[u8]) {
        if let Ok(mut exchanges) = self.exchanges.lock()
            && let Some(last) = exchanges.back_mut()
        {
            let room = LONGEST.saturating_sub(last.came.len());
            last.came.extend(bytes.iter().take(room));
        }
    }

    /// Takes those that were asked before a moment.
    fn until(&self, moment: Instant) -> Vec<Exchange> {
        let Ok(mut exchanges) = self.exchanges.lock() else {
            return Vec::new();
        };
        let count = exchanges.partition_point(|own| own.at <= moment);
        exchanges.drain(..count).collect()
    }
}

/// The system's ports, with an ear on every wire.
struct Ear(Overheard);

impl Ports for Ear {
    fn find(&self, port: &Port) -> Result<Found, Trouble> {
        SystemPorts
            .find(port)
            .inspect_err(|trouble| self.refused(trouble))
    }

    fn open(&self, found: &Found, settings: &SerialSettings) -> Result<Box<dyn Wire>, Trouble> {
        let wire = SystemPorts.open(found, settings);
        let wire = wire.inspect_err(|trouble| self.refused(trouble))?;
        Ok(self.connected(wire))
    }

    fn connected(&self, wire: Box<dyn Wire>) -> Box<dyn Wire> {
        let overheard = self.0.clone();
        Box::new(Tapped { wire, overheard })
    }
}

impl Ear {
    fn refused(&self, trouble: &Trouble) {
        if let Ok(mut refused) = self.0.refused.lock() {
            *refused = Some(in_the_way(trouble));
        }
    }
}

/// A wire whose bytes are heard.
struct Tapped {
    wire: Box<dyn Wire>,
    overheard: Overheard,
}

impl Wire for Tapped {
    fn discard_input(&mut self) {
        self.wire.discard_input();
    }

    fn discard_output(&mut self) {
        self.wire.discard_output();
    }
}

impl AsyncRead for Tapped {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let before = buffer.filled().len();
        let read = Pin::new(&mut self.wire).poll_read(context, buffer);
        let came = buffer.filled().get(before..).unwrap_or_default();
        if !came.is_empty() {
            self.overheard.came(came);
        }
        read
    }
}

impl AsyncWrite for Tapped {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        // Before, so that no answer can come sooner than its question.
        let written = Pin::new(&mut self.wire).poll_write(context, bytes);
        if let Poll::Ready(Ok(count)) = &written {
            self.overheard
                .asked(bytes.get(..*count).unwrap_or_default());
        }
        written
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.wire).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.wire).poll_shutdown(context)
    }
}

/// Polls until nobody hears any more.
///
/// # Errors
/// When the bus cannot be reached to begin with. Later it is waited for.
pub(crate) async fn listen(settings: Modbus, tell: Sender<Heard>) -> Result<(), String> {
    let name = bus_called(&settings.link);
    let timeout = Duration::from_secs_f64(settings.timeout.0.clamp(1e-3, 3600.0));
    let units = units(&settings);
    let overheard = Overheard::default();
    let (intake, mut queue, _) = intake::queue(QUEUE);
    let stop = CancellationToken::new();
    let source = modbus::run_with(
        Arc::new(Ear(overheard.clone())),
        SourceId(0),
        settings,
        intake,
        Arc::new(Health::default()),
        stop.clone(),
    );
    // When this ends, the source is to end too, and close its wire.
    let _stopping = stop.drop_guard();
    tokio::spawn(source);
    let mut reached = false;
    let mut look = interval(LOOK_EVERY);
    look.set_missed_tick_behavior(MissedTickBehavior::Delay);
    loop {
        let heard = tokio::select! {
            arrival = queue.recv() => match arrival {
                None => return Ok(()),
                Some(Arrival::Delivery(delivery)) => exchanges(&overheard, delivery, &units),
                Some(Arrival::Notice(_, _, Notice::Down(why))) => {
                    let why = why.replace(" in the shop file", "");
                    let waiting = overheard.exchanges.lock().is_ok_and(|own| !own.is_empty());
                    if !reached && !waiting {
                        let refused = overheard.refused.lock().ok().and_then(|mut own| own.take());
                        let again = why.replace(" (tried again every few seconds)", "");
                        return Err(refused.unwrap_or(again));
                    }
                    vec![Heard::Trouble(why)]
                }
                Some(Arrival::Notice(..)) => Vec::new(),
            },
            _ = look.tick() => {
                let had_its_time = Instant::now().checked_sub(timeout.mul_f64(1.5) + LOOK_EVERY);
                let late = had_its_time.map(|moment| overheard.until(moment)).unwrap_or_default();
                late.into_iter().map(in_vain).collect()
            }
            () = tell.closed() => return Ok(()),
        };
        for heard in heard {
            if !reached && heard.taken().is_some() {
                reached = true;
                if tell.send(Heard::Open(name.clone())).await.is_err() {
                    return Ok(());
                }
            }
            if tell.send(heard).await.is_err() {
                return Ok(());
            }
        }
    }
}

/// The bus, in words.
pub(crate) fn bus_called(link: &ModbusLink) -> String {
    match link {
        ModbusLink::Rtu(settings) => format!("Modbus on {}", called(&settings.port, settings.baud)),
        ModbusLink::Tcp { host, port } => format!("Modbus at {host}:{port}"),
    }
}

/// The unit of each channel, where it is known: what a register holds in °F, the daemon has turned into °C.
fn units(settings: &Modbus) -> Vec<(String, &'static str)> {
    let fahrenheit = settings.registers.iter().filter(|own| own.fahrenheit);
    fahrenheit.map(|own| (own.channel.clone(), "C")).collect()
}

/// The exchanges up to a delivery: the last is its own.
fn exchanges(
    overheard: &Overheard,
    delivery: Delivery,
    units: &[(String, &'static str)],
) -> Vec<Heard> {
    let mut until = overheard.until(delivery.arrived);
    let own = until.pop();
    let mut heard: Vec<Heard> = until.into_iter().map(in_vain).collect();
    let unit = |channel: &str| {
        units
            .iter()
            .find(|(own, _)| own == channel)
            .map(|(_, unit)| *unit)
    };
    let readings = delivery.said.into_iter().map(|said| {
        let unit = unit(&said.channel);
        Reading::of(said, unit)
    });
    let (asked, came) = own.map_or((Vec::new(), Vec::new()), |own| (own.asked, own.came));
    heard.push(Heard::Exchange {
        asked,
        came,
        taken: Ok(readings.collect()),
    });
    heard
}

/// A question that no reading came of.
fn in_vain(exchange: Exchange) -> Heard {
    let why = match exchange.came.is_empty() {
        true => "no answer",
        false => "no answer to this question",
    };
    Heard::Exchange {
        asked: exchange.asked,
        came: exchange.came,
        taken: Err(why.to_owned()),
    }
}
