//! Where a print is at which moment, and what its oven does meanwhile.

use super::oven::ZoneShift;

/// The belt's speed over time, in steps: each value holds from its time on.
#[derive(Debug, Clone, PartialEq)]
pub struct BeltSpeed {
    /// Times in seconds, rising, and speeds in m/s; the first holds before its time too.
    steps: Vec<(f64, f64)>,
    /// How far the belt has come at each of those times since the first.
    travelled: Vec<f64>,
}

impl BeltSpeed {
    /// A belt that always runs at one speed (m/s).
    pub fn steady(speed: f64) -> BeltSpeed {
        BeltSpeed::steps(vec![(0.0, speed)])
    }

    /// A belt whose speed (m/s) changes at times (s, rising); an empty list is a belt that stands.
    pub fn steps(steps: Vec<(f64, f64)>) -> BeltSpeed {
        let mut travelled = Vec::with_capacity(steps.len());
        let mut way = 0.0;
        for (number, (time, _)) in steps.iter().enumerate() {
            if number > 0 {
                let (before, speed) = steps[number - 1];
                way += speed * (time - before);
            }
            travelled.push(way);
        }
        BeltSpeed { steps, travelled }
    }

    /// The speed (m/s) at a time.
    pub fn at(&self, time: f64) -> f64 {
        self.steps.get(self.step(time)).map_or(0.0, |step| step.1)
    }

    /// How far the belt comes from one time to another, in metres.
    pub fn way(&self, from: f64, to: f64) -> f64 {
        self.since_first(to) - self.since_first(from)
    }

    /// When the belt has come so many metres after a time; `None` if it never does.
    pub fn when(&self, from: f64, metres: f64) -> Option<f64> {
        let target = self.since_first(from) + metres;
        for (number, &(start, speed)) in self.steps.iter().enumerate() {
            let end = self
                .steps
                .get(number + 1)
                .map_or(f64::INFINITY, |next| next.0);
            let begin = if number == 0 {
                f64::NEG_INFINITY
            } else {
                start
            };
            let time = start + (target - self.travelled[number]) / speed;
            if speed > 0.0 && time >= begin.max(from) - 1e-9 && time <= end {
                return Some(time.max(from));
            }
        }
        None
    }

    fn step(&self, time: f64) -> usize {
        self.steps
            .partition_point(|step| step.0 <= time)
            .saturating_sub(1)
    }

    fn since_first(&self, time: f64) -> f64 {
        let step = self.step(time);
        match (self.steps.get(step), self.travelled.get(step)) {
            (Some((start, speed)), Some(way)) => way + speed * (time - start),
            _ => 0.0,
        }
    }
}

/// By how much each zone is off over time: straight lines between points of (seconds, shift).
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ZoneShifts {
    zones: Vec<Vec<(f64, ZoneShift)>>,
}

impl ZoneShifts {
    /// Zones that stay as they are.
    pub fn none() -> ZoneShifts {
        ZoneShifts::default()
    }

    /// For each zone the points of its shift, in rising order of time.
    pub fn new(zones: Vec<Vec<(f64, ZoneShift)>>) -> ZoneShifts {
        ZoneShifts { zones }
    }

    /// The shift of every zone at a time.
    pub fn at(&self, time: f64) -> Vec<ZoneShift> {
        self.zones
            .iter()
            .map(|points| on_line(points, time))
            .collect()
    }

    /// Whether nothing ever shifts.
    pub(crate) fn are_still(&self) -> bool {
        self.zones.iter().all(Vec::is_empty)
    }
}

fn on_line(points: &[(f64, ZoneShift)], time: f64) -> ZoneShift {
    let after = points.partition_point(|point| point.0 <= time);
    match (
        after.checked_sub(1).map(|before| points[before]),
        points.get(after),
    ) {
        (Some((t0, a)), Some(&(t1, b))) => {
            let share = (time - t0) / (t1 - t0);
            ZoneShift {
                air: a.air + share * (b.air - a.air),
                panel: a.panel + share * (b.panel - a.panel),
            }
        }
        (Some((_, last)), None) => last,
        (None, _) => ZoneShift::default(),
    }
}

/// The passage of one print.
#[derive(Debug, Clone, PartialEq)]
pub struct Passage {
    /// Where it is laid on the belt, in metres from where the heated length begins (so negative).
    pub laid_at: f64,
    /// When, on the clock of `belt` and `shifts`, in seconds.
    pub laid_when: f64,
    /// Seconds that it is followed.
    pub lasting: f64,
    /// The belt.
    pub belt: BeltSpeed,
    /// The zones.
    pub shifts: ZoneShifts,
}

impl Passage {
    /// Its position `seconds` after it was laid.
    pub fn position(&self, seconds: f64) -> f64 {
        self.laid_at + self.belt.way(self.laid_when, self.laid_when + seconds)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_belt_that_stops_carries_nothing() {
        // By hand: 2 m at 0.1 m/s take 20 s; 10 s at rest after 8 s; the last 1.2 m at 0.05 m/s take 24 s.
        let belt = BeltSpeed::steps(vec![(0.0, 0.1), (8.0, 0.0), (18.0, 0.05)]);
        assert!((belt.way(0.0, 18.0) - 0.8).abs() < 1e-12);
        assert!((belt.when(0.0, 2.0).unwrap() - 42.0).abs() < 1e-9);
        assert!((belt.when(-5.0, 0.5).unwrap() - 0.0).abs() < 1e-9);
        assert_eq!(
            BeltSpeed::steps(vec![(0.0, 0.1), (5.0, 0.0)]).when(0.0, 1.0),
            None
        );
    }
}
