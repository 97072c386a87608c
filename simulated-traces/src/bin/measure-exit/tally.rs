//! How often what was judged agrees with what was true.

use inkdwell_cure::judged::{JudgedPass, Verdict};
use inkdwell_cure::remark::Remark;
use inkdwell_simulated_traces::record::PrintRecord;

/// Cured, judged bad, and unproven.
type Verdicts = [u32; 3];

/// What happened to prints of one kind.
#[derive(Debug, Default, Clone)]
struct Tally {
    good: Verdicts,
    bad: Verdicts,
    /// Of the good ones, those whose reference was itself proved.
    good_after_proof: Verdicts,
    /// Prints that were not found, or found twice, or where there was none.
    lost: u32,
}

/// Tallies by kind of fault, in the order in which they came.
#[derive(Debug, Default)]
pub struct Tallies(Vec<(String, Tally)>);

impl Tallies {
    fn of(&mut self, name: &str) -> &mut Tally {
        let known = self.0.iter().position(|tally| tally.0 == name);
        let place = known.unwrap_or_else(|| {
            self.0.push((name.to_owned(), Tally::default()));
            self.0.len() - 1
        });
        &mut self.0[place].1
    }

    /// Adds one judged print; `proved` says whether its reference was.
    pub fn add(&mut self, name: &str, truth: &PrintRecord, pass: &JudgedPass, proved: bool) {
        let verdict = match pass.verdict {
            Verdict::Cured => 0,
            Verdict::Unproven => 2,
            _ => 1,
        };
        let tally = self.of(name);
        if truth.truth.is_good() {
            tally.good[verdict] += 1;
            tally.good_after_proof[verdict] += u32::from(proved);
        } else {
            tally.bad[verdict] += 1;
        }
    }

    /// Adds prints of a run in which not as many were found as passed.
    pub fn lose(&mut self, name: &str, prints: usize) {
        self.of(name).lost += prints as u32;
    }

    /// Adds what others counted.
    pub fn merge(&mut self, other: Tallies) {
        for (name, own) in other.0 {
            let tally = self.of(&name);
            let add = |to: &mut Verdicts, from: Verdicts| {
                to.iter_mut().zip(from).for_each(|(to, from)| *to += from);
            };
            add(&mut tally.good, own.good);
            add(&mut tally.bad, own.bad);
            add(&mut tally.good_after_proof, own.good_after_proof);
            tally.lost += own.lost;
        }
    }

    /// Prints a table.
    pub fn print(&self) {
        println!(
            "{:<30}{:>18}{:>10}{:>15}{:>15}{:>20}{:>6}",
            "", "faulty: cured", "good", "rejected", "unproven", "(reference proved)", "lost"
        );
        let share = |part: u32, all: u32| 100.0 * f64::from(part) / f64::from(all.max(1));
        let mut all_bad = (0, 0);
        for (name, tally) in &self.0 {
            let (bad, good): (u32, u32) = (tally.bad.iter().sum(), tally.good.iter().sum());
            let [_, _, open] = tally.good_after_proof;
            let after: u32 = tally.good_after_proof.iter().sum();
            println!(
                "{name:<30}{:>4} of {bad:<4}{:>4.1} %{good:>10}{:>8} {:>4.1} %{:>8} {:>4.1} %{open:>8} of {after:<4}{:>3.0} %{:>6}",
                tally.bad[0],
                share(tally.bad[0], bad),
                tally.good[1],
                share(tally.good[1], good),
                tally.good[2],
                share(tally.good[2], good),
                share(open, after),
                tally.lost
            );
            if !name.contains("note") && !name.contains("heavy") {
                all_bad = (all_bad.0 + tally.bad[0], all_bad.1 + bad);
            }
        }
        println!(
            "with a live belt signal, heavy garments apart: {} of {} faulty prints called cured ({:.2} %)",
            all_bad.0,
            all_bad.1,
            share(all_bad.0, all_bad.1)
        );
    }
}

/// One print in a line: what was judged, and what is true.
pub fn told(name: &str, pass: &JudgedPass, record: &PrintRecord) -> String {
    let truth = &record.truth;
    let mark = match (truth.is_good(), pass.verdict) {
        (false, Verdict::Cured) => "WRONG",
        (true, Verdict::Unproven) => "open",
        (true, Verdict::Cured) | (false, _) => "",
        _ => "REJECTED",
    };
    let shown: Vec<f64> = pass
        .remarks
        .iter()
        .filter_map(|remark| match remark {
            Remark::LeftAt { shown } => Some(shown.0),
            _ => None,
        })
        .collect();
    let cause = pass.remarks.iter().find_map(|remark| match remark {
        Remark::Explained { cause, .. } => Some(*cause),
        _ => None,
    });
    let harms = pass.harms.iter().map(|harm| harm.dose.high);
    format!(
        "  {name:<28} {:<12} {shown:.1?} peak {:6.1} (true {:6.1}) U {:4.1} cure {:.2?} (true {:.2}) harm {:.2?} (true {:.2}) {mark} {cause:?}",
        pass.verdict.name(),
        pass.peak.0,
        truth.peak_c,
        pass.uncertainty.0,
        pass.cure.map(|cure| [cure.low, cure.best, cure.high]),
        truth.cure,
        harms.fold(0.0, f64::max),
        truth.worst_harm(),
    )
}
