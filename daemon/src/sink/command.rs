//! Runs a program of the shop's own for each message: without a shell, with the message's JSON and a line feed on
//! its standard input, for no longer than its time, and no more of them at once than the shop file says.
//!
//! The program finds the message's id in `INKDWELL_MESSAGE` and its word (`verdict`, `event`, `alarm`) in
//! `INKDWELL_KIND`; of the daemon's own environment it sees nothing but PATH, HOME, LANG and TZ, since there may
//! be passwords in it. Ended with 0: done. Anything else, or a run that takes too long and is killed, is tried
//! again with growing waits, five times in all; then the message is set aside with what the program said. A
//! program that cannot be started at all is waited for. After a crash of the daemon the program may be run once
//! more for a message: it knows it by its id.

use std::collections::VecDeque;
use std::path::PathBuf;
use std::process::Stdio;
use std::sync::Arc;
use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::process::{ChildStderr, Command};
use tokio::task::JoinHandle;
use tokio::time::timeout;

use super::outbox::{Outbox, Over};
use crate::broker::Trouble;
use crate::source::waits::Waits;

/// How long a program may run, where the shop file says nothing.
pub(super) const USUAL: Duration = Duration::from_secs(10);
/// Attempts for one message.
const ATTEMPTS: u32 = 5;
/// Of what a program says on its standard error, so much is kept.
const QUOTED: usize = 200;
/// What it has said is waited for so long after its end.
const LAST_WORDS: Duration = Duration::from_millis(300);
/// What the program sees of the daemon's environment.
const SEEN: [&str; 4] = ["PATH", "HOME", "LANG", "TZ"];

/// A program, and how it is run.
#[derive(Debug)]
pub(super) struct Program {
    pub(super) program: PathBuf,
    pub(super) arguments: Vec<String>,
    pub(super) limit: Duration,
    pub(super) most_at_once: usize,
}

/// How a run ended.
#[derive(Debug, PartialEq)]
enum Ended {
    Well,
    Badly(String),
    NotStarted(String),
}

/// What has become of a message.
enum Outcome {
    Done,
    Aside(String),
    Blocked(Trouble),
}

/// A task that ends with whoever waits for it; what it runs is killed.
struct Job<T> {
    running: JoinHandle<T>,
}

impl<T> Drop for Job<T> {
    fn drop(&mut self) {
        self.running.abort();
    }
}

pub(super) async fn run(mut outbox: Outbox, program: Program) {
    let Err(Over) = run_all(&mut outbox, Arc::new(program)).await;
}

async fn run_all(
    outbox: &mut Outbox,
    program: Arc<Program>,
) -> Result<std::convert::Infallible, Over> {
    // In the order of their messages: the first is settled first.
    let mut jobs: VecDeque<Job<Outcome>> = VecDeque::new();
    let stop = outbox.stop.clone();
    loop {
        let has_room = jobs.len() < program.most_at_once;
        let outcome = tokio::select! {
            biased;
            () = stop.cancelled() => return Err(Over),
            outcome = first(&mut jobs), if !jobs.is_empty() => outcome,
            letter = outbox.next(), if has_room => {
                let letter = letter?;
                let running = match letter.message.json() {
                    Ok(json) => {
                        let id = letter.message.id().to_owned();
                        let word = letter.message.word();
                        let program = Arc::clone(&program);
                        tokio::spawn(async move { handle(&program, &id, word, &json).await })
                    }
                    Err(error) => tokio::spawn(async move { Outcome::Aside(error.to_string()) }),
                };
                jobs.push_back(Job { running });
                continue;
            }
        };
        jobs.pop_front();
        match outcome {
            Outcome::Done => {
                outbox.goes_well();
                outbox.sent();
            }
            Outcome::Aside(why) => outbox.set_aside(why).await?,
            Outcome::Blocked(trouble) => {
                // Those after it are begun again behind it.
                jobs.clear();
                outbox.wait_out(&trouble, None).await?;
                outbox.begin_again();
            }
        }
    }
}

