//! The tasks of the sources.

use std::sync::{Arc, Mutex};

use inkdwell_config::shop::{Shop, Source, SourceKind};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use crate::broker;
use crate::intake::{Intake, MessageMark, Notice, SourceId};
use crate::source::health::{Health, Line};
use crate::source::{modbus, mqtt, replay, serial, simulated};

/// A source that runs.
#[derive(Debug)]
struct Running {
    source: Source,
    health: Arc<Health>,
    stop: CancellationToken,
    task: JoinHandle<()>,
}

/// All sources of a shop.
#[derive(Debug, Default)]
pub(super) struct Sources {
    running: Mutex<Vec<Running>>,
    intake: Mutex<Option<Intake>>,
}

impl Sources {
    /// Starts them. `marks` are what the journal knows of messages, by source.
    pub(super) fn start(&self, shop: &Shop, marks: Vec<Vec<MessageMark>>, intake: Intake) {
        let mut marks = marks.into_iter();
        let started = shop.sources.iter().enumerate().map(|(number, source)| {
            let memory = marks.next().unwrap_or_default();
            run(shop, number, source, memory, intake.clone())
        });
        let started = started.collect();
        if let Ok(mut running) = self.running.lock() {
            *running = started;
        }
        if let Ok(mut own) = self.intake.lock() {
            *own = Some(intake);
        }
    }

    /// Those that another shop file declares otherwise, or not at all, are stopped; what is new is started.
    pub(super) fn change(&self, shop: &Shop) {
        let (Ok(mut running), Ok(intake)) = (self.running.lock(), self.intake.lock()) else {
            return;
        };
        let Some(intake) = intake.as_ref() else {
            return;
        };
        let mut before: Vec<Option<Running>> = running.drain(..).map(Some).collect();
        for (number, source) in shop.sources.iter().enumerate() {
            let same = before.get_mut(number);
            let same = same.and_then(|before| before.take_if(|own| own.source == *source));
            running.push(
                same.unwrap_or_else(|| run(shop, number, source, Vec::new(), intake.clone())),
            );
        }
        for gone in before.into_iter().flatten() {
            gone.stop.cancel();
        }
    }

    /// How they are.
    pub(super) fn health(&self) -> Vec<(String, Arc<Health>)> {
        let running = self.running.lock();
        running.map_or_else(
            |_| Vec::new(),
            |running| {
                let each = running.iter();
                each.map(|own| (own.source.id.clone(), Arc::clone(&own.health)))
                    .collect()
            },
        )
    }

    /// Tells all to stop; each ends once it has handed over what it has read.
    pub(super) fn stop(&self) {
        if let Ok(running) = self.running.lock() {
            running.iter().for_each(|own| own.stop.cancel());
        }
        if let Ok(mut intake) = self.intake.lock() {
            *intake = None;
        }
    }

    /// Gives up on those that do not end.
    pub(super) fn abort(&self) {
        if let Ok(running) = self.running.lock() {
            running.iter().for_each(|own| own.task.abort());
        }
    }
}

fn run(
    shop: &Shop,
    number: usize,
    source: &Source,
    memory: Vec<MessageMark>,
    intake: Intake,
) -> Running {
    // A shop file with more sources than that cannot be read in a lifetime.
    let id = SourceId(u16::try_from(number).unwrap_or(u16::MAX - 1));
    let health = Arc::new(Health::default());
    let stop = CancellationToken::new();
    let task = {
        let (health, stop) = (Arc::clone(&health), stop.clone());
        match source.kind.clone() {
            SourceKind::Mqtt(settings) => {
                let client = broker::client_id(&shop.name, "source", &source.id);
                tokio::spawn(mqtt::run(
                    id, client, settings, memory, intake, health, stop,
                ))
            }
            SourceKind::Replay {
                file: Some(file),
                faster,
            } => tokio::spawn(replay::run(id, file, faster, intake, health, stop)),
            SourceKind::Replay { file: None, .. } => {
                let why =
                    "the shop file does not say which file is played: add file = \"ride.csv\"";
                tokio::spawn(refused(id, why.to_owned(), intake, health))
            }
            SourceKind::Simulated {
                scenario,
                seed,
                faster,
            } => match simulated::scenario(shop, &source.id, scenario.as_deref(), seed) {
                Ok(scenario) => {
                    tokio::spawn(simulated::run(id, scenario, faster, intake, health, stop))
                }
                Err(problems) => tokio::spawn(refused(id, sentences(&problems), intake, health)),
            },
            SourceKind::Serial(settings) => {
                tokio::spawn(serial::run(id, settings, intake, health, stop))
            }
            SourceKind::Modbus(settings) => {
                tokio::spawn(modbus::run(id, settings, intake, health, stop))
            }
        }
    };
    Running {
        source: source.clone(),
        health,
        stop,
        task,
    }
}

fn sentences(problems: &[inkdwell_config::problem::Problem]) -> String {
    let problems = problems.iter().map(ToString::to_string);
    problems.collect::<Vec<_>>().join("; ")
}

/// A source that cannot be run: it says so, and that is all.
async fn refused(source: SourceId, why: String, intake: Intake, health: Arc<Health>) {
    health.set(Line::Down(why.clone()));
    // If nobody takes it, the daemon is stopping.
    let _ = intake.tell(source, Notice::Down(why)).await;
}
