//! The simulated shop.
