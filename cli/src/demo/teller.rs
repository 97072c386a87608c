//! Puts what the journal has committed into sentences, and holds each verdict against the truth.

use std::collections::HashMap;

use chrono::DateTime;
use inkdwell_config::display::Units;
use inkdwell_config::fabric::Harm;
use inkdwell_config::quantity::{Celsius, MetresPerSecond};
use inkdwell_config::shop::Shop;
use inkdwell_cure::alarm::{Change, Kind};
use inkdwell_cure::judged::Verdict;
use inkdwell_cure::reason::harmed;
use inkdwell_daemon::record::{
    AlarmChanged, BatchOpened, HoldOpened, Judged, Occurrence, PassJudged, Place, RecipeLocked,
    Record,
};
use inkdwell_daemon::time::Micros;
use inkdwell_simulated_traces::record::PrintRecord;
use inkdwell_simulated_traces::truth::PrintTruth;

use crate::terminal::{Setting, mark};

/// Columns before the text of a line.
const INDENT: usize = 20;

/// How the verdicts did against the truth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Tally {
    /// Verdicts that claim to know.
    pub(super) sure: u64,
    /// Those of them that were wrong.
    pub(super) wrong: u64,
    /// Verdicts that say that nobody knows.
    pub(super) unproven: u64,
}

/// A pass that a later line refers to.
#[derive(Debug, Clone, Copy)]
struct Passed {
    print: Option<u64>,
    start: Micros,
    end: Micros,
}

/// Tells one chapter after the other.
pub(super) struct Teller {
    setting: Setting,
    units: Units,
    timezone: chrono_tz::Tz,
    /// When the chapter's trace began.
    base: Option<Micros>,
    /// When its trouble begins, in seconds of the trace.
    trouble: Option<f64>,
    truth: Vec<PrintRecord>,
    passes: HashMap<u64, Passed>,
    holds: HashMap<u64, HoldOpened>,
    pub(super) tally: Tally,
}

impl Teller {
    pub(super) fn new(setting: Setting, shop: &Shop) -> Teller {
        Teller {
            setting,
            units: shop.units,
            timezone: shop.timezone,
            base: None,
            trouble: None,
            truth: Vec::new(),
            passes: HashMap::new(),
            holds: HashMap::new(),
            tally: Tally::default(),
        }
    }

    /// The next chapter.
    pub(super) fn begin(&mut self, trouble: Option<f64>, truth: Vec<PrintRecord>) {
        self.base = None;
        self.trouble = trouble;
        self.truth = truth;
    }

    /// Whether it is known when the chapter's trace began.
    pub(super) fn knows_beginning(&self) -> bool {
        self.base.is_some()
    }

    /// The first reading of the chapter.
    pub(super) fn began(&mut self, at: Option<Micros>) {
        self.base = at;
    }

    /// A record in sentences; nothing, where it is no part of the story.
    pub(super) fn tell(&mut self, at: Micros, record: &Record) -> Option<String> {
        let text = match record {
            Record::BatchOpened(opened) => batch(opened),
            Record::PassJudged(pass) => return Some(self.pass(at, pass)),
            Record::HoldOpened(hold) => {
                self.holds.insert(hold.hold, hold.clone());
                return None;
            }
            Record::HoldJoined(joined) => {
                let hold = self.holds.get(&joined.hold)?;
                let passed = self.passes.get(&joined.pass)?;
                let (start, end) = (self.clock(passed.start), self.clock(passed.end));
                let when = match start == end {
                    true => format!("counted at {start}"),
                    false => format!("{start} to {end}"),
                };
                let text = format!(
                    "hold {}: pull {} ({when}); {}",
                    joined.hold,
                    numbered(passed.print),
                    can_be_done(&hold.verdict)
                );
                let lead = " ".repeat(INDENT);
                return Some(self.setting.wrap(&lead, INDENT, &text) + "\n");
            }
            Record::RecipeLocked(recipe) => self.recipe(recipe),
            Record::Occurred(event) => {
                let left = matches!(event.what, Occurrence::RecipeLeft { .. });
                let next = left.then(|| self.next_in(at)).flatten();
                happened(&event.what)? + &next.unwrap_or_default()
            }
            Record::AlarmChanged(changed) => alarm(changed)?,
            _ => return None,
        };
        Some(self.setting.wrap(&self.lead(at), INDENT, &text) + "\n")
    }