async fn first(jobs: &mut VecDeque<Job<Outcome>>) -> Outcome {
    match jobs.front_mut() {
        Some(job) => (&mut job.running).await.unwrap_or_else(|error| {
            Outcome::Blocked(Trouble::passing(format!("a run was given up ({error})")))
        }),
        None => std::future::pending().await,
    }
}

async fn handle(program: &Program, id: &str, word: &str, json: &str) -> Outcome {
    let mut waits = Waits::default();
    let mut why = String::new();
    for attempt in 0..ATTEMPTS {
        if attempt > 0 {
            tokio::time::sleep(waits.next_wait()).await;
        }
        match run_once(program, id, word, json).await {
            Ended::Well => return Outcome::Done,
            Ended::Badly(said) => why = said,
            Ended::NotStarted(said) => return Outcome::Blocked(Trouble::slow(said)),
        }
    }
    Outcome::Aside(format!("{why}; tried {ATTEMPTS} times"))
}

async fn run_once(program: &Program, id: &str, word: &str, json: &str) -> Ended {
    let name = program.program.display();
    let seen = SEEN.iter();
    let seen = seen.filter_map(|name| Some((*name, std::env::var_os(name)?)));
    let child = Command::new(&program.program)
        .args(&program.arguments)
        .env_clear()
        .envs(seen)
        .env("INKDWELL_MESSAGE", id)
        .env("INKDWELL_KIND", word)
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .kill_on_drop(true)
        .spawn();
    let mut child = match child {
        Ok(child) => child,
        Err(error) => {
            return Ended::NotStarted(format!(
                "{name} cannot be started ({error}); correct program in the shop file, or its rights"
            ));
        }
    };
    let (stdin, stderr) = (child.stdin.take(), child.stderr.take());
    let told = format!("{json}\n");
    let feeding = async move {
        if let Some(mut stdin) = stdin {
            // A program need not read what it is told.
            let _ = stdin.write_all(told.as_bytes()).await;
        }
    };
    let hearing = Job {
        running: tokio::spawn(hear(stderr)),
    };
    let running = async {
        let ((), status) = tokio::join!(feeding, child.wait());
        status
    };
    let ended = timeout(program.limit, running).await;
    match ended {
        Err(_) => {
            // It is this child alone, by its id, that is killed; and waited for, so that nothing of it is left.
            let _ = child.kill().await;
            Ended::Badly(format!(
                "{name} ran longer than {:.1} s and was killed",
                program.limit.as_secs_f64()
            ))
        }
        Ok(Ok(status)) if status.success() => Ended::Well,
        Ok(Ok(status)) => {
            let said = last_words(hearing).await;
            Ended::Badly(format!("{name} ended with {status}{said}"))
        }
        Ok(Err(error)) => Ended::Badly(format!("{name} could not be waited for ({error})")),
    }
}

/// What a program says on its standard error, cut short; the rest is let go, so that it is not held up by it.
async fn hear(stderr: Option<ChildStderr>) -> Vec<u8> {
    let mut said = Vec::new();
    if let Some(mut stderr) = stderr {
        let _ = (&mut stderr)
            .take(4 * QUOTED as u64)
            .read_to_end(&mut said)
            .await;
        let mut more = [0; 4096];
        while matches!(stderr.read(&mut more).await, Ok(1..)) {}
    }
    said
}

/// What was said by one that has ended. What it has started may live on and hold its standard error open.
async fn last_words(mut hearing: Job<Vec<u8>>) -> String {
    let said = timeout(LAST_WORDS, &mut hearing.running).await;
    let said = said.ok().and_then(Result::ok).unwrap_or_default();
    let said = String::from_utf8_lossy(&said);
    let said: String = said.trim().chars().take(QUOTED).collect();
    match said.is_empty() {
        true => said,
        false => format!(": {said}"),
    }
}
