//! Asking the daemon again and again, and having it do things.

use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender};
use std::time::{Duration, Instant};

use inkdwell_daemon::api::view::{
    Acknowledgement, AlarmView, BatchView, By, HoldView, NewBatch, NowView, Settlement, ToShelve,
};

use crate::client::{Client, DaemonArguments, part};
use crate::failure::Failure;

/// What is shown is never older, while the daemon answers.
const ASK_EVERY: Duration = Duration::from_secs(1);
/// News that come closer together are looked at together.
const GATHER: Duration = Duration::from_millis(100);

/// What the asking thread is told.
#[derive(Debug)]
pub(super) enum Wish {
    /// There is news.
    Look,
    /// Something is to be done.
    Do(Box<Deed>),
}

/// What can be done from the screen.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Deed {
    /// Settle a hold.
    Settle(u64, Settlement),
    /// Open a batch.
    Open(NewBatch),
    /// Close a batch.
    Close(u64, By),
    /// Acknowledge an alarm.
    Acknowledge(String, Acknowledgement),
    /// Put an alarm aside.
    Shelve(String, ToShelve),
}

/// What the asking thread tells.
#[derive(Debug)]
pub(super) enum Told {
    /// How everything is.
    Now(Box<NowView>),
    /// The daemon does not answer, and why.
    Lost(String),
    /// Something was done, in a sentence.
    Done(String),
    /// It was not, and why.
    Refused(String),
}

/// What is seen now.
pub(super) fn look(client: &Client, station: Option<&str>) -> Result<NowView, Failure> {
    let path = match station {
        Some(station) => format!("/api/now?station={}", part(station)),
        None => "/api/now".to_owned(),
    };
    Ok(client.get::<NowView>(&path)?.0)
}

/// Asks until nobody listens any more.
pub(super) fn keep_asking(typed: &DaemonArguments, wishes: &Receiver<Wish>, told: &Sender<Told>) {
    let mut client: Option<Client> = None;
    let mut next = Instant::now();
    loop {
        match wishes.recv_timeout(next.saturating_duration_since(Instant::now())) {
            Ok(Wish::Look) => {
                next = next.min(Instant::now() + GATHER);
                continue;
            }
            Ok(Wish::Do(deed)) => {
                let done = found(&mut client, typed).and_then(|client| do_it(client, &deed));
                let said = match done {
                    Ok(sentence) => Told::Done(sentence),
                    Err(failure) => Told::Refused(failure.to_string()),
                };
                if told.send(said).is_err() {
                    return;
                }
            }
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => return,
        }
        let seen = found(&mut client, typed).and_then(|client| look(client, None));
        let said = match seen {
            Ok(now) => Told::Now(Box::new(now)),
            Err(failure) => {
                // It may come back at another address, with another token.
                client = None;
                Told::Lost(failure.to_string())
            }
        };
        if told.send(said).is_err() {
            return;
        }
        next = Instant::now() + ASK_EVERY;
    }
}

/// The daemon, looked for anew where it was lost.
fn found<'a>(
    client: &'a mut Option<Client>,
    typed: &DaemonArguments,
) -> Result<&'a Client, Failure> {
    match client {
        Some(client) => Ok(client),
        None => Ok(client.insert(Client::find(typed)?)),
    }
}

fn do_it(client: &Client, deed: &Deed) -> Result<String, Failure> {
    match deed {
        Deed::Settle(hold, settlement) => {
            client.post::<HoldView>(&format!("/api/holds/{hold}/settle"), settlement)?;
            Ok(format!("Hold {hold} is settled."))
        }
        Deed::Open(batch) => {
            let (opened, _) = client.post::<BatchView>("/api/batches", batch)?;
            Ok(format!("Batch {} is open.", opened.batch))
        }
        Deed::Close(batch, by) => {
            client.post::<BatchView>(&format!("/api/batches/{batch}/close"), by)?;
            Ok(format!("Batch {batch} is closed."))
        }
        Deed::Acknowledge(alarm, seen) => {
            let path = format!("/api/alarms/{}/acknowledge", part(alarm));
            client.post::<AlarmView>(&path, seen)?;
            Ok(format!("{alarm} is acknowledged."))
        }
        Deed::Shelve(alarm, aside) => {
            let path = format!("/api/alarms/{}/shelve", part(alarm));
            let (shelved, _) = client.post::<AlarmView>(&path, aside)?;
            let until = shelved.shelved_until.map_or_else(String::new, |until| {
                until.at.chars().skip(11).take(5).collect()
            });
            Ok(format!("{alarm} is shelved until {until}."))
        }
    }
}
