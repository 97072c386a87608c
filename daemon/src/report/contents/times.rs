//! Times as people read them.

use crate::api::view::Moment;

/// `2026-03-02 14:05:11`, by the clock on the wall.
pub(super) fn time(moment: &Moment) -> String {
    let written: String = moment.at.chars().take(19).collect();
    written.replace('T', " ")
}

/// The time of the day alone.
pub(super) fn hour(moment: &Moment) -> String {
    moment.at.chars().skip(11).take(8).collect()
}

/// How the times of one list are written: with no more than tells them apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Clockface {
    /// They are of several days.
    days: bool,
    /// The clock was set for summer or winter between them, and an hour may have come twice.
    offsets: bool,
}

impl Clockface {
    pub(super) fn of<'a>(moments: impl Iterator<Item = &'a Moment>) -> Clockface {
        let mut face = Clockface::default();
        let mut first: Option<(&str, &str)> = None;
        for moment in moments {
            let own = (day(moment), offset(moment));
            let first = first.get_or_insert(own);
            face.days |= first.0 != own.0;
            face.offsets |= first.1 != own.1;
        }
        face
    }

    pub(super) fn tell(self, moment: &Moment) -> String {
        let mut told = match self.days {
            true => time(moment),
            false => hour(moment),
        };
        if self.offsets {
            told += &format!(" {}", offset(moment));
        }
        told
    }
}

fn day(moment: &Moment) -> &str {
    moment.at.get(..10).unwrap_or_default()
}

fn offset(moment: &Moment) -> &str {
    let at = moment.at.len().saturating_sub(6);
    moment.at.get(at..).unwrap_or_default()
}

/// How long something took: seconds, or minutes and hours where these would be many.
pub(super) fn lasting(seconds: f64) -> String {
    // Rounded first, so that it never says 60 min.
    let minutes = (seconds / 60.0).round();
    if seconds < 119.5 {
        return format!("{seconds:.0} s");
    }
    match minutes < 120.0 {
        true => format!("{minutes:.0} min"),
        false => format!(
            "{:.0} h {:02.0} min",
            (minutes / 60.0).floor(),
            minutes % 60.0
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moment(at: &str) -> Moment {
        Moment {
            at: at.to_owned(),
            steady_s: 0.0,
        }
    }

    /// Summer time ends in Vienna on 2026-10-25 at 1:00 UTC (directive 2000/84/EC): half past two comes twice.
    #[test]
    fn times_say_no_more_than_tells_them_apart() {
        let one = moment("2026-10-25T02:30:00.000+02:00");
        let two = moment("2026-10-25T02:30:00.000+01:00");
        let next = moment("2026-10-26T09:00:00.000+01:00");
        let tell = |all: &[&Moment]| Clockface::of(all.iter().copied()).tell(all[0]);
        assert_eq!(tell(&[&one]), "02:30:00");
        assert_eq!(tell(&[&one, &two]), "02:30:00 +02:00");
        assert_eq!(tell(&[&two, &next]), "2026-10-25 02:30:00");
    }

    #[test]
    fn durations_are_of_the_size_that_people_think_in() {
        assert_eq!(lasting(85.2), "85 s");
        assert_eq!(lasting(119.6), "2 min");
        assert_eq!(lasting(7199.0), "2 h 00 min");
        assert_eq!(lasting(11_100.0), "3 h 05 min");
    }
}
