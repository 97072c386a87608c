//! Writes verdicts, events and thinned readings to a server that speaks the write interface of InfluxDB 2.
//!
//! Points go in batches, gzipped. Each has a time and tags of its own, so that one that is written twice changes
//! nothing. A batch that is too large is split in two until it is not; one that is refused for good is split until
//! the point is found that is at fault, which is set aside with its reason, and the others are written. Where the
//! server wants to be left alone it is, for as long as it says.
//!
//! Verdicts and events come first; readings are gone over at every interval, from where the last that were taken
//! ended. An outage of any length costs no memory: what was not written lies in the journal.

mod answer;
mod lines;
mod thin;

use std::collections::VecDeque;
use std::io::Write;
use std::sync::Arc;

use bytes::Bytes;
use flate2::Compression;
use flate2::write::GzEncoder;
use inkdwell_config::shop::{Secret, Shop, TlsRoots};
use tokio::time::{Instant, sleep_until};

use self::answer::{Answer, meaning};
use super::http::{Client, Endpoint, Reply};
use super::outbox::{Outbox, Over};
use super::secret;
use crate::broker::Trouble;
use crate::time::Micros;

/// Letters in one batch.
const LETTERS: usize = 256;
/// Lines of readings in one batch, as InfluxDB's own documentation advises for batches.
const LINES: usize = 5000;
/// Smaller bodies are not worth packing.
const WORTH_PACKING: usize = 1024;
/// Readings are thinned to this interval where the shop file says nothing, in seconds.
pub(super) const USUAL_INTERVAL: f64 = 10.0;

/// Where to write, and how.
#[derive(Debug)]
pub(super) struct Settings {
    pub(super) url: String,
    pub(super) org: String,
    pub(super) bucket: String,
    pub(super) token: Option<Secret>,
    pub(super) roots: TlsRoots,
    pub(super) gzip: bool,
    /// Seconds between looks at the readings; `None` where they are not sent.
    pub(super) readings_every: Option<f64>,
}

struct Writing {
    outbox: Outbox,
    settings: Settings,
    shop: Arc<Shop>,
    client: Client,
}

/// Lines that are written together.
type Lines = Vec<Vec<u8>>;

pub(super) async fn run(mut outbox: Outbox, settings: Settings, shop: Arc<Shop>) {
    let query = format!(
        "/api/v2/write?org={}&bucket={}&precision=ns",
        escaped(&settings.org),
        escaped(&settings.bucket)
    );
    let endpoint = loop {
        match Endpoint::of(&settings.url) {
            Ok(endpoint) => break endpoint.below(&query),
            Err(trouble) => {
                if outbox.wait_out(&trouble, None).await.is_err() {
                    return;
                }
            }
        }
    };
    let client = Client::new(endpoint, settings.roots.clone());
    let writing = Writing {
        outbox,
        settings,
        shop,
        client,
    };
    let Err(Over) = writing.write_all().await;
}

/// What stands behind a question mark may hold letters, digits and these alone (RFC 3986, section 2.3).
fn escaped(text: &str) -> String {
    let mut safe = String::new();
    for byte in text.bytes() {
        match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' => {
                safe.push(char::from(byte));
            }
            byte => safe.push_str(&format!("%{byte:02X}")),
        }
    }
    safe
}

impl Writing {
    async fn write_all(mut self) -> Result<std::convert::Infallible, Over> {
        let mut look_at = self.next_look();
        loop {
            let stop = self.outbox.stop.clone();
            let letters = tokio::select! {
                () = stop.cancelled() => return Err(Over),
                letters = self.outbox.next_several(LETTERS) => Some(letters?),
                () = sleep_until(look_at.unwrap_or_else(Instant::now)), if look_at.is_some() => None,
            };
            match letters {
                Some(letters) => self.write_letters(letters).await?,
                None => {
                    self.write_readings().await?;
                    look_at = self.next_look();
                }
            }
        }
    }

    fn next_look(&self) -> Option<Instant> {
        let every = self.settings.readings_every?;
        Some(Instant::now() + self.outbox.wait_of(every))
    }

