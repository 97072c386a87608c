//! What a person asks to be measured.

use inkdwell_config::quantity::Share;
use inkdwell_cure::heat::fit::FitOptions;
use inkdwell_simulated_traces::shop::SimulatedShop;

/// What is to be measured.
pub struct Call {
    pub shops: u64,
    pub rides: usize,
    pub first_seed: u64,
    pub cloth: bool,
    pub verbose: bool,
    /// Shops as they come, not every fourth without a safe speed.
    pub as_drawn: bool,
    /// What is declared of the garments, where it is not what is usual of one batch.
    pub mass_scatter: Option<Share>,
    pub regain_scatter: Option<Share>,
}

impl Call {
    /// What a fit is told of the garments.
    pub fn options(&self, shop: &SimulatedShop) -> FitOptions {
        let usual = FitOptions::of_one_batch(&shop.fabric);
        FitOptions {
            mass_scatter: self.mass_scatter.unwrap_or(usual.mass_scatter),
            regain_scatter: self.regain_scatter.unwrap_or(usual.regain_scatter),
            ..usual
        }
    }
}

/// What was typed.
pub fn call() -> Result<Call, String> {
    let mut call = Call {
        shops: 40,
        rides: 2,
        first_seed: 1,
        cloth: false,
        verbose: false,
        as_drawn: false,
        mass_scatter: None,
        regain_scatter: None,
    };
    let mut typed = std::env::args().skip(1);
    while let Some(option) = typed.next() {
        let mut number = || {
            let value = typed.next().unwrap_or_default();
            value
                .parse::<f64>()
                .map_err(|_| format!("{option} takes a number, not {value:?}"))
        };
        match option.as_str() {
            "--shops" => call.shops = number()? as u64,
            "--rides" => call.rides = number()?.max(1.0) as usize,
            "--first-seed" => call.first_seed = number()? as u64,
            "--mass-scatter" => call.mass_scatter = Some(Share(number()?)),
            "--regain-scatter" => call.regain_scatter = Some(Share(number()?)),
            "--cloth" => call.cloth = true,
            "--as-drawn" => call.as_drawn = true,
            "--verbose" => call.verbose = true,
            other => return Err(format!("{other} is no option of this program")),
        }
    }
    Ok(call)
}
