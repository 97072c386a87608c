//! A panel with its scales.

use super::{Anchor, FAINT, HAIR, LEFT, Picture, RIGHT};

/// A rectangle in which figures are drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Panel {
    pub(super) top: f64,
    pub(super) bottom: f64,
    pub(super) x: (f64, f64),
    pub(super) y: (f64, f64),
    /// Whether the upright scale goes by powers of ten; its ends are logarithms then.
    pub(super) powers: bool,
}

impl Panel {
    /// A panel; ends of a scale that are alike are drawn apart.
    pub(super) fn new(top: f64, bottom: f64, x: (f64, f64), y: (f64, f64)) -> Panel {
        let apart = |(from, to): (f64, f64)| {
            if to > from {
                (from, to)
            } else {
                (from - 0.5, to + 0.5)
            }
        };
        Panel {
            top,
            bottom,
            x: apart(x),
            y: apart(y),
            powers: false,
        }
    }

    pub(super) fn x(&self, value: f64) -> f64 {
        LEFT + (value - self.x.0) / (self.x.1 - self.x.0) * (RIGHT - LEFT)
    }

    pub(super) fn y(&self, value: f64) -> f64 {
        let share = (value - self.y.0) / (self.y.1 - self.y.0);
        self.bottom - share.clamp(0.0, 1.0) * (self.bottom - self.top)
    }

    pub(super) fn has(&self, value: f64) -> bool {
        value >= self.y.0 && value <= self.y.1
    }

    /// Draws both scales with their names.
    pub(super) fn draw(
        &self,
        picture: &mut Picture,
        name: &str,
        below: &str,
        tell: &dyn Fn(f64) -> String,
    ) {
        for tick in ticks(self.y.0, self.y.1, 5.0, self.powers) {
            let y = self.y(tick);
            picture.line(vec![(LEFT, y), (RIGHT, y)], HAIR, 0.7, false);
            let number = match self.powers {
                true => power(tick),
                false => plain(tick),
            };
            picture.words((LEFT - 6.0, y + 4.0), Anchor::End, FAINT, number);
        }
        picture.words((LEFT, self.top - 7.0), Anchor::Start, FAINT, name);
        picture.line(
            vec![(LEFT, self.bottom), (RIGHT, self.bottom)],
            FAINT,
            0.9,
            false,
        );
        let mut last = String::new();
        for tick in ticks(self.x.0, self.x.1, 8.0, false) {
            let (x, told) = (self.x(tick), tell(tick));
            // A print has no half, and nothing is named twice.
            if told.is_empty() || told == last {
                continue;
            }
            picture.line(
                vec![(x, self.bottom), (x, self.bottom + 4.0)],
                FAINT,
                0.9,
                false,
            );
            if x < RIGHT - 90.0 {
                let at = (x, self.bottom + 16.0);
                picture.words(at, Anchor::Middle, FAINT, told.clone());
            }
            last = told;
        }
        let at = (RIGHT, self.bottom + 16.0);
        picture.words(at, Anchor::End, FAINT, below);
    }

    /// A line across the panel with its name above it.
    pub(super) fn across(
        &self,
        picture: &mut Picture,
        value: f64,
        colour: super::Colour,
        name: &str,
    ) {
        if self.has(value) {
            let y = self.y(value);
            picture.line(vec![(LEFT, y), (RIGHT, y)], colour, 1.3, true);
            picture.words((RIGHT - 2.0, y - 4.0), Anchor::End, colour, name);
        }
    }
}

/// A round number as people write it.
pub(super) fn plain(number: f64) -> String {
    let text = format!("{number:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0" } else { text }.to_owned()
}

fn power(exponent: f64) -> String {
    plain(10_f64.powf(exponent))
}

/// About so many round numbers from one end to the other; of powers of ten 1, 2 and 5 of each, or 1 alone.
pub(super) fn ticks(from: f64, to: f64, wanted: f64, powers: bool) -> Vec<f64> {
    if powers {
        let decades = to - from;
        let steps: &[f64] = if decades > 3.0 {
            &[1.0]
        } else {
            &[1.0, 2.0, 5.0]
        };
        let mut found = Vec::new();
        // Doses lie within some ten decades.
        for decade in (from.floor() as i32)..=(to.ceil() as i32) {
            for step in steps {
                let tick = f64::from(decade) + step.log10();
                if tick >= from - 1e-9 && tick <= to + 1e-9 {
                    found.push(tick);
                }
            }
        }
        return found;
    }
    let rough = (to - from) / wanted;
    let power = 10_f64.powf(rough.max(1e-9).log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|factor| factor * power)
        .find(|step| *step >= rough)
        .unwrap_or(10.0 * power);
    let first = (from / step).ceil();
    (0..60)
        .map(|number| (first + f64::from(number)) * step)
        .take_while(|tick| *tick <= to + 1e-9 * step)
        .collect()
}

/// The ends of a scale around figures, a little apart from them.
pub(super) fn around(figures: impl Iterator<Item = f64>, share: f64) -> Option<(f64, f64)> {
    let figures = figures.filter(|figure| figure.is_finite());
    let (least, greatest) = figures.fold((f64::MAX, f64::MIN), |(least, greatest), figure| {
        (least.min(figure), greatest.max(figure))
    });
    if least > greatest {
        return None;
    }
    let margin = ((greatest - least) * share).max(0.5 * share);
    Some((least - margin, greatest + margin))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scales_have_round_numbers() {
        assert_eq!(
            ticks(0.0, 100.0, 5.0, false),
            [0.0, 20.0, 40.0, 60.0, 80.0, 100.0]
        );
        let powers: Vec<String> = ticks(-1.0, 1.0, 5.0, true).into_iter().map(power).collect();
        assert_eq!(powers, ["0.1", "0.2", "0.5", "1", "2", "5", "10"]);
        assert_eq!(plain(-0.001), "0");
        assert_eq!(around([].into_iter(), 0.1), None);
    }
}