    async fn write_letters(&mut self, letters: Vec<super::compose::Letter>) -> Result<(), Over> {
        // What cannot be said in a line keeps its place, as an empty one.
        let said: Vec<Result<Vec<u8>, String>> = letters.iter().map(lines::line).collect();
        let mut rest: VecDeque<Result<Vec<u8>, String>> = said.into();
        while !rest.is_empty() {
            let good = rest.iter().take_while(|line| line.is_ok()).count();
            if good == 0 {
                if let Some(Err(why)) = rest.pop_front() {
                    self.outbox.set_aside(why).await?;
                }
                continue;
            }
            let batch: Lines = rest.drain(..good).flatten().collect();
            let count = batch.len();
            let refused = self.write(batch).await?;
            for place in 0..count {
                match refused.iter().find(|(own, _)| *own == place) {
                    None => self.outbox.sent(),
                    Some((_, why)) => self.outbox.set_aside(why.clone()).await?,
                }
            }
        }
        Ok(())
    }

    /// Writes readings until there are no more.
    async fn write_readings(&mut self) -> Result<(), Over> {
        let every = self.settings.readings_every.unwrap_or(USUAL_INTERVAL);
        let every = Micros::default().plus_seconds(every);
        // What is committed while this goes on waits for the next time.
        let to = self.outbox.last_commit();
        while self.outbox.readings_from() < to {
            let (after, shop) = (self.outbox.readings_from(), Arc::clone(&self.shop));
            let thinned = self
                .outbox
                .look(move |reader, clock, _| thin::next(reader, &clock.walls, &shop, after, every))
                .await?;
            let Some(thinned) = thinned else {
                // Commits without readings: nothing of them has to be looked at again.
                self.outbox.readings_sent(to, 0);
                return Ok(());
            };
            let points = thinned.lines.len() as u64;
            let mut lines = thinned.lines.into_iter();
            loop {
                let batch: Lines = lines.by_ref().take(LINES).collect();
                if batch.is_empty() {
                    break;
                }
                for (_, why) in self.write(batch).await? {
                    self.outbox.set_readings_aside(why).await?;
                }
            }
            self.outbox.readings_sent(thinned.commit, points);
        }
        Ok(())
    }

    /// Writes lines, however long it takes; the places of those that are refused for good, and why.
    async fn write(&mut self, lines: Lines) -> Result<Vec<(usize, String)>, Over> {
        let mut refused = Vec::new();
        // Pieces in their order, each with the place of its first line.
        let mut pieces = VecDeque::from([(0, lines)]);
        while let Some((first, piece)) = pieces.pop_front() {
            let why = match self.write_piece(&piece).await? {
                Answer::Taken => continue,
                Answer::TooMuch(why) | Answer::Refused(why) => why,
                // Waited out already.
                Answer::Trouble(_) => {
                    pieces.push_front((first, piece));
                    continue;
                }
            };
            if piece.len() == 1 {
                refused.push((first, why));
                continue;
            }
            let mut head = piece;
            let tail = head.split_off(head.len() / 2);
            pieces.push_front((first + head.len(), tail));
            pieces.push_front((first, head));
        }
        Ok(refused)
    }

    async fn write_piece(&mut self, lines: &Lines) -> Result<Answer, Over> {
        let stop = self.outbox.stop.clone();
        let posted = tokio::select! {
            () = stop.cancelled() => return Err(Over),
            posted = post(&mut self.client, &self.settings, lines) => posted,
        };
        let (answer, asked) = match posted {
            Ok(reply) => (meaning(&reply, &self.client.named()), reply.retry_after),
            Err(trouble) => (Answer::Trouble(trouble), None),
        };
        match &answer {
            Answer::Trouble(trouble) => self.outbox.wait_out(trouble, asked).await?,
            _ => self.outbox.goes_well(),
        }
        Ok(answer)
    }
}

async fn post(client: &mut Client, settings: &Settings, lines: &Lines) -> Result<Reply, Trouble> {
    let mut headers = vec![("content-type", "text/plain; charset=utf-8".to_owned())];
    if let Some(token) = &settings.token {
        let token = secret::read(token, "token")?;
        headers.push(("authorization", format!("Token {token}")));
    }
    let mut body = lines.concat();
    if settings.gzip && body.len() >= WORTH_PACKING {
        let packed = packed(&body)
            .map_err(|error| Trouble::passing(format!("points cannot be packed ({error})")))?;
        body = packed;
        headers.push(("content-encoding", "gzip".to_owned()));
    }
    client.post(&headers, Bytes::from(body)).await
}

fn packed(body: &[u8]) -> std::io::Result<Vec<u8>> {
    let mut packing = GzEncoder::new(Vec::new(), Compression::fast());
    packing.write_all(body)?;
    packing.finish()
}
