//! What a form says, and what is answered.

use axum::body::Bytes;
use axum::extract::{Form, FromRequest, Request};
use axum::http::header::{CONTENT_TYPE, HeaderValue};
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};
use serde::de::DeserializeOwned;

use super::page::Refused;
use crate::api::refusal::Refusal;

/// The fields of a form.
pub(super) struct Sent<T>(pub(super) T);

impl<S: Send + Sync, T: DeserializeOwned> FromRequest<S> for Sent<T> {
    type Rejection = Refused;

    async fn from_request(request: Request, state: &S) -> Result<Sent<T>, Refused> {
        let form = HeaderValue::from_static("application/x-www-form-urlencoded");
        let kind = request.headers().get(CONTENT_TYPE);
        if !kind.is_some_and(|kind| kind.as_bytes().starts_with(form.as_bytes())) {
            return Err(Refused(Refusal::wrong(
                "this takes a form; send one from its page",
            )));
        }
        let (parts, body) = request.into_parts();
        let bytes = Bytes::from_request(Request::from_parts(parts.clone(), body), state).await;
        let bytes = bytes.map_err(|_| Refusal::wrong("the form cannot be read; send it again"))?;
        let request = Request::from_parts(parts, axum::body::Body::from(bytes));
        match Form::<T>::from_request(request, state).await {
            Ok(Form(sent)) => Ok(Sent(sent)),
            Err(error) => Err(Refused(Refusal::wrong(format!(
                "the form is not understood ({}); open its page again and send it from there",
                error.body_text()
            )))),
        }
    }
}

/// Done: to the page that shows it.
pub(super) fn done(page: &str) -> Result<Response, Refused> {
    Ok(Redirect::to(page).into_response())
}

/// A number that may be left out.
pub(super) fn some_number<T: std::str::FromStr>(
    what: &str,
    text: &str,
    example: &str,
) -> Result<Option<T>, Refusal> {
    let text = text.trim();
    if text.is_empty() {
        return Ok(None);
    }
    let number = text.parse().map(Some);
    number.map_err(|_| {
        Refusal::wrong(format!(
            "{what}: {text:?} is no number; write for example {example}"
        ))
    })
}

/// A number that has to be there.
pub(super) fn number<T: std::str::FromStr>(
    what: &str,
    text: &str,
    example: &str,
) -> Result<T, Refusal> {
    let absent = || Refusal::wrong(format!("{what} is empty; write for example {example}"));
    some_number(what, text, example)?.ok_or_else(absent)
}

/// The field that every form has: who does it. The script remembers it.
pub(super) fn by() -> Markup {
    html! {
        label { "Your name" input name="by" required maxlength="200" autocomplete="nickname" data-remember="by"; }
    }
}
