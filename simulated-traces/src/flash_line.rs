//! Prints under a flash unit, one heating after the other, on platens that warm up over the run.

use inkdwell_config::fabric::Fabric;
use inkdwell_config::ink::Ink;
use inkdwell_config::quantity::Celsius;

use crate::chance::Chance;
use crate::events::{Event, changes_of};
use crate::likely::Batch;
use crate::line::Print;
use crate::physics::history::at;
use crate::physics::{TrueFlash, flash};
use crate::truth::PrintTruth;

/// What a flash line is made of.
#[derive(Debug, Clone)]
pub struct FlashLine {
    /// The flash unit.
    pub unit: TrueFlash,
    /// The garments.
    pub batch: Batch,
    /// The ink.
    pub ink: Ink,
    /// The fabric.
    pub fabric: Fabric,
    /// What goes wrong with garments.
    pub events: Vec<Event>,
    /// Seconds that the panel stays over a print.
    pub stay: f64,
    /// Seconds from heating to heating.
    pub every: f64,
    /// When the first heating begins, in seconds.
    pub first: f64,
    /// How many heatings there are; `None`: no end.
    pub prints: Option<u32>,
    /// How warm the platens are at the start, and how warm they become, in °C.
    pub platen: (f64, f64),
    /// After how many heatings they have gone 63 % of that way.
    pub platen_prints: f64,
    /// The seed of the garments' chances.
    pub seed: u64,
}

/// A flash line at work.
#[derive(Debug, Clone)]
pub struct Flashing {
    line: FlashLine,
    now: Option<Print>,
    done: Vec<Print>,
    chance: Chance,
}

impl FlashLine {
    /// How warm the platen is under a heating (from 1).
    pub fn platen_at(&self, number: u32) -> f64 {
        let (cold, hot) = self.platen;
        cold + (hot - cold) * -(-f64::from(number - 1) / self.platen_prints).exp_m1()
    }

    /// Starts the line.
    pub fn start(self) -> Flashing {
        Flashing {
            chance: Chance::new(self.seed, "garments"),
            now: None,
            done: Vec::new(),
            line: self,
        }
    }

    fn print(&self, number: u32, laid: f64, chance: &mut Chance) -> Print {
        let mut garment = self.batch.garment(chance);
        let changes = changes_of(&self.events, number);
        for change in &changes {
            change.apply(&mut garment);
        }
        let platen = self.platen_at(number);
        // Cloth that was pressed on the platen a while ago is nearly as warm.
        garment.start = Celsius(0.8 * platen + 0.2 * garment.start.0);
        let history = flash(&self.unit, &garment, Celsius(platen), self.stay, self.every);
        Print {
            number,
            laid,
            rides: false,
            garment,
            faults: changes.iter().map(|change| change.name()).collect(),
            truth: PrintTruth::of_flash(&history, &self.ink, &self.fabric),
            history,
            enters: Some(laid),
            leaves: Some(laid + self.stay),
            speed: 0.0,
        }
    }
}

impl Flashing {
    /// What the line is made of.
    pub fn line(&self) -> &FlashLine {
        &self.line
    }

    /// Begins the heatings whose time has come. Times do not go backwards.
    pub fn advance(&mut self, time: f64) {
        let due = ((time - self.line.first) / self.line.every).floor() + 1.0;
        let due = (due.max(0.0) as u32).min(self.line.prints.unwrap_or(u32::MAX));
        while self.now.as_ref().map_or(0, |print| print.number) < due {
            let number = self.now.as_ref().map_or(0, |print| print.number) + 1;
            let laid = self.line.first + f64::from(number - 1) * self.line.every;
            let print = self.line.print(number, laid, &mut self.chance);
            self.done.extend(self.now.replace(print));
        }
    }

    /// The surface under the lamp in °C: the print's, and the platen's before the first.
    pub fn surface(&self, time: f64) -> f64 {
        self.now.as_ref().map_or(self.line.platen_at(1), |print| {
            at(&print.history.film_top, time - print.laid)
        })
    }

    /// The platen's temperature in °C.
    pub fn platen(&self) -> f64 {
        self.line
            .platen_at(self.now.as_ref().map_or(1, |print| print.number))
    }

    /// When the last heating is over, if there is a last.
    pub fn over_at(&self) -> Option<f64> {
        let prints = self.line.prints?;
        Some(self.line.first + f64::from(prints) * self.line.every)
    }

    /// The prints whose heating is over since the last call.
    pub fn take_done(&mut self) -> Vec<Print> {
        std::mem::take(&mut self.done)
    }

    /// All prints that are left.
    pub fn into_prints(mut self) -> Vec<Print> {
        self.done.extend(self.now);
        self.done
    }
}
