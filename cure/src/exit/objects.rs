//! What lies on the belt, as an exit probe sees it.
//!
//! The probe looks at the belt until something that is warmer or colder passes under it. In distance along
//! the belt rather than in time every object of a batch looks alike, whatever the belt's speed: a garment
//! with its bare margins and, at the same place in each, its print.

/// A moment of an exit trace with the belt's way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seen {
    /// Seconds from the start of the trace.
    pub time: f64,
    /// The belt's way since then, in metres.
    pub way: f64,
    /// What the probe shows, in °C.
    pub celsius: f64,
}

/// Something that passed the probe.
#[derive(Debug, Clone, PartialEq)]
pub struct Object {
    /// When its leading edge passed.
    pub start: f64,
    /// When its trailing edge passed.
    pub end: f64,
    /// The belt's way at its leading edge, in metres.
    pub lead: f64,
    /// The belt's way at its trailing edge.
    pub trail: f64,
    /// Whether the trace begins or ends inside it.
    pub cut: bool,
    /// Good samples in it.
    pub samples: u64,
}

/// A departure from the belt that is smaller is the belt, in °C.
const LEAST_DEPARTURE: f64 = 3.0;
/// How many times the noise a departure must be.
const OVER_NOISE: f64 = 4.0;
/// A stretch of belt that is shorter does not part two objects, in metres: the probe's spot blurs it, and
/// a print may cross the belt's own temperature on its way from bare cloth to ink.
const SHORTEST_BELT: f64 = 0.06;
/// What is shorter is no garment, in metres.
const SHORTEST_OBJECT: f64 = 0.10;
/// How fast the belt's own temperature may be followed, as a share of what is new in each metre of it.
const FOLLOW: f64 = 3.0;

/// Finds objects in a trace. `belt` is the belt's own temperature at its start, where it is known.
pub fn find(trace: &[Seen], belt: Option<f64>) -> Vec<Object> {
    let Some(first) = trace.first() else {
        return Vec::new();
    };
    let noise = noise(trace);
    let threshold = LEAST_DEPARTURE.max(OVER_NOISE * noise);
    let mut own = belt.unwrap_or_else(|| level_at_start(trace));
    let mut runs: Vec<(usize, usize)> = Vec::new();
    let mut open: Option<usize> = None;
    let mut before = first.way;
    for (number, seen) in trace.iter().enumerate() {
        let away = (seen.celsius - own).abs() > threshold;
        if away {
            open.get_or_insert(number);
        } else {
            let step = (FOLLOW * (seen.way - before)).clamp(0.0, 0.5);
            own += step * (seen.celsius - own);
            if let Some(start) = open.take() {
                runs.push((start, number));
            }
        }
        before = seen.way;
    }
    if let Some(start) = open {
        runs.push((start, trace.len()));
    }
    joined(trace, &runs)
        .into_iter()
        .filter(|(start, end)| trace[end - 1].way - trace[*start].way >= SHORTEST_OBJECT)
        .map(|(start, end)| object(trace, start, end))
        .collect()
}

/// Runs that too little belt lies between are one.
fn joined(trace: &[Seen], runs: &[(usize, usize)]) -> Vec<(usize, usize)> {
    let mut joined: Vec<(usize, usize)> = Vec::new();
    for &(start, end) in runs {
        match joined.last_mut() {
            Some(last) if trace[start].way - trace[last.1 - 1].way < SHORTEST_BELT => last.1 = end,
            _ => joined.push((start, end)),
        }
    }
    joined
}

fn object(trace: &[Seen], start: usize, end: usize) -> Object {
    // An edge lies half-way between the last sample of the belt and the first of the object.
    let between = |a: usize, b: usize| {
        (
            0.5 * (trace[a].time + trace[b].time),
            0.5 * (trace[a].way + trace[b].way),
        )
    };
    let (begins, lead) = between(start.saturating_sub(1), start);
    let (ends, trail) = between(end - 1, end.min(trace.len() - 1));
    Object {
        start: begins,
        end: ends,
        lead,
        trail,
        cut: start == 0 || end == trace.len(),
        samples: trace
            .iter()
            .filter(|seen| seen.time >= begins && seen.time <= ends)
            .count() as u64,
    }
}

