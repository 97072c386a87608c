//! Talking to the daemon.
//!
//! It is found by its data folder, where it writes its address and its token, or is named by both. What it refuses
//! comes back as its own sentence.

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use clap::Args;
use inkdwell_config::display::Units;
use inkdwell_daemon::api::refusal::ErrorBody;
use inkdwell_daemon::api::view::Status;
use inkdwell_daemon::api::{address, token};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;
use ureq::Agent;
use ureq::http::StatusCode;
use ureq::tls::{Certificate, PemItem, RootCerts, TlsConfig, parse_pem};

use crate::failure::Failure;

/// No answer takes longer: passes that are judged anew may take a while.
const PATIENCE: Duration = Duration::from_secs(120);
/// No answer is larger, in bytes.
const LARGEST: u64 = 64 * 1024 * 1024;
/// The variable that names the data folder.
const FOLDER: &str = "INKDWELL_DATA";

/// Which daemon.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Which daemon")]
pub(crate) struct DaemonArguments {
    /// Its data folder [default: INKDWELL_DATA]
    #[arg(long, value_name = "DIR", global = true)]
    pub(crate) data: Option<PathBuf>,
    /// Its address, where it runs on another machine: https://HOST:PORT
    #[arg(long, value_name = "URL", global = true, conflicts_with = "data")]
    pub(crate) address: Option<String>,
    /// A copy of its token, the file api.token of its data folder
    #[arg(long, value_name = "FILE", global = true, requires = "address")]
    pub(crate) token_file: Option<PathBuf>,
    /// Its certificate, PEM, where no authority that this machine trusts has signed it
    #[arg(long, value_name = "FILE", global = true, requires = "address")]
    pub(crate) certificate: Option<PathBuf>,
}

/// Who does it.
#[derive(Debug, Clone, Args)]
pub(crate) struct ByArguments {
    /// Who you are [default: the name in USER]
    #[arg(long, value_name = "NAME")]
    pub(crate) by: Option<String>,
}

impl ByArguments {
    /// The name, typed or the machine's.
    pub(crate) fn name(&self) -> Result<String, Failure> {
        let typed = self.by.clone();
        let name = typed.or_else(|| std::env::var("USER").ok());
        let name = name.filter(|name| !name.trim().is_empty());
        name.ok_or_else(|| Failure::new("nobody is named; say who you are with --by NAME"))
    }
}

/// A daemon that is asked.
pub(crate) struct Client {
    agent: Agent,
    url: String,
    token: Option<String>,
    /// Where it was found, for sentences.
    folder: Option<PathBuf>,
}

impl Client {
    /// Finds the daemon that a call means.
    pub(crate) fn find(typed: &DaemonArguments) -> Result<Client, Failure> {
        if let Some(url) = &typed.address {
            return Client::at(url, typed);
        }
        let folder = typed.data.clone().or_else(|| {
            let folder = std::env::var_os(FOLDER)?;
            (!folder.is_empty()).then(|| PathBuf::from(folder))
        });
        let Some(folder) = folder else {
            return Err(Failure::new(format!(
                "no daemon is named; give its data folder with --data DIR or in {FOLDER}, or its address with \
                 --address URL"
            )));
        };
        Client::of(folder)
    }

    fn at(url: &str, typed: &DaemonArguments) -> Result<Client, Failure> {
        let url = url.trim_end_matches('/');
        if !(url.starts_with("https://") || url.starts_with("http://")) {
            return Err(Failure::new(format!(
                "--address: {url:?} is no address; write it as https://HOST:PORT"
            )));
        }
        let token = typed.token_file.as_deref().map(read_token).transpose()?;
        Ok(Client {
            agent: agent(url, typed.certificate.as_deref())?,
            url: url.to_owned(),
            token,
            folder: None,
        })
    }

    fn of(folder: PathBuf) -> Result<Client, Failure> {
        let found = address::read(&folder).map_err(|error| {
            Failure::of_file(
                folder.join(address::FILE).display(),
                format_args!("cannot be read ({error})"),
                "call as the user whose daemon it is",
            )
        })?;
        let Some(found) = found else {
            let what = match folder.is_dir() {
                true => "no daemon runs with this data folder",
                false => "there is no such data folder",
            };
            return Err(not_running(&folder, what));
        };
        Ok(Client {
            agent: agent(&found.url, found.certificate.as_deref())?,
            url: found.url,
            token: Some(read_token(&folder.join(token::FILE))?),
            folder: Some(folder),
        })
    }

