//! A report for the terminal.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, MetresPerSecond};
use inkdwell_cure::judged::Verdict;
use inkdwell_daemon::api::view::Moment;
use inkdwell_daemon::record::Settled;
use inkdwell_daemon::report::{
    Alarm, Batch, Cost, Figures, Hold, Known, Print, Report, Settings, Totals, VerdictCount,
    verdict_words,
};

use crate::terminal::{Setting, mark};

/// So many prints that are not proved good are listed for each batch.
const MOST_LISTED: usize = 25;
/// So many events are told.
const MOST_TOLD: usize = 20;
/// Where the text behind a name begins.
const BEHIND: usize = 12;

/// The report in words.
pub(crate) fn told(report: &Report, setting: Setting) -> String {
    let sheet = Sheet {
        setting,
        units: match report.shop.us_units {
            true => Units::Us,
            false => Units::Metric,
        },
    };
    let mut text = sheet.heading(report);
    for batch in &report.batches {
        text += &sheet.batch(batch);
    }
    text += &sheet.shop(report);
    text += &sheet.end(report);
    text
}

struct Sheet {
    setting: Setting,
    units: Units,
}

impl Sheet {
    fn prose(&self, text: &str) -> String {
        self.setting.wrap("", 0, text) + "\n"
    }

    fn line(&self, name: &str, text: &str) -> String {
        self.setting.wrap(
            &format!("  {name:<width$}", width = BEHIND - 2),
            BEHIND,
            text,
        ) + "\n"
    }

    fn heading(&self, report: &Report) -> String {
        let period = &report.period;
        let mut about: Vec<String> = report.shop.name.known().cloned().into_iter().collect();
        about.push(period.title.clone());
        about.extend(period.station.as_ref().map(|own| format!("station {own}")));
        about.extend(period.job.as_ref().map(|own| format!("job “{own}”")));
        let mut text = self.setting.faint(&about.join(" · ")) + "\n\n";
        text += &(self
            .setting
            .strong(&self.setting.wrap("", 0, &report.answer.sentence))
            + "\n\n");
        if !report.tomorrow.is_empty() {
            text += "What to do tomorrow\n";
            for (place, advice) in (1..).zip(&report.tomorrow) {
                text += &(self.setting.wrap(&format!("  {place}. "), 5, &advice.what) + "\n");
            }
            text.push('\n');
        }
        for remark in &report.remarks {
            text += &self.setting.faint(&self.prose(remark));
        }
        text
    }

    fn counts(&self, counts: &[VerdictCount]) -> String {
        let told: Vec<String> = counts
            .iter()
            .map(|count| {
                let word = verdict_words(&count.verdict, count.harm.as_deref());
                format!("{} {} {word}", sign(&count.verdict), count.prints)
            })
            .collect();
        match told.is_empty() {
            true => "no print".to_owned(),
            false => told.join("   "),
        }
    }

    fn batch(&self, batch: &Batch) -> String {
        let title = format!("Batch {}  {}", batch.batch, batch.job);
        let mut text = format!("\n{}\n", self.setting.strong(&title));
        text += &self.line("", &self.counts(&batch.counts));
        text += &self.line("proof", &batch.proof.words);
        let closed = batch.closed.as_ref();
        let closed = closed.map_or("open still".to_owned(), |own| {
            format!("to {}", hour(&own.at))
        });
        text += &self.line(
            "ran",
            &format!(
                "{} {closed}, at {}, by {}",
                time(&batch.opened.at),
                batch.station,
                batch.opened.by
            ),
        );
        text += &self.line(
            "ink",
            &format!(
                "{}: {} (source: {})",
                batch.ink.name, batch.ink.law, batch.ink.source
            ),
        );
        let limits: Vec<String> = batch
            .fabric
            .limits
            .iter()
            .map(|limit| {
                format!(
                    "{} by {}",
                    verdict_words("overheated", Some(&limit.harm)),
                    limit.law
                )
            })
            .collect();
        text += &self.line(
            "fabric",
            &format!("{}: {}", batch.fabric.name, limits.join("; ")),
        );
        text += &self.settings(&batch.settings);
        for figures in &batch.figures {
            text += &self.figures(figures);
        }
        for hold in &batch.holds {
            text += &self.line("hold", &self.hold(batch, hold));
        }
        if batch.scrapped.prints > 0 {
            text += &self.line("scrapped", &cost(&batch.scrapped));
        }
        for test in &batch.sign_offs.tests {
            let which = test
                .pass
                .map_or("a print".to_owned(), |pass| format!("pass {pass}"));
            let how = if test.passed { "passed" } else { "FAILED" };
            text += &self.line(
                "sign-off",
                &format!(
                    "{} of {which}: {how}, {} ({})",
                    test.method, test.result, test.recorded.by
                ),
            );
        }
        for review in &batch.sign_offs.review {
            text += &self.line("review", review);
        }
        for note in &batch.notes {
            text += &self.line(
                "note",
                &format!(
                    "{} ({}, {})",
                    note.note,
                    note.written.by,
                    hour(&note.written.at)
                ),
            );
        }
        text += &self.prints(batch);
        text
    }