    fn clock(&self, at: Micros) -> String {
        let utc = DateTime::from_timestamp_micros(at.0).unwrap_or_default();
        utc.with_timezone(&self.timezone)
            .format("%H:%M:%S")
            .to_string()
    }

    /// The shop's clock, and how long the trouble has lasted.
    fn lead(&self, at: Micros) -> String {
        let began = self.base.zip(self.trouble);
        let since = began.map(|(base, trouble)| at.seconds_since(base) - trouble);
        let since = since.filter(|since| *since >= 0.0);
        let since = since.map_or(String::new(), |since| format!("+{since:.0} s"));
        format!("  {}  {since:<8}", self.clock(at))
    }

    fn pass(&mut self, at: Micros, pass: &PassJudged) -> String {
        let passed = Passed {
            print: pass.print,
            start: pass.start,
            end: pass.end,
        };
        self.passes.insert(pass.pass, passed);
        let Some(judged) = &pass.judged else {
            let text = "a print without a batch: nobody knows what it needs";
            return self.setting.wrap(&self.lead(at), INDENT, text) + "\n";
        };
        let verdict = verdict_of(&judged.verdict);
        let head = format!(
            "{} {}  {}",
            mark(verdict),
            numbered(pass.print),
            word(&judged.verdict, judged.harm.as_deref())
        );
        let mut text = self.lead(at) + &self.setting.verdict(verdict, &head);
        if pass.place != Place::Count {
            let peak = self.units.temperature(Celsius(judged.peak_c));
            text += &format!("  peak {peak}");
        }
        if let Some(truth) = self.truth_of(pass)
            && judged.is_good()
            && truth.is_good()
        {
            self.tally.sure += 1;
            let peak = self.units.temperature(Celsius(truth.peak_c));
            let truth = format!("; truly {}, {peak}", truth.verdict);
            return text + &self.setting.faint(&truth) + "\n";
        }
        text.push('\n');
        for reason in &judged.reasons {
            let lead = format!("{:INDENT$}  → ", "");
            text += &self.setting.wrap(&lead, INDENT + 4, reason);
            text.push('\n');
        }
        let truth = self.held_against_truth(pass, judged);
        let lead = format!("{:INDENT$}  ", "");
        let truth = self.setting.wrap(&lead, INDENT + 2, &truth);
        text += &self.setting.faint(&truth);
        text.push('\n');
        text
    }

    /// What a print truly got: by its number, else by when it was in the heat.
    fn truth_of(&self, pass: &PassJudged) -> Option<PrintTruth> {
        let own = |own: &&PrintRecord| match pass.print {
            Some(print) => u64::from(own.index) == print,
            None => self.base.is_some_and(|base| {
                let began = pass.start.seconds_since(base);
                let entered = own.enters_s.is_some_and(|enters| enters <= began);
                entered && own.leaves_s.is_none_or(|leaves| began <= leaves)
            }),
        };
        self.truth.iter().find(own).map(|own| own.truth.clone())
    }

    /// What the simulation says of a print.
    fn held_against_truth(&mut self, pass: &PassJudged, judged: &Judged) -> String {
        let Some(truth) = self.truth_of(pass) else {
            self.tally.wrong += 1;
            return "The simulation knows of no such print. The verdict is WRONG.".to_owned();
        };
        let harm = truth.harm.as_deref();
        let dose = truth
            .harms
            .iter()
            .find(|own| Some(own.harm.as_str()) == harm);
        let figure = dose.map_or_else(
            || {
                let peak = self.units.temperature(Celsius(truth.peak_c));
                format!("the film's bottom peaked at {peak}")
            },
            |dose| format!("{:.1} times what the cloth can take", dose.dose),
        );
        let truly = word(&truth.verdict, harm);
        let said = judged.verdict.as_str();
        if said == Verdict::Unproven.name() {
            self.tally.unproven += 1;
            return format!(
                "The simulation says: {truly}, {figure}. In the shop nobody could know."
            );
        }
        self.tally.sure += 1;
        if said == truth.verdict && judged.harm == truth.harm {
            return format!("The simulation says: {truly}, {figure}.");
        }
        self.tally.wrong += 1;
        format!("The simulation says: {truly}, {figure}. The verdict is WRONG.")
    }

