//! The local interface for programs, over HTTP: batches, passes, holds, recipes, calibrations, state and news.
//!
//! [`serve`] listens where the shop file says, on loopback unless that names a certificate. It is the daemon's only open
//! door, so every request passes the same guards (`guard`): how many and how fast, for which host, from
//! which origin, with which token, how large. Reading is open to whoever reaches a loopback address; whoever changes
//! something, or comes from elsewhere, shows the token of the data folder ([`token`]).
//!
//! `routes` lists everything that can be asked, each with its description, from which the OpenAPI document
//! is made (`describe`). What is read comes from the journal, and what is changed goes through
//! [`Shift::ask`]: an answer means that it is committed.
//!
//! It ends when it is told to stop: nothing more is accepted, answers that are on their way are finished,
//! and the address is removed from the data folder.

pub mod address;
pub(crate) mod alarms;
pub mod anew;
pub(crate) mod batches;
mod describe;
mod door;
mod events;
pub(crate) mod extract;
pub(crate) mod guard;
pub(crate) mod holds;
mod passes;
mod private_file;
mod probes;
mod rate;
pub(crate) mod recipes;
mod reference;
pub mod refusal;
pub(crate) mod ride;
mod routes;
mod sinks;
mod status;
mod stream;
mod tls;
pub mod token;
pub mod view;
mod wire;

use std::io;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use inkdwell_config::shop::Board;
use tokio::net::TcpListener;
use tokio::sync::Semaphore;
use tokio::task::{JoinHandle, spawn_blocking};
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;

use crate::board::hub::Hub;
use crate::journal::Reader;
use crate::keeper::{Command, Keeper};
use crate::record::Record;
use crate::shift::Shift;
use crate::time::Micros;
use crate::wall::WallTimes;

use address::{Found, Published};
use guard::Door;
use rate::Rate;
use refusal::Refusal;
use token::{Token, TokenError};
use view::Clock;

/// Questions to the journal at the same time.
const READERS: usize = 4;
/// Streams of news at the same time.
const STREAMS: usize = 16;
/// Boards that are kept up to date at the same time.
const BOARDS: usize = 200;
/// How long a question to the daemon may wait for its turn.
const TURN: Duration = Duration::from_secs(10);
/// How long a change may wait for its commit.
const COMMIT: Duration = Duration::from_secs(15);

/// What holds for every connection.
#[derive(Debug, Clone, Copy)]
pub struct Limits {
    /// Connections at the same time.
    pub connections: usize,
    /// How long a request's head may take, and how long a connection may be idle.
    pub head: Duration,
    /// How long its body may take.
    pub body: Duration,
    /// The largest body, in bytes.
    pub body_bytes: usize,
    /// How long the other side may take nothing of an answer.
    pub write: Duration,
    /// Requests at once, and then a second.
    pub rate: (u32, u32),
    /// Changes at once, and then a second.
    pub changes: (u32, u32),
}

impl Default for Limits {
    fn default() -> Limits {
        Limits {
            // A board on a wall keeps one, and takes a few more while it is opened.
            connections: 256,
            head: Duration::from_secs(15),
            body: Duration::from_secs(10),
            body_bytes: 64 * 1024,
            write: Duration::from_secs(30),
            rate: (400, 200),
            changes: (60, 20),
        }
    }
}

/// Why nothing can be served.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// The address cannot be had.
    #[error(
        "{address} cannot be listened on ({error}); stop what listens there, or name another address as listen in \
         [board]"
    )]
    Listen {
        /// The address.
        address: SocketAddr,
        /// Why.
        error: io::Error,
    },
    /// An address that others reach, without TLS.
    #[error(
        "{address} is not loopback, and nothing goes there in the clear; name certificate and key in [board]"
    )]
    InTheClear {
        /// The address.
        address: SocketAddr,
    },
    /// The certificate or its key is unfit.
    #[error("{}: {why}; correct certificate and key in [board]", file.display())]
    Tls {
        /// The file.
        file: PathBuf,
        /// What is wrong with it.
        why: String,
    },
    /// The token can be neither read nor made.
    #[error(transparent)]
    Token(#[from] TokenError),
    /// The address cannot be written down.
    #[error(
        "{}: the address cannot be written there ({error}); check the data folder's rights and its disk", folder.display()
    )]
    Address {
        /// The data folder.
        folder: PathBuf,
        /// Why.
        error: io::Error,
    },
}

