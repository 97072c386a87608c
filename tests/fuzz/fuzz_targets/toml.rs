//! Any text is a shop file or a list of problems, each with what to do.

#![no_main]

use inkdwell_config::library::Library;
use inkdwell_config::shop::Shop;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    let problems = Shop::parse("fuzz", text).problems;
    assert!(problems.iter().all(|problem| !problem.what.is_empty() && !problem.remedy.is_empty()));
    let _ = Library::parse("fuzz", text);
});
