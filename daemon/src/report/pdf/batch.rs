//! One batch on paper.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, MetresPerSecond};

use super::super::picture::{self, Kind};
use super::super::words::{prints as so_many, verdict_words};
use super::super::{Batch, Figures, Hold, Known, Print, Spread};
use super::paper::{Paper, column};
use super::{counts, hour, money, time};
use crate::record::{Dose, Settled};

/// Everything of a batch.
pub(super) fn batch(paper: &mut Paper, batch: &Batch, units: Units) {
    paper.heading(2, &format!("Batch {}: {}", batch.batch, batch.job));
    paper.prose(&match batch.counts.is_empty() {
        true => "No print.".to_owned(),
        false => counts(&batch.counts),
    });
    paper.prose(&batch.proof.words);
    settings(paper, batch, units);
    match (&batch.rides, picture::rides(batch, units)) {
        (_, Some(picture)) => paper.picture(picture),
        (Known::Not { unknown }, None) => paper.faint(&format!("Rides: {unknown}")),
        _ => {}
    }
    for figures in &batch.figures {
        what_they_got(paper, batch, figures, units);
    }
    holds(paper, batch);
    sign_offs(paper, batch);
    for note in &batch.notes {
        paper.prose(&format!(
            "Note: {} ({} by {})",
            note.note,
            time(&note.written.at),
            note.written.by
        ));
    }
    prints(paper, batch, units);
}

fn settings(paper: &mut Paper, batch: &Batch, units: Units) {
    let speed = |own: f64| units.speed(MetresPerSecond(own / 60.0));
    let closed = batch.closed.as_ref();
    let closed = closed.map_or("still open".to_owned(), |own| {
        format!("closed {} by {}", hour(&own.at), own.by)
    });
    let limits: String = batch
        .fabric
        .limits
        .iter()
        .map(|limit| {
            format!(
                "; {} by {}",
                verdict_words("overheated", Some(&limit.harm)),
                limit.law
            )
        })
        .collect();
    let belt = match &batch.settings.belt_m_per_min {
        Known::Is(span) => format!(
            "{}, from {} to {}",
            speed(span.mean),
            speed(span.least),
            speed(span.greatest)
        ),
        Known::Not { unknown } => unknown.clone(),
    };
    let recipe = match &batch.settings.recipe {
        Known::Not { unknown } => unknown.clone(),
        Known::Is(own) => {
            let mut told = own.recipe.to_string();
            told += &own
                .belt_m_per_min
                .map_or(String::new(), |belt| format!(", belt {}", speed(belt)));
            for (zone, at) in &own.zones_c {
                told += &format!(", {zone} {}", units.temperature(Celsius(*at)));
            }
            for left in &own.departures {
                let lasted = left
                    .lasted_s
                    .map_or("not back when the batch ended".to_owned(), |own| {
                        format!("for {own:.0} s")
                    });
                told += &format!("; left at {}: {}, {lasted}", hour(&left.at), left.what);
            }
            told
        }
    };
    let row = |name: &str, told: String| vec![name.to_owned(), told];
    let rows = [
        row(
            "Ran",
            format!(
                "{} by {}, {closed}, at {}",
                time(&batch.opened.at),
                batch.opened.by,
                batch.station
            ),
        ),
        row(
            "Ink",
            format!(
                "{}: {}. Source: {}",
                batch.ink.name, batch.ink.law, batch.ink.source
            ),
        ),
        row(
            "Fabric",
            format!(
                "{}{limits}. Source: {}",
                batch.fabric.name, batch.fabric.source
            ),
        ),
        row("Belt", belt),
        row("Recipe", recipe),
    ];
    paper.table(&[column("", 0.8, false), column("", 6.0, false)], &rows);
}

fn what_they_got(paper: &mut Paper, batch: &Batch, figures: &Figures, units: Units) {
    paper.heading(
        3,
        &format!("{} {}", so_many(figures.prints), figures.evidence),
    );
    let columns = [
        column("", 2.2, false),
        column("least", 1.0, true),
        column("quarter below", 1.2, true),
        column("half below", 1.0, true),
        column("quarter above", 1.2, true),
        column("greatest", 1.0, true),
        column("mean", 1.0, true),
    ];
    let celsius = |own: f64| format!("{:.1}", units.temperature_number(Celsius(own)));
    let plain = |own: f64| format!("{own:.1}");
    let dose = |own: f64| format!("{own:.2}");
    let mut rows = vec![
        row(
            &format!("peak, {}", units.degree()),
            &figures.peak_c,
            &celsius,
        ),
        row("time above, s", &figures.time_above_s, &plain),
    ];
    rows.extend(
        figures
            .cure_best
            .as_ref()
            .map(|own| row("cure dose", own, &dose)),
    );
    rows.extend(
        figures
            .cure_low
            .as_ref()
            .map(|own| row("cure dose, low end", own, &dose)),
    );
    for harm in &figures.harms {
        rows.push(row(
            &format!("{} dose, high end", harm.harm),
            &harm.high,
            &dose,
        ));
    }
    paper.table(&columns, &rows);
    let mut told = match &figures.trend {
        Known::Is(trend) => {
            let way = if trend.over_all_c < 0.0 {
                "fell"
            } else {
                "climbed"
            };
            let by = units.difference(CelsiusDifference(trend.over_all_c.abs()));
            format!("The peak {way} by {by} over the batch. ")
        }
        Known::Not { unknown } => format!("{unknown} "),
    };
    told += &match &figures.capability {
        Known::Is(own) => format!(
            "Capability of the cure, Cpk: {:.2}, with 95 % confidence from {:.2} to {:.2}.",
            own.cpk.best, own.cpk.low, own.cpk.high
        ),
        Known::Not { unknown } => format!("No capability: {unknown}"),
    };
    paper.faint(&told);
    if let Some(picture) = picture::prints(batch, figures, units) {
        paper.picture(picture);
    }
}

