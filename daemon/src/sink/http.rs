//! Posting to an HTTP server: one connection that is kept while it holds, TLS by the stack that everything else
//! uses, and a bound on everything that the other side could draw out.

use std::sync::Arc;
use std::time::Duration;

use bytes::Bytes;
use http_body_util::{BodyExt, Full, Limited};
use hyper::client::conn::http1::{SendRequest, handshake};
use hyper::header::{CONTENT_LENGTH, HOST, HeaderName, HeaderValue, RETRY_AFTER, USER_AGENT};
use hyper::{Method, Request, Uri};
use hyper_util::rt::TokioIo;
use inkdwell_config::shop::TlsRoots;
use rustls::pki_types::ServerName;
use tokio::net::TcpStream;
use tokio::time::timeout;
use tokio_rustls::TlsConnector;

use crate::broker::{Stream, Trouble, client_config};

/// A connection is made within this time or given up.
const CONNECT_WITHIN: Duration = Duration::from_secs(10);
/// And a request answered.
const ANSWER_WITHIN: Duration = Duration::from_secs(20);
/// And the answer's words read.
const BODY_WITHIN: Duration = Duration::from_secs(5);
/// More of an answer is not read.
const LONGEST_ANSWER: usize = 16 * 1024;
/// Of what a server says, so much is told on.
const QUOTED: usize = 200;

/// A server, and where on it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Endpoint {
    tls: bool,
    host: String,
    port: u16,
    /// As it stands in the head of a request.
    authority: String,
    path: String,
}

impl Endpoint {
    /// Takes an address apart.
    pub(super) fn of(url: &str) -> Result<Endpoint, Trouble> {
        let unfit = || {
            Trouble::slow(format!(
                "{url:?} is no address; correct url in the shop file"
            ))
        };
        // A fragment is the reader's own business and never sent.
        let url_sent = url.split('#').next().unwrap_or_default();
        let uri: Uri = url_sent.parse().map_err(|_| unfit())?;
        let tls = match uri.scheme_str() {
            Some("https") => true,
            Some("http") => false,
            _ => return Err(unfit()),
        };
        let authority = uri.authority().ok_or_else(unfit)?;
        let host = authority.host().trim_matches(['[', ']']);
        Ok(Endpoint {
            tls,
            host: host.to_owned(),
            port: authority.port_u16().unwrap_or(if tls { 443 } else { 80 }),
            authority: authority.as_str().to_owned(),
            path: uri
                .path_and_query()
                .map_or_else(|| "/".to_owned(), |path| path.as_str().to_owned()),
        })
    }

    /// The same server, and a place below this one.
    pub(super) fn below(&self, rest: &str) -> Endpoint {
        let base = self.path.split('?').next().unwrap_or_default();
        Endpoint {
            path: format!("{}{rest}", base.trim_end_matches('/')),
            ..self.clone()
        }
    }

    /// What it is called in a sentence; never with what stands behind a question mark, which may be secret.
    pub(super) fn named(&self) -> String {
        let scheme = if self.tls { "https" } else { "http" };
        let path = self.path.split('?').next().unwrap_or_default();
        format!("{scheme}://{}{path}", self.authority)
    }
}

/// What a server answered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Reply {
    pub(super) status: u16,
    /// How long it wants to be left alone.
    pub(super) retry_after: Option<Duration>,
    /// What it said, cut short.
    pub(super) said: String,
}

type Connection = SendRequest<Full<Bytes>>;

/// Why no answer came.
enum Failed {
    /// The connection broke.
    Broke(Trouble),
    /// It holds, and nothing comes.
    Silent(Trouble),
}

/// Posts to one endpoint.
#[derive(Debug)]
pub(super) struct Client {
    endpoint: Endpoint,
    roots: TlsRoots,
    connection: Option<Connection>,
}

impl Client {
    pub(super) fn new(endpoint: Endpoint, roots: TlsRoots) -> Client {
        Client {
            endpoint,
            roots,
            connection: None,
        }
    }

    /// What the endpoint is called in a sentence.
    pub(super) fn named(&self) -> String {
        self.endpoint.named()
    }

