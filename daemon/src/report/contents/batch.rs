//! One batch.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, MetresPerSecond};

use super::super::picture;
use super::super::words::{prints as so_many, verdict_words};
use super::super::{Batch, Figures, Hold, Known, Print, Recipe, Settings, SignOff, Spread};
use super::times::{Clockface, hour, lasting, time};
use super::{Block, Line, Row, Table, figures, heading, money, prose, small, words};
use crate::record::{Dose, Settled};

/// Everything of a batch.
pub(super) fn batch(batch: &Batch, units: Units) -> Vec<Block> {
    let mut blocks = vec![
        Block::Heading {
            level: 2,
            id: Some(format!("batch-{}", batch.batch)),
            text: format!("Batch {}: {}", batch.batch, batch.job),
        },
        prose(counts(batch)),
        prose(&*batch.proof.words),
        Block::Facts(settings(batch, units)),
    ];
    match (picture::rides(batch, units), &batch.rides) {
        (Some(rides), _) => blocks.push(Block::Figure(rides)),
        (None, Known::Not { unknown }) => blocks.push(small(format!("Rides: {unknown}"))),
        (None, Known::Is(_)) => {}
    }
    for figures in &batch.figures {
        blocks.extend(what_they_got(batch, figures, units));
    }
    blocks.extend(holds(batch));
    blocks.extend(sign_offs(batch));
    if !batch.notes.is_empty() {
        blocks.push(heading(3, "Notes"));
        blocks.extend(batch.notes.iter().map(|note| {
            let by = format!(" {} by {}", time(&note.written.at), note.written.by);
            prose(Line::of(&*note.note).small(by))
        }));
    }
    blocks.extend(prints(batch, units));
    blocks
}

fn counts(batch: &Batch) -> Line {
    if batch.counts.is_empty() {
        return Line::of("No print.");
    }
    let mut line = Line::default();
    for (place, count) in batch.counts.iter().enumerate() {
        let lead = if place > 0 { ", " } else { "" };
        line = line
            .say(format!("{lead}{} ", count.prints))
            .verdict(&count.verdict, count.harm.as_deref());
    }
    line.say(".")
}

fn settings(batch: &Batch, units: Units) -> Vec<(&'static str, Line)> {
    let Settings {
        belt_m_per_min,
        recipe,
    } = &batch.settings;
    let closed = batch.closed.as_ref();
    let closed = closed.map_or("still open".to_owned(), |own| {
        format!("closed {} by {}", hour(&own.at), own.by)
    });
    let ran = format!(
        "{} by {}, {closed}, at {}",
        time(&batch.opened.at),
        batch.opened.by,
        batch.station
    );
    let mut fabric = Line::of(&*batch.fabric.name);
    if batch.fabric.limits.is_empty() {
        fabric = fabric.say(": no limit is known");
    }
    for limit in &batch.fabric.limits {
        let word = verdict_words("overheated", Some(&limit.harm));
        fabric = fabric.say(format!("; {word} by {}", limit.law));
    }
    let source = |own: &str| format!("Source: {own}");
    let belt = match belt_m_per_min {
        Known::Not { unknown } => unknown.clone(),
        Known::Is(span) => {
            let [mean, least, greatest] =
                [span.mean, span.least, span.greatest].map(|own| speed(own, units));
            match least == greatest {
                true => mean,
                false => format!("{mean}, from {least} to {greatest}"),
            }
        }
    };
    vec![
        ("Ran", Line::of(ran)),
        (
            "Ink",
            Line::of(format!("{}: {}", batch.ink.name, batch.ink.law))
                .turn()
                .small(source(&batch.ink.source)),
        ),
        ("Fabric", fabric.turn().small(source(&batch.fabric.source))),
        ("Belt", Line::of(belt)),
        (
            "Recipe",
            match recipe {
                Known::Not { unknown } => Line::of(&**unknown),
                Known::Is(own) => against(own, units),
            },
        ),
    ]
}

fn speed(m_per_min: f64, units: Units) -> String {
    units.speed(MetresPerSecond(m_per_min / 60.0))
}

/// What the recipe asks, and when the station was out of it.
fn against(recipe: &Recipe, units: Units) -> Line {
    let mut asks = vec![recipe.recipe.to_string()];
    asks.extend(
        recipe
            .belt_m_per_min
            .map(|own| format!("belt {}", speed(own, units))),
    );
    asks.extend(
        recipe
            .zones_c
            .iter()
            .map(|(zone, at)| format!("{zone} {}", units.temperature(Celsius(*at)))),
    );
    let mut line = Line::of(asks.join(", "));
    if recipe.departures.is_empty() {
        line = line.say("; never left");
    }
    for left in &recipe.departures {
        let lasted = match left.lasted_s {
            Some(lasted) => format!("for {}", lasting(lasted)),
            None => "and not back when the batch ended".to_owned(),
        };
        line = line.turn().say(format!(
            "Left at {}: {}, {lasted}",
            hour(&left.at),
            left.what
        ));
    }
    line
}

