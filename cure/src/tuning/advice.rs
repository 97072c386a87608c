//! What would help where no belt speed is proved, or hardly any.
//!
//! Each change of the chamber is tried on the fitted model: all zones together, then the air and the panel
//! of every zone by itself. The best is the one that leaves a comfortable window with the fastest belt, or
//! the widest window where none is comfortable. Besides, prints can go through twice, and a drive may be
//! all that is in the way.

use inkdwell_config::fabric::Fabric;
use inkdwell_config::ink::{Family, Ink};
use inkdwell_config::quantity::{Celsius, CelsiusDifference, Metres, MetresPerSecond, Share};
use inkdwell_config::station::Station;

use super::window::{Doubts, window_with};
use super::{Declared, RESERVE, Window, WindowError, prints_per_hour};
use crate::heat::HeatError;
use crate::heat::fit::{Fit, Prediction, Trip};
use crate::heat::properties::ink_material;

/// What is set otherwise in the chamber. Zones count from 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Change {
    /// The air of every zone by so much, and every panel by three times that, since panels run far hotter.
    AllZones(CelsiusDifference),
    /// The air of one zone.
    Air {
        /// Which.
        zone: usize,
        /// By how much.
        by: CelsiusDifference,
    },
    /// The panel of one zone.
    Panel {
        /// Which.
        zone: usize,
        /// By how much.
        by: CelsiusDifference,
    },
}

/// What a change would open.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Opening {
    /// The proved window.
    pub window: Window,
    /// The speed to run at in it.
    pub belt: MetresPerSecond,
    /// Prints an hour there, where the pitch is known.
    pub prints_per_hour: Option<f64>,
}

/// Prints sent through the heat twice at one speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TwoPasses {
    /// The fastest speed at which both together are proved to cure and not to harm, a little in hand.
    pub belt: MetresPerSecond,
    /// Prints an hour: each takes two places on the belt. Where the pitch is known.
    pub prints_per_hour: Option<f64>,
}

/// What would help.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Advice {
    /// Set the chamber otherwise.
    ChangeChamber {
        /// How.
        change: Change,
        /// What that would open.
        opens: Opening,
    },
    /// The chamber is as it should be; only the drive does not go to the speeds that are good.
    AnotherDrive(Opening),
    /// Send prints through twice.
    SecondPass(TwoPasses),
    /// No chamber temperature near this one helps.
    AnotherInk,
}

/// A window whose ends are closer than this (as a factor) is narrow: belts wander by a few per cent, and set
/// points by a few degrees. Common practice, no source.
const NARROW: f64 = 1.15;
/// A window this wide needs no more width. Common practice, no source.
const COMFORTABLE: f64 = 1.4;

/// Changes that are tried, in °C of air; panels are changed by [`PANELS`] times as much.
const CHANGES: [f64; 8] = [-40.0, -30.0, -20.0, -10.0, 10.0, 20.0, 30.0, 40.0];
/// A panel radiates across the chamber, so that it takes about three degrees of it for one of the air.
const PANELS: f64 = 3.0;
/// Air and panels beyond these (in °C) are no dryer's. Common practice, no source.
const AIR: (f64, f64) = (60.0, 260.0);
const PANEL: (f64, f64) = (150.0, 700.0);

/// Whether advice is due.
pub(super) fn is_due(window: Option<&Window>) -> bool {
    window.is_none_or(|window| openness(window) < NARROW)
}

/// What would help with a window that is missing or narrow.
pub(super) fn advise(
    fit: &Fit,
    declared: Declared<'_>,
    window: Option<&Window>,
) -> Result<Vec<Advice>, WindowError> {
    let free = without_limits(declared.station);
    let doubts = Doubts::of(fit, &free)?;
    let mut advice = Vec::new();
    if window.is_none()
        && let Some(window) = window_with(fit, &free, &doubts)?
    {
        advice.push(Advice::AnotherDrive(Opening::of(&free, window)));
    }
    let change = best_change(fit, declared, &doubts, window)?;
    let none = window.is_none() && change.is_none() && advice.is_empty();
    advice.extend(change);
    if window.is_none() {
        let twice = answered(second_pass(fit, declared))?;
        advice.extend(twice.map(Advice::SecondPass));
    }
    if none {
        advice.push(Advice::AnotherInk);
    }
    Ok(advice)
}