/// The standard deviation of a sample, from the differences of neighbours (their median, so that edges
/// do not count).
fn noise(trace: &[Seen]) -> f64 {
    let mut differences: Vec<f64> = trace
        .windows(2)
        .map(|pair| (pair[1].celsius - pair[0].celsius).abs())
        .collect();
    differences.sort_by(f64::total_cmp);
    let median = differences
        .get(differences.len() / 2)
        .copied()
        .unwrap_or(0.0);
    // The median of |x − y| for normal x and y is 0.954 standard deviations.
    median / 0.954
}

/// The belt's own temperature where nothing better is known: the median of what is seen first.
fn level_at_start(trace: &[Seen]) -> f64 {
    let until = trace.first().map_or(0.0, |seen| seen.way) + SHORTEST_BELT;
    let mut first: Vec<f64> = trace
        .iter()
        .take_while(|seen| seen.way <= until)
        .map(|seen| seen.celsius)
        .collect();
    first.sort_by(f64::total_cmp);
    first.get(first.len() / 2).copied().unwrap_or(f64::NAN)
}

/// The mean of what is seen over a stretch of the belt's way, and its spread; `None` where nothing is.
pub fn mean_between(trace: &[Seen], from: f64, to: f64) -> Option<f64> {
    let (mut sum, mut count) = (0.0, 0_u32);
    for seen in trace
        .iter()
        .filter(|seen| seen.way >= from && seen.way <= to)
    {
        sum += seen.celsius;
        count += 1;
    }
    (count > 0).then(|| sum / f64::from(count))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A belt at 90 °C with garments of 0.6 m every 0.75 m, their print at 0.2 to 0.45 m.
    fn belt(speed: f64, levels: &[(f64, f64)]) -> Vec<Seen> {
        let mut trace = Vec::new();
        let length = 0.5 + 0.75 * levels.len() as f64;
        let mut time = 0.0;
        while time * speed < length {
            let way = time * speed;
            let celsius = if way < 0.5 {
                90.0
            } else {
                let (number, place) = ((way - 0.5) / 0.75, (way - 0.5) % 0.75);
                let (bare, print) = levels[(number as usize).min(levels.len() - 1)];
                match place {
                    place if (0.2..0.45).contains(&place) => print,
                    place if place < 0.6 => bare,
                    _ => 90.0,
                }
            };
            let wobble = 0.3 * ((time * 977.0).sin() + (time * 1373.0).cos());
            trace.push(Seen {
                time,
                way,
                celsius: celsius + wobble,
            });
            time += 0.1;
        }
        trace
    }

    #[test]
    fn warm_and_cold_garments_are_found_at_any_speed() {
        let levels = [(130.0, 145.0), (82.0, 75.0), (120.0, 85.0), (140.0, 150.0)];
        for speed in [0.03, 0.045, 0.08] {
            let objects = find(&belt(speed, &levels), None);
            assert_eq!(objects.len(), 4, "{speed}");
            for (number, object) in objects.iter().enumerate() {
                assert!(
                    (object.lead - 0.5 - 0.75 * number as f64).abs() < 0.02,
                    "{object:?}"
                );
                assert!(
                    (object.trail - object.lead - 0.6).abs() < 0.03,
                    "{object:?}"
                );
            }
        }
    }

    #[test]
    fn the_prints_own_part_is_read_by_its_place() {
        let trace = belt(0.045, &[(130.0, 145.0), (100.0, 75.0)]);
        let objects = find(&trace, None);
        let print = |object: &Object| mean_between(&trace, object.lead + 0.25, object.lead + 0.4);
        assert!((print(&objects[0]).unwrap() - 145.0).abs() < 0.5);
        assert!((print(&objects[1]).unwrap() - 75.0).abs() < 0.5);
    }

    #[test]
    fn a_trace_that_begins_in_an_object_says_so() {
        let trace = belt(0.045, &[(130.0, 145.0), (130.0, 145.0)]);
        let late: Vec<Seen> = trace.into_iter().filter(|seen| seen.way > 0.7).collect();
        assert!(find(&late, Some(90.0))[0].cut);
    }
}