    /// Asks, and gives the answer with its JSON as it came.
    pub(crate) fn get<T: DeserializeOwned>(&self, path: &str) -> Result<(T, Value), Failure> {
        let mut request = self.agent.get(format!("{}{path}", self.url));
        if let Some(token) = &self.token {
            request = request.header("Authorization", format!("Bearer {token}"));
        }
        self.answer(request.call())
    }

    /// Has something done.
    pub(crate) fn post<T: DeserializeOwned>(
        &self,
        path: &str,
        body: &impl Serialize,
    ) -> Result<(T, Value), Failure> {
        let body = serde_json::to_vec(body)
            .map_err(|error| Failure::new(format!("the call cannot be written ({error})")))?;
        let mut request = self
            .agent
            .post(format!("{}{path}", self.url))
            .header("Content-Type", "application/json");
        if let Some(token) = &self.token {
            request = request.header("Authorization", format!("Bearer {token}"));
        }
        self.answer(request.send(&body[..]))
    }

    /// Follows the news as they are committed, from the record after this one on; server-sent events in lines. It goes
    /// on for as long as the daemon speaks.
    pub(crate) fn follow(&self, after: Option<u64>) -> Result<impl BufRead + use<>, Failure> {
        let after = after.map_or_else(String::new, |after| format!("?after={after}"));
        let request = self.agent.get(format!("{}/api/stream{after}", self.url));
        let mut request = request
            .config()
            .timeout_global(None)
            .timeout_recv_response(Some(PATIENCE))
            .build();
        if let Some(token) = &self.token {
            request = request.header("Authorization", format!("Bearer {token}"));
        }
        let mut answer = request.call().map_err(|error| self.unreached(&error))?;
        if !answer.status().is_success() {
            let bytes = answer.body_mut().read_to_vec();
            let bytes = bytes.map_err(|error| self.unreached(&error))?;
            return Err(self.refused(answer.status(), &bytes));
        }
        Ok(BufReader::new(answer.into_body().into_reader()))
    }

    /// The units in which the shop's people are shown figures.
    pub(crate) fn units(&self) -> Result<Units, Failure> {
        let (status, _) = self.get::<Status>("/api/status")?;
        Ok(match status.us_units {
            true => Units::Us,
            false => Units::Metric,
        })
    }

    fn answer<T: DeserializeOwned>(
        &self,
        answered: Result<ureq::http::Response<ureq::Body>, ureq::Error>,
    ) -> Result<(T, Value), Failure> {
        let mut answer = answered.map_err(|error| self.unreached(&error))?;
        let bytes = answer
            .body_mut()
            .with_config()
            .limit(LARGEST)
            .read_to_vec()
            .map_err(|error| self.unreached(&error))?;
        let status = answer.status();
        if !status.is_success() {
            return Err(self.refused(status, &bytes));
        }
        let odd = |error: serde_json::Error| {
            Failure::new(format!(
                "{}: the answer is not understood ({error}); is that Inkdwell, and of this version?",
                self.url
            ))
        };
        let json: Value = serde_json::from_slice(&bytes).map_err(odd)?;
        let told = serde_json::from_value(json.clone()).map_err(odd)?;
        Ok((told, json))
    }

    /// The daemon's own sentence, and what only the caller can know besides.
    fn refused(&self, status: StatusCode, bytes: &[u8]) -> Failure {
        let sentence = serde_json::from_slice::<ErrorBody>(bytes).map(|body| body.error);
        match (status, sentence) {
            (StatusCode::UNAUTHORIZED, Ok(_)) if self.token.is_none() => Failure::new(format!(
                "{} needs the token; copy {} from its data folder and name the copy with --token-file",
                self.url,
                token::FILE
            )),
            (StatusCode::UNAUTHORIZED, Ok(_)) => Failure::new(format!(
                "{} does not know this token; copy {} from its data folder anew",
                self.url,
                token::FILE
            )),
            // One that names no remedy of its own.
            (StatusCode::NOT_FOUND, Ok(sentence)) if !sentence.contains(';') => {
                let listing = listing(&sentence).map(|call| format!("; {call}"));
                Failure::new(sentence + &listing.unwrap_or_default())
            }
            (_, Ok(sentence)) => Failure::new(sentence),
            (status, Err(_)) => Failure::new(format!(
                "{} answers {status} and no sentence; is that Inkdwell?",
                self.url
            )),
        }
    }

