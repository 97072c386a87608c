//! What all shops showed.

use inkdwell_cure::heat::fit::DoubtParts;

use crate::call::Call;
use crate::shown::{Held, Recommendation, Refused, Shown};

fn quantile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let place = (sorted.len().saturating_sub(1)) as f64 * share;
    sorted
        .get(place.round() as usize)
        .copied()
        .unwrap_or(f64::NAN)
}

/// Prints what all shops showed.
pub fn report(shown: &[Shown], call: &Call) {
    let of = |part: usize, all: usize| {
        format!(
            "{part} of {all} ({:.1} %)",
            100.0 * part as f64 / all.max(1) as f64
        )
    };
    let with_window = shown.iter().filter(|one| one.fastest.is_some()).count();
    let windowless = shown.len() - with_window;
    println!(
        "{} shops, {} ride(s) each{}; without a safe speed {}",
        shown.len(),
        call.rides,
        if call.cloth {
            ", with a cloth junction"
        } else {
            ""
        },
        of(windowless, shown.len())
    );
    let errors = |name: &str, pick: fn(&Shown) -> &Vec<f64>| {
        let all: Vec<f64> = shown.iter().flat_map(pick).copied().collect();
        let sizes: Vec<f64> = all.iter().map(|error| error.abs()).collect();
        println!(
            "{name}: {:.2} to {:.2} C in 9 of 10, middle {:.2}; size: median {:.2}, 95 % within {:.2} C",
            quantile(&all, 0.05),
            quantile(&all, 0.95),
            quantile(&all, 0.5),
            quantile(&sizes, 0.5),
            quantile(&sizes, 0.95)
        );
    };
    errors("predicted less true peak", |one| &one.errors);
    errors("the same of unprinted cloth", |one| &one.cloth_errors);
    let pulls: Vec<f64> = shown
        .iter()
        .flat_map(|one| &one.pulls)
        .map(|pull| pull * pull)
        .collect();
    println!(
        "error of a garment's peak over its standard deviation: root mean square {:.2}",
        (pulls.iter().sum::<f64>() / pulls.len().max(1) as f64).sqrt()
    );
    let mut held = Held::new();
    for (name, (inside, asked)) in shown.iter().flat_map(|one| &one.held) {
        let sum = held.entry(name).or_default();
        *sum = (sum.0 + inside, sum.1 + asked);
    }
    for (name, (inside, asked)) in held {
        println!("band holds {name}: {}", of(inside as usize, asked as usize));
    }
    recommendations(shown, with_window, windowless, of);
}

fn ratios(name: &str, shown: &[Shown], fastest: fn(&Shown) -> Option<f64>) {
    let ratios: Vec<f64> = shown
        .iter()
        .filter_map(|one| Some(one.recommended.as_ref()?.belt / fastest(one)?))
        .collect();
    println!(
        "recommended over fastest safe for {name}: median {:.3}, quartiles {:.3} and {:.3}",
        quantile(&ratios, 0.5),
        quantile(&ratios, 0.25),
        quantile(&ratios, 0.75)
    );
}

fn recommendations(
    shown: &[Shown],
    with_window: usize,
    windowless: usize,
    of: impl Fn(usize, usize) -> String,
) {
    let made: Vec<&Recommendation> = shown
        .iter()
        .filter_map(|one| one.recommended.as_ref())
        .collect();
    ratios("the middle garment", shown, |one| one.fastest);
    ratios("95 % of garments", shown, |one| one.fastest_for_most);
    let safe = made.iter().filter(|one| one.middle_is_good).count();
    let batch = made.iter().filter(|one| one.good_share >= 0.95).count();
    println!("safe for the middle garment: {}", of(safe, made.len()));
    println!("safe for 95 % of garments: {}", of(batch, made.len()));
    let refused = shown
        .iter()
        .filter(|one| one.fastest.is_none() && one.recommended.is_none())
        .count();
    println!(
        "refused where no speed is safe: {}",
        of(refused, windowless)
    );
    let missed = shown
        .iter()
        .filter(|one| one.fastest.is_some() && one.recommended.is_none())
        .count();
    println!("refused where one is: {}", of(missed, with_window));
    for (reason, name) in [
        (
            Refused::NotForTheBatch,
            "no speed is good for 95 % of its garments",
        ),
        (Refused::Doubt, "the doubt is wider than the window"),
        (Refused::NotEvenLikely, "not even a likely window was found"),
    ] {
        let number = shown
            .iter()
            .filter(|one| one.refused_for == Some(reason))
            .count();
        println!("  of them because {name}: {number}");
    }
    let parts: Vec<DoubtParts> = made.iter().filter_map(|one| one.parts).collect();
    let share = |name: &str, pick: fn(&DoubtParts) -> f64| {
        let all: Vec<f64> = parts.iter().map(pick).collect();
        println!(
            "doubt of the cure there from {name}: median {:.2} C",
            quantile(&all, 0.5)
        );
    };
    share("unknowns", |parts| parts.unknowns.0);
    share("the model's error", |parts| parts.model.0);
    share("garments' mass", |parts| parts.mass.0);
    share("garments' moisture", |parts| parts.moisture.0);
    share("the probe", |parts| parts.probe.0);
    for (number, name) in [(0, "fit"), (1, "window")] {
        let all: Vec<f64> = shown.iter().map(|one| one.seconds[number]).collect();
        let (median, most) = (quantile(&all, 0.5), quantile(&all, 0.95));
        println!("computing time of a {name}: median {median:.2} s, 95 % within {most:.2} s");
    }
}