fn what_they_got(batch: &Batch, got: &Figures, units: Units) -> Vec<Block> {
    let columns = vec![
        words("", 2.2),
        figures("least", 1.0),
        figures("quarter below", 1.2),
        figures("half below", 1.0),
        figures("quarter above", 1.2),
        figures("greatest", 1.0),
        figures("mean", 1.0),
    ];
    let celsius = |own: f64| format!("{:.1}", units.temperature_number(Celsius(own)));
    let plain = |own: f64| format!("{own:.1}");
    let dose = |own: f64| format!("{own:.2}");
    let degree = units.degree();
    let mut rows = vec![
        row(&format!("peak, {degree}"), &got.peak_c, &celsius),
        row("time above, s", &got.time_above_s, &plain),
    ];
    let cure = [
        ("cure dose", &got.cure_best),
        ("cure dose, low end", &got.cure_low),
    ];
    rows.extend(
        cure.into_iter()
            .filter_map(|(name, own)| Some(row(name, own.as_ref()?, &dose))),
    );
    for harm in &got.harms {
        let name = format!("{} dose, high end", harm.harm);
        rows.push(row(&name, &harm.high, &dose));
    }
    let mut blocks = vec![
        heading(3, format!("{} {}", so_many(got.prints), got.evidence)),
        Table::of("what they got", columns, rows),
        small(in_words(got, units)),
    ];
    blocks.extend(picture::prints(batch, got, units).map(Block::Figure));
    blocks
}

fn in_words(got: &Figures, units: Units) -> Line {
    let pass = |line: Line, pass: u64| line.pass(pass, format!("pass {pass}"));
    let mut line = match &got.cure_low {
        Some(cure) => pass(Line::of("Weakest cure: "), cure.least_pass),
        None => Line::of("Between colours no cure is asked for"),
    };
    line = pass(line.say(". Hottest: "), got.peak_c.greatest_pass).say(". ");
    line = line.say(match &got.trend {
        Known::Not { unknown } => format!("{unknown} "),
        Known::Is(trend) => {
            let way = match trend.over_all_c < 0.0 {
                true => "fell",
                false => "climbed",
            };
            let by = units.difference(CelsiusDifference(trend.over_all_c.abs()));
            let chance = chance(trend.by_chance);
            format!("The peak {way} by {by} over the batch (by chance: {chance}). ")
        }
    });
    line.say(match &got.capability {
        Known::Not { unknown } => format!("No capability: {unknown}"),
        Known::Is(own) => format!(
            "Capability of the cure, Cpk: {:.2}, with 95 % confidence from {:.2} to {:.2}, of {}.",
            own.cpk.best,
            own.cpk.low,
            own.cpk.high,
            so_many(own.prints)
        ),
    })
}

fn chance(share: f64) -> String {
    match share < 0.001 {
        true => "less than 1 in 1000".to_owned(),
        false => format!("{:.1} %", share * 100.0),
    }
}

fn row(name: &str, spread: &Spread, tell: &dyn Fn(f64) -> String) -> Row {
    let told = [
        spread.least,
        spread.lower_quartile,
        spread.median,
        spread.upper_quartile,
        spread.greatest,
        spread.mean,
    ];
    let told = told.into_iter().map(|own| Line::of(tell(own)));
    let cells: Vec<Line> = [Line::of(name)].into_iter().chain(told).collect();
    cells.into()
}

fn holds(batch: &Batch) -> Vec<Block> {
    if batch.holds.is_empty() {
        return vec![heading(3, "Holds"), prose("None.")];
    }
    let columns = vec![
        figures("Hold", 0.5),
        words("Why", 1.2),
        words("Prints", 2.0),
        words("Opened", 1.0),
        words("Settled", 3.4),
    ];
    let face = Clockface::of(batch.holds.iter().map(|own| &own.opened));
    let rows = batch.holds.iter().map(|own| {
        Row::from(vec![
            Line::of(own.hold.to_string()),
            Line::default().verdict(&own.verdict, own.harm.as_deref()),
            held(batch, own),
            Line::of(face.tell(&own.opened)),
            settled(own),
        ])
    });
    vec![
        heading(3, "Holds"),
        Table::of("holds", columns, rows.collect()),
        prose(Line::of("Scrapped: ").and(money(&batch.scrapped)).say(".")),
    ]
}

/// So many prints of a hold are named.
const NAMED: usize = 40;

fn held(batch: &Batch, hold: &Hold) -> Line {
    let print = |pass: u64| {
        let own = batch.prints.iter().find(|print| print.pass == pass);
        own.and_then(|print| print.print).unwrap_or(pass)
    };
    let mut line = Line::default();
    for (place, pass) in hold.passes.iter().take(NAMED).enumerate() {
        if place > 0 {
            line = line.say(", ");
        }
        line = line.pass(*pass, print(*pass).to_string());
    }
    match hold.passes.len() > NAMED {
        true => line.say(format!(" and {} more", hold.passes.len() - NAMED)),
        false => line,
    }
}

