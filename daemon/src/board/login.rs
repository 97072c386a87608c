//! Logging in: the token of the data folder, kept by the browser in a cookie that no script reads.

use std::sync::Arc;

use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::http::header::{HeaderValue, SET_COOKIE};
use axum::response::{Html, IntoResponse, Redirect, Response};
use maud::{DOCTYPE, Markup, html};
use serde::Deserialize;

use super::form::Sent;
use super::page::{Refused, head};
use super::{DO, LOGIN};
use crate::api::Api;
use crate::api::guard::COOKIE_NAME;
use crate::api::token;

/// How long a browser keeps it, in seconds: a month.
const KEPT: u32 = 30 * 86_400;

/// Where to go on.
#[derive(Debug, Deserialize)]
pub(super) struct Next {
    next: Option<String>,
}

/// The address of the login that goes on to a page.
pub(super) fn before(path: &str) -> String {
    let is_plain = |letter: char| letter.is_ascii_alphanumeric() || "/-._".contains(letter);
    match path.chars().all(is_plain) {
        true => format!("{LOGIN}?next={path}"),
        false => LOGIN.to_owned(),
    }
}

/// A page of this board; never another site's.
fn own(next: Option<&str>) -> &str {
    let is_own = |next: &&str| {
        let plain = next
            .chars()
            .all(|letter| letter.is_ascii_graphic() && letter != '\\');
        next.starts_with('/') && !next.starts_with("//") && !next.starts_with(DO) && plain
    };
    next.filter(is_own).unwrap_or("/")
}

/// `GET /login`
pub(super) async fn ask(Query(Next { next }): Query<Next>) -> Response {
    Html(form(own(next.as_deref()), None).into_string()).into_response()
}

fn form(next: &str, wrong: Option<&str>) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            (head("Log in"))
            body data-follow="no" {
                main id="main" .narrow {
                    h1 { "Log in" }
                    p {
                        "Whoever may change something shows the token. It is the text in the file "
                        code { (token::FILE) } " of the daemon's data folder; whoever set Inkdwell up can read it there."
                    }
                    @if let Some(wrong) = wrong { p .said role="alert" { (wrong) } }
                    form method="post" action="/do/login" .sheet {
                        input type="hidden" name="next" value=(next);
                        label { "Token" input name="token" type="password" required autocomplete="current-password"; }
                        button { "Log in on this device" }
                    }
                    p { a href="/" { "Only look" } }
                }
            }
        }
    }
}

/// What the form says.
#[derive(Deserialize)]
pub(super) struct Shown {
    token: String,
    next: Option<String>,
}

/// `POST /do/login`
pub(super) async fn enter(
    State(api): State<Arc<Api>>,
    Sent(shown): Sent<Shown>,
) -> Result<Response, Refused> {
    let next = own(shown.next.as_deref());
    let token = shown.token.trim();
    if !api.door.token.is(token) {
        let wrong = format!(
            "This is not the token. Copy the whole text of {}.",
            token::FILE
        );
        let page = Html(form(next, Some(&wrong)).into_string());
        return Ok((StatusCode::UNAUTHORIZED, page).into_response());
    }
    // The token is hexadecimal, or it would not be the token.
    with_cookie(&api, token, KEPT, next)
}

/// `POST /do/logout`
pub(super) async fn leave(State(api): State<Arc<Api>>) -> Result<Response, Refused> {
    with_cookie(&api, "", 0, "/")
}

fn with_cookie(api: &Api, token: &str, age: u32, next: &str) -> Result<Response, Refused> {
    let secure = if api.door.has_tls { "; Secure" } else { "" };
    let cookie =
        format!("{COOKIE_NAME}={token}; Path=/; Max-Age={age}; HttpOnly; SameSite=Strict{secure}");
    let mut response = Redirect::to(next).into_response();
    if let Ok(cookie) = HeaderValue::from_str(&cookie) {
        response.headers_mut().insert(SET_COOKIE, cookie);
    }
    Ok(response)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_page_of_this_board_comes_next() {
        for (next, goes) in [
            (Some("/holds"), "/holds"),
            (Some("/station/belt-1"), "/station/belt-1"),
            (Some("//example.org"), "/"),
            (Some("/\\example.org"), "/"),
            (Some("https://example.org"), "/"),
            (Some("/do/logout"), "/"),
            (Some("/a\r\nSet-Cookie: a=b"), "/"),
            (None, "/"),
        ] {
            assert_eq!(own(next), goes, "{next:?}");
        }
        assert_eq!(before("/holds"), "/login?next=/holds");
        assert_eq!(before("/a&b"), "/login");
    }
}
