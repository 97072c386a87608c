//! The heat model.

pub mod properties;
