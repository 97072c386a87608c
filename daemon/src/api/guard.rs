//! What every request has to pass before anything is done for it.
//!
//! - **How many:** so many at once and so many a second, of changes fewer.
//! - **For which host:** a page of another site may have its own name point here (DNS rebinding); but then its
//!   requests are for that name.
//! - **From which origin:** browsers say whose page asks. Another site's page is refused.
//! - **With which token:** whoever changes something, or reaches an address that is not loopback, shows it.
//! - **How large:** a body is read whole, within its size and its time, before anything else is done.

use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::body::{Body, to_bytes};
use axum::extract::{Request, State};
use axum::http::header::{
    AUTHORIZATION, CACHE_CONTROL, CONTENT_LENGTH, CONTENT_TYPE, COOKIE, HOST, HeaderMap,
    HeaderName, HeaderValue, ORIGIN, WWW_AUTHENTICATE, X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use tokio::time::timeout;

use super::Api;
use super::rate::Rate;
use super::refusal::Refusal;
use super::token::{self, Token};
use crate::board;

/// From where a browser's request comes, as the browser says.
const FETCH_SITE: HeaderName = HeaderName::from_static("sec-fetch-site");
/// Whose pages may take an answer in.
const RESOURCE_POLICY: HeaderName = HeaderName::from_static("cross-origin-resource-policy");

/// The cookie in which a browser keeps the token.
pub(crate) const COOKIE_NAME: &str = "inkdwell_token";

/// What is known at the door.
#[derive(Debug)]
pub(crate) struct Door {
    pub(crate) token: Token,
    pub(super) address: SocketAddr,
    pub(super) hosts: Vec<String>,
    pub(crate) has_tls: bool,
    pub(super) body: Duration,
    pub(super) body_bytes: usize,
    pub(super) rate: Rate,
    pub(super) changes: Rate,
}

/// Lets a request pass, or refuses it.
pub(super) async fn pass(State(api): State<Arc<Api>>, request: Request, next: Next) -> Response {
    let door = &api.door;
    let path = request.uri().path().to_owned();
    let is_page = request.method().is_safe() && board::is_page(&path);
    let checked = match door.check(request.method(), &path, request.headers()) {
        Ok(()) => door.take_body(request).await,
        Err(refusal) => Err(refusal),
    };
    let mut response = match checked {
        Ok(request) => next.run(request).await,
        // A person is asked for it.
        Err(refusal) if is_page && refusal.status == StatusCode::UNAUTHORIZED => {
            board::ask_for_token(&path)
        }
        Err(refusal) => refusal.into_response(),
    };
    let headers = response.headers_mut();
    headers.insert(CACHE_CONTROL, HeaderValue::from_static("no-store"));
    headers.insert(X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    headers.insert(RESOURCE_POLICY, HeaderValue::from_static("same-origin"));
    if response.status() == StatusCode::UNAUTHORIZED {
        let headers = response.headers_mut();
        headers.insert(WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
    }
    response
}

impl Door {
    fn check(&self, method: &Method, path: &str, headers: &HeaderMap) -> Result<(), Refusal> {
        let now = Instant::now();
        let changes = !method.is_safe();
        if !self.rate.allows(now) || (changes && !self.changes.allows(now)) {
            let sentence = "too many requests in too short a time; ask again in a second";
            return Err(Refusal::new(StatusCode::TOO_MANY_REQUESTS, sentence));
        }
        self.check_host(headers)?;
        self.check_origin(headers, changes)?;
        if board::is_open_to_all(path) {
            return Ok(());
        }
        if (changes || !self.address.ip().is_loopback()) && !self.has_cookie(headers, changes) {
            self.check_token(headers)?;
        }
        Ok(())
    }

    /// Whether a browser shows the token that its user has logged in with. Browsers add cookies of themselves, so
    /// that whoever changes something also says from which page: an origin that is there was checked before.
    fn has_cookie(&self, headers: &HeaderMap, changes: bool) -> bool {
        if changes && !headers.contains_key(ORIGIN) {
            return false;
        }
        let cookies = headers.get_all(COOKIE).iter();
        let cookies = cookies.filter_map(|cookies| cookies.to_str().ok());
        let mut cookies = cookies.flat_map(|cookies| cookies.split(';'));
        cookies.any(|cookie| {
            let own = cookie.trim().split_once('=');
            own.is_some_and(|(name, token)| name == COOKIE_NAME && self.token.is(token))
        })
    }

    /// Whether the user of this browser may change something.
    pub(crate) fn may_change(&self, headers: &HeaderMap) -> bool {
        self.has_cookie(headers, false)
    }

    fn check_host(&self, headers: &HeaderMap) -> Result<(), Refusal> {
        let mut hosts = headers.get_all(HOST).iter();
        let (Some(host), None) = (hosts.next(), hosts.next()) else {
            return Err(Refusal::wrong(
                "a request names one host; send one Host header",
            ));
        };
        let host = host.to_str().unwrap_or_default();
        if self.is_own(host) {
            return Ok(());
        }
        Err(forbidden(format!(
            "this is not {}; ask for {}, or add the name to hosts in [board]",
            shown(host),
            self.address
        )))
    }

    /// Whether a host, with its port where it has one, is this daemon.
    fn is_own(&self, host: &str) -> bool {
        let host = host.to_ascii_lowercase();
        let port = self.address.port();
        let usual = if self.has_tls { 443 } else { 80 };
        let is = |name: &str| host == format!("{name}:{port}") || (host == name && port == usual);
        if is("localhost") && self.address.ip().is_loopback() {
            return true;
        }
        // Behind a proxy its name comes without this port.
        let named = |name: &String| {
            let name = name.to_ascii_lowercase();
            host == name || is(&name)
        };
        if self.hosts.iter().any(named) {
            return true;
        }
        let own = self.address.ip();
        match host.parse::<SocketAddr>() {
            Ok(address) if address.port() == port => {
                // Nobody's name points at a number.
                address.ip() == own || own.is_unspecified()
            }
            Ok(_) => false,
            Err(_) => {
                let bare = host.trim_start_matches('[').trim_end_matches(']');
                port == usual
                    && bare
                        .parse::<IpAddr>()
                        .is_ok_and(|ip| ip == own || own.is_unspecified())
            }
        }
    }

    fn check_origin(&self, headers: &HeaderMap, changes: bool) -> Result<(), Refusal> {
        let foreign = |from: &str| {
            Err(forbidden(format!(
                "a page of {} may ask nothing here; open the daemon's own address",
                shown(from)
            )))
        };
        for origin in headers.get_all(ORIGIN) {
            let origin = origin.to_str().unwrap_or_default();
            let scheme = if self.has_tls { "https://" } else { "http://" };
            // A proxy may add TLS for the names that it serves.
            let host = origin.strip_prefix(scheme).or_else(|| {
                let host = origin.strip_prefix("https://")?;
                self.hosts.iter().any(|own| own == host).then_some(host)
            });
            if !host.is_some_and(|host| self.is_own(host)) {
                return foreign(origin);
            }
        }
        let site = headers.get(FETCH_SITE).map(HeaderValue::as_bytes);
        match site {
            Some(b"cross-site" | b"same-site") if changes => foreign("another site"),
            _ => Ok(()),
        }
    }

    fn check_token(&self, headers: &HeaderMap) -> Result<(), Refusal> {
        let offered = headers.get(AUTHORIZATION);
        let offered = offered.and_then(|offered| offered.to_str().ok());
        let offered = offered.and_then(|offered| {
            let (kind, token) = offered.split_once(' ')?;
            kind.eq_ignore_ascii_case("bearer").then(|| token.trim())
        });
        let sentence = match offered {
            Some(token) if self.token.is(token) => return Ok(()),
            Some(_) => "this is not the token",
            None => "this needs the token",
        };
        Err(Refusal::new(
            StatusCode::UNAUTHORIZED,
            format!(
                "{sentence}; send the text of {} in the data folder, as \"Authorization: Bearer …\"",
                token::FILE
            ),
        ))
    }

    /// Reads the body whole.
    async fn take_body(&self, request: Request) -> Result<Request, Refusal> {
        let (parts, body) = request.into_parts();
        if parts.method.is_safe() {
            return Ok(Request::from_parts(parts, Body::empty()));
        }
        let too_large = || {
            let sentence = format!(
                "the body is larger than {} bytes; send less at a time",
                self.body_bytes
            );
            Refusal::new(StatusCode::PAYLOAD_TOO_LARGE, sentence)
        };
        let announced = parts.headers.get(CONTENT_LENGTH);
        let announced = announced.and_then(|length| length.to_str().ok()?.parse::<u64>().ok());
        if announced.is_some_and(|length| length > self.body_bytes as u64) {
            return Err(too_large());
        }
        let kind = parts.headers.get(CONTENT_TYPE);
        let kind = kind.and_then(|kind| kind.to_str().ok()).unwrap_or_default();
        let kind = kind.split(';').next().unwrap_or_default().trim();
        let is_form = kind.eq_ignore_ascii_case("application/x-www-form-urlencoded");
        let is_for_people = is_form && board::takes_forms(parts.uri.path());
        if !is_for_people && !kind.eq_ignore_ascii_case("application/json") {
            return Err(Refusal::new(
                StatusCode::UNSUPPORTED_MEDIA_TYPE,
                "the body has to be JSON; send it with \"Content-Type: application/json\"",
            ));
        }
        match timeout(self.body, to_bytes(body, self.body_bytes)).await {
            Ok(Ok(bytes)) => Ok(Request::from_parts(parts, Body::from(bytes))),
            Ok(Err(_)) => Err(too_large()),
            Err(_) => Err(Refusal::new(
                StatusCode::REQUEST_TIMEOUT,
                "the body took too long to come; send it at once",
            )),
        }
    }
}

fn forbidden(sentence: String) -> Refusal {
    Refusal::new(StatusCode::FORBIDDEN, sentence)
}

/// What somebody sent, fit to be shown again.
fn shown(text: &str) -> String {
    let short: String = text.chars().take(80).collect();
    format!("{short:?}")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn door(address: &str, hosts: &[&str], has_tls: bool) -> Door {
        let folder = tempfile::tempdir().unwrap();
        let now = Instant::now();
        Door {
            token: Token::of(folder.path()).unwrap(),
            address: address.parse().unwrap(),
            hosts: hosts.iter().map(|host| (*host).to_owned()).collect(),
            has_tls,
            body: Duration::from_secs(1),
            body_bytes: 1,
            rate: Rate::new(1000, 1000, now),
            changes: Rate::new(1000, 1000, now),
        }
    }

    #[test]
    fn a_host_is_this_one_by_its_address_or_by_a_name_that_was_declared() {
        let local = door("127.0.0.1:7878", &["dryer.example"], false);
        for (host, own) in [
            ("127.0.0.1:7878", true),
            ("localhost:7878", true),
            ("LOCALHOST:7878", true),
            ("dryer.example", true),
            ("Dryer.example:7878", true),
            ("127.0.0.1", false),
            ("127.0.0.1:80", false),
            ("127.0.0.2:7878", false),
            ("localhost.example:7878", false),
            ("dryer.example.net", false),
            ("", false),
        ] {
            assert_eq!(local.is_own(host), own, "{host}");
        }
        let six = door("[::1]:80", &[], false);
        assert!(six.is_own("[::1]") && six.is_own("[::1]:80") && six.is_own("localhost"));
        assert!(!six.is_own("[::2]"));
        let wide = door("0.0.0.0:8443", &[], true);
        assert!(wide.is_own("192.0.2.7:8443"));
        assert!(!wide.is_own("localhost:8443") && !wide.is_own("dryer.example:8443"));
    }

    #[test]
    fn beyond_loopback_everything_but_the_login_needs_the_token() {
        let folder = tempfile::tempdir().unwrap();
        let wide = Door {
            token: Token::of(folder.path()).unwrap(),
            ..door("0.0.0.0:8443", &["dryer.example"], true)
        };
        let token = std::fs::read_to_string(folder.path().join(token::FILE)).unwrap();
        let cookie = format!("other=1; {COOKIE_NAME}={}", token.trim());
        let asks = |method: Method, path: &str, with: &[(HeaderName, &str)]| {
            let mut headers = HeaderMap::new();
            headers.insert(HOST, HeaderValue::from_static("dryer.example:8443"));
            for (name, value) in with {
                headers.insert(name, HeaderValue::from_str(value).unwrap());
            }
            let checked = wide.check(&method, path, &headers);
            checked.map_err(|refusal| refusal.status.as_u16())
        };
        for path in [
            "/",
            "/holds",
            "/live",
            "/api/status",
            "/api/stream",
            "/login/x",
        ] {
            assert_eq!(asks(Method::GET, path, &[]), Err(401), "{path}");
            assert_eq!(
                asks(Method::GET, path, &[(COOKIE, &cookie)]),
                Ok(()),
                "{path}"
            );
        }
        for path in ["/login", "/board.css", "/board.js", "/icon.svg"] {
            assert_eq!(asks(Method::GET, path, &[]), Ok(()), "{path}");
        }
        assert_eq!(asks(Method::POST, "/do/login", &[]), Ok(()));
        let own = (ORIGIN, "https://dryer.example:8443");
        let foreign = (ORIGIN, "https://example.org");
        let change = |with: &[(HeaderName, &str)]| asks(Method::POST, "/do/settle-hold", with);
        assert_eq!(change(std::slice::from_ref(&own)), Err(401));
        assert_eq!(change(&[(COOKIE, &cookie)]), Err(401));
        assert_eq!(change(&[(COOKIE, &cookie), own]), Ok(()));
        assert_eq!(change(&[(COOKIE, &cookie), foreign]), Err(403));
    }

    #[test]
    fn a_page_may_ask_only_where_it_came_from() {
        let local = door("127.0.0.1:7878", &["dryer.example"], false);
        let allowed = |name: HeaderName, value: &'static str, changes| {
            let mut headers = HeaderMap::new();
            headers.insert(name, HeaderValue::from_static(value));
            local.check_origin(&headers, changes).is_ok()
        };
        for (origin, own) in [
            ("http://127.0.0.1:7878", true),
            ("http://localhost:7878", true),
            ("https://dryer.example", true),
            ("https://127.0.0.1:7878", false),
            ("http://127.0.0.1:7879", false),
            ("https://example.org", false),
            ("null", false),
        ] {
            assert_eq!(allowed(ORIGIN, origin, true), own, "{origin}");
            assert_eq!(allowed(ORIGIN, origin, false), own, "{origin}");
        }
        assert!(!allowed(FETCH_SITE, "cross-site", true));
        assert!(
            allowed(FETCH_SITE, "cross-site", false),
            "a link leads here"
        );
        assert!(allowed(FETCH_SITE, "same-origin", true));
    }
}
