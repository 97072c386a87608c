//! What was found, for people.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::Seconds;
use inkdwell_cure::judged::{Band, Evidence, JudgedPass, Verdict};
use inkdwell_cure::reason::harmed;
use inkdwell_cure::remark::Remark;

use super::channels::Heading;
use super::spool::{Spool, Writer};
use crate::failure::Failure;
use crate::terminal::{Setting, mark};

/// So many prints to pull are listed by number; of more only how many there are.
const MOST_LISTED: usize = 12;
/// So many different remarks are shown.
const MOST_REMARKS: usize = 12;

/// Writes passes as blocks of text, then what to pull, then what is worth knowing.
pub(super) struct Sheet {
    units: Units,
    setting: Setting,
    good: u64,
    all: u64,
    flash: bool,
    /// The prints to pull: which, and why in a word.
    pull: Vec<String>,
    remarks: Vec<String>,
    /// Whether prints have to be told apart by their files.
    several: bool,
}

impl Sheet {
    pub(super) fn new(units: Units, setting: Setting, several: bool) -> Sheet {
        Sheet {
            units,
            setting,
            good: 0,
            all: 0,
            flash: false,
            pull: Vec::new(),
            remarks: Vec::new(),
            several,
        }
    }

    fn figures(&self, pass: &JudgedPass) -> Vec<String> {
        let units = self.units;
        if pass.evidence == Evidence::None {
            return vec!["no evidence".to_owned()];
        }
        let mut figures: Vec<String> = pass
            .remarks
            .iter()
            .filter_map(|remark| figure(remark, units))
            .collect();
        figures.extend([
            format!("peak {}", units.temperature(pass.peak)),
            format!(
                "{} above {}",
                seconds(pass.time_above),
                units.temperature(pass.threshold)
            ),
        ]);
        figures.extend(pass.cure.map(|cure| format!("cure {}", band(cure))));
        figures.extend(
            pass.harms
                .iter()
                .map(|harm| format!("{} {}", harm.harm.name(), band(harm.dose))),
        );
        figures
    }
}

/// What a remark says of this print alone, which stands among its figures.
fn figure(remark: &Remark, units: Units) -> Option<String> {
    match remark {
        Remark::LeftAt { shown } => Some(format!("left at {}", units.temperature(*shown))),
        Remark::MassTold { times } => Some(format!("{times:.2} times the batch's mass")),
        _ => None,
    }
}

/// The verdict as a screen says it.
fn word(pass: &JudgedPass) -> &'static str {
    match (pass.verdict, pass.harm) {
        (Verdict::Overheated, Some(harm)) => harmed(harm),
        (verdict, _) => verdict.name(),
    }
}

fn seconds(time: Seconds) -> String {
    if time.0 < 10.0 {
        format!("{:.1} s", time.0)
    } else {
        format!("{:.0} s", time.0)
    }
}

/// Best, with low and high where they differ from it.
fn band(band: Band) -> String {
    let number = |dose: f64| match dose {
        dose if dose < 10.0 => format!("{dose:.2}"),
        dose if dose < 1000.0 => format!("{dose:.0}"),
        _ => ">999".to_owned(),
    };
    let (low, best, high) = (number(band.low), number(band.best), number(band.high));
    if low == high {
        best
    } else {
        format!("{best} ({low} to {high})")
    }
}

impl Writer for Sheet {
    fn begin(&mut self, _spool: &mut Spool) -> Result<(), Failure> {
        Ok(())
    }

    fn separator(&self) -> &'static str {
        ""
    }

    fn heading(&mut self, spool: &mut Spool, heading: &Heading) -> Result<(), Failure> {
        let place = format!("{}, channel {}", heading.file, heading.channel);
        let print = format!("{} on {}", heading.ink, heading.fabric);
        spool.write(&format!("{}\n{print}\n\n", self.setting.strong(&place)))
    }

    fn pass(
        &mut self,
        spool: &mut Spool,
        heading: &Heading,
        pass: &JudgedPass,
    ) -> Result<(), Failure> {
        let setting = self.setting;
        self.all += 1;
        self.flash |= matches!(
            pass.verdict,
            Verdict::Gelled | Verdict::UnderFlashed | Verdict::OverFlashed
        );
        if pass.verdict.is_good() {
            self.good += 1;
        } else if self.pull.len() <= MOST_LISTED {
            let file = if self.several {
                format!("{} ", heading.file)
            } else {
                String::new()
            };
            let print = format!("{file}{} {} ({})", heading.channel, pass.index, word(pass));
            self.pull.push(print);
        }
        let label = format!(
            "{} {:<3} {:<12}",
            mark(pass.verdict),
            pass.index,
            word(pass)
        );
        let when = format!("{:.1} s to {:.1} s", pass.start.0, pass.end.0);
        let mut text = format!("{} {when}\n", setting.verdict(pass.verdict, &label));
        let indent = " ".repeat(6);
        text += &setting.wrap(&indent, 6, &self.figures(pass).join(", "));
        text.push('\n');
        for reason in &pass.reasons {
            text += &setting.wrap("    → ", 6, &reason.sentence(self.units));
            text.push('\n');
        }
        let general = |remark: &&Remark| figure(remark, self.units).is_none();
        for remark in pass.remarks.iter().filter(general) {
            let sentence = remark.sentence(self.units);
            if !self.remarks.contains(&sentence) && self.remarks.len() <= MOST_REMARKS {
                self.remarks.push(sentence);
            }
        }
        spool.write(&(text + "\n"))
    }

    fn end(&mut self, spool: &mut Spool) -> Result<(), Failure> {
        let setting = self.setting;
        let proved = if self.flash {
            "proved gelled"
        } else {
            "proved cured and unharmed"
        };
        let mut text = match (self.good, self.all) {
            (_, 0) => String::new(),
            (1, 1) => format!("The print is {proved}.\n"),
            (0, 1) => format!("The print is not {proved}.\n"),
            (good, all) if good == all => format!("All {all} prints are {proved}.\n"),
            (good, all) => format!("{good} of {all} prints are {proved}.\n"),
        };
        if self.pull.len() > MOST_LISTED {
            text += &format!(
                "{} prints have to be pulled; see their arrows above.\n",
                self.all - self.good
            );
        } else if !self.pull.is_empty() {
            text += &setting.wrap("", 2, &format!("To pull: {}.", self.pull.join(", ")));
            text.push('\n');
        }
        text = setting.strong(text.trim_end()) + if text.is_empty() { "" } else { "\n" };
        if !self.remarks.is_empty() {
            text.push_str("\nWorth knowing:\n");
        }
        for remark in self.remarks.iter().take(MOST_REMARKS) {
            text += &setting.wrap("  - ", 4, remark);
            text.push('\n');
        }
        if self.remarks.len() > MOST_REMARKS {
            text.push_str("  - and more; --json has them all\n");
        }
        if self.all > 0 {
            let caution = "Advice only: the ink maker's data sheet and a wash test decide.";
            text += &format!("\n{}\n", setting.faint(caution));
        }
        spool.write(&text)
    }
}
