//! Any text is a quantity or a sentence that says how to write one.

#![no_main]

use inkdwell_config::quantity::{
    Celsius, CelsiusDifference, KilogramsPerSquareMetre, Metres, MetresPerSecond, Seconds, Share,
};
use inkdwell_config::{Quantity, QuantityError};
use libfuzzer_sys::fuzz_target;

fn check(result: Result<f64, QuantityError>) {
    match result {
        Ok(value) => assert!(value.is_finite()),
        Err(error) => assert!(!error.what.is_empty() && !error.remedy.is_empty()),
    }
}

fuzz_target!(|text: &str| {
    check(Celsius::parse(text).map(|value| value.0));
    check(CelsiusDifference::parse(text).map(|value| value.0));
    check(Seconds::parse(text).map(|value| value.0));
    check(Metres::parse(text).map(|value| value.0));
    check(MetresPerSecond::parse(text).map(|value| value.0));
    check(KilogramsPerSquareMetre::parse(text).map(|value| value.0));
    check(Share::parse(text).map(|value| value.0));
});
