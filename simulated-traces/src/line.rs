//! Prints on their way along a belt, one after another, for as long as one likes.

use std::collections::VecDeque;

use inkdwell_config::fabric::Fabric;
use inkdwell_config::ink::Ink;

use crate::chance::Chance;
use crate::events::{Event, GarmentChange, changes_of};
use crate::likely::Batch;
use crate::physics::history::at;
use crate::physics::{
    BeltLap, BeltSpeed, Passage, TrueGarment, TrueHistory, TrueOven, ZoneShifts, run,
};
use crate::spot::shares;
use crate::truth::PrintTruth;

/// Metres before the heated length at which prints are laid on the belt.
pub const LAID_BEFORE: f64 = 0.45;
/// Length of a print and of its garment along the belt, in metres.
const PRINT_LENGTH: f64 = 0.32;
const GARMENT_LENGTH: f64 = 0.62;
/// No passage is followed longer, in seconds: a belt may stand for good.
const LONGEST_PASSAGE: f64 = 1500.0;
/// A ride is over when the film is cooler than this, in °C.
const RIDE_OVER: f64 = 36.0;

/// When one print follows the other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spacing {
    /// So many metres of belt after the one before.
    Pitch(f64),
    /// When the print before has cooled: one ride after the other, the probe moving from print to print.
    Rides,
}

/// What a belt line is made of.
#[derive(Debug, Clone)]
pub struct BeltLine {
    /// The dryer.
    pub oven: TrueOven,
    /// The belt as it truly runs.
    pub belt: BeltSpeed,
    /// The belt as its signal has it.
    pub belt_signal: BeltSpeed,
    /// How its zones shift.
    pub shifts: ZoneShifts,
    /// The garments.
    pub batch: Batch,
    /// The ink.
    pub ink: Ink,
    /// The fabric.
    pub fabric: Fabric,
    /// What goes wrong with garments.
    pub events: Vec<Event>,
    /// When prints follow each other.
    pub spacing: Spacing,
    /// Every how many prints a ride probe goes along; 1 for every print, 0 for none.
    pub ride_every: u32,
    /// When the first print is laid on the belt, in seconds.
    pub first: f64,
    /// How many prints there are; `None`: no end.
    pub prints: Option<u32>,
    /// Up to which position (metres from where the heated length begins) prints are followed.
    pub follow_to: f64,
    /// The seed of the garments' chances.
    pub seed: u64,
}

/// One print of a line.
#[derive(Debug, Clone)]
pub struct Print {
    /// Its number, from 1.
    pub number: u32,
    /// When it was laid on the belt, in seconds.
    pub laid: f64,
    /// Whether a ride probe goes along.
    pub rides: bool,
    /// The garment as it was.
    pub garment: TrueGarment,
    /// What was wrong with it.
    pub faults: Vec<String>,
    /// What happened to it; times since it was laid.
    pub history: TrueHistory,
    /// What that was worth.
    pub truth: PrintTruth,
    /// When it entered the heated length and when it left it, in seconds; `None` where it never did.
    pub enters: Option<f64>,
    /// When its middle left the heated length.
    pub leaves: Option<f64>,
    /// Mean speed in the heated length in m/s, as far as it came.
    pub speed: f64,
}

/// A line at work: prints appear as time goes on.
#[derive(Debug, Clone)]
pub struct Running {
    line: BeltLine,
    on_belt: VecDeque<Print>,
    /// Prints that are no longer on the belt, until someone takes them; and how many there were ever.
    done: Vec<Print>,
    gone: u32,
    /// When the print that was laid last has cooled or passed.
    last_over: Option<f64>,
    next: Option<(u32, f64)>,
    lap: BeltLap,
    chance: Chance,
}

impl BeltLine {
    /// Where a print laid at one time is at another.
    fn position(&self, laid: f64, time: f64) -> f64 {
        self.belt.way(laid, time) - LAID_BEFORE
    }