/// How wide a window is, as a factor; without a slow end as wide as needed.
fn openness(window: &Window) -> f64 {
    window
        .slow
        .map_or(COMFORTABLE, |slow| window.fast.belt.0 / slow.belt.0)
        .min(COMFORTABLE)
}

impl Opening {
    fn of(station: &Station, window: Window) -> Opening {
        let slowest = window.slow.map_or(0.0, |edge| edge.belt.0);
        let belt = MetresPerSecond((RESERVE * window.fast.belt.0).max(slowest));
        Opening {
            window,
            belt,
            prints_per_hour: prints_per_hour(station, belt),
        }
    }

    /// Wider is better until comfortable, then faster.
    fn is_better_than(&self, other: &Opening) -> bool {
        let [own, others] = [self, other].map(|opening| openness(&opening.window));
        own > others || own >= others && self.belt.0 > other.belt.0
    }
}

/// What was asked only to advise must not spoil the answer: where the model has none, there is no advice.
fn answered<T>(asked: Result<Option<T>, WindowError>) -> Result<Option<T>, WindowError> {
    match asked {
        Err(WindowError::Heat(_)) => Ok(None),
        asked => asked,
    }
}

fn best_change(
    fit: &Fit,
    declared: Declared<'_>,
    doubts: &Doubts,
    window: Option<&Window>,
) -> Result<Option<Advice>, WindowError> {
    let least = window.map(|window| Opening::of(declared.station, *window));
    let mut best: Option<(Change, Opening)> = None;
    for change in changes(declared.station) {
        let Some(station) = change.made(declared.station) else {
            continue;
        };
        let imagined = fit.imagined(&station, declared.ink, declared.fabric);
        let Some(window) = answered(window_with(&imagined, &station, doubts))? else {
            continue;
        };
        let opening = Opening::of(&station, window);
        let beaten = best.map(|(_, opening)| opening).or(least);
        if beaten.is_none_or(|beaten| opening.is_better_than(&beaten)) {
            best = Some((change, opening));
        }
    }
    Ok(best.map(|(change, opens)| Advice::ChangeChamber { change, opens }))
}

/// Everything that can be set otherwise: all zones, then each by itself where there are several settings.
fn changes(station: &Station) -> Vec<Change> {
    let steps = CHANGES.map(CelsiusDifference);
    let panels = CHANGES.map(|by| CelsiusDifference(PANELS * by));
    let mut single = Vec::new();
    for (zone, set) in station.zones.iter().enumerate() {
        if set.air.is_some() {
            single.extend(steps.map(|by| Change::Air { zone, by }));
        }
        if set.panel.is_some() {
            single.extend(panels.map(|by| Change::Panel { zone, by }));
        }
    }
    if single.len() <= CHANGES.len() {
        return single;
    }
    let all = steps.map(Change::AllZones);
    all.into_iter().chain(single).collect()
}

impl Change {
    /// The station with the change made; `None` where no dryer would run like that.
    pub fn made(self, station: &Station) -> Option<Station> {
        let mut station = station.clone();
        let within = |set: f64, (least, most): (f64, f64)| {
            (least..=most).contains(&set).then_some(Celsius(set))
        };
        for (number, zone) in station.zones.iter_mut().enumerate() {
            let (air, panel) = match self {
                Change::AllZones(by) => (by.0, PANELS * by.0),
                Change::Air { zone, by } if zone == number => (by.0, 0.0),
                Change::Panel { zone, by } if zone == number => (0.0, by.0),
                Change::Air { .. } | Change::Panel { .. } => continue,
            };
            if air != 0.0
                && let Some(set) = zone.air
            {
                zone.air = Some(within(set.0 + air, AIR)?);
            }
            if panel != 0.0
                && let Some(set) = zone.panel
            {
                zone.panel = Some(within(set.0 + panel, PANEL)?);
            }
        }
        Some(station)
    }

    /// By how much; negative is cooler.
    pub fn by(self) -> CelsiusDifference {
        match self {
            Change::AllZones(by) | Change::Air { by, .. } | Change::Panel { by, .. } => by,
        }
    }
}

fn without_limits(station: &Station) -> Station {
    Station {
        belt_slowest: None,
        belt_fastest: None,
        ..station.clone()
    }
}

/// Speeds that are tried for two passes, from fast to slow, then halvings between two of them.
const TRIED: u32 = 12;
const HALVINGS: u32 = 5;
/// Two passes are tried from the fastest ride's speed times this to the slowest's divided by twice this.
const BEYOND: f64 = 2.5;
/// Water that cloth takes back between two passes, as a share of its dry mass. Common practice, no source:
/// the second pass follows at once.
const TAKEN_BACK: Share = Share(0.01);

