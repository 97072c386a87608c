//! What truly happens to a print: finer than the model that is fitted to rides, and apart from it.
//!
//! A garment is cut into cells through its thickness: eight in the film, seven in each layer of cloth,
//! with air between two layers and the belt below. Beside the printed column the same cloth travels
//! unprinted. Heat passes by conduction, convection, and radiation that is taken up in depth; water
//! evaporates from the ink (which holds its last water back), leaves the fibre (skin and core) against
//! its sorption isotherm, wanders through the pores, and condenses where it is cold. Zones are uneven, leak into
//! each other and sag towards both mouths; panels are seen under their true angle.

mod belt_lap;
mod blocks;
mod column;
mod flash;
mod flows;
mod garment;
pub mod history;
mod march;
mod oven;
mod passage;
mod water;

pub use belt_lap::BeltLap;
pub use flash::TrueFlash;
pub use garment::{TrueCloth, TrueFilm, TrueGarment};
pub use history::TrueHistory;
pub use oven::{TrueBelt, TrueOven, TruePanel, TrueZone, ZoneShift};
pub use passage::{BeltSpeed, Passage, ZoneShifts};
pub use water::saturation;

use column::{Backing, Column};
use history::Recorder;
use march::March;
use oven::Surroundings;

/// The unloaded belt at a moment, as if belt and zones had long been as they are then.
pub fn lap_at(oven: &TrueOven, belt: &BeltSpeed, shifts: &ZoneShifts, when: f64) -> BeltLap {
    belt_lap::lap_for(oven, belt, shifts, when)
}

/// Follows a print through a belt dryer.
pub fn run(oven: &TrueOven, garment: &TrueGarment, passage: &Passage) -> TrueHistory {
    let lap = belt_lap::lap_for(oven, &passage.belt, &passage.shifts, passage.laid_when);
    let belt = lap.at(passage.laid_at);
    let backing = Backing::Belt {
        contact: oven.belt.contact,
        openness: oven.belt.openness.0,
    };
    let still = passage.shifts.are_still();
    let around = |seconds: f64| {
        let position = passage.position(seconds);
        if still {
            oven.around(position, &[])
        } else {
            oven.around(position, &passage.shifts.at(passage.laid_when + seconds))
        }
    };
    let march = |printed| {
        let column = Column::new(garment, printed, backing, Some(oven.belt.capacity));
        let state = column.start(garment, belt);
        March::new(column, state, &around(0.0))
    };
    follow(march(true), march(false), passage.lasting, around)
}

/// Follows a print under a flash unit from when its panel begins to swing in: it stays for `stay`
/// seconds, and the print is followed for `lasting` seconds on a platen of so many °C.
pub fn flash(
    unit: &TrueFlash,
    garment: &TrueGarment,
    platen: inkdwell_config::quantity::Celsius,
    stay: f64,
    lasting: f64,
) -> TrueHistory {
    let backing = Backing::Platen {
        contact: unit.contact,
        celsius: platen.0,
    };
    let around = |seconds: f64| unit.around(seconds, stay);
    let march = |printed| {
        let column = Column::new(garment, printed, backing, None);
        let state = column.start(garment, garment.start.0);
        March::new(column, state, &around(0.0))
    };
    follow(march(true), march(false), lasting, around)
}

fn follow(
    mut print: March,
    mut cloth: March,
    lasting: f64,
    around: impl Fn(f64) -> Surroundings,
) -> TrueHistory {
    let mut recorder = Recorder::new(&print, &cloth);
    while print.time() < lasting {
        print.advance(lasting, &around);
        recorder.print(&print);
    }
    while cloth.time() < lasting {
        cloth.advance(lasting, &around);
        recorder.cloth(&cloth);
    }
    recorder.finish(&print, &cloth)
}
