//! The belt's way over time, from its speed signal or from a speed that is only noted.

/// Readings of a belt that are further from what both neighbours agree on are no speed: as a share.
const GLITCH: f64 = 0.5;
/// Neighbours agree within this share.
const AGREE: f64 = 0.1;
/// No belt of a dryer is faster, in m/s.
const FASTEST: f64 = 10.0;

/// The belt's way by time: straight between knots, and on at the first or last speed beyond them.
#[derive(Debug, Clone, PartialEq)]
pub struct Way {
    /// Seconds and metres, both rising.
    knots: Vec<(f64, f64)>,
    /// Speeds before the first knot and after the last, in m/s.
    ends: (f64, f64),
    /// Stretches of time in which nothing was measured.
    blind: Vec<(f64, f64)>,
    measured: bool,
}

impl Way {
    /// A belt that runs at a noted speed (m/s) all the time.
    pub fn steady(speed: f64) -> Way {
        Way {
            knots: vec![(0.0, 0.0)],
            ends: (speed, speed),
            blind: Vec::new(),
            measured: false,
        }
    }

    /// From readings of a speed signal: seconds and m/s, NaN where the reading was bad. Where readings are
    /// further apart than `max_gap` (seconds) the belt was not seen. `None` without a good reading.
    pub fn measured(readings: &[(f64, f64)], max_gap: f64) -> Option<Way> {
        let good = without_glitches(readings);
        let (first, last) = (*good.first()?, *good.last()?);
        let mut knots = Vec::with_capacity(good.len());
        let mut blind = Vec::new();
        let (mut before, mut way) = (first, 0.0);
        for reading in good {
            let seconds = reading.0 - before.0;
            way += 0.5 * (reading.1 + before.1) * seconds;
            if seconds > max_gap {
                blind.push((before.0, reading.0));
            }
            knots.push((reading.0, way));
            before = reading;
        }
        Some(Way {
            knots,
            ends: (first.1, last.1),
            blind,
            measured: true,
        })
    }

    /// The same belt, faster by a factor all the time.
    pub fn faster(&self, factor: f64) -> Way {
        let knots = self.knots.iter();
        Way {
            knots: knots.map(|knot| (knot.0, factor * knot.1)).collect(),
            ends: (factor * self.ends.0, factor * self.ends.1),
            ..self.clone()
        }
    }

    /// Whether a signal told it.
    pub fn is_measured(&self) -> bool {
        self.measured
    }

    /// Metres of belt that have passed at a time, from where the first knot is.
    pub fn at(&self, time: f64) -> f64 {
        let after = self.knots.partition_point(|knot| knot.0 <= time);
        let Some(before) = after.checked_sub(1).map(|before| self.knots[before]) else {
            let first = self.knots[0];
            return first.1 + self.ends.0 * (time - first.0);
        };
        match self.knots.get(after) {
            Some(next) => before.1 + (next.1 - before.1) * (time - before.0) / (next.0 - before.0),
            None => before.1 + self.ends.1 * (time - before.0),
        }
    }

    /// When so many metres of belt have passed, for the first time; `None` where a standing belt never
    /// brings it about.
    pub fn when(&self, way: f64) -> Option<f64> {
        let after = self.knots.partition_point(|knot| knot.1 < way);
        let beyond =
            |knot: (f64, f64), speed: f64| (speed > 0.0).then(|| knot.0 + (way - knot.1) / speed);
        let Some(next) = self.knots.get(after) else {
            return beyond(self.knots[self.knots.len() - 1], self.ends.1);
        };
        let Some(before) = after.checked_sub(1).map(|before| self.knots[before]) else {
            return if next.1 == way {
                Some(next.0)
            } else {
                beyond(*next, self.ends.0)
            };
        };
        Some(before.0 + (next.0 - before.0) * (way - before.1) / (next.1 - before.1))
    }

    /// How much of a stretch of time nobody measured the belt in, in seconds: holes of the signal, and what
    /// lies before its first reading or after its last. A noted speed was measured never.
    pub fn unseen(&self, from: f64, to: f64) -> f64 {
        let overlap = |a: f64, b: f64| (b.min(to) - a.max(from)).max(0.0);
        if !self.measured {
            return (to - from).max(0.0);
        }
        let holes: f64 = self.blind.iter().map(|hole| overlap(hole.0, hole.1)).sum();
        let (first, last) = (self.knots[0].0, self.knots[self.knots.len() - 1].0);
        holes + overlap(f64::NEG_INFINITY, first) + overlap(last, f64::INFINITY)
    }

