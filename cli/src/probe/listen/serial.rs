//! Lines of a serial port, as they come.

use std::io;
use std::time::Duration;

use inkdwell_config::shop::{LineFormat, Port, SerialSettings};
use inkdwell_daemon::source::lines::{Heard as Cut, LineParser, LineReader, Meaning, Unclear};
use inkdwell_daemon::source::port::{Found, Ports, SystemPorts, Trouble, Wire, named};
use inkdwell_daemon::source::serial::TORN_WITHIN;
use tokio::io::AsyncReadExt;
use tokio::sync::mpsc::Sender;
use tokio::time::{Instant, sleep, sleep_until};

use super::guess;
use super::heard::{Heard, Reading};

/// So many bytes are read at once.
const CHUNK: usize = 4096;
/// How often a silent port is looked at, and a lost one for.
const LOOK_EVERY: Duration = Duration::from_secs(1);
/// A guess rests on so many lines; later ones do not change it.
const GUESS_BY: usize = 5;

/// The port is not ours any more, or the listener has gone.
enum End {
    Lost(String),
    NobodyListens,
}

/// How lines are read.
enum Way {
    /// As it was declared, or guessed for good.
    Settled(LineParser),
    /// By what they look like so far.
    Guessing {
        lines: Vec<Vec<u8>>,
        format: Option<LineFormat>,
    },
}

struct Ear {
    settings: SerialSettings,
    reader: LineReader,
    way: Way,
    tell: Sender<Heard>,
}

/// Listens until nobody hears any more. Without a format, one is guessed from the first lines.
///
/// # Errors
/// When the port cannot be opened to begin with, or the format is none. Later it is waited for.
pub(crate) async fn listen(
    settings: SerialSettings,
    format: Option<LineFormat>,
    tell: Sender<Heard>,
) -> Result<(), String> {
    let way = match &format {
        Some(format) => Way::Settled(LineParser::new(format).map_err(|error| error.to_string())?),
        None => Way::Guessing {
            lines: Vec::new(),
            format: None,
        },
    };
    let mut opened = open(&settings)
        .await
        .map_err(|trouble| in_the_way(&trouble))?;
    let mut ear = Ear {
        settings,
        reader: LineReader::new(),
        way,
        tell,
    };
    loop {
        let (found, wire) = opened;
        let End::Lost(why) = ear.hear(&found, wire).await else {
            return Ok(());
        };
        if ear.say(Heard::Trouble(why)).await.is_err() {
            return Ok(());
        }
        opened = loop {
            sleep(LOOK_EVERY).await;
            match open(&ear.settings).await {
                Ok(opened) => break opened,
                Err(_) if ear.tell.is_closed() => return Ok(()),
                Err(_) => {}
            }
        };
    }
}

/// Opens a port, where nothing may block.
pub(crate) async fn open(settings: &SerialSettings) -> Result<(Found, Box<dyn Wire>), Trouble> {
    let settings = settings.clone();
    let opening = tokio::task::spawn_blocking(move || {
        let found = SystemPorts.find(&settings.port)?;
        let wire = SystemPorts.open(&found, &settings)?;
        Ok((found, wire))
    });
    match opening.await {
        Ok(opened) => opened,
        Err(error) => Err(Trouble::Unlisted(error.to_string())),
    }
}

/// What is in the way of a port, and what to do. The likeliest other program is the daemon.
pub(crate) fn in_the_way(trouble: &Trouble) -> String {
    match trouble {
        Trouble::InUse(path) => format!(
            "the serial port {} is in use by another program. If that is the daemon (inkdwelld): \"inkdwell probe list\" \
             shows what it takes from there; to listen here, stop it (Ctrl-C where it runs, or \"systemctl stop \
             inkdwelld\"), and start it again afterwards",
            path.display()
        ),
        Trouble::Forbidden(path) => format!(
            "the serial port {} may not be opened by you; add yourself to the group dialout (or to the group that owns \
             the port) and log in again",
            path.display()
        ),
        trouble => trouble.to_string().replace(" in the shop file", ""),
    }
}

/// A port with its speed, in words.
pub(crate) fn called(port: &Port, baud: u32) -> String {
    format!("{}, {baud} bits a second", named(port))
}

impl Ear {
    async fn say(&self, heard: Heard) -> Result<(), End> {
        let said = self.tell.send(heard).await;
        said.map_err(|_| End::NobodyListens)
    }

    async fn hear(&mut self, found: &Found, wire: Box<dyn Wire>) -> End {
        match self.read(found, wire).await {
            Ok(never) => never,
            Err(end) => end,
        }
    }

