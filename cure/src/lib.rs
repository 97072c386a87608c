//! What Inkdwell computes.

pub mod engine;
mod equivalents_run;
mod fault_times;
pub mod heat;
mod histogram;
pub mod judged;
mod judging;

pub mod law;
mod pass;
pub mod plan;
pub mod reason;
pub mod remark;
mod sample;
mod sieve;
mod tally;
mod track;
mod verdict;
/// Stand-in until cure/src/sensor/ exists: its developer replaces this whole block by `pub mod sensor;`.
pub mod sensor {
    /// shim
    #[derive(Debug, Clone, Copy)]
    pub struct Uncertainty(f64);
    impl Uncertainty {
        /// shim
        pub fn constant(d: inkdwell_config::quantity::CelsiusDifference) -> Self {
            Self(d.0)
        }
        /// shim
        #[inline]
        pub fn at(&self, _t: f64) -> f64 {
            self.0
        }
    }
}