    /// Starts the line.
    pub fn start(self) -> Running {
        let none = self.prints == Some(0);
        Running {
            lap: crate::physics::lap_at(&self.oven, &self.belt, &self.shifts, 0.0),
            next: (!none).then_some((1, self.first)),
            chance: Chance::new(self.seed, "garments"),
            on_belt: VecDeque::new(),
            done: Vec::new(),
            gone: 0,
            last_over: None,
            line: self,
        }
    }

    /// One print, laid at a time, with its whole story.
    fn print(&self, number: u32, laid: f64, chance: &mut Chance) -> Print {
        let mut garment = self.batch.garment(chance);
        let changes = changes_of(&self.events, number);
        let mut fabric = &self.fabric;
        for change in &changes {
            change.apply(&mut garment);
            if let GarmentChange::Fabric(other) = change {
                fabric = other;
            }
        }
        let rides = self.ride_every > 0 && (number - 1).is_multiple_of(self.ride_every);
        let way = self.follow_to + LAID_BEFORE + 0.5 * GARMENT_LENGTH;
        let passed = self
            .belt
            .when(laid, way)
            .map_or(LONGEST_PASSAGE, |time| time - laid);
        let passage = Passage {
            laid_at: -LAID_BEFORE,
            laid_when: laid,
            lasting: (passed + if rides { 240.0 } else { 1.0 }).min(LONGEST_PASSAGE),
            belt: self.belt.clone(),
            shifts: self.shifts.clone(),
        };
        let history = run(&self.oven, &garment, &passage);
        let length = self.oven.heated_length();
        let enters = self.belt.when(laid, LAID_BEFORE);
        let leaves = self.belt.when(laid, LAID_BEFORE + length);
        let speed = match (enters, leaves) {
            (Some(enters), Some(leaves)) => length / (leaves - enters),
            _ => self.belt.at(laid),
        };
        Print {
            number,
            laid,
            rides,
            garment,
            faults: changes.iter().map(|change| change.name()).collect(),
            truth: PrintTruth::of(&history, &self.ink, fabric),
            history,
            enters,
            leaves,
            speed,
        }
    }
}

impl Print {
    /// Seconds after it was laid at which it has left the oven and its film is cool.
    fn cooled(&self) -> f64 {
        let left = self
            .leaves
            .map_or(f64::INFINITY, |leaves| leaves - self.laid);
        let line = &self.history.film_bottom;
        line.iter()
            .find(|point| point.0 > left && point.1 < RIDE_OVER)
            .or(line.last())
            .map_or(0.0, |point| point.0)
    }
}

impl Running {
    /// What the line is made of.
    pub fn line(&self) -> &BeltLine {
        &self.line
    }

    /// Lays all prints whose time has come. Times do not go backwards.
    pub fn advance(&mut self, time: f64) {
        while let Some((number, laid)) = self.next
            && laid <= time
        {
            self.lay(number, laid);
        }
        while self
            .on_belt
            .front()
            .is_some_and(|print| self.is_gone(print, time))
        {
            self.done.extend(self.on_belt.pop_front());
            self.gone += 1;
        }
    }

    fn lay(&mut self, number: u32, laid: f64) {
        let line = &self.line;
        let print = line.print(number, laid, &mut self.chance);
        let following = match line.spacing {
            Spacing::Pitch(pitch) => line.belt.when(laid, pitch),
            Spacing::Rides => Some(laid + print.cooled() + 12.0),
        };
        let more = line.prints.is_none_or(|prints| number < prints);
        self.next = following.filter(|_| more).map(|time| (number + 1, time));
        if !line.shifts.are_still() {
            self.lap = crate::physics::lap_at(&line.oven, &line.belt, &line.shifts, laid);
        }
        let passed = print
            .history
            .film_bottom
            .last()
            .map_or(0.0, |point| point.0);
        self.last_over = Some(laid + if print.rides { print.cooled() } else { passed });
        self.on_belt.push_back(print);
    }