/// The fastest speed at which two passes together are proved good; `None` where there is none.
///
/// Doses add up, each at its own end of the doubt. The water has left in the first pass, so that the second
/// heats a dry print from the room's temperature.
fn second_pass(fit: &Fit, declared: Declared<'_>) -> Result<Option<TwoPasses>, WindowError> {
    let station = declared.station;
    let (ink, fabric) = dried(declared.ink, declared.fabric);
    let twice = Twice {
        first: fit,
        second: &fit.imagined(station, &ink, &fabric),
    };
    let Some((slow, fast)) = speeds(fit, station) else {
        return Err(WindowError::NotABelt);
    };
    let at = |step: u32| fast + (slow - fast) * f64::from(step) / f64::from(TRIED);
    let mut found = None;
    for step in 0..=TRIED {
        if twice.at(at(step))?.cures {
            found = Some(step);
            break;
        }
    }
    let Some(step) = found else {
        return Ok(None);
    };
    let mut edge = at(step);
    if step > 0 {
        let mut bad = at(step - 1);
        for _ in 0..HALVINGS {
            let middle = 0.5 * (edge + bad);
            if twice.at(middle)?.cures {
                edge = middle;
            } else {
                bad = middle;
            }
        }
    }
    let slowest = station.belt_slowest.map_or(0.0, |speed| speed.0);
    let belt = MetresPerSecond((RESERVE * edge.exp()).max(slowest));
    let good = twice.at(belt.0.ln())?;
    Ok((good.cures && good.spares).then(|| TwoPasses {
        belt,
        prints_per_hour: prints_per_hour(station, belt).map(|prints| 0.5 * prints),
    }))
}

/// A print as it comes out of the first pass: its ink and its cloth without their water. What is left of a
/// water-based film is a closed one of the same heat capacity.
fn dried(ink: &Ink, fabric: &Fabric) -> (Ink, Fabric) {
    let wet = ink_material(ink.family);
    let water = ink.water.map_or(wet.water, |water| water.0);
    let ink = if water > 0.0 {
        let closed = ink_material(Family::Plastisol);
        let capacity = wet.density * wet.specific_heat * (1.0 - water);
        let shrinks = capacity / (closed.density * closed.specific_heat);
        Ink {
            family: Family::Plastisol,
            film: ink.film.map(|film| Metres(film.0 * shrinks)),
            water: Some(Share(0.0)),
            ..ink.clone()
        }
    } else {
        ink.clone()
    };
    let fabric = Fabric {
        regain: Share(fabric.regain.0.min(TAKEN_BACK.0)),
        ..fabric.clone()
    };
    (ink, fabric)
}

/// The first and the second pass of a print.
struct Twice<'a> {
    first: &'a Fit,
    second: &'a Fit,
}

/// What both passes together are proved to do.
struct Together {
    cures: bool,
    spares: bool,
}

impl Twice<'_> {
    fn at(&self, ln_speed: f64) -> Result<Together, HeatError> {
        let trip = Trip::Belt(MetresPerSecond(ln_speed.exp()));
        let (first, second) = (self.first.predict(trip)?, self.second.predict(trip)?);
        Ok(together(&first, &second))
    }
}

fn together(first: &Prediction, second: &Prediction) -> Together {
    let mut harms = first.harms.iter().zip(&second.harms);
    Together {
        cures: first.cure.low + second.cure.low >= 1.0,
        spares: harms.all(|(a, b)| a.dose.high + b.dose.high < 1.0),
    }
}

/// ln of the slowest and the fastest speed at which two passes are tried.
fn speeds(fit: &Fit, station: &Station) -> Option<(f64, f64)> {
    let ridden = || {
        fit.rides().iter().filter_map(|ride| match ride.trip {
            Trip::Belt(speed) => Some(speed.0),
            Trip::Lamp(_) => None,
        })
    };
    let slow = ridden().reduce(f64::min)? / (2.0 * BEYOND);
    let fast = ridden().reduce(f64::max)? * BEYOND;
    let slow = station.belt_slowest.map_or(slow, |speed| speed.0.max(slow));
    let fast = station.belt_fastest.map_or(fast, |speed| speed.0.min(fast));
    Some((slow.ln(), fast.ln()))
}

#[cfg(test)]
mod tests {
    use inkdwell_config::library::Library;
    use inkdwell_config::station::{StationKind, Zone};

