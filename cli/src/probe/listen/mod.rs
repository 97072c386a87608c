//! `inkdwell probe listen`: what a wire says, byte by byte, beside what the daemon would take it for.
//!
//! What was typed, or a source of the shop file, becomes a source as the shop file declares it (`declare`). A task hears
//! its wire (`serial`, `broker`, `devices`) and lets the daemon's own parsers say what it means; where it is not declared
//! how to read it, that is guessed (`guess`). What is heard is counted (`tally`) and shown: live in a terminal
//! (`screen`), a line each in a pipe (`lines`), or as JSON (`json`). Nothing of a device reaches a terminal but by
//! way of `shown`.

pub(crate) mod arguments;
pub(crate) mod broker;
pub(crate) mod declare;
mod declared_at;
pub(crate) mod devices;
pub(crate) mod guess;
pub(crate) mod heard;
mod json;
mod lines;
mod screen;
pub(crate) mod serial;
pub(crate) mod shown;
mod tally;

use std::io::{IsTerminal, Write};
use std::path::Path;
use std::time::{Duration, Instant};

use inkdwell_config::shop::{Shop, SourceKind};
use tokio::runtime::{Builder, Runtime};
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::mpsc::{Receiver, Sender, channel};
use tokio_util::sync::CancellationToken;

use self::arguments::ListenArguments;
use self::declare::{Declared, declared};
use self::declared_at::Known;
use self::heard::Heard;
use self::tally::Tally;
use crate::Outcome;
use crate::failure::Failure;
use crate::terminal::{Setting, print};

/// What a reading says, fit to be shown.
pub(crate) fn tally_told(reading: &heard::Reading) -> String {
    tally::told(&reading.value, reading.unit.as_deref())
}

/// So much may be heard before it is shown.
const QUEUE: usize = 1024;

pub(crate) fn run(typed: &ListenArguments, as_json: bool) -> Result<Outcome, Failure> {
    let (declared, known) = match (&typed.source, &typed.shop) {
        (Some(id), Some(file)) => of_shop(file, id)?,
        _ => (declared(typed)?, Known::default()),
    };
    let name = called(&declared.kind)?;
    let runtime = runtime()?;
    let stop = runtime.block_on(async { stopped() })?;
    let (tell, mut heard) = channel(QUEUE);
    let task = runtime.spawn(hear(declared, tell));
    let until = typed.seconds.map(Duration::from_secs_f64);
    // What is in the way is said before the screen is taken.
    let first = match runtime.block_on(first(&mut heard, until, &stop)) {
        First::Heard(first) => first,
        First::Over => return nothing(as_json, until.unwrap_or_default()),
        First::Closed => {
            let why = runtime.block_on(task);
            let why = why.unwrap_or_else(|error| Err(error.to_string()));
            return Err(Failure::new(why.err().unwrap_or_else(|| {
                "nothing can be heard there any more".to_owned()
            })));
        }
    };
    let live = !as_json && std::io::stdout().is_terminal() && std::io::stdin().is_terminal();
    let tally = if live {
        let mut scene = screen::Scene::new(name, &known);
        scene.take(&dressed(first, &known));
        let shown = screen::show(&mut scene, &mut heard, until);
        let tally = std::mem::take(&mut scene.tally);
        shown?;
        print(&lines::sum(&tally, &known, Setting::of_stdout()))?;
        tally
    } else {
        let told = Told {
            known: &known,
            as_json,
            begun: Instant::now(),
            tally: Tally::default(),
        };
        runtime.block_on(told.tell(first, &mut heard, until, &stop))?
    };
    // A port that a driver keeps hold of is not waited for.
    runtime.shutdown_background();
    Ok(match tally.readings {
        0 => Outcome::Finding,
        _ => Outcome::Fine,
    })
}

/// What is needed to hear wires.
pub(crate) fn runtime() -> Result<Runtime, Failure> {
    Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(|error| Failure::new(format!("no thread can be started ({error})")))
}

/// Hears a wire until nobody listens any more.
///
/// # Errors
/// When it cannot be heard to begin with.
pub(crate) async fn hear(declared: Declared, tell: Sender<Heard>) -> Result<(), String> {
    match declared.kind {
        SourceKind::Serial(line) => {
            let format = declared.is_read.then_some(line.format);
            serial::listen(line.settings, format, tell).await
        }
        SourceKind::Mqtt(mqtt) => {
            broker::listen(mqtt.broker, mqtt.topics, declared.is_read, tell).await
        }
        SourceKind::Modbus(modbus) => devices::listen(modbus, tell).await,
        SourceKind::Replay { .. } | SourceKind::Simulated { .. } => Ok(()),
    }
}