fn row(name: &str, spread: &Spread, tell: &dyn Fn(f64) -> String) -> Vec<String> {
    let figures = [
        spread.least,
        spread.lower_quartile,
        spread.median,
        spread.upper_quartile,
        spread.greatest,
        spread.mean,
    ];
    [name.to_owned()]
        .into_iter()
        .chain(figures.map(tell))
        .collect()
}

fn holds(paper: &mut Paper, batch: &Batch) {
    paper.heading(3, "Holds");
    if batch.holds.is_empty() {
        paper.prose("None.");
        return;
    }
    let columns = [
        column("Hold", 0.6, true),
        column("Why", 1.3, false),
        column("Prints", 2.2, false),
        column("Opened", 1.5, false),
        column("Settled", 3.0, false),
    ];
    let rows: Vec<Vec<String>> = batch.holds.iter().map(|own| hold(batch, own)).collect();
    paper.table(&columns, &rows);
    paper.prose(&format!("Scrapped: {}.", money(&batch.scrapped)));
}

fn hold(batch: &Batch, hold: &Hold) -> Vec<String> {
    let number = |pass: &u64| {
        let own = batch.prints.iter().find(|print| print.pass == *pass);
        own.and_then(|print| print.print)
            .unwrap_or(*pass)
            .to_string()
    };
    let prints: Vec<String> = hold.passes.iter().map(number).collect();
    let settled = match &hold.settled {
        None => "open".to_owned(),
        Some(own) => {
            let word = match own.outcome {
                Settled::ReRun => "re-run",
                Settled::Scrapped => "scrapped",
                Settled::Released => "released",
            };
            format!(
                "{word}: {} ({} by {})",
                own.why,
                time(&own.decided.at),
                own.decided.by
            )
        }
    };
    vec![
        hold.hold.to_string(),
        signed(&hold.verdict, hold.harm.as_deref()),
        prints.join(", "),
        time(&hold.opened),
        settled,
    ]
}

fn signed(verdict: &str, harm: Option<&str>) -> String {
    format!(
        "{} {}",
        Kind::of(verdict).sign(),
        verdict_words(verdict, harm)
    )
}

fn sign_offs(paper: &mut Paper, batch: &Batch) {
    paper.heading(3, "Sign-off tests");
    if batch.sign_offs.tests.is_empty() {
        paper.prose("None recorded. A wash test is what proves cure in the end.");
        return;
    }
    let columns = [
        column("Test", 1.5, false),
        column("Print", 0.9, false),
        column("Result", 2.4, false),
        column("Predicted", 2.2, false),
        column("By", 1.6, false),
    ];
    let rows: Vec<Vec<String>> = batch
        .sign_offs
        .tests
        .iter()
        .map(|test| {
            let how = if test.passed { "passed" } else { "failed" };
            let predicted = match (&test.verdict, &test.cure) {
                (Some(own), Some(cure)) => format!("{own}, cure {}", doses(cure)),
                (Some(own), None) => own.clone(),
                _ => "–".to_owned(),
            };
            vec![
                test.method.clone(),
                test.pass
                    .map_or("not said".to_owned(), |pass| format!("pass {pass}")),
                format!("{how}: {}", test.result),
                predicted,
                format!("{}, {}", test.recorded.by, time(&test.recorded.at)),
            ]
        })
        .collect();
    paper.table(&columns, &rows);
    for review in &batch.sign_offs.review {
        paper.prose(review);
    }
}

fn doses(dose: &Dose) -> String {
    format!("{:.2} ({:.2} to {:.2})", dose.best, dose.low, dose.high)
}

fn prints(paper: &mut Paper, batch: &Batch, units: Units) {
    if batch.prints.is_empty() {
        return;
    }
    paper.heading(3, "Every print");
    let columns = [
        column("Print", 0.8, true),
        column("In", 1.1, false),
        column("Verdict", 2.6, false),
        column("Evidence", 1.2, false),
        column(
            if units == Units::Us {
                "Peak, °F"
            } else {
                "Peak, °C"
            },
            0.8,
            true,
        ),
        column("Above, s", 1.0, true),
        column("Cure dose", 1.8, false),
        column("Worst harm dose", 1.9, false),
        column("Proof", 1.5, false),
    ];
    let rows: Vec<Vec<String>> = batch.prints.iter().map(|own| print(own, units)).collect();
    paper.table(&columns, &rows);
}

fn print(print: &Print, units: Units) -> Vec<String> {
    let number = |own: Option<f64>| own.map_or("–".to_owned(), |own| format!("{own:.1}"));
    let worst = print
        .harms
        .iter()
        .max_by(|a, b| a.dose.high.total_cmp(&b.dose.high));
    let mut verdict = signed(&print.verdict, print.harm.as_deref());
    if !print.reasons.is_empty() {
        verdict += &format!(": {}", print.reasons.join(" "));
    }
    let holds: String = print
        .holds
        .iter()
        .map(|hold| format!(", hold {hold}"))
        .collect();
    vec![
        print.print.map_or("–".to_owned(), |own| own.to_string()),
        hour(&print.at),
        verdict,
        print.evidence.clone(),
        number(
            print
                .peak_c
                .map(|own| units.temperature_number(Celsius(own))),
        ),
        number(print.time_above_s),
        print.cure.map_or("–".to_owned(), |own| doses(&own)),
        worst.map_or("–".to_owned(), |own| {
            format!("{} {}", own.harm, doses(&own.dose))
        }),
        format!("pass {}, record {}{holds}", print.pass, print.record),
    ]
}