    use super::super::window::{Edge, Side};
    use super::*;

    /// A dryer of two zones: moving air, then moving air under a panel.
    fn station() -> Station {
        let zone = |air, panel: Option<f64>| Zone {
            length: Metres(1.2),
            air: Some(Celsius(air)),
            panel: panel.map(Celsius),
        };
        Station {
            id: "belt".into(),
            name: "belt".into(),
            kind: StationKind::BeltDryer,
            heated_length: Metres(2.4),
            belt: None,
            belt_slowest: None,
            belt_fastest: None,
            print_pitch: Some(Metres(0.75)),
            lanes: 2,
            zones: vec![zone(190.0, None), zone(180.0, Some(420.0))],
            max_gap: None,
            wake: None,
        }
    }

    fn window(slow: Option<f64>, fast: f64) -> Window {
        let edge = |belt, limit| Edge {
            belt: MetresPerSecond(belt),
            limit,
        };
        Window {
            slow: slow.map(|slow| edge(slow, Side::Belt)),
            fast: edge(fast, Side::Cure),
        }
    }

    #[test]
    fn a_change_sets_what_it_names_and_nothing_else() {
        let by = CelsiusDifference(-30.0);
        let set = |change: Change| {
            let made = change.made(&station())?;
            let of = |zone: &Zone| (zone.air.map(|air| air.0), zone.panel.map(|panel| panel.0));
            Some(made.zones.iter().map(of).collect::<Vec<_>>())
        };
        let all = set(Change::AllZones(by));
        assert_eq!(
            all,
            Some(vec![(Some(160.0), None), (Some(150.0), Some(330.0))])
        );
        let air = set(Change::Air { zone: 0, by });
        assert_eq!(
            air,
            Some(vec![(Some(160.0), None), (Some(180.0), Some(420.0))])
        );
        let panel = set(Change::Panel { zone: 1, by });
        assert_eq!(
            panel,
            Some(vec![(Some(190.0), None), (Some(180.0), Some(390.0))])
        );
    }

    #[test]
    fn no_dryer_is_set_beyond_what_dryers_do() {
        let by = CelsiusDifference(300.0);
        assert_eq!(Change::Air { zone: 0, by }.made(&station()), None);
        assert_eq!(Change::Panel { zone: 1, by }.made(&station()), None);
    }

    #[test]
    fn one_setting_alone_is_not_offered_twice() {
        let mut single = station();
        single.zones.truncate(1);
        let offered = changes(&single);
        assert_eq!(offered.len(), CHANGES.len());
        assert!(
            offered
                .iter()
                .all(|change| matches!(change, Change::Air { zone: 0, .. }))
        );
        // All zones, two airs and a panel.
        assert_eq!(changes(&station()).len(), 4 * CHANGES.len());
    }

    #[test]
    fn advice_is_due_where_nothing_or_little_is_proved() {
        assert!(is_due(None));
        assert!(is_due(Some(&window(Some(0.040), 0.042))));
        assert!(!is_due(Some(&window(Some(0.030), 0.042))));
        assert!(!is_due(Some(&window(None, 0.042))));
    }

    #[test]
    fn wider_is_better_until_comfortable_then_faster() {
        let opening = |slow, fast| Opening::of(&station(), window(slow, fast));
        let (narrow, wide) = (opening(Some(0.045), 0.05), opening(Some(0.030), 0.04));
        assert!(!narrow.is_better_than(&wide));
        assert!(wide.is_better_than(&narrow));
        // Both are comfortable.
        let faster = opening(Some(0.035), 0.05);
        assert!(faster.is_better_than(&wide));
        assert!(!wide.is_better_than(&faster));
    }

    #[test]
    fn a_dried_print_keeps_its_solids() {
        let library = Library::shipped();
        let fabric = library.fabric("cotton-jersey").expect("it ships");
        let wet = library.ink("water-based").expect("it ships");
        let (dry, cloth) = dried(wet, fabric);
        assert_eq!(dry.water, Some(Share(0.0)));
        let thinner = dry
            .film
            .zip(wet.film)
            .is_some_and(|(dry, wet)| dry.0 < wet.0);
        assert!(thinner && cloth.regain.0 < fabric.regain.0);
        assert_eq!(dry.cure, wet.cure);
        let plastisol = library.ink("plastisol-standard").expect("it ships");
        assert_eq!(dried(plastisol, fabric).0, *plastisol);
    }
}
