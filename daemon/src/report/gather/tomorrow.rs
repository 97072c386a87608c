//! What to do tomorrow: the few things that the data says would help most, each with its figure.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::{CelsiusDifference, MetresPerSecond};

use super::super::words::{is_good, prints, short, verdict_words};
use super::super::{Advice, Batch, Chamber, Figures, Known, Probe, Report};

/// So many things are said: nobody does more.
const MOST: usize = 3;
/// A peak that climbs or falls by less over a batch, in °C, is no drift worth a day's work.
const DRIFT: f64 = 3.0;
/// A calibration is told of when it is due in so many days.
const DUE_SOON: i64 = 14;
/// A batch has room to spare when its weakest print got at least so many times what it needs, and its worst harm stayed
/// below the share that follows.
const PLENTY: f64 = 1.5;
const HARMLESS: f64 = 0.5;

/// Something to do, with how much it matters: more first.
type Weighed = (f64, Advice);

/// The things that help most.
pub(super) fn advice(report: &Report, units: Units) -> Vec<Advice> {
    let mut weighed: Vec<Weighed> = Vec::new();
    weighed.extend(holds(report));
    for batch in &report.batches {
        weighed.extend(settings(batch, units));
        weighed.extend(drift(batch, report.chamber.known(), units));
        weighed.extend(evidence(batch));
        weighed.extend(spare(batch, units));
    }
    weighed.extend(report.probes.iter().filter_map(due));
    weighed.sort_by(|a, b| b.0.total_cmp(&a.0));
    // One thing of a kind for a batch, and no kind twice before another was said once.
    let mut said: Vec<Advice> = Vec::new();
    for twice in [false, true] {
        for (_, own) in &weighed {
            let known = said
                .iter()
                .any(|other| other.kind == own.kind && other.batch == own.batch);
            let kind = said.iter().any(|other| other.kind == own.kind);
            if said.len() < MOST && !known && (twice || !kind) {
                said.push(own.clone());
            }
        }
    }
    said
}

fn holds(report: &Report) -> Option<Weighed> {
    let open = report.batches.iter().flat_map(|batch| &batch.holds);
    let open = open.filter(|hold| hold.settled.is_none());
    let held: u64 = open.clone().map(|hold| hold.passes.len() as u64).sum();
    let holds = open.count() as u64;
    (holds > 0).then(|| {
        let what = format!(
            "Settle {}: {} still to be re-run, scrapped or released (`inkdwell holds`).",
            match holds {
                1 => "the open hold".to_owned(),
                holds => format!("the {holds} open holds"),
            },
            match held {
                1 => "1 print is".to_owned(),
                held => format!("{held} prints are"),
            }
        );
        let advice = said("holds", what, None, Some(held as f64), Some("prints"));
        (1e9, advice)
    })
}

fn said(
    kind: &str,
    what: String,
    batch: Option<u64>,
    figure: Option<f64>,
    unit: Option<&str>,
) -> Advice {
    Advice {
        kind: kind.to_owned(),
        what,
        batch,
        figure,
        unit: unit.map(str::to_owned),
    }
}

/// The weaker of measured and inferred prints, measured ones first.
fn best_known(batch: &Batch) -> Option<&Figures> {
    batch.figures.first()
}

fn belt(batch: &Batch, units: Units) -> String {
    match &batch.settings.belt_m_per_min {
        Known::Is(span) => format!(
            " (the belt ran at {})",
            units.speed(MetresPerSecond(span.mean / 60.0))
        ),
        Known::Not { .. } => String::new(),
    }
}

/// What put the station out of its recipe while the batch ran.
fn left(batch: &Batch) -> Option<String> {
    let departures = &batch.settings.recipe.known()?.departures;
    let first = departures.first()?;
    let more = match departures.len() {
        1 => String::new(),
        2 => ", and once more".to_owned(),
        many => format!(", and {} times more", many - 1),
    };
    Some(format!(
        "mend what put it out of its recipe ({}{more})",
        first.what
    ))
}

/// By how much the coolest print stayed below where cure counts.
fn coolest(batch: &Batch, figures: &Figures, units: Units) -> String {
    let least = figures.peak_c.least;
    match batch.ink.threshold_c {
        Some(threshold) if least < threshold => format!(
            " (the coolest peaked {} below where cure counts)",
            units.difference(CelsiusDifference(threshold - least))
        ),
        _ => String::new(),
    }
}

/// Too cool or too hot on the whole.
fn settings(batch: &Batch, units: Units) -> Option<Weighed> {
    let count = |verdict: &str| -> u64 {
        let own = batch.counts.iter().filter(|count| count.verdict == verdict);
        own.map(|count| count.prints).sum()
    };
    let (cool, hot) = (count("under-cured"), count("overheated"));
    let figures = best_known(batch)?;
    let job = &batch.job;
    if cool.max(hot) == 0 {
        return None;
    }
    let weight = 1e3 * cool.max(hot) as f64;
    if cool >= hot {
        let dose = figures.cure_best.as_ref()?;
        let what = format!(
            "Before “{job}” runs again, {}: {cool} of {} under-cured{}, the weakest with {:.2} of the cure it needs{}. \
             `inkdwell tune` with a ride gives the speed.",
            left(batch).unwrap_or_else(|| "slow the belt or mend the chamber".to_owned()),
            prints(batch.proof.prints),
            coolest(batch, figures, units),
            dose.least,
            belt(batch, units)
        );
        let advice = said(
            "settings",
            what,
            Some(batch.batch),
            Some(dose.least),
            Some("cure dose"),
        );
        return Some((weight, advice));
    }
    let worst = figures
        .harms
        .iter()
        .max_by(|a, b| a.best.greatest.total_cmp(&b.best.greatest))?;
    let what = format!(
        "Before “{job}” runs again, {}: {hot} of {} {}, the worst with {:.2} times what the fabric can take{}. `inkdwell \
         tune` gives the speeds that are safe.",
        left(batch).unwrap_or_else(|| "speed the belt up or cool the chamber".to_owned()),
        prints(batch.proof.prints),
        verdict_words("overheated", Some(&worst.harm)),
        worst.best.greatest,
        belt(batch, units)
    );
    let greatest = Some(worst.best.greatest);
    Some((
        weight,
        said(
            "settings",
            what,
            Some(batch.batch),
            greatest,
            Some("harm dose"),
        ),
    ))
}

