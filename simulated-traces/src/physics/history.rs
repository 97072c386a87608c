//! The temperatures that a print and the cloth beside it went through.

use super::march::March;

/// One temperature over time: pairs of seconds and °C, straight lines between.
pub type Line = Vec<(f64, f64)>;

/// What truly happened to a print; times in seconds since it was laid on the belt (or since the flash
/// panel began to swing in), temperatures in °C.
#[derive(Debug, Clone, PartialEq)]
pub struct TrueHistory {
    /// Where the film meets the fabric.
    pub film_bottom: Line,
    /// The film's surface, as an infrared probe sees it.
    pub film_top: Line,
    /// The hottest of the unprinted cloth.
    pub cloth_hottest: Line,
    /// The surface of the unprinted cloth.
    pub cloth_top: Line,
    /// The underside of the cloth below the print.
    pub underside: Line,
    /// The books of the print.
    pub print_balance: Balance,
    /// The books of the unprinted cloth.
    pub cloth_balance: Balance,
}

/// Whether heat and water add up. By area; heat counts from dry matter and liquid water at 0 °C.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Balance {
    /// Heat that came in, less what vapour carried away, in J/m².
    pub heat_in: f64,
    /// By how much the heat that is held grew, in J/m².
    pub heat_gained: f64,
    /// Heat that moved in all, either way, in J/m²: what an error is to be held against.
    pub heat_held: f64,
    /// Water that left, in kg/m².
    pub water_out: f64,
    /// By how much the water that is held shrank, in kg/m².
    pub water_lost: f64,
    /// Water at the start, in kg/m².
    pub water_start: f64,
}

/// Writes a history while the columns go their way.
#[derive(Debug)]
pub(crate) struct Recorder {
    history: TrueHistory,
    start: [[f64; 2]; 2],
}

impl Recorder {
    pub(crate) fn new(print: &March, cloth: &March) -> Recorder {
        let mut recorder = Recorder {
            history: TrueHistory {
                film_bottom: Line::new(),
                film_top: Line::new(),
                cloth_hottest: Line::new(),
                cloth_top: Line::new(),
                underside: Line::new(),
                print_balance: Balance::default(),
                cloth_balance: Balance::default(),
            },
            start: [print, cloth].map(|march| march.column.holds(&march.state)),
        };
        recorder.print(print);
        recorder.cloth(cloth);
        recorder
    }

    pub(crate) fn print(&mut self, march: &March) {
        let time = march.time();
        self.history
            .film_bottom
            .push((time, march.rates.film_bottom));
        self.history.film_top.push((time, march.rates.top.surface));
        self.history.underside.push((time, march.lowest_cloth()));
        peak(&mut self.history.print_balance, march);
    }

    pub(crate) fn cloth(&mut self, march: &March) {
        let time = march.time();
        self.history.cloth_hottest.push((time, march.hottest()));
        self.history.cloth_top.push((time, march.rates.top.surface));
        peak(&mut self.history.cloth_balance, march);
    }

    pub(crate) fn finish(mut self, print: &March, cloth: &March) -> TrueHistory {
        let history = &mut self.history;
        close(&mut history.print_balance, print, self.start[0]);
        close(&mut history.cloth_balance, cloth, self.start[1]);
        self.history
    }
}

fn peak(balance: &mut Balance, march: &March) {
    balance.heat_held = balance.heat_held.max(march.books.heat.abs());
}

fn close(balance: &mut Balance, march: &March, start: [f64; 2]) {
    let now = march.column.holds(&march.state);
    *balance = Balance {
        heat_in: march.books.heat,
        heat_gained: now[0] - start[0],
        heat_held: balance.heat_held,
        water_out: march.books.water,
        water_lost: start[1] - now[1],
        water_start: start[1],
    };
}

/// The value of a line at a time; its ends hold on.
pub fn at(line: &[(f64, f64)], time: f64) -> f64 {
    let after = line.partition_point(|point| point.0 <= time);
    match (
        after.checked_sub(1).map(|before| line[before]),
        line.get(after),
    ) {
        (Some((t0, a)), Some(&(t1, b))) => a + (time - t0) / (t1 - t0) * (b - a),
        (Some((_, last)), None) => last,
        (None, first) => first.map_or(f64::NAN, |first| first.1),
    }
}

/// The highest value of a line.
pub fn highest(line: &[(f64, f64)]) -> f64 {
    line.iter()
        .map(|point| point.1)
        .fold(f64::NEG_INFINITY, f64::max)
}