    fn unreached(&self, error: &ureq::Error) -> Failure {
        match &self.folder {
            Some(folder) => not_running(
                folder,
                &format!(
                    "the daemon of this data folder does not answer at {} ({error})",
                    self.url
                ),
            ),
            None => Failure::new(format!(
                "{} does not answer ({error}); check the address, and whether the daemon runs there",
                self.url
            )),
        }
    }
}

/// The call that lists what there is of the kind of which there is no such one.
fn listing(sentence: &str) -> Option<&'static str> {
    let kind = sentence.strip_prefix("there is no ")?.split(' ').next()?;
    Some(match kind {
        "batch" => "inkdwell batch list shows the newest",
        "hold" => "inkdwell holds --all shows all",
        "pass" => {
            "inkdwell batch show N shows those of batch N, inkdwell batch unassigned those of none"
        }
        "recipe" => "inkdwell recipe list shows those in force",
        _ => return None,
    })
}

fn not_running(folder: &Path, what: &str) -> Failure {
    let folder = folder.display();
    Failure::of_file(
        &folder,
        what,
        format_args!("start one: inkdwelld --shop SHOP.toml --data {folder}"),
    )
}

fn read_token(file: &Path) -> Result<String, Failure> {
    match fs::read_to_string(file) {
        Ok(text) => Ok(text.trim().to_owned()),
        Err(error) => Err(Failure::of_file(
            file.display(),
            format_args!("the token cannot be read ({error})"),
            "call as the user whose daemon it is, or name a copy with --token-file",
        )),
    }
}

/// An agent that goes there directly, and trusts what this machine trusts and the certificate that is named.
fn agent(url: &str, certificate: Option<&Path>) -> Result<Agent, Failure> {
    let mut config = Agent::config_builder()
        .http_status_as_error(false)
        .max_redirects(0)
        .proxy(None)
        .user_agent(concat!("inkdwell/", env!("CARGO_PKG_VERSION")))
        .timeout_global(Some(PATIENCE));
    if url.starts_with("https://") {
        let provider = Arc::new(rustls::crypto::ring::default_provider());
        let tls = TlsConfig::builder()
            .unversioned_rustls_crypto_provider(provider)
            .root_certs(roots(certificate)?);
        config = config.tls_config(tls.build());
    }
    Ok(config.build().new_agent())
}

fn roots(certificate: Option<&Path>) -> Result<RootCerts, Failure> {
    let native = rustls_native_certs::load_native_certs().certs;
    let mut trusted: Vec<Certificate<'static>> = native
        .iter()
        .map(|own| Certificate::from_der(own).to_owned())
        .collect();
    if let Some(file) = certificate {
        let unfit = |why: String| {
            Failure::of_file(
                file.display(),
                format_args!("no certificate can be read from it ({why})"),
                "name the daemon's certificate in PEM form",
            )
        };
        let pem = fs::read(file).map_err(|error| unfit(error.to_string()))?;
        let before = trusted.len();
        for item in parse_pem(&pem) {
            if let PemItem::Certificate(own) = item.map_err(|error| unfit(error.to_string()))? {
                trusted.push(own);
            }
        }
        if trusted.len() == before {
            return Err(unfit("it holds none".to_owned()));
        }
    }
    Ok(RootCerts::from(trusted))
}

/// A word as a part of a path.
pub(crate) fn part(word: &str) -> String {
    let mut part = String::new();
    for byte in word.bytes() {
        if byte.is_ascii_alphanumeric() || b"-_.~".contains(&byte) {
            part.push(char::from(byte));
        } else {
            part += &format!("%{byte:02X}");
        }
    }
    part
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 3986, section 2.1: a space is %20, a slash %2F; é is C3 A9 in UTF-8.
    #[test]
    fn a_word_is_one_part_of_a_path() {
        assert_eq!(part("zone-1"), "zone-1");
        assert_eq!(part("a b/é?"), "a%20b%2F%C3%A9%3F");
    }
}
