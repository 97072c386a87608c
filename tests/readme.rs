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
        if let Some(heading) = path.strip_prefix('#') {
            let mut headings = readme.lines().filter_map(|line| line.strip_prefix("## "));
            let named = headings.any(|own| own.to_lowercase().replace(' ', "-") == heading);
            assert!(named, "{path}");
            continue;
        }
        assert!(root().join(path).exists(), "{path}");
    }
}

/// The shop file that is shown is sound, by the command that is shown with it.
#[test]
fn the_shop_file_that_the_readme_shows_is_sound() {
    let readme = fs::read_to_string(root().join("README.md")).unwrap();
    let shown = readme
        .split("```toml\n")
        .nth(1)
        .and_then(|rest| rest.split("```").next())
        .unwrap();
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("shop.toml"), shown).unwrap();
    let output = run_in(folder.path(), &["check", "shop.toml"]);
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    let refused = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(
        (output.status.code(), refused.as_str()),
        (Some(0), ""),
        "{said}"
    );
    for kind in ["serial", "modbus-rtu", "mqtt"] {
        assert!(shown.contains(&format!("kind = \"{kind}\"")), "{kind}");
    }
}

/// Every command that is shown, but for the two that are run above, is one that there is.
#[test]
fn the_commands_that_the_readme_shows_are_there() {
    let readme = fs::read_to_string(root().join("README.md")).unwrap();
    let shown = readme
        .lines()
        .filter_map(|line| line.strip_prefix("    inkdwell "));
    let mut seen = 0;
    for call in shown {
        let mut words: Vec<&str> = call.split_whitespace().take(2).collect();
        // Commands with commands of their own are shown with them.
        if !matches!(
            words.first(),
            Some(&("alarms" | "batch" | "recipe" | "probe"))
        ) && words.get(1) != Some(&"settle")
        {
            words.truncate(1);
        }
        words.push("--help");
        let output = run_in(&root(), &words);
        assert_eq!(output.status.code(), Some(0), "{call}");
        seen += 1;
    }
    assert!(seen > 10, "{seen}");
}

/// What a first start prints without a terminal, but for what the folder is called.
#[test]
fn the_first_start_s_output_is_the_one_shown() {
    let readme = fs::read_to_string(root().join("README.md")).unwrap();
    let (_, section) = readme.split_once("## First start\n").unwrap();
    let command = section
        .lines()
        .find_map(|line| line.strip_prefix("    inkdwell start --no-run"))
        .unwrap();
    // Pieces between quotation marks are words of their own; the others are parted by spaces.
    let pieces = command.split('"').enumerate();
    let words = pieces.flat_map(|(number, piece)| match number % 2 {
        1 => vec![piece],
        _ => piece.split_whitespace().collect(),
    });
    let arguments: Vec<&str> = ["start", "--no-run"].into_iter().chain(words).collect();
    let folder = tempfile::tempdir().unwrap();
    let output = run_in(folder.path(), &arguments);
    let refused = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!((output.status.code(), refused.as_str()), (Some(0), ""));
    let said = String::from_utf8(output.stdout).unwrap();
    let shown = section
        .split("```console\n")
        .nth(1)
        .and_then(|rest| rest.split("```").next())
        .unwrap();
    assert_eq!(shown, said);
}
