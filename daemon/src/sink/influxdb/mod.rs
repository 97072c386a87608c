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
use crate::api::view::Clock;
use crate::broker::Trouble;
use crate::journal::{CommitNumber, ForgottenReadings, KeptAside};
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

/// What became of a piece of the readings.
struct Piece {
    /// The commit up to which it went.
    commit: CommitNumber,
    /// So many points were taken.
    points: u64,
    /// Why others were not.
    refused: Option<String>,
    /// That some of it was forgotten before.
    forgotten: Option<String>,
}

/// That readings cannot be sent any more.
fn forgotten_words(gone: &ForgottenReadings, clock: &Clock) -> String {
    format!(
        "{} readings from {} to {} were forgotten before they could be sent, since the journal keeps readings for a \
         limited time; let --keep-readings be longer than the longest outage",
        gone.readings,
        clock.moment(gone.first).at,
        clock.moment(gone.last).at
    )
}

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
        for aside in self.outbox.readings_again().await? {
            self.write_again(&aside).await?;
        }
        // What is committed while this goes on waits for the next time.
        let to = self.outbox.last_commit();
        while self.outbox.readings_from() < to {
            let after = self.outbox.readings_from();
            let Some(piece) = self.write_thinned(after, to).await? else {
                // Commits without readings: nothing of them has to be looked at again.
                self.outbox.readings_sent(to, 0);
                return Ok(());
            };
            let mut reasons = Vec::new();
            if let Some(why) = piece.refused {
                reasons.push((Some(after), why));
            }
            if let Some(why) = piece.forgotten {
                reasons.push((None, why));
            }
            match reasons.is_empty() {
                true => self.outbox.readings_sent(piece.commit, piece.points),
                false => {
                    self.outbox
                        .readings_set_aside(piece.commit, piece.points, reasons)
                        .await?;
                }
            }
        }
        Ok(())
    }

    /// Writes once more what was refused, since somebody asks for it. Points that were taken then are the same points.
    async fn write_again(&mut self, aside: &KeptAside) -> Result<(), Over> {
        let Some((mut after, to)) = aside.readings else {
            return Ok(());
        };
        let (mut points, mut refused) = (0, None);
        while after < to
            && let Some(piece) = self.write_thinned(after, to).await?
        {
            after = piece.commit;
            points += piece.points;
            refused = refused.or(piece.refused);
        }
        self.outbox
            .readings_sent_again(aside, points, refused)
            .await
    }

    /// Writes the next piece of the readings between two commits; `None` where there are none.
    async fn write_thinned(
        &mut self,
        after: CommitNumber,
        to: CommitNumber,
    ) -> Result<Option<Piece>, Over> {
        let every = self.settings.readings_every.unwrap_or(USUAL_INTERVAL);
        let every = Micros::default().plus_seconds(every);
        let shop = Arc::clone(&self.shop);
        let thinned = self
            .outbox
            .look(move |reader, clock, _| {
                let thinned = thin::next(reader, &clock.walls, &shop, (after, to), every)?;
                Ok(thinned.map(|thinned| {
                    let forgotten = thinned.forgotten.as_ref();
                    let forgotten = forgotten.map(|gone| forgotten_words(gone, clock));
                    (thinned, forgotten)
                }))
            })
            .await?;
        let Some((thinned, forgotten)) = thinned else {
            return Ok(None);
        };
        let all = thinned.lines.len();
        self.outbox.health.holds(all);
        let mut lines = thinned.lines.into_iter();
        let (mut failed, mut first) = (0, None);
        loop {
            let batch: Lines = lines.by_ref().take(LINES).collect();
            if batch.is_empty() {
                break;
            }
            let refused = self.write(batch).await?;
            failed += refused.len();
            first = first.or(refused.into_iter().next().map(|(_, why)| why));
        }
        Ok(Some(Piece {
            commit: thinned.commit,
            points: (all - failed) as u64,
            refused: first.map(|why| format!("{why}: {failed} of {all} points of readings")),
            forgotten,
        }))
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
