//! What a reference promises of prints that follow it, in words.

use inkdwell_config::display::Units;

use crate::heat::fit::{Elsewhere, LimitName, MOST_PRINTS, Outlook};
use crate::reason::harm_name;

/// What to do where no other speed of the belt would prove nine prints in ten.
const NO_SPEED: &str = "No speed of the belt near this one makes it nine in ten. Another chamber temperature may; \
                        else let rides prove the prints, one every so often.";

impl Outlook {
    /// What it says, and what to do about it, in sentences.
    pub fn sentences(&self, units: Units) -> String {
        let in_ten = (10.0 * self.proved.0).round();
        let promise = match (self.proved >= MOST_PRINTS, in_ten) {
            (true, _) => {
                "Of good prints that leave a chamber as it was now, nine in ten or more will be proved.".to_owned()
            }
            (false, few) if few < 1.0 => {
                "Of good prints that leave a chamber as it was now, hardly any will be proved.".to_owned()
            }
            (false, some) => format!(
                "Of good prints that leave a chamber as it was now, about {:.0} in ten will be proved.",
                some.min(9.0)
            ),
        };
        let hangs = match self.hangs_at {
            None => return promise,
            Some(LimitName::Harm(harm)) => {
                format!(
                    "The others hang, since {} cannot be ruled out.",
                    harm_name(harm)
                )
            }
            Some(_) => "The others hang, since their cure is not certain.".to_owned(),
        };
        let remedy = match self.elsewhere {
            Some(elsewhere) => elsewhere.sentence(units),
            None => NO_SPEED.to_owned(),
        };
        format!("{promise} {hangs} {remedy}")
    }
}

impl Elsewhere {
    fn sentence(&self, units: Units) -> String {
        let belt = units.speed(self.belt);
        if self.proved >= MOST_PRINTS {
            return format!(
                "At {belt} it would be about nine in ten: ride there, and take that ride."
            );
        }
        let some = (10.0 * self.proved.0).round().clamp(1.0, 9.0);
        format!(
            "At {belt} it would be about {some:.0} in ten, the most at any speed near this one: ride there, and take \
             that ride."
        )
    }
}

#[cfg(test)]
mod tests {
    use inkdwell_config::fabric::Harm;
    use inkdwell_config::quantity::{MetresPerSecond, Share};

    use super::*;

    #[test]
    fn it_says_how_many_why_and_at_which_speed() {
        let told = |proved: f64, hangs_at, elsewhere: Option<(f64, f64)>| {
            let elsewhere = elsewhere.map(|(belt, proved)| Elsewhere {
                belt: MetresPerSecond(belt),
                proved: Share(proved),
            });
            let outlook = Outlook {
                proved: Share(proved),
                hangs_at,
                elsewhere,
            };
            outlook.sentences(Units::Metric)
        };
        assert!(told(0.95, None, None).contains("nine in ten or more"));
        let some = told(0.62, Some(LimitName::Cure), Some((0.05, 0.93)));
        assert!(
            some.contains("about 6 in ten will")
                && some.contains("At 3.00 m/min it would be about nine"),
            "{some}"
        );
        let more = told(0.0, Some(LimitName::Cure), Some((0.05, 0.74)));
        assert!(
            more.contains("hardly any") && more.contains("would be about 7 in ten, the most"),
            "{more}"
        );
        // What rounds to ten is still under nine.
        assert!(told(0.899, Some(LimitName::Cure), None).contains("about 9 in ten"));
        let none = told(0.01, Some(LimitName::Harm(Harm::Scorch)), None);
        assert!(
            none.contains("hardly any") && none.contains("scorch cannot be ruled out"),
            "{none}"
        );
        assert!(none.contains(NO_SPEED));
    }
}
