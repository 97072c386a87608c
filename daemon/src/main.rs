//! `inkdwelld`: the daemon beside the dryer.
//!
//! It reads its shop file, starts a shift in its data folder, and works until it is told to stop (SIGTERM or
//! SIGINT). On SIGHUP it reads the shop file again; one that is wrong is refused whole, and the old one holds.
//! Under systemd it says when it is ready, and shows the watchdog that it is alive.

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Duration;

use clap::{Parser, ValueEnum};
use inkdwell_config::shop::Shop;
use inkdwell_config::{problem::Problem, read_file};
use inkdwell_daemon::api;
use inkdwell_daemon::journal;
use inkdwell_daemon::shift::{self, Options, Shift};
use sd_notify::NotifyState;
use sha2::{Digest, Sha256};
use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio::time::{interval, timeout};
use tokio_util::sync::CancellationToken;
use tracing_subscriber::EnvFilter;

const CAUTION: &str = "\
Inkdwell watches and advises; it is no safety device. The dryer's own limit controls, guards and exhaust \
interlocks stay in place and working. The ink maker's data sheet, a wash test, local codes and licensed \
practice come before any figure it shows.

Exit codes: 0 stopped as told; 1 it could not go on; 2 the call, the shop file or the data folder is wrong.";

/// Reads every probe, judges every print, and keeps the journal.
#[derive(Debug, Parser)]
#[command(name = "inkdwelld", version, after_help = CAUTION, max_term_width = 100)]
struct Arguments {
    /// The shop file; `inkdwell check FILE` says whether it is sound
    #[arg(long, value_name = "FILE", env = "INKDWELL_SHOP")]
    shop: PathBuf,
    /// The folder of the journal; made where there is none
    #[arg(long, value_name = "DIR", env = "INKDWELL_DATA")]
    data: PathBuf,
    /// Days that raw readings are kept [default: for good]; verdicts and evidence always are
    #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(u32).range(1..))]
    keep_readings: Option<u32>,
    /// How the log is written to standard error
    #[arg(long, value_enum, default_value = "text")]
    log: LogForm,
    /// What is logged: error, warn, info, debug or trace, or as INKDWELL_LOG would have it
    #[arg(
        long,
        value_name = "LEVEL",
        default_value = "warn",
        env = "INKDWELL_LOG"
    )]
    log_level: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum LogForm {
    /// For people
    Text,
    /// One JSON object a line
    Json,
}

/// Why the daemon ends otherwise than as told.
#[derive(Debug)]
enum End {
    /// The call, the shop file or the data folder is wrong.
    Wrong(String),
    /// It could not go on.
    Failed(String),
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    match run(&arguments) {
        Ok(()) => ExitCode::SUCCESS,
        Err(End::Failed(why)) => {
            eprintln!("inkdwelld: {why}");
            ExitCode::from(1)
        }
        Err(End::Wrong(why)) => {
            eprintln!("inkdwelld: {why}");
            ExitCode::from(2)
        }
    }
}

fn run(arguments: &Arguments) -> Result<(), End> {
    start_log(arguments)?;
    let (shop, digest) = read_shop(&arguments.shop).map_err(End::Wrong)?;
    let options = Options {
        shop,
        digest,
        folder: arguments.data.clone(),
        faster: 1.0,
        journal: journal::Settings::default(),
        keep_readings: arguments
            .keep_readings
            .map(|days| Duration::from_secs(u64::from(days) * 86_400)),
    };
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(|error| End::Failed(format!("no thread can be started ({error})")))?;
    runtime.block_on(work(arguments, options))
}

fn start_log(arguments: &Arguments) -> Result<(), End> {
    let level = &arguments.log_level;
    let wrong = |why: String| {
        End::Wrong(format!(
            "--log-level: {level:?} is no level{why}; write for example info"
        ))
    };
    // A single word that is no level would be taken for a part of the program.
    let is_one_word = level.chars().all(char::is_alphanumeric);
    if is_one_word && level.parse::<tracing::Level>().is_err() && level != "off" {
        return Err(wrong(String::new()));
    }
    let filter = EnvFilter::try_new(level).map_err(|error| wrong(format!(" ({error})")))?;
    let log = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(std::io::IsTerminal::is_terminal(&std::io::stderr()));
    match arguments.log {
        LogForm::Text => log.init(),
        LogForm::Json => log.json().init(),
    }
    Ok(())
}

