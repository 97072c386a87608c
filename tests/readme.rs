//! What the README shows is what the program says.

use std::fs;

use inkdwell_tests::{root, run_in};

#[test]
fn the_first_commands_output_is_the_one_shown() {
    let readme = fs::read_to_string(root().join("README.md")).unwrap();
    let command = readme
        .lines()
        .find_map(|line| line.strip_prefix("    cargo run -- "))
        .unwrap();
    let arguments: Vec<&str> = command.split_whitespace().collect();
    let output = run_in(&root(), &arguments);
    assert_eq!(
        output.status.code(),
        Some(1),
        "one of the five prints is under-cured"
    );
    let said = String::from_utf8(output.stdout).unwrap();
    let shown = readme
        .split("```text\n")
        .nth(1)
        .and_then(|rest| rest.split("```").next())
        .unwrap();
    assert_eq!(shown, said);
}

#[test]
fn the_tuning_output_is_the_one_shown() {
    let readme = fs::read_to_string(root().join("README.md")).unwrap();
    let (_, section) = readme.split_once("### Tuning the belt\n").unwrap();
    let command = section
        .lines()
        .find_map(|line| line.strip_prefix("    inkdwell "))
        .unwrap();
    let arguments: Vec<&str> = command.split_whitespace().collect();
    let output = run_in(&root().join("simulated-traces/samples"), &arguments);
    assert_eq!(output.status.code(), Some(0), "a window is proved");
    let said = String::from_utf8(output.stdout).unwrap();
    let shown = section
        .split("```text\n")
        .nth(1)
        .and_then(|rest| rest.split("```").next())
        .unwrap();
    assert_eq!(shown, said);
}

#[test]
fn every_file_that_the_readme_names_is_there() {
    let readme = fs::read_to_string(root().join("README.md")).unwrap();
    for part in readme.split("](").skip(1) {
        let path = part.split(')').next().unwrap();
        assert!(root().join(path).exists(), "{path}");
    }
}