    /// Whether a print has nothing more to say.
    fn is_gone(&self, print: &Print, time: f64) -> bool {
        let over = print.laid
            + print
                .history
                .film_bottom
                .last()
                .map_or(0.0, |point| point.0);
        let newer = self
            .on_belt
            .back()
            .is_some_and(|last| last.number > print.number);
        time > over && (newer || !print.rides)
    }

    /// When the last print has cooled (a ride) or passed, once no other will come.
    pub fn over_at(&self) -> Option<f64> {
        self.last_over.filter(|_| self.next.is_none())
    }

    /// The prints that left the belt since the last call.
    pub fn take_done(&mut self) -> Vec<Print> {
        std::mem::take(&mut self.done)
    }

    /// All prints that are left, on the belt or off it.
    pub fn into_prints(mut self) -> Vec<Print> {
        self.done.extend(self.on_belt);
        self.done
    }

    fn rider(&self) -> Option<&Print> {
        self.on_belt.iter().rev().find(|print| print.rides)
    }

    /// What a ride probe sees at a time: the film's bottom of the print it last went along with, in °C.
    pub fn film(&self, time: f64) -> f64 {
        let room = self.line.oven.room.0;
        self.rider().map_or(room, |print| {
            at(&print.history.film_bottom, time - print.laid)
        })
    }

    /// What a junction on unprinted cloth beside that print sees, in °C.
    pub fn cloth(&self, time: f64) -> f64 {
        let room = self.line.oven.room.0;
        self.rider().map_or(room, |print| {
            at(&print.history.cloth_hottest, time - print.laid)
        })
    }

    /// The mean surface temperature in a round spot that looks down on the belt at a position, in °C.
    pub fn surface(&self, time: f64, position: f64, spot: f64) -> f64 {
        let belt = self.lap.at(position);
        for print in &self.on_belt {
            let offset = self.line.position(print.laid, time) - position;
            if offset.abs() > 0.5 * GARMENT_LENGTH + spot {
                continue;
            }
            let [ink, cloth, bare] = shares(offset, PRINT_LENGTH, GARMENT_LENGTH, spot);
            let age = self.age_under(print, time, position, offset);
            let history = &print.history;
            return ink * at(&history.film_top, age)
                + cloth * at(&history.cloth_top, age)
                + bare * belt;
        }
        belt
    }

    /// How old the piece of a print that lies under a position is, counted like the print's middle. Every
    /// piece arrives at a place as old as the middle does; while the belt stands it grows older there.
    fn age_under(&self, print: &Print, time: f64, position: f64, offset: f64) -> f64 {
        let belt = &self.line.belt;
        let Some(middle) = belt.when(print.laid, position + LAID_BEFORE) else {
            return time - print.laid;
        };
        let speed = belt.at(middle).max(1e-6);
        middle - print.laid + (time - middle - offset / speed).max(0.0)
    }

    /// How many prints have passed a photo-eye at a position with their leading edge.
    pub fn counted(&self, time: f64, position: f64) -> u32 {
        let passed = self.on_belt.iter().filter(|print| {
            self.line.position(print.laid, time) + 0.5 * GARMENT_LENGTH >= position
        });
        self.gone + passed.count() as u32
    }

    /// Temperature of the air in a zone (from 1), or of its panel, in °C.
    pub fn zone(&self, time: f64, zone: usize, panel: bool) -> Option<f64> {
        let number = zone.checked_sub(1)?;
        let truth = self.line.oven.zones.get(number)?;
        let shift = self
            .line
            .shifts
            .at(time)
            .get(number)
            .copied()
            .unwrap_or_default();
        if panel {
            truth.panel.map(|panel| panel.temperature.0 + shift.panel)
        } else {
            Some(truth.air.0 + shift.air)
        }
    }
}