    async fn read(&mut self, found: &Found, mut wire: Box<dyn Wire>) -> Result<End, End> {
        let name = called(&self.settings.port, self.settings.baud);
        self.say(Heard::Open(name)).await?;
        wire.discard_input();
        self.reader.begin();
        let opened = Instant::now();
        let (mut torn, mut any) = (None, false);
        let mut buffer = vec![0; CHUNK];
        let mut look_at = opened + LOOK_EVERY;
        loop {
            tokio::select! {
                read = wire.read(&mut buffer) => {
                    let count = match read {
                        Ok(0) => return Ok(self.lost("it hung up")),
                        Ok(count) => count,
                        Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
                        Err(error) => return Ok(self.lost(&error.to_string())),
                    };
                    let bytes = buffer.get(..count).unwrap_or_default();
                    if !any && opened.elapsed() < TORN_WITHIN {
                        self.reader.begin_torn();
                        torn = Some(Vec::new());
                    }
                    any = true;
                    look_at = Instant::now() + LOOK_EVERY;
                    if let Some(half) = self.rest_of_line(&mut torn, bytes) {
                        self.say(Heard::Half(half)).await?;
                    }
                    for heard in self.take(bytes) {
                        self.say(heard).await?;
                    }
                }
                () = sleep_until(look_at) => {
                    look_at = Instant::now() + LOOK_EVERY;
                    let port = self.settings.port.clone();
                    let now = tokio::task::spawn_blocking(move || SystemPorts.find(&port)).await;
                    match now {
                        Ok(Ok(now)) if now == *found => {}
                        Ok(Err(Trouble::Unlisted(_))) | Err(_) => {}
                        Ok(_) => return Ok(self.lost("it was pulled out")),
                    }
                }
                () = self.tell.closed() => return Ok(End::NobodyListens),
            }
        }
    }

    /// The rest of a line that began before the port was open, once its end has come.
    fn rest_of_line(&self, torn: &mut Option<Vec<u8>>, bytes: &[u8]) -> Option<Vec<u8>> {
        let rest = torn.as_mut()?;
        let end = bytes.iter().position(|byte| matches!(byte, b'\r' | b'\n'));
        let room = super::shown::LONGEST.saturating_sub(rest.len());
        let piece = bytes.get(..end.unwrap_or(bytes.len())).unwrap_or_default();
        rest.extend(piece.iter().take(room));
        end?;
        torn.take().filter(|rest| !rest.is_empty())
    }

    fn take(&mut self, bytes: &[u8]) -> Vec<Heard> {
        let (way, mut all) = (&mut self.way, Vec::new());
        self.reader.feed(bytes, &mut |cut| match cut {
            Cut::TooLong => all.push(Heard::Endless),
            Cut::Line(line) => way.line(line, &mut all),
        });
        all
    }

    fn lost(&self, why: &str) -> End {
        End::Lost(format!(
            "{} is lost ({why}); see whether the adapter is plugged in and the device has power",
            named(&self.settings.port)
        ))
    }
}

impl Way {
    fn line(&mut self, line: &[u8], all: &mut Vec<Heard>) {
        if let Way::Guessing { lines, format } = self {
            lines.push(line.to_vec());
            let guess = guess::format(lines.iter().map(Vec::as_slice));
            if guess != *format {
                all.extend(
                    guess
                        .as_ref()
                        .map(|new| Heard::Guessed(guess::in_words(new))),
                );
                *format = guess;
            }
            let parser = format.as_ref().and_then(|own| LineParser::new(own).ok());
            let settled = lines.len() >= GUESS_BY;
            let Some(mut parser) = parser else {
                if settled {
                    lines.remove(0);
                }
                let taken = Err("it looks like no format that is known".to_owned());
                let (raw, noise) = (line.to_vec(), 0);
                all.push(Heard::Line { raw, noise, taken });
                return;
            };
            // What earlier lines say of units holds for this one.
            for earlier in lines.iter().take(lines.len() - 1) {
                parser.read(earlier);
            }
            all.push(read(&mut parser, line));
            if settled {
                *self = Way::Settled(parser);
            }
            return;
        }
        if let Way::Settled(parser) = self {
            all.push(read(parser, line));
        }
    }
}

/// What the daemon would take a line for.
pub(crate) fn read(parser: &mut LineParser, line: &[u8]) -> Heard {
    let mut noise = 0;
    let taken = match parser.read(line) {
        Meaning::Blank => Ok(Vec::new()),
        Meaning::Garbled(why) => {
            if let Unclear::Noise(bytes) = why {
                noise = bytes;
            }
            Err(why.to_string())
        }
        Meaning::Said(said) => {
            let reading = |said| -> Reading {
                let mut reading = Reading::of(said, None);
                reading.unit = parser.unit(&reading.channel).map(str::to_owned);
                reading
            };
            Ok(said.into_iter().map(reading).collect())
        }
    };
    Heard::Line {
        raw: line.to_vec(),
        noise,
        taken,
    }
}