/// A source of a shop file, and what the file says of its channels.
fn of_shop(file: &Path, id: &str) -> Result<(Declared, Known), Failure> {
    let shop = Shop::load(file).map_err(Failure::from)?;
    let Some(source) = shop.sources.iter().find(|source| source.id == id) else {
        let ids: Vec<&str> = shop.sources.iter().map(|own| own.id.as_str()).collect();
        return Err(Failure::of_file(
            file.display(),
            format_args!("declares no source {id:?}"),
            match ids.is_empty() {
                true => "it declares none at all; add a [[source]]".to_owned(),
                false => format!("it has {}", ids.join(", ")),
            },
        ));
    };
    let declared = Declared {
        kind: source.kind.clone(),
        is_read: true,
    };
    Ok((declared, Known::of(&shop, id)))
}

/// What the wire is called.
fn called(kind: &SourceKind) -> Result<String, Failure> {
    match kind {
        SourceKind::Serial(line) => Ok(serial::called(&line.settings.port, line.settings.baud)),
        SourceKind::Mqtt(mqtt) => Ok(broker::called(&mqtt.broker)),
        SourceKind::Modbus(modbus) => Ok(devices::bus_called(&modbus.link)),
        SourceKind::Replay { .. } | SourceKind::Simulated { .. } => Err(Failure::new(
            "this source plays a file or a simulated shop: there is no wire to listen to; \"inkdwell probe list\" shows \
             what the daemon hears of it",
        )),
    }
}

/// Cancelled by Ctrl-C, or when the program is told to end.
fn stopped() -> Result<CancellationToken, Failure> {
    let no_signal =
        |error: std::io::Error| Failure::new(format!("no signal can be caught ({error})"));
    let mut interrupt = signal(SignalKind::interrupt()).map_err(no_signal)?;
    let mut terminate = signal(SignalKind::terminate()).map_err(no_signal)?;
    let stop = CancellationToken::new();
    let told = stop.clone();
    tokio::spawn(async move {
        tokio::select! {
            _ = interrupt.recv() => {}
            _ = terminate.recv() => {}
        }
        told.cancel();
    });
    Ok(stop)
}

/// How listening began.
enum First {
    /// With this.
    Heard(Heard),
    /// The time is over, or somebody has ended it, before anything came.
    Over,
    /// It cannot be listened to.
    Closed,
}

async fn first(
    heard: &mut Receiver<Heard>,
    until: Option<Duration>,
    stop: &CancellationToken,
) -> First {
    let end = until.map(|until| tokio::time::Instant::now() + until);
    tokio::select! {
        first = heard.recv() => first.map_or(First::Closed, First::Heard),
        () = over(end) => First::Over,
        () = stop.cancelled() => First::Over,
    }
}

fn nothing(as_json: bool, after: Duration) -> Result<Outcome, Failure> {
    let tally = Tally::default();
    print(&match as_json {
        true => json::sum(after, &tally)?,
        false => lines::sum(&tally, &Known::default(), Setting::of_stdout()),
    })?;
    Ok(Outcome::Finding)
}

/// A reading without a unit gets the one that the shop file gives its channel.
fn dressed(mut heard: Heard, known: &Known) -> Heard {
    if let Heard::Line { taken: Ok(all), .. }
    | Heard::Message { taken: Ok(all), .. }
    | Heard::Exchange { taken: Ok(all), .. } = &mut heard
    {
        for reading in all.iter_mut().filter(|reading| reading.unit.is_none()) {
            reading.unit = known.unit(&reading.channel).map(str::to_owned);
        }
    }
    heard
}

/// Tells what is heard in lines.
struct Told<'a> {
    known: &'a Known,
    as_json: bool,
    begun: Instant,
    tally: Tally,
}

impl Told<'_> {
    async fn tell(
        mut self,
        first: Heard,
        heard: &mut Receiver<Heard>,
        until: Option<Duration>,
        stop: &CancellationToken,
    ) -> Result<Tally, Failure> {
        let end = until.map(|until| tokio::time::Instant::now() + until);
        let mut next = Some(first);
        while let Some(heard_now) = next {
            if !self.line(&dressed(heard_now, self.known))? {
                return Ok(self.tally);
            }
            next = tokio::select! {
                biased;
                () = stop.cancelled() => None,
                () = over(end) => None,
                heard = heard.recv() => heard,
            };
        }
        let setting = Setting::of_stdout();
        put(&match self.as_json {
            true => json::sum(self.begun.elapsed(), &self.tally)?,
            false => format!("\n{}", lines::sum(&self.tally, self.known, setting)),
        })?;
        Ok(self.tally)
    }

    /// Whether anybody still reads.
    fn line(&mut self, heard: &Heard) -> Result<bool, Failure> {
        let at = self.begun.elapsed();
        self.tally.count(at, heard);
        put(&match self.as_json {
            true => json::line(at, heard)?,
            false => lines::line(at, heard),
        })
    }
}

/// Writes at once; whether anybody still reads.
fn put(text: &str) -> Result<bool, Failure> {
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Ok(()) => Ok(true),
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(false),
        Err(error) => Err(Failure::new(format!(
            "standard output cannot be written ({error}); check its disk"
        ))),
    }
}

async fn over(end: Option<tokio::time::Instant>) {
    match end {
        Some(end) => tokio::time::sleep_until(end).await,
        None => std::future::pending().await,
    }
}
