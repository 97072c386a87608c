//! What a request says, and what is wrong with it in sentences.

use axum::Json;
use axum::body::Bytes;
use axum::extract::{FromRequest, FromRequestParts, Query, Request};
use axum::http::request::Parts;
use serde::de::DeserializeOwned;

use super::refusal::Refusal;

/// An answer.
pub(crate) type Answer<T> = Result<Json<T>, Refusal>;

/// The longest name of a person, job, station and the like.
const NAME: usize = 200;
/// The longest note or reason.
const PROSE: usize = 4000;

/// A body of JSON.
pub(crate) struct Told<T>(pub(crate) T);

impl<S: Send + Sync, T: DeserializeOwned> FromRequest<S> for Told<T> {
    type Rejection = Refusal;

    async fn from_request(request: Request, state: &S) -> Result<Told<T>, Refusal> {
        let bytes = Bytes::from_request(request, state)
            .await
            .map_err(|error| Refusal::wrong(format!("the body cannot be read ({error})")))?;
        serde_json::from_slice(&bytes).map(Told).map_err(|error| {
            let sentence = format!(
                "the body is not what is asked for: {error}; /api/openapi.json describes it"
            );
            Refusal::wrong(sentence)
        })
    }
}

/// What stands behind the question mark of an address.
pub(crate) struct Asked<T>(pub(crate) T);

impl<S: Send + Sync, T: DeserializeOwned> FromRequestParts<S> for Asked<T> {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Asked<T>, Refusal> {
        match Query::<T>::try_from_uri(&parts.uri) {
            Ok(Query(asked)) => Ok(Asked(asked)),
            Err(error) => Err(Refusal::wrong(format!(
                "the query is not understood: {error}; /api/openapi.json describes it"
            ))),
        }
    }
}

/// A number in a path.
pub(crate) fn number(kind: &str, text: &str) -> Result<u64, Refusal> {
    let number = text.parse::<u64>().ok();
    // The journal's numbers are SQLite's.
    let number = number.filter(|number| i64::try_from(*number).is_ok());
    number.ok_or_else(|| absent(kind, format!("{text:?}")))
}

/// There is no such thing.
pub(crate) fn absent(kind: &str, number: impl std::fmt::Display) -> Refusal {
    Refusal::absent(format!("there is no {kind} {number}"))
}

/// A name: one line, not long.
pub(crate) fn name(what: &str, text: String) -> Result<String, Refusal> {
    line(what, text, NAME, |_| false)
}

/// A name that may be left out.
pub(crate) fn some_name(what: &str, text: Option<String>) -> Result<Option<String>, Refusal> {
    text.map(|text| name(what, text)).transpose()
}

/// Prose: lines, not endless.
pub(crate) fn prose(what: &str, text: String) -> Result<String, Refusal> {
    line(what, text, PROSE, |letter| letter == '\n')
}

fn line(
    what: &str,
    text: String,
    most: usize,
    allowed: impl Fn(char) -> bool,
) -> Result<String, Refusal> {
    let text = text.trim();
    if text.chars().count() > most {
        return Err(Refusal::wrong(format!(
            "{what} is longer than {most} characters; shorten it"
        )));
    }
    // What is written here is shown on terminals and pages.
    if text
        .chars()
        .any(|letter| letter.is_control() && !allowed(letter))
    {
        return Err(Refusal::wrong(format!(
            "{what} holds a control character; leave it out"
        )));
    }
    Ok(text.to_owned())
}

/// How many of a list are wanted.
pub(crate) fn at_most(newest: Option<u64>, usual: u64, most: u64) -> Result<u64, Refusal> {
    match newest {
        Some(newest) if newest == 0 || newest > most => Err(Refusal::wrong(format!(
            "newest cannot be {newest}; ask for 1 to {most}"
        ))),
        newest => Ok(newest.unwrap_or(usual)),
    }
}