/// Reads a shop file; everything that is wrong in it, a line each.
fn read_shop(file: &Path) -> Result<(Shop, String), String> {
    let lines = |problems: &[Problem]| {
        let problems = problems.iter().map(ToString::to_string);
        problems.collect::<Vec<_>>().join("\n")
    };
    let text = read_file(file).map_err(|problem| lines(&[problem]))?;
    let checked = Shop::check(file);
    for warning in &checked.warnings {
        tracing::warn!("{warning}");
    }
    let shop = checked.into_result().map_err(|problems| lines(&problems))?;
    let digest = Sha256::digest(text.as_bytes());
    let digest: String = digest.iter().map(|byte| format!("{byte:02x}")).collect();
    Ok((shop, digest))
}

async fn work(arguments: &Arguments, options: Options) -> Result<(), End> {
    let catch = |kind: SignalKind| {
        signal(kind).map_err(|error| End::Failed(format!("no signal can be caught ({error})")))
    };
    let mut stop = [
        catch(SignalKind::terminate())?,
        catch(SignalKind::interrupt())?,
    ];
    let mut reload = catch(SignalKind::hangup())?;
    let board = options.shop.board.clone();
    let shift = shift::start(options)
        .await
        .map_err(|error| End::Wrong(error.to_string()))?;
    let shift = Arc::new(shift);
    let leave = CancellationToken::new();
    let ended = match api::serve(Arc::clone(&shift), &board, &arguments.data, leave.clone()).await {
        Ok(serving) => {
            tracing::info!("watching; programs are answered at {}", serving.url);
            tell_systemd(&[NotifyState::Ready]);
            let ended = serve(arguments, &shift, &mut stop, &mut reload).await;
            tell_systemd(&[NotifyState::Stopping]);
            tracing::info!("stopping");
            leave.cancel();
            serving.ended().await;
            ended
        }
        Err(error) => Err(End::Wrong(error.to_string())),
    };
    // Nobody else holds it once nothing is served any more.
    let Some(shift) = Arc::into_inner(shift) else {
        return Err(End::Failed(
            "part of the daemon does not end; start it again".to_owned(),
        ));
    };
    let stopped = shift.stop().await;
    stopped.map_err(|error| End::Failed(error.to_string()))?;
    ended
}

/// Waits for what the world wants, until it is the end.
async fn serve(
    arguments: &Arguments,
    shift: &Shift,
    stop: &mut [Signal; 2],
    reload: &mut Signal,
) -> Result<(), End> {
    let [terminate, interrupt] = stop;
    let stopping = shift.stopping();
    // Without a watchdog nobody looks, and once a minute costs nothing.
    let watched = sd_notify::watchdog_enabled();
    let mut alive = interval(watched.map_or(Duration::from_secs(60), |limit| limit / 3));
    loop {
        tokio::select! {
            _ = terminate.recv() => return Ok(()),
            _ = interrupt.recv() => return Ok(()),
            () = stopping.cancelled() => {
                return Err(End::Failed("the daemon could not go on; the log says why".to_owned()));
            }
            _ = reload.recv() => read_again(arguments, shift).await,
            _ = alive.tick() => {
                // The keeper's task answers, or the watchdog hears nothing.
                let look = shift.look(|_, _| ());
                if timeout(Duration::from_secs(5), look).await.is_ok_and(|look| look.is_ok()) {
                    tell_systemd(&[NotifyState::Watchdog]);
                }
            }
        }
    }
}

async fn read_again(arguments: &Arguments, shift: &Shift) {
    match read_shop(&arguments.shop) {
        Ok((shop, digest)) => match shift.reload(shop, digest).await {
            Ok(()) => tracing::info!("the shop file was read again"),
            Err(error) => tracing::error!("{error}"),
        },
        Err(problems) => {
            tracing::error!(
                "the shop file is wrong, and the one before it still holds:\n{problems}"
            );
        }
    }
}

/// Tells systemd, where it runs under it.
fn tell_systemd(state: &[NotifyState<'_>]) {
    if let Err(error) = sd_notify::notify(state) {
        tracing::debug!("systemd was not told ({error})");
    }
}
