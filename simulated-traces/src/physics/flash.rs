//! A flash unit: a hot panel that stands over a print for a while, on a platen that warms up over a run.

use inkdwell_config::quantity::{Celsius, Metres, Share};

use super::oven::{Surroundings, black_body, strip_seen};
use super::water::{push, saturation};

/// A flash unit as it really is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrueFlash {
    /// Temperature of the panel.
    pub panel: Celsius,
    /// Length of the panel.
    pub length: Metres,
    /// Its height above the print.
    pub height: Metres,
    /// Share of the width that it fills, times its emissivity.
    pub strength: Share,
    /// Air over the print while the panel is there.
    pub air: Celsius,
    /// Convection while the panel is there, in W/(m² K).
    pub convection: f64,
    /// Temperature of the room.
    pub room: Celsius,
    /// Relative humidity of the room.
    pub room_humidity: Share,
    /// Convection in the room, in W/(m² K).
    pub room_convection: f64,
    /// Contact between cloth and platen, in W/(m² K).
    pub contact: f64,
    /// Seconds that the panel takes to swing in or out.
    pub swing: f64,
}

impl TrueFlash {
    /// What a print sees so many seconds after the panel began to swing in, if it stays for `stay`.
    pub(crate) fn around(&self, seconds: f64, stay: f64) -> Surroundings {
        let there = ramp(seconds / self.swing) - ramp((seconds - stay) / self.swing);
        let middle = 0.5 * self.length.0;
        let seen = there * self.strength.0 * strip_seen(middle, 0.0, self.length.0, self.height.0);
        let air = self.room.0 + there * (self.air.0 - self.room.0);
        Surroundings {
            air,
            convection: self.room_convection + there * (self.convection - self.room_convection),
            panels: seen * black_body(self.panel.0),
            walls: (1.0 - seen) * black_body(self.room.0),
            below_air: self.room.0,
            below_convection: 0.0,
            below_walls: black_body(self.room.0),
            vapour: push(self.room_humidity.0 * saturation(self.room.0).0).0,
        }
    }
}

/// From 0 to 1 without a jerk.
fn ramp(share: f64) -> f64 {
    let share = share.clamp(0.0, 1.0);
    share * share * (3.0 - 2.0 * share)
}