    fn settings(&self, settings: &Settings) -> String {
        let speed = |own: f64| self.units.speed(MetresPerSecond(own / 60.0));
        let mut text = match &settings.belt_m_per_min {
            Known::Is(span) if span.least == span.greatest => self.line("belt", &speed(span.mean)),
            Known::Is(span) => self.line(
                "belt",
                &format!(
                    "{}, from {} to {}",
                    speed(span.mean),
                    speed(span.least),
                    speed(span.greatest)
                ),
            ),
            Known::Not { unknown } => self.line("belt", unknown),
        };
        if let Known::Is(recipe) = &settings.recipe {
            let zones: Vec<String> = recipe
                .zones_c
                .iter()
                .map(|(zone, at)| format!("{zone} {}", self.units.temperature(Celsius(*at))))
                .collect();
            let belt = recipe
                .belt_m_per_min
                .map_or(String::new(), |own| format!(", belt {}", speed(own)));
            text += &self.line(
                "recipe",
                &format!("{}{belt}, {}", recipe.recipe, zones.join(", ")),
            );
            for left in &recipe.departures {
                let lasted = left
                    .lasted_s
                    .map_or("not back when the batch ended".to_owned(), |own| {
                        format!("for {own:.0} s")
                    });
                text += &self.line(
                    "",
                    &format!("left at {}: {}, {lasted}", hour(&left.at), left.what),
                );
            }
        }
        text
    }

    fn figures(&self, figures: &Figures) -> String {
        let celsius = |own: f64| self.units.temperature(Celsius(own));
        let peak = &figures.peak_c;
        let mut told = vec![
            format!(
                "peak {} to {}, half below {}",
                celsius(peak.least),
                celsius(peak.greatest),
                celsius(peak.median)
            ),
            format!(
                "above the threshold {:.1} to {:.1} s",
                figures.time_above_s.least, figures.time_above_s.greatest
            ),
        ];
        if let Some(cure) = &figures.cure_low {
            told.push(format!(
                "weakest cure at least {:.2} (pass {})",
                cure.least, cure.least_pass
            ));
        }
        for harm in &figures.harms {
            told.push(format!("{} at most {:.2}", harm.harm, harm.high.greatest));
        }
        let mut text = self.line(&figures.evidence, &(told.join("; ") + "."));
        if let Known::Is(trend) = &figures.trend {
            let way = if trend.over_all_c < 0.0 {
                "fell"
            } else {
                "climbed"
            };
            let by = self
                .units
                .difference(CelsiusDifference(trend.over_all_c.abs()));
            text += &self.line("", &format!("The peak {way} by {by} over the batch."));
        }
        text += &match &figures.capability {
            Known::Is(own) => self.line(
                "",
                &format!(
                    "Capability of the cure (Cpk) {:.2}, with 95 % confidence {:.2} to {:.2}.",
                    own.cpk.best, own.cpk.low, own.cpk.high
                ),
            ),
            Known::Not { unknown } => self.line("", &format!("No capability: {unknown}")),
        };
        text
    }

    fn hold(&self, batch: &Batch, hold: &Hold) -> String {
        let number = |pass: &u64| {
            let own = batch.prints.iter().find(|print| print.pass == *pass);
            own.and_then(|print| print.print)
                .unwrap_or(*pass)
                .to_string()
        };
        let mut prints: Vec<String> = hold.passes.iter().take(MOST_LISTED).map(number).collect();
        if hold.passes.len() > MOST_LISTED {
            prints.push(format!("and {} more", hold.passes.len() - MOST_LISTED));
        }
        let what = verdict_words(&hold.verdict, hold.harm.as_deref());
        let settled = match &hold.settled {
            None => "OPEN".to_owned(),
            Some(own) => {
                let word = match own.outcome {
                    Settled::ReRun => "re-run",
                    Settled::Scrapped => "scrapped",
                    Settled::Released => "released",
                };
                format!(
                    "{word} by {} at {}: {}",
                    own.decided.by,
                    hour(&own.decided.at),
                    own.why
                )
            }
        };
        format!(
            "{} {what}, print {}; {settled}",
            hold.hold,
            prints.join(", ")
        )
    }

    /// Those that are not proved good; the others stand in every other form of the report.
    fn prints(&self, batch: &Batch) -> String {
        let bad: Vec<&Print> = batch
            .prints
            .iter()
            .filter(|print| !matches!(print.verdict.as_str(), "cured" | "gelled"))
            .collect();
        let mut text = String::new();
        for print in bad.iter().take(MOST_LISTED) {
            let number = print
                .print
                .map_or(format!("pass {}", print.pass), |own| own.to_string());
            let word = verdict_words(&print.verdict, print.harm.as_deref());
            let lead = format!("  {} {number:<8}", sign(&print.verdict));
            let mut what = format!("{} {word}", hour(&print.at));
            what += &print.peak_c.map_or(String::new(), |own| {
                format!(", peak {}", self.units.temperature(Celsius(own)))
            });
            what += &print.cure.map_or(String::new(), |own| {
                format!(", cure {:.2} ({:.2} to {:.2})", own.best, own.low, own.high)
            });
            what += &format!(". {}", print.reasons.join(" "));
            text += &(self.setting.wrap(&lead, BEHIND, &what) + "\n");
        }
        if bad.len() > MOST_LISTED {
            let more = bad.len() - MOST_LISTED;
            text += &self.prose(&format!(
                "  … and {more} more; the page or the CSV has them all."
            ));
        }
        text
    }

