//! What the tests of the board share: a browser, a wire to cut, a shop.

pub mod access;
pub mod driver;
pub mod relay;
pub mod shop;
