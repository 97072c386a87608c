//! The threads that infer: one for each heat model that is in use.
//!
//! A thread fits its model once, which takes seconds, and then takes one print after another, some
//! hundredths of a second each. It ends when it is not needed any more: when nothing came for a while, when
//! too many others came after it, or with the daemon.

use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::time::Duration;

use inkdwell_config::library::Library;
use inkdwell_cure::live::exit::RecipeModel;
use tokio::sync::mpsc::UnboundedSender;

use super::model::{InferJob, Inferred, ModelKey};

/// So many models are kept ready.
const MOST: usize = 4;
/// One that was not needed for so long is given up.
const IDLE: Duration = Duration::from_secs(1800);

/// Infers, off the keeper's task. Dropping it ends its threads once they have done what they have in hand.
#[derive(Debug)]
pub struct Inferrers {
    /// Latest used last.
    running: VecDeque<(ModelKey, Sender<InferJob>)>,
    answers: UnboundedSender<Inferred>,
}

impl Inferrers {
    /// None running yet. What is inferred goes to `answers`.
    pub fn new(answers: UnboundedSender<Inferred>) -> Inferrers {
        Inferrers {
            running: VecDeque::new(),
            answers,
        }
    }

    /// Gives out a job. Its answer comes later.
    pub fn infer(&mut self, job: InferJob) {
        let key = job.model.clone();
        let known = self.running.iter().position(|(own, _)| *own == key);
        let running = known.and_then(|place| self.running.remove(place));
        let job = match running {
            Some((key, jobs)) => match jobs.send(job) {
                Ok(()) => {
                    self.running.push_back((key, jobs));
                    return;
                }
                // It was idle for long, and ended.
                Err(unsent) => unsent.0,
            },
            None => job,
        };
        let (jobs, given) = channel();
        let answers = self.answers.clone();
        let thread = std::thread::Builder::new().name(format!("recipe {}", key.recipe));
        let pass = job.print.as_ref().map(|print| print.0);
        match thread.spawn(move || work(job, &given, &answers)) {
            Ok(_) => {
                self.running.push_back((key, jobs));
                if self.running.len() > MOST {
                    self.running.pop_front();
                }
            }
            Err(error) => {
                let why = format!("the machine gives no thread ({error})");
                tell(&self.answers, pass, Err(why));
            }
        }
    }
}

type Judged = Result<Box<inkdwell_cure::judged::JudgedPass>, String>;

/// Nobody listens any more only when the daemon is stopping: then the print is asked for again at the next
/// start.
fn tell(answers: &UnboundedSender<Inferred>, pass: Option<u64>, judged: Judged) {
    if let Some(pass) = pass {
        let _ = answers.send(Inferred { pass, judged });
    }
}

/// Fits a model and infers what comes, beginning with the first job.
fn work(first: InferJob, jobs: &Receiver<InferJob>, answers: &UnboundedSender<Inferred>) {
    let model = match fitted(&first) {
        Ok(model) => model,
        Err(why) => return refuse(first, jobs, answers, &why),
    };
    let mut desk = match model.ready() {
        Ok(desk) => desk,
        Err(error) => return refuse(first, jobs, answers, &error.to_string()),
    };
    let mut next = Some(first);
    while let Some(job) = next {
        if let Some((pass, window, laws)) = job.print {
            let judged = desk.judge(&window, &laws);
            tell(answers, Some(pass), Ok(Box::new(judged)));
        }
        next = waited_for(jobs);
    }
}

fn fitted(job: &InferJob) -> Result<RecipeModel, String> {
    let declared = Library::parse("journal", &job.model.declared).value;
    let (Some(ink), Some(fabric)) = (declared.inks().first(), declared.fabrics().first()) else {
        return Err("its ink and fabric cannot be read from the journal".to_owned());
    };
    let ride = Arc::unwrap_or_clone(Arc::clone(&job.ride));
    RecipeModel::fitted(ride, &job.station, ink, fabric).map_err(|error| error.to_string())
}

/// Answers everything with why nothing can be inferred.
fn refuse(
    first: InferJob,
    jobs: &Receiver<InferJob>,
    answers: &UnboundedSender<Inferred>,
    why: &str,
) {
    let mut next = Some(first);
    while let Some(job) = next {
        tell(answers, job.print.map(|print| print.0), Err(why.to_owned()));
        next = waited_for(jobs);
    }
}

/// The next job; nothing once there was none for long, or nobody is there to give one.
fn waited_for(jobs: &Receiver<InferJob>) -> Option<InferJob> {
    jobs.recv_timeout(IDLE).ok()
}
