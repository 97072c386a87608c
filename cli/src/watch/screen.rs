//! The terminal: drawn when something changes, keys taken as they come, and put back as it was at the end.

use std::sync::mpsc::{Receiver, Sender, TryRecvError, channel};
use std::time::{Duration, Instant};

use ratatui::DefaultTerminal;
use ratatui::crossterm::event::{self, Event, KeyEventKind};

use super::contact::{self, Told, Wish};
use super::keys::{self, Meant, Mode};
use super::view::{self, Scene};
use super::{WatchArguments, news};
use crate::Outcome;
use crate::client::Client;
use crate::failure::Failure;

/// Keys and news are looked for this often; while nothing comes, nothing is drawn but the clock.
const TURN: Duration = Duration::from_millis(50);
/// Clocks go on though nothing is heard.
const REDRAW: Duration = Duration::from_millis(500);
/// What was said last stands so long.
const SAID_FOR: Duration = Duration::from_secs(12);

pub(super) fn run(typed: WatchArguments) -> Result<Outcome, Failure> {
    // What can be wrong with the call is said before the screen is taken.
    let now = contact::look(&Client::find(&typed.daemon)?, typed.station.as_deref())?;
    let (wishes, wished) = channel();
    let (tell, told) = channel();
    let (asking, waking, wake) = (typed.daemon.clone(), typed.daemon.clone(), wishes.clone());
    std::thread::spawn(move || contact::keep_asking(&asking, &wished, &tell));
    std::thread::spawn(move || news::wake(&waking, &wake));
    let colour = std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty());
    let mut scene = Scene::new(colour);
    let first = now.stations.first().map(|station| station.station.clone());
    scene.only = typed.station.is_some().then_some(first).flatten();
    scene.by = typed.by.name().ok();
    let mut terminal = ratatui::try_init()
        .map_err(|error| Failure::new(format!("the terminal cannot be had ({error})")))?;
    let ended = follow(&mut terminal, &mut scene, &told, &wishes);
    ratatui::restore();
    ended.map_err(|error| Failure::new(format!("the terminal is gone ({error})")))?;
    Ok(Outcome::Fine)
}

fn follow(
    terminal: &mut DefaultTerminal,
    scene: &mut Scene,
    told: &Receiver<Told>,
    wishes: &Sender<Wish>,
) -> std::io::Result<()> {
    let mut drawn = None;
    loop {
        let mut changed = take_news(scene, told);
        if event::poll(TURN)? {
            changed = true;
            match event::read()? {
                Event::Key(key) if key.kind != KeyEventKind::Release => {
                    match keys::meant(scene, key) {
                        Meant::Nothing => {}
                        Meant::Quit => return Ok(()),
                        Meant::Do(deed) => {
                            // A thread that has ended has said why.
                            let _ = wishes.send(Wish::Do(deed));
                        }
                    }
                }
                _ => {}
            }
        }
        let is_due = drawn.is_none_or(|drawn: Instant| drawn.elapsed() >= REDRAW);
        if changed || is_due {
            terminal.draw(|frame| view::draw(frame, scene))?;
            drawn = Some(Instant::now());
        }
    }
}

/// Takes what the asking thread has told; says whether there was anything.
fn take_news(scene: &mut Scene, told: &Receiver<Told>) -> bool {
    let mut any = false;
    if scene
        .said
        .as_ref()
        .is_some_and(|(_, when)| when.elapsed() > SAID_FOR)
    {
        scene.said = None;
        any = true;
    }
    loop {
        match told.try_recv() {
            Ok(told) => take(scene, told),
            Err(TryRecvError::Empty | TryRecvError::Disconnected) => return any,
        }
        any = true;
    }
}

fn take(scene: &mut Scene, told: Told) {
    match told {
        Told::Now(now) => {
            if let Some(lost) = scene.lost.take() {
                let away = lost.since.elapsed().as_secs();
                scene.say(format!("The daemon is back; it was away for {away} s."));
            }
            scene.now = Some(*now);
        }
        Told::Lost(why) => {
            let since = scene
                .lost
                .take()
                .map_or_else(Instant::now, |lost| lost.since);
            scene.lost = Some(view::Lost { since, why });
        }
        Told::Done(sentence) => {
            scene.mode = Mode::Looking;
            scene.say(sentence);
        }
        Told::Refused(why) => {
            // What was typed stays, to be corrected.
            scene.mode.is_sent(false);
            scene.say(format!("Not done: {why}"));
        }
    }
}
