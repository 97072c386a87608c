//! What a server that speaks the InfluxDB 2 write interface means by its answers.

use crate::broker::Trouble;
use crate::sink::http::Reply;

/// What an answer means.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Answer {
    /// All is written.
    Taken,
    /// Too much at once.
    TooMuch(String),
    /// Something in it is refused for good, perhaps not all.
    Refused(String),
    /// Nothing of it is written for now.
    Trouble(Trouble),
}

pub(super) fn meaning(reply: &Reply, place: &str) -> Answer {
    let said = match reply.said.trim() {
        "" => String::new(),
        said => format!(": {said}"),
    };
    let status = reply.status;
    match status {
        200..=299 => Answer::Taken,
        413 => Answer::TooMuch(format!("{place} finds it too large ({status}{said})")),
        408 | 425 | 429 | 500..=599 => Answer::Trouble(Trouble::passing(format!(
            "{place} does not take points now ({status}{said})"
        ))),
        100..=399 => Answer::Trouble(Trouble::slow(format!(
            "{place} sends us elsewhere ({status}{said}); write the server's own address as url"
        ))),
        401 | 403 | 407 => Answer::Trouble(Trouble::slow(format!(
            "{place} does not let us write ({status}{said}); correct token_file or token_env, or give the token the right to write to the bucket"
        ))),
        404 | 405 | 410 | 421 => Answer::Trouble(Trouble::slow(format!(
            "{place} has no such place to write to ({status}{said}); correct url, org and bucket in the shop file, or make the bucket"
        ))),
        _ => Answer::Refused(format!("{place} refused it for good ({status}{said})")),
    }
}
