//! Posts each message as JSON to an address of the shop's own.
//!
//! # The request
//!
//! ```text
//! Content-Type:        application/json
//! Inkdwell-Message:    the message's id, the same however often it is sent
//! Inkdwell-Sent:       seconds since 1970-01-01 00:00 UTC, when this attempt was made
//! Inkdwell-Signature:  HMAC-SHA256 (RFC 2104) in hexadecimal, where the shop file names a secret, over
//!                      what stands in Inkdwell-Sent, a line feed, the id, a line feed, and the body
//! ```
//!
//! A receiver makes the signature anew from the bytes that came, compares the two in constant time, refuses a
//! message that is older than it cares for, and passes over an id that it has had.
//!
//! # The answer
//!
//! 2xx: taken. What may pass (no answer, 408, 425, 429, 5xx) is tried again with growing waits, no sooner than
//! `Retry-After` says. What somebody has to mend (a redirection, 401, 403, 404, 405, 407, 410, 421) is tried again
//! every minute. Any other refusal is one of this message: it is set aside with its reason, and the next is sent.

use bytes::Bytes;
use hmac::{Hmac, KeyInit, Mac};
use inkdwell_config::shop::{Secret, TlsRoots};
use sha2::Sha256;

use super::http::{Client, Endpoint, Reply};
use super::outbox::{Outbox, Over};
use super::secret;
use crate::broker::Trouble;
use crate::time::wall;

/// What an answer means.
enum Answer {
    Taken,
    Refused(String),
    Trouble(Trouble),
}

pub(super) async fn run(mut outbox: Outbox, url: String, secret: Option<Secret>, roots: TlsRoots) {
    // What ends it is a stop.
    let Err(Over) = post_all(&mut outbox, &url, secret, roots).await;
}

async fn post_all(
    outbox: &mut Outbox,
    url: &str,
    secret: Option<Secret>,
    roots: TlsRoots,
) -> Result<std::convert::Infallible, Over> {
    let endpoint = loop {
        match Endpoint::of(url) {
            Ok(endpoint) => break endpoint,
            Err(trouble) => outbox.wait_out(&trouble, None).await?,
        }
    };
    let mut client = Client::new(endpoint, roots);
    loop {
        let letter = outbox.next().await?;
        let (id, body) = match letter.message.json() {
            Ok(json) => (letter.message.id().to_owned(), Bytes::from(json)),
            Err(error) => {
                outbox.set_aside(error.to_string()).await?;
                continue;
            }
        };
        loop {
            let posting = post(&mut client, secret.as_ref(), &id, &body);
            let posted = tokio::select! {
                () = outbox.stop.cancelled() => return Err(Over),
                posted = posting => posted,
            };
            let (answer, asked) = match posted {
                Ok(reply) => (meaning(&reply, &client.named()), reply.retry_after),
                Err(trouble) => (Answer::Trouble(trouble), None),
            };
            match answer {
                Answer::Taken => {
                    outbox.goes_well();
                    outbox.sent();
                    break;
                }
                Answer::Refused(why) => {
                    outbox.goes_well();
                    outbox.set_aside(why).await?;
                    break;
                }
                Answer::Trouble(trouble) => outbox.wait_out(&trouble, asked).await?,
            }
        }
    }
}

async fn post(
    client: &mut Client,
    secret: Option<&Secret>,
    id: &str,
    body: &Bytes,
) -> Result<Reply, Trouble> {
    let sent = (wall().0 / 1_000_000).to_string();
    let mut headers = vec![
        ("content-type", "application/json".to_owned()),
        ("inkdwell-message", id.to_owned()),
        ("inkdwell-sent", sent.clone()),
    ];
    if let Some(secret) = secret {
        let key = secret::read(secret, "secret")?;
        headers.push(("inkdwell-signature", signature(&key, &sent, id, body)));
    }
    client.post(&headers, body.clone()).await
}

/// See the module.
fn signature(key: &str, sent: &str, id: &str, body: &[u8]) -> String {
    let Ok(mut mac) = Hmac::<Sha256>::new_from_slice(key.as_bytes()) else {
        // HMAC takes keys of every length (RFC 2104, section 2).
        return String::new();
    };
    for part in [sent.as_bytes(), b"\n", id.as_bytes(), b"\n", body] {
        mac.update(part);
    }
    let digest = mac.finalize().into_bytes();
    digest.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn meaning(reply: &Reply, place: &str) -> Answer {
    let said = match reply.said.trim() {
        "" => String::new(),
        said => format!(": {said}"),
    };
    let status = reply.status;
    match status {
        200..=299 => Answer::Taken,
        408 | 425 | 429 | 500..=599 => Answer::Trouble(Trouble::passing(format!(
            "{place} does not take it now ({status}{said})"
        ))),
        100..=399 => Answer::Trouble(Trouble::slow(format!(
            "{place} sends us elsewhere ({status}{said}); write the address that takes messages as url"
        ))),
        401 | 403 | 407 => Answer::Trouble(Trouble::slow(format!(
            "{place} does not let us in ({status}{said}); correct the secret here or there, or its rights"
        ))),
        404 | 405 | 410 | 421 => Answer::Trouble(Trouble::slow(format!(
            "nothing at {place} takes messages ({status}{said}); correct url in the shop file"
        ))),
        _ => Answer::Refused(format!("{place} refused it for good ({status}{said})")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4231, section 4.3 (test case 2): the key "Jefe" and the text "what do ya want for nothing?". Its text
    /// has no line feeds, so it is given as the last part, with the two before it empty taken off.
    #[test]
    fn the_signature_is_hmac_sha256() {
        let mut mac = Hmac::<Sha256>::new_from_slice(b"Jefe").unwrap();
        mac.update(b"what do ya want for nothing?");
        let digest: String = mac
            .finalize()
            .into_bytes()
            .iter()
            .map(|byte| format!("{byte:02x}"))
            .collect();
        assert_eq!(
            digest,
            "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
        );
    }
}
