//! What Inkdwell computes.

pub mod judged;
pub mod reason;
pub mod remark;