    /// How long there is until the next print goes into the heat.
    fn next_in(&self, at: Micros) -> Option<String> {
        let now = at.seconds_since(self.base?);
        let enters = self.truth.iter().map(|own| (own.index, own.enters_s));
        let mut coming = enters.filter_map(|(print, enters)| Some((print, enters? - now)));
        let (print, after) = coming.find(|(_, after)| *after > 0.0)?;
        Some(format!("; print {print} goes in {after:.0} s later"))
    }

    fn recipe(&self, recipe: &RecipeLocked) -> String {
        let belt = recipe.belt_m_per_min.map(|speed| {
            let speed = self.units.speed(MetresPerSecond(speed / 60.0));
            format!("belt {speed}")
        });
        let zones = recipe
            .zones_c
            .iter()
            .map(|(id, celsius)| format!("{id} at {}", self.units.temperature(Celsius(*celsius))));
        let settings: Vec<String> = belt.into_iter().chain(zones).collect();
        let ride = self.passes.get(&recipe.ride).and_then(|ride| ride.print);
        format!(
            "recipe {} locked from the ride of {}: {}",
            recipe.recipe,
            numbered(ride),
            settings.join(", ")
        )
    }
}

fn batch(opened: &BatchOpened) -> String {
    let recipe = opened.recipe.map_or(String::new(), |recipe| {
        format!("; the dryer is held against recipe {recipe}")
    });
    format!(
        "batch {} opened: {}, {} on {}{recipe}",
        opened.batch, opened.job, opened.ink, opened.fabric
    )
}

fn happened(what: &Occurrence) -> Option<String> {
    Some(match what {
        Occurrence::RecipeLeft { recipe, what } => format!("◆ recipe {recipe} left: {what}"),
        Occurrence::RecipeMet { recipe } => format!("recipe {recipe} kept again"),
        Occurrence::SourceDown { source, why } => format!("◆ {source} is not heard: {why}"),
        Occurrence::TurnedAway { source, readings } => {
            format!("◆ {readings} readings of {source} were turned away: too much at once")
        }
        Occurrence::Late { of, readings } => {
            format!("◆ {readings} readings of {of} came too late to be judged")
        }
        Occurrence::DiskFull => "◆ the disk is full: nothing is accepted".to_owned(),
        Occurrence::DiskFree { .. } => "there is room on the disk again".to_owned(),
        _ => return None,
    })
}

/// An alarm that is announced, unless a verdict or the recipe says the same already.
fn alarm(changed: &AlarmChanged) -> Option<String> {
    let kind = changed.kind()?;
    let said = matches!(
        kind,
        Kind::RecipeLeft | Kind::PrintUnderCured | Kind::PrintOverheated | Kind::PrintsUnproven
    );
    let told = changed.change == Change::Raised && changed.announce && !said;
    let sheet = kind.sheet();
    told.then(|| {
        format!(
            "◆ alarm, {} priority: {}. {} First: {}",
            sheet.priority.name(),
            sheet.title,
            changed.words,
            sheet.first
        )
    })
}

/// A print by its number in its batch.
fn numbered(print: Option<u64>) -> String {
    print.map_or("a print".to_owned(), |print| format!("print {print}"))
}

/// What can still be done with prints of a verdict.
pub(super) fn can_be_done(verdict: &str) -> &'static str {
    match verdict_of(verdict) {
        Verdict::UnderCured => "can go through the heat once more",
        Verdict::Overheated => "cannot be brought back",
        _ => "only a wash test tells now",
    }
}

/// The verdict of a word; what is no verdict proves nothing.
fn verdict_of(word: &str) -> Verdict {
    use Verdict::{Cured, Overheated, UnderCured, Unproven};
    let known = [Cured, UnderCured, Overheated];
    let own = known.into_iter().find(|own| own.name() == word);
    own.unwrap_or(Unproven)
}

/// A verdict as a screen says it.
fn word<'a>(verdict: &'a str, harm: Option<&str>) -> &'a str {
    let harms = [
        Harm::Scorch,
        Harm::DyeMigration,
        Harm::Shrinkage,
        Harm::Melt,
    ];
    let own = harms.into_iter().find(|own| Some(own.name()) == harm);
    own.map_or(verdict, |harm| harmed(harm))
}