/// What serves, until it is told to stop.
#[derive(Debug)]
pub struct Serving {
    /// Where it listens.
    pub address: SocketAddr,
    /// The address for those on the same machine.
    pub url: String,
    task: JoinHandle<()>,
}

impl Serving {
    /// Waits until it has ended. Nothing of it holds the shift any more then.
    pub async fn ended(self) {
        if let Err(error) = self.task.await {
            tracing::error!("the interface for programs has failed ({error})");
        }
    }
}

/// Serves where the shop file says, until `stop`.
///
/// # Errors
/// When the address, the certificate or the token cannot be had.
pub async fn serve(
    shift: Arc<Shift>,
    board: &Board,
    folder: &Path,
    stop: CancellationToken,
) -> Result<Serving, ServeError> {
    serve_within(shift, board, folder, stop, Limits::default()).await
}

/// The same with limits of the caller's.
///
/// # Errors
/// When the address, the certificate or the token cannot be had.
pub async fn serve_within(
    shift: Arc<Shift>,
    board: &Board,
    folder: &Path,
    stop: CancellationToken,
    limits: Limits,
) -> Result<Serving, ServeError> {
    let listen = board.listen;
    if board.tls.is_none() && !listen.ip().is_loopback() {
        return Err(ServeError::InTheClear { address: listen });
    }
    let tls = board.tls.as_ref().map(tls::acceptor).transpose()?;
    let token = Token::of(folder)?;
    let refused = |error| ServeError::Listen {
        address: listen,
        error,
    };
    let listener = TcpListener::bind(listen).await.map_err(refused)?;
    let address = listener.local_addr().map_err(refused)?;
    let found = Found {
        url: local_url(address, board),
        certificate: board.tls.as_ref().map(|tls| tls.certificate.clone()),
    };
    let published = Published::at(folder, &found).map_err(|error| ServeError::Address {
        folder: folder.to_owned(),
        error,
    })?;
    let now = Instant::now();
    let api = Arc::new(Api {
        shift,
        walls: Arc::default(),
        turns: Arc::new(Semaphore::new(READERS)),
        streams: Arc::new(Semaphore::new(STREAMS)),
        boards: Arc::new(Semaphore::new(BOARDS)),
        hub: Hub::new(),
        tuning: tokio::sync::Mutex::default(),
        reporting: tokio::sync::Mutex::default(),
        assigning: tokio::sync::Mutex::new(()),
        stop: stop.clone(),
        door: Door {
            token,
            address,
            hosts: board.hosts.clone(),
            has_tls: tls.is_some(),
            body: limits.body,
            body_bytes: limits.body_bytes,
            rate: Rate::new(limits.rate.0, limits.rate.1, now),
            changes: Rate::new(limits.changes.0, limits.changes.1, now),
        },
    });
    let (streams, boards) = (Arc::clone(&api.streams), Arc::clone(&api.boards));
    let hub = tokio::spawn(crate::board::hub::run(Arc::clone(&api)));
    let task = tokio::spawn(async move {
        door::open(listener, tls, routes::router(api), limits, stop).await;
        // Every stream gives its place back when it has ended. (The semaphore is never closed.)
        let _ = streams.acquire_many(STREAMS as u32).await;
        let _ = boards.acquire_many(BOARDS as u32).await;
        if let Err(error) = hub.await {
            tracing::error!("the board has failed ({error})");
        }
        drop(published);
    });
    Ok(Serving {
        address,
        url: found.url,
        task,
    })
}

