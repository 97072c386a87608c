//! What has been answered so far.
//!
//! The questions are a plain function of this ([`super::questions::plan`]): it either comes to the end, or says what it has
//! to know next. So going back is taking an answer away, and correcting one is taking it away and asking again.

use std::cell::RefCell;
use std::collections::BTreeMap;

use super::hear::Findings;

/// What can be asked.
pub(super) struct Question {
    /// Names it; answers are kept by it.
    pub(super) key: String,
    /// The option that answers it, as --help has it.
    pub(super) option: &'static str,
    /// What it is about, in a word or two, for the list at the end.
    pub(super) about: String,
    /// The question.
    pub(super) asks: String,
    /// Why it matters, and how to find out.
    pub(super) why: String,
    /// What Enter answers; nothing where a guess could do harm.
    pub(super) usual: Option<String>,
    /// What is taken where nobody can be asked.
    pub(super) quiet: Option<String>,
    /// Something that it could be, so that what would be asked after it can be told.
    pub(super) example: String,
    /// Makes of an answer what is kept, or says what is wrong with it.
    pub(super) check: Check,
    /// What is wrong with an answer that was given before it was asked.
    pub(super) wrong: Option<String>,
}

/// See [`Question::check`].
pub(super) type Check = Box<dyn Fn(&str) -> Result<String, String>>;

/// What has to be known next.
pub(super) enum Step {
    /// An answer.
    Ask(Box<Question>),
    /// What is heard there.
    Hear(super::hear::Where),
}

/// An answered question, for the list at the end.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Answered {
    pub(super) key: String,
    pub(super) about: String,
    pub(super) answer: String,
}

/// Answers, and what was heard.
#[derive(Default)]
pub(super) struct State {
    /// Answers by their questions' keys.
    pub(super) answers: BTreeMap<String, String>,
    /// Answers that were taken back; Enter gives them again.
    former: BTreeMap<String, String>,
    /// Keys in the order in which a person answered them.
    asked: Vec<String>,
    pub(super) findings: Findings,
    /// What [`super::questions::plan`] came by.
    trail: RefCell<Vec<Answered>>,
}

impl State {
    /// The answer to a question, as it is kept; or that it has to be asked.
    pub(super) fn answer(&self, mut question: Question) -> Result<String, Step> {
        if let Some(given) = self.answers.get(&question.key) {
            match (question.check)(given) {
                Ok(answer) => {
                    self.trail.borrow_mut().push(Answered {
                        key: question.key,
                        about: question.about,
                        answer: answer.clone(),
                    });
                    return Ok(answer);
                }
                Err(wrong) => question.wrong = Some(wrong),
            }
        }
        if let Some(former) = self.former.get(&question.key)
            && (question.check)(former).is_ok()
        {
            question.usual = Some(former.clone());
        }
        Err(Step::Ask(Box::new(question)))
    }

    /// An answer of a person.
    pub(super) fn take(&mut self, key: &str, answer: String) {
        self.former.remove(key);
        self.answers.insert(key.to_owned(), answer);
        self.asked.retain(|own| own != key);
        self.asked.push(key.to_owned());
    }

    /// Takes the last answer of a person away; whether there was one.
    pub(super) fn back(&mut self) -> bool {
        let Some(key) = self.asked.pop() else {
            return false;
        };
        self.take_away(&key);
        true
    }

    /// Takes an answer away, to be asked again.
    pub(super) fn take_away(&mut self, key: &str) {
        self.asked.retain(|own| own != key);
        if let Some(answer) = self.answers.remove(key) {
            self.former.insert(key.to_owned(), answer);
        }
    }

    /// Begins a walk through the questions.
    pub(super) fn begin(&self) {
        self.trail.borrow_mut().clear();
    }

    /// What was answered on the last walk, in order.
    pub(super) fn answered(&self) -> Vec<Answered> {
        self.trail.borrow().clone()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn question(key: &str) -> Question {
        Question {
            key: key.to_owned(),
            option: "--heat LENGTH",
            about: "heat".to_owned(),
            asks: String::new(),
            why: String::new(),
            usual: None,
            quiet: None,
            example: "2 m".to_owned(),
            check: Box::new(|text| match text.strip_suffix(" m") {
                Some(_) => Ok(text.to_owned()),
                None => Err("write its unit".to_owned()),
            }),
            wrong: None,
        }
    }

    fn asked(step: Result<String, Step>) -> Question {
        match step {
            Err(Step::Ask(question)) => *question,
            _ => panic!("it was to be asked"),
        }
    }

    #[test]
    fn what_was_taken_back_is_offered_again() {
        let mut state = State::default();
        assert!(!state.back());
        state.take("heat", "2.4 m".to_owned());
        assert_eq!(
            state.answer(question("heat")).ok().as_deref(),
            Some("2.4 m")
        );
        assert!(state.back());
        let again = asked(state.answer(question("heat")));
        assert_eq!((again.usual.as_deref(), again.wrong), (Some("2.4 m"), None));
        assert!(!state.back());
    }

    #[test]
    fn a_wrong_answer_is_asked_again_with_what_is_wrong() {
        let mut state = State::default();
        state.answers.insert("heat".to_owned(), "2.4".to_owned());
        let again = asked(state.answer(question("heat")));
        assert_eq!(again.wrong.as_deref(), Some("write its unit"));
    }
}