/// A peak that climbs or falls, and which zone did so with it.
fn drift(batch: &Batch, chamber: Option<&Vec<Chamber>>, units: Units) -> Option<Weighed> {
    let trend = best_known(batch)?.trend.known()?;
    if trend.over_all_c.abs() < DRIFT {
        return None;
    }
    let way = if trend.over_all_c < 0.0 {
        "fell"
    } else {
        "climbed"
    };
    let by = |celsius: f64| units.difference(CelsiusDifference(celsius.abs()));
    let mut what = format!(
        "Look at the heat of {}: the peak {way} by {} over batch {}",
        batch.station,
        by(trend.over_all_c),
        batch.batch
    );
    let zone = chamber
        .into_iter()
        .flatten()
        .filter(|own| own.unit == "°C" && own.station.as_ref() == Some(&batch.station))
        .filter_map(|own| Some((own, moved(own, batch)?)))
        .filter(|(_, moved)| moved.signum() == trend.over_all_c.signum() && moved.abs() >= 1.0)
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
    match zone {
        Some((zone, moved)) => {
            what += &format!(", and {} {way} by {} with it.", zone.id, by(moved))
        }
        None => what += "; no zone probe shows why.",
    }
    let weight = 100.0 * trend.over_all_c.abs();
    let advice = said(
        "drift",
        what,
        Some(batch.batch),
        Some(trend.over_all_c),
        Some("°C"),
    );
    Some((weight, advice))
}

/// By how much a zone's mean moved from the first third of a batch to the last.
fn moved(zone: &Chamber, batch: &Batch) -> Option<f64> {
    let (first, last) = (batch.prints.first()?, batch.prints.last()?);
    let (begun, ended) = (first.at.steady_s, last.at.steady_s + 60.0);
    let means: Vec<f64> = zone
        .pieces
        .iter()
        .filter(|(begins, ..)| {
            let at = zone.from.steady_s + begins;
            at + zone.piece_s > begun && at < ended
        })
        .map(|(_, _, mean, _)| *mean)
        .collect();
    let third = means.len() / 3;
    if third == 0 {
        return None;
    }
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
    Some(mean(&means[means.len() - third..]) - mean(&means[..third]))
}

/// Too little evidence.
fn evidence(batch: &Batch) -> Option<Weighed> {
    let proof = &batch.proof;
    if proof.unseen == 0 || proof.prints == 0 {
        return None;
    }
    let what = format!(
        "Send a probe along more often on jobs such as “{}”, or lock a recipe so that the exit probe proves every print: \
         {} of {} went unseen.",
        batch.job,
        proof.unseen,
        prints(proof.prints)
    );
    let advice = said(
        "evidence",
        what,
        Some(batch.batch),
        Some(proof.unseen as f64),
        Some("prints"),
    );
    Some((50.0 * proof.unseen as f64, advice))
}

/// All good with room to spare.
fn spare(batch: &Batch, units: Units) -> Option<Weighed> {
    let all_good = batch.counts.iter().all(|count| is_good(&count.verdict));
    let figures = best_known(batch)?;
    let weakest = figures.cure_low.as_ref()?.least;
    let worst = figures
        .harms
        .iter()
        .map(|harm| harm.high.greatest)
        .fold(0.0, f64::max);
    if !all_good
        || weakest < PLENTY
        || worst > HARMLESS
        || batch.settings.belt_m_per_min.known().is_none()
    {
        return None;
    }
    let what = format!(
        "“{}” has room for a faster belt{}: its weakest print got at least {} times the cure that it needs. `inkdwell \
         tune` says how fast is still proved.",
        batch.job,
        belt(batch, units),
        short(weakest)
    );
    let advice = said(
        "room-to-spare",
        what,
        Some(batch.batch),
        Some(weakest),
        Some("cure dose"),
    );
    Some((weakest.min(50.0), advice))
}

/// A calibration that is due.
fn due(probe: &Probe) -> Option<Weighed> {
    let calibration = probe.calibration.known()?;
    let days = calibration.due_in_days?;
    if days > DUE_SOON {
        return None;
    }
    let due = calibration.due.as_deref().unwrap_or_default();
    let what = match days {
        days if days < 0 => format!(
            "Calibrate {}: it was due on {due}, {} days ago; what it says is in doubt since then.",
            probe.id, -days
        ),
        0 => format!("Calibrate {}: it is due today.", probe.id),
        days => format!(
            "Calibrate {}: it is due on {due}, in {days} days.",
            probe.id
        ),
    };
    let weight = if days < 0 { 2e3 } else { 200.0 };
    Some((
        weight,
        said("probe", what, None, Some(days as f64), Some("days")),
    ))
}