    fn shop(&self, report: &Report) -> String {
        let mut text = format!("\n{}\n", self.setting.strong("The shop"));
        text += &self.line("scrapped", &cost(&report.scrapped));
        text += &match &report.alarms {
            Known::Not { unknown } => self.line("alarms", unknown),
            Known::Is(alarms) if alarms.is_empty() => self.line("alarms", "none"),
            Known::Is(alarms) => alarms
                .iter()
                .map(|alarm| self.line("alarm", &told_alarm(alarm)))
                .collect(),
        };
        for probe in &report.probes {
            let doubt = probe.uncertainty_c.map_or(String::new(), |own| {
                format!(", U {}", self.units.difference(CelsiusDifference(own)))
            });
            let calibrated = match &probe.calibration {
                Known::Is(own) => {
                    let due = own
                        .due
                        .as_ref()
                        .map_or(String::new(), |due| format!(", due {due}"));
                    format!("calibrated {}{due}", own.date)
                }
                Known::Not { unknown } => unknown.clone(),
            };
            text += &self.line(
                "probe",
                &format!("{} saw {}{doubt}; {calibrated}", probe.id, probe.prints),
            );
        }
        text += &self.line("troubles", &troubles(&report.totals));
        for own in report.happenings.iter().take(MOST_TOLD) {
            let station = own
                .station
                .as_deref()
                .map_or(String::new(), |own| format!("{own}: "));
            text += &self.line(&hour(&own.at), &format!("{station}{}", own.what));
        }
        if report.happenings.len() > MOST_TOLD {
            let more = report.happenings.len() - MOST_TOLD;
            text += &self.prose(&format!("  … and {more} events more."));
        }
        text
    }

    fn end(&self, report: &Report) -> String {
        let (head, fingerprint) = (&report.journal.head, &report.journal.fingerprint);
        let mut text = format!("\nHead: {head}\nFingerprint: {fingerprint}\n");
        text += &format!(
            "Made: {} ({}), Inkdwell {}\n\n",
            time(&report.made),
            report.shop.timezone,
            report.program
        );
        text + &self.setting.faint(&self.prose(&report.caution))
    }
}

/// The sign of a verdict's word.
fn sign(verdict: &str) -> &'static str {
    mark(match verdict {
        "cured" | "gelled" => Verdict::Cured,
        "under-cured" | "under-flashed" => Verdict::UnderCured,
        "overheated" | "over-flashed" => Verdict::Overheated,
        _ => Verdict::Unproven,
    })
}

fn told_alarm(alarm: &Alarm) -> String {
    let after = |what: &str, seconds: Option<f64>| match seconds {
        Some(seconds) => format!("{what} after {seconds:.0} s"),
        None => format!("not {what} yet"),
    };
    format!(
        "{} {} ({}, {})",
        hour(&alarm.at),
        alarm.what,
        after("seen", alarm.acknowledged_after_s),
        after("normal", alarm.normal_after_s)
    )
}

fn time(moment: &Moment) -> String {
    let written: String = moment.at.chars().take(19).collect();
    written.replace('T', " ")
}

fn hour(moment: &Moment) -> String {
    moment.at.chars().skip(11).take(8).collect()
}

fn cost(cost: &Cost) -> String {
    match (&cost.money, cost.prints) {
        (_, 0) => "nothing".to_owned(),
        (Known::Is(money), 1) => format!("1 print, {money:.2} in blanks"),
        (Known::Is(money), prints) => format!("{prints} prints, {money:.2} in blanks"),
        (Known::Not { unknown }, prints) => format!("{prints} prints; {unknown}"),
    }
}

fn troubles(totals: &Totals) -> String {
    let counted = [
        (totals.faults, "bad sample", "bad samples"),
        (totals.gaps, "gap", "gaps"),
        (totals.cut, "pass seen in part", "passes seen in part"),
        (totals.unseen, "print unseen", "prints unseen"),
        (totals.outages, "outage", "outages"),
        (totals.clock_steps, "clock step", "clock steps"),
        (totals.late_readings, "late reading", "late readings"),
        (totals.turned_away, "lost reading", "lost readings"),
    ];
    let told: Vec<String> = counted
        .iter()
        .filter(|(count, ..)| *count > 0)
        .map(|(count, one, more)| format!("{count} {}", if *count == 1 { one } else { more }))
        .collect();
    match told.is_empty() {
        true => "none".to_owned(),
        false => told.join(", "),
    }
}