/// The address by which the same machine reaches it.
fn local_url(address: SocketAddr, board: &Board) -> String {
    let scheme = if board.tls.is_some() { "https" } else { "http" };
    let port = address.port();
    // A certificate is made out to a name.
    if let (Some(_), Some(host)) = (&board.tls, board.hosts.first()) {
        return match host.contains(':') {
            true => format!("{scheme}://{host}"),
            false => format!("{scheme}://{host}:{port}"),
        };
    }
    let ip = match address.ip() {
        IpAddr::V4(ip) if ip.is_unspecified() => IpAddr::V4(Ipv4Addr::LOCALHOST),
        IpAddr::V6(ip) if ip.is_unspecified() => IpAddr::V6(Ipv6Addr::LOCALHOST),
        ip => ip,
    };
    format!("{scheme}://{}", SocketAddr::new(ip, port))
}

/// What every request works with.
#[derive(Debug)]
pub(crate) struct Api {
    pub(crate) shift: Arc<Shift>,
    walls: Arc<Mutex<Option<WallTimes>>>,
    turns: Arc<Semaphore>,
    streams: Arc<Semaphore>,
    /// Places of boards that are kept up to date.
    pub(crate) boards: Arc<Semaphore>,
    /// What those boards show.
    pub(crate) hub: Hub,
    /// Held while a window is reckoned for a board: it takes a processor for seconds.
    pub(crate) tuning: tokio::sync::Mutex<()>,
    /// Held while a report is made for a board: it takes a processor for a while, and one of the questions' turns.
    pub(crate) reporting: tokio::sync::Mutex<()>,
    /// Held while passes are assigned, so that none is given to two batches at once.
    assigning: tokio::sync::Mutex<()>,
    pub(crate) stop: CancellationToken,
    pub(crate) door: Door,
}

impl Api {
    /// Asks the journal.
    pub(crate) async fn read<T: Send + 'static>(
        &self,
        question: impl FnOnce(&Reader, &Clock) -> Result<T, Refusal> + Send + 'static,
    ) -> Result<T, Refusal> {
        let turn = timeout(TURN, Arc::clone(&self.turns).acquire_owned()).await;
        let Ok(Ok(turn)) = turn else {
            return Err(Refusal::not_now(
                "too much is asked of the journal at the same time; ask again later",
            ));
        };
        let zone = self.look(|keeper, _| keeper.shop().timezone).await?;
        let (readers, walls) = (self.shift.readers().clone(), Arc::clone(&self.walls));
        let answered = spawn_blocking(move || {
            let reader = readers.reader()?;
            let walls = followed(&walls, &reader)?;
            let answer = question(&reader, &Clock { walls, zone });
            drop(turn);
            answer
        });
        answered.await.unwrap_or_else(|_| {
            Err(Refusal::broken(
                "the daemon failed to answer; its log says why",
            ))
        })
    }

    /// Looks at the daemon as it is now.
    pub(crate) async fn look<T: Send + 'static>(
        &self,
        look: impl FnOnce(&Keeper, Micros) -> T + Send + 'static,
    ) -> Result<T, Refusal> {
        match timeout(TURN, self.shift.look(look)).await {
            Ok(looked) => Ok(looked?),
            Err(_) => Err(self.held_up()),
        }
    }

    /// Has something done; when this returns, it is committed.
    async fn ask(&self, command: Command) -> Result<Record, Refusal> {
        if self.shift.disk_is_full() {
            return Err(self.held_up());
        }
        match timeout(COMMIT, self.shift.ask(command)).await {
            Ok(done) => Ok(done?),
            Err(_) => Err(Refusal::not_now(
                "it is not committed yet, and may still be: look before you ask again",
            )),
        }
    }

    fn held_up(&self) -> Refusal {
        Refusal::not_now(match self.shift.disk_is_full() {
            true => {
                "the disk of the data folder is full: nothing is accepted until there is room; make room, \
                 and ask again"
            }
            false => "the daemon is held up by its disk; ask again later",
        })
    }
}

/// How the wall clock went, up to what a reader sees.
fn followed(known: &Mutex<Option<WallTimes>>, reader: &Reader) -> Result<WallTimes, Refusal> {
    let mut known = known
        .lock()
        .map_err(|_| Refusal::broken("the daemon failed to tell the time; its log says why"))?;
    let walls = match known.take() {
        Some(mut walls) => {
            walls.follow(reader)?;
            walls
        }
        None => WallTimes::of(reader)?,
    };
    *known = Some(walls.clone());
    Ok(walls)
}