fn settled(hold: &Hold) -> Line {
    let Some(settled) = &hold.settled else {
        return Line::default().strong("open");
    };
    let word = match settled.outcome {
        Settled::ReRun => "re-run",
        Settled::Scrapped => "scrapped",
        Settled::Released => "released",
    };
    let by = format!(" {} by {}", time(&settled.decided.at), settled.decided.by);
    Line::of(format!("{word}: {}", settled.why)).small(by)
}

fn sign_offs(batch: &Batch) -> Vec<Block> {
    let title = heading(3, "Sign-off tests");
    if batch.sign_offs.tests.is_empty() {
        let none = "None recorded. A wash test is what proves cure in the end.";
        return vec![title, prose(none)];
    }
    let columns = vec![
        words("Test", 1.3),
        words("Print", 0.9),
        words("Result", 2.2),
        words("Predicted", 2.2),
        words("By", 1.8),
    ];
    let rows = batch.sign_offs.tests.iter().map(|own| sign_off(batch, own));
    let mut blocks = vec![title, Table::of("tests", columns, rows.collect())];
    let reviews = batch.sign_offs.review.iter();
    blocks.extend(reviews.map(|own| Block::Review(own.clone())));
    blocks
}

fn sign_off(batch: &Batch, test: &SignOff) -> Row {
    let print = match test.pass {
        None => Line::of("not said which"),
        Some(pass) => {
            let own = batch.prints.iter().find(|print| print.pass == pass);
            let own = own.and_then(|print| print.print);
            let name = own.map_or(format!("pass {pass}"), |print| format!("print {print}"));
            Line::default().pass(pass, name)
        }
    };
    let result = match test.passed {
        true => Line::of("passed"),
        false => Line::default().strong("failed"),
    };
    let predicted = match (&test.verdict, test.cure) {
        (Some(own), Some(cure)) => format!("{own}, cure {}", doses(&cure)),
        (Some(own), None) => own.clone(),
        _ => "–".to_owned(),
    };
    let by = format!(" {}", time(&test.recorded.at));
    Row::from(vec![
        Line::of(&*test.method),
        print,
        result.say(format!(": {}", test.result)),
        Line::of(predicted),
        Line::of(&*test.recorded.by).small(by),
    ])
}

fn doses(dose: &Dose) -> String {
    format!("{:.2} ({:.2} to {:.2})", dose.best, dose.low, dose.high)
}

fn prints(batch: &Batch, units: Units) -> Vec<Block> {
    if batch.prints.is_empty() {
        return Vec::new();
    }
    let columns = vec![
        figures("Print", 0.75),
        words("In", 1.3),
        words("Verdict", 2.6),
        words("Evidence", 1.35),
        figures(format!("Peak, {}", units.degree()), 0.9),
        figures("Above, s", 1.2),
        words("Cure dose", 1.7),
        words("Worst harm dose", 1.9),
        words("Proof", 1.5),
    ];
    let face = Clockface::of(batch.prints.iter().map(|own| &own.at));
    let rows = batch.prints.iter().map(|own| print(own, face, units));
    vec![
        heading(3, "Every print"),
        Table::of("every print", columns, rows.collect()),
        small(
            "Doses: best, and in brackets at the low and the high end of the probe's uncertainty (k = 2); 1 is enough for the \
             ink, and the limit for the fabric. Proof: the pass and the record of the journal's chain.",
        ),
    ]
}

fn print(print: &Print, face: Clockface, units: Units) -> Row {
    let number = |own: Option<f64>, tell: &dyn Fn(f64) -> f64| {
        Line::of(own.map_or("–".to_owned(), |own| format!("{:.1}", tell(own))))
    };
    let harms = print.harms.iter();
    let worst = harms.max_by(|a, b| a.dose.high.total_cmp(&b.dose.high));
    let mut verdict = Line::default().verdict(&print.verdict, print.harm.as_deref());
    for reason in &print.reasons {
        verdict = verdict.turn().small(&**reason);
    }
    let mut proof = format!("pass {}, record {}", print.pass, print.record);
    for hold in &print.holds {
        proof += &format!(", hold {hold}");
    }
    Row {
        id: Some(format!("pass-{}", print.pass)),
        cells: vec![
            Line::of(print.print.map_or("–".to_owned(), |own| own.to_string())),
            Line::of(face.tell(&print.at)),
            verdict,
            Line::of(&*print.evidence),
            number(print.peak_c, &|own| units.temperature_number(Celsius(own))),
            number(print.time_above_s, &|own| own),
            Line::of(print.cure.map_or("–".to_owned(), |own| doses(&own))),
            Line::of(worst.map_or("–".to_owned(), |own| {
                format!("{} {}", own.harm, doses(&own.dose))
            })),
            Line::of(proof),
        ],
    }
}