    /// Posts.
    ///
    /// # Errors
    /// When no answer comes, whatever it may say.
    pub(super) async fn post(
        &mut self,
        headers: &[(&'static str, String)],
        body: Bytes,
    ) -> Result<Reply, Trouble> {
        // It goes back only when all went well.
        let kept = self.connection.take().filter(|kept| !kept.is_closed());
        if let Some(mut kept) = kept {
            let request = self.request(headers, body.clone())?;
            match self.answered(&mut kept, request).await {
                Ok(reply) => return Ok(self.keep(kept, reply)),
                // A server hangs up when it has heard nothing for a while; that is no trouble yet.
                Err(Failed::Broke(_)) => {}
                Err(Failed::Silent(trouble)) => return Err(trouble),
            }
        }
        let mut fresh = self.connect().await?;
        let request = self.request(headers, body)?;
        match self.answered(&mut fresh, request).await {
            Ok(reply) => Ok(self.keep(fresh, reply)),
            Err(Failed::Broke(trouble) | Failed::Silent(trouble)) => Err(trouble),
        }
    }

    fn keep(&mut self, connection: Connection, (reply, is_whole): (Reply, bool)) -> Reply {
        if is_whole {
            self.connection = Some(connection);
        }
        reply
    }

    /// What is answered, and whether the answer was read to its end.
    async fn answered(
        &mut self,
        connection: &mut Connection,
        request: Request<Full<Bytes>>,
    ) -> Result<(Reply, bool), Failed> {
        let place = self.named();
        let answering = async {
            connection.ready().await?;
            connection.send_request(request).await
        };
        match timeout(ANSWER_WITHIN, answering).await {
            Ok(Ok(response)) => Ok(read(response).await),
            Ok(Err(error)) => Err(Failed::Broke(broke(&place, &error))),
            Err(_) => Err(Failed::Silent(Trouble::passing(format!(
                "{place} takes the message and does not answer; see whether the server is overloaded"
            )))),
        }
    }

    fn request(
        &self,
        headers: &[(&'static str, String)],
        body: Bytes,
    ) -> Result<Request<Full<Bytes>>, Trouble> {
        let mut request = Request::builder()
            .method(Method::POST)
            .uri(&self.endpoint.path)
            .header(HOST, &self.endpoint.authority)
            .header(USER_AGENT, concat!("inkdwell/", env!("CARGO_PKG_VERSION")))
            .header(CONTENT_LENGTH, body.len());
        for (name, value) in headers {
            // What cannot stand in a head: a token with a line break in it, for example.
            let value = HeaderValue::from_str(value).map_err(|_| {
                Trouble::slow(format!(
                    "the header {name} cannot be sent: what it holds has letters that no header may have; correct the token or key"
                ))
            })?;
            request = request.header(HeaderName::from_static(name), value);
        }
        request.body(Full::new(body)).map_err(|error| {
            Trouble::slow(format!(
                "no request can be made to {} ({error}); correct url in the shop file",
                self.named()
            ))
        })
    }

    async fn connect(&mut self) -> Result<Connection, Trouble> {
        let place = self.named();
        let connecting = async {
            let stream = self.stream(&place).await?;
            handshake(TokioIo::new(stream))
                .await
                .map_err(|error| broke(&place, &error))
        };
        let (sender, connection) = timeout(CONNECT_WITHIN, connecting)
            .await
            .map_err(|_| silent(&place))??;
        // It ends when the sender is dropped or the server hangs up; either way the sender tells.
        tokio::spawn(async move {
            if let Err(error) = connection.await {
                tracing::debug!("a connection ended ({error})");
            }
        });
        Ok(sender)
    }

    async fn stream(&mut self, place: &str) -> Result<Stream, Trouble> {
        let Endpoint {
            tls, host, port, ..
        } = &self.endpoint;
        let plain = TcpStream::connect((host.as_str(), *port))
            .await
            .map_err(|error| unreachable_place(place, &error))?;
        // A request is written at once.
        if let Err(error) = plain.set_nodelay(true) {
            return Err(unreachable_place(place, &error));
        }
        if !tls {
            return Ok(Box::new(plain));
        }
        let name = ServerName::try_from(host.clone()).map_err(|_| {
            Trouble::slow(format!(
                "{host} is no name that a certificate can be made out for; write the server's full name in url"
            ))
        })?;
        let mut config = client_config(&self.roots)?;
        Arc::make_mut(&mut config).alpn_protocols = vec![b"http/1.1".to_vec()];
        let stream = TlsConnector::from(config).connect(name, plain).await;
        match stream {
            Ok(stream) => Ok(Box::new(stream)),
            Err(error) => Err(Trouble::slow(format!(
                "TLS with {place} fails ({error}); see the server's certificate and its name, and name the file with the certificate that signed it as tls_roots"
            ))),
        }
    }
}

/// The head of an answer says whether the message is taken; its body only adds words. Whether it was read to its
/// end, so that the connection can be used again.
async fn read(response: hyper::Response<hyper::body::Incoming>) -> (Reply, bool) {
    let status = response.status().as_u16();
    let retry_after = response.headers().get(RETRY_AFTER);
    let retry_after = retry_after.and_then(|value| value.to_str().ok());
    let retry_after = retry_after.and_then(wait_asked);
    let body = Limited::new(response.into_body(), LONGEST_ANSWER).collect();
    let body = match timeout(BODY_WITHIN, body).await {
        Ok(Ok(body)) => Some(body.to_bytes()),
        Ok(Err(_)) | Err(_) => None,
    };
    let said = String::from_utf8_lossy(body.as_deref().unwrap_or_default())
        .chars()
        .map(|letter| if letter.is_control() { ' ' } else { letter })
        .take(QUOTED)
        .collect();
    let reply = Reply {
        status,
        retry_after,
        said,
    };
    (reply, body.is_some())
}

/// Seconds, or a date (RFC 9110, section 10.2.3).
fn wait_asked(value: &str) -> Option<Duration> {
    if let Ok(seconds) = value.trim().parse::<u64>() {
        return Some(Duration::from_secs(seconds));
    }
    let until = chrono::DateTime::parse_from_rfc2822(value).ok()?;
    (until.to_utc() - chrono::Utc::now()).to_std().ok()
}

fn silent(place: &str) -> Trouble {
    Trouble::passing(format!(
        "{place} does not answer; see whether the server runs and the network reaches it"
    ))
}

fn unreachable_place(place: &str, error: &std::io::Error) -> Trouble {
    Trouble::passing(match error.kind() {
        std::io::ErrorKind::ConnectionRefused => {
            format!("nothing listens at {place}; start the server, or correct url in the shop file")
        }
        _ => format!(
            "{place} cannot be reached ({error}); see whether the server runs and the network reaches it"
        ),
    })
}

fn broke(place: &str, error: &hyper::Error) -> Trouble {
    Trouble::passing(format!("the connection to {place} broke ({error})"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_are_taken_apart() {
        let hook = Endpoint::of("https://example.org/hook?to=owner#top").unwrap();
        assert_eq!(
            hook,
            Endpoint {
                tls: true,
                host: "example.org".to_owned(),
                port: 443,
                authority: "example.org".to_owned(),
                path: "/hook?to=owner".to_owned(),
            }
        );
        assert_eq!(hook.named(), "https://example.org/hook");
        let local = Endpoint::of("http://[::1]:8086").unwrap();
        assert_eq!((local.host.as_str(), local.port), ("::1", 8086));
        assert_eq!(local.authority, "[::1]:8086");
        assert_eq!(local.below("/api/v2/write?a=b").path, "/api/v2/write?a=b");
        let deep = Endpoint::of("http://127.0.0.1/influx/").unwrap();
        assert_eq!(deep.below("/api?x=y").path, "/influx/api?x=y");
        for odd in ["", "ftp://x", "http://", "http://a b/", "/only/a/path"] {
            assert!(Endpoint::of(odd).is_err(), "{odd}");
        }
    }

    /// RFC 9110, section 10.2.3, gives both forms.
    #[test]
    fn a_server_may_ask_for_a_wait_in_seconds_or_by_a_date() {
        assert_eq!(wait_asked("120"), Some(Duration::from_secs(120)));
        assert_eq!(wait_asked("Fri, 31 Dec 1999 23:59:59 GMT"), None);
        let far = wait_asked("Tue, 31 Dec 2199 23:59:59 GMT").unwrap();
        assert!(far > Duration::from_secs(3600));
        assert_eq!(wait_asked("soon"), None);
    }
}