    /// The longest hole of the signal that reaches into a stretch of time, in seconds.
    pub fn longest_hole(&self, from: f64, to: f64) -> f64 {
        let holes = self.blind.iter();
        holes
            .filter(|hole| hole.0 < to && hole.1 > from)
            .map(|hole| hole.1 - hole.0)
            .fold(0.0, f64::max)
    }

    /// The way in time of what begins at one way and goes on to another: (metres from there, seconds from
    /// then), at every knot between. `None` where the belt never came so far.
    pub fn between(&self, from: f64, to: f64) -> Option<Vec<(f64, f64)>> {
        let (begin, end) = (self.when(from)?, self.when(to)?);
        let first = self.knots.partition_point(|knot| knot.0 <= begin);
        let mut points = vec![(0.0, 0.0)];
        let inner = self.knots[first..].iter().take_while(|knot| knot.0 < end);
        points.extend(inner.map(|knot| (knot.1 - from, knot.0 - begin)));
        points.push((to - from, end - begin));
        Some(points)
    }
}

/// Good readings in order of time; one reading alone that both neighbours contradict is left out.
fn without_glitches(readings: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut good: Vec<(f64, f64)> = Vec::with_capacity(readings.len());
    for reading in readings
        .iter()
        .filter(|reading| (0.0..FASTEST).contains(&reading.1))
    {
        if good.last().is_none_or(|last| reading.0 > last.0) {
            good.push(*reading);
        }
    }
    let contradicted = |place: usize| {
        let (Some(before), Some(after)) = (place.checked_sub(1), good.get(place + 1)) else {
            return false;
        };
        let (before, own) = (good[before].1, good[place].1);
        let usual = 0.5 * (before + after.1);
        (before - after.1).abs() <= AGREE * usual && (own - usual).abs() > GLITCH * usual
    };
    (0..good.len())
        .filter(|place| !contradicted(*place))
        .map(|place| good[place])
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_way_is_the_area_under_the_speed() {
        // Geometry: 10 s at 0.05 m/s, a ramp of 4 s up to 0.1 m/s (mean 0.075), 10 s at 0.1 m/s.
        let readings = [(0.0, 0.05), (10.0, 0.05), (14.0, 0.1), (24.0, 0.1)];
        let way = Way::measured(&readings, 30.0).unwrap();
        assert!((way.at(24.0) - (0.5 + 0.3 + 1.0)).abs() < 1e-12);
        assert!((way.at(30.0) - 2.4).abs() < 1e-12);
        assert!((way.at(-2.0) + 0.1).abs() < 1e-12);
        for metres in [-0.3, 0.2, 0.65, 1.5, 2.2] {
            assert!((way.at(way.when(metres).unwrap()) - metres).abs() < 1e-12);
        }
    }

    #[test]
    fn a_belt_that_stands_brings_nothing_and_holes_are_known() {
        let readings = [(0.0, 0.05), (10.0, 0.05), (10.5, 0.0), (40.0, 0.0)];
        let way = Way::measured(&readings, 5.0).unwrap();
        assert_eq!(way.when(2.0), None);
        assert!((way.unseen(0.0, 50.0) - (10.0 + 29.5 + 10.0)).abs() < 1e-12);
        assert_eq!(way.longest_hole(12.0, 13.0), 29.5);
        assert_eq!(way.longest_hole(0.0, 9.0), 10.0);
        assert_eq!(way.longest_hole(10.1, 10.2), 0.0);
    }

    #[test]
    fn one_reading_that_both_neighbours_contradict_is_no_speed() {
        let readings = [
            (0.0, 0.05),
            (1.0, 0.05),
            (2.0, 0.9),
            (3.0, 0.05),
            (4.0, f64::NAN),
        ];
        let way = Way::measured(&readings, 5.0).unwrap();
        assert!((way.at(3.0) - 0.15).abs() < 1e-12);
        // A belt that really stops is believed.
        let stop = [
            (0.0, 0.05),
            (1.0, 0.05),
            (2.0, 0.0),
            (3.0, 0.0),
            (4.0, 0.05),
        ];
        let way = Way::measured(&stop, 5.0).unwrap();
        assert!((way.at(4.0) - 0.1).abs() < 1e-12);
        assert_eq!(Way::measured(&[(0.0, f64::NAN)], 5.0), None);
    }

    #[test]
    fn a_stretch_is_told_from_its_own_beginning() {
        let way = Way::steady(0.05);
        assert_eq!(way.between(1.0, 2.0), Some(vec![(0.0, 0.0), (1.0, 20.0)]));
        assert!(!way.is_measured());
    }
}
