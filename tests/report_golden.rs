//! The report of the simulated day in every form, whole, as it was looked at and found good.
//!
//! The files lie in `tests/golden/report`, in a form that people can read: the JSON with a curve on a line, the page with a
//! tag on a line and without the data that it carries, the PDF as the words that another program finds in it. Where a
//! report is meant to change, they are written anew, and the difference is read before it is committed:
//!
//! ```text
//! INKDWELL_RENEW_GOLDEN=1 cargo test -p inkdwell-tests --test report_golden
//! git diff tests/golden
//! ```

mod played_day;

use std::fs;
use std::path::PathBuf;
use std::process::Command;

use inkdwell_tests::{root, run_in};
use serde_json::Value;

/// Stands where a report says when it was made.
const MADE: &str = "WHEN IT WAS MADE";
/// What stands behind that.
const BEHIND: &str = " (Europe/Vienna), Inkdwell ";
/// All files together take no more bytes than this.
const MOST: u64 = 300_000;

fn golden() -> PathBuf {
    root().join("tests/golden/report")
}

/// A text without the moment at which it was made: the nineteen letters of `2026-03-02 14:05:11`.
fn without_made(text: &str) -> String {
    let mut parts = text.split(BEHIND);
    let mut all = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        all.truncate(all.len() - 19);
        all += &format!("{MADE}{BEHIND}{part}");
    }
    all
}

/// JSON whose figures that belong together stand on one line.
fn readable(value: &Value, depth: usize) -> String {
    let (outer, inner) = ("  ".repeat(depth), "  ".repeat(depth + 1));
    match value {
        Value::Array(items) if !items.is_empty() && !items.iter().all(is_figures) => {
            let items: Vec<String> = items
                .iter()
                .map(|item| format!("{inner}{}", readable(item, depth + 1)))
                .collect();
            format!("[\n{}\n{outer}]", items.join(",\n"))
        }
        Value::Object(members) if members.values().any(|own| !own.is_number()) => {
            let members: Vec<String> = members
                .iter()
                .map(|(name, own)| format!("{inner}\"{name}\": {}", readable(own, depth + 1)))
                .collect();
            format!("{{\n{}\n{outer}}}", members.join(",\n"))
        }
        other => other.to_string(),
    }
}

fn is_figures(value: &Value) -> bool {
    match value {
        Value::Array(items) => items.iter().all(is_figures),
        other => other.is_number(),
    }
}

/// The page with a tag on each line, without its data.
fn readable_page(page: &str) -> String {
    let (head, rest) = page
        .split_once("<template id=\"inkdwell-report\">")
        .unwrap();
    let (_, tail) = rest.split_once("</template>").unwrap();
    format!("{head}<template>THE DATA</template>{tail}").replace("><", ">\n<") + "\n"
}

/// Compares with the file, or writes it anew.
fn compare(name: &str, text: &str) {
    let file = golden().join(name);
    if std::env::var_os("INKDWELL_RENEW_GOLDEN").is_some() {
        fs::write(&file, text).unwrap();
        return;
    }
    let kept = fs::read_to_string(&file).unwrap_or_default();
    let mut lines = (1..).zip(kept.lines().zip(text.lines()));
    if let Some((line, (kept, own))) = lines.find(|(_, (kept, own))| kept != own) {
        panic!("{name}, line {line}:\n  was {kept}\n  is  {own}");
    }
    assert_eq!(kept.lines().count(), text.lines().count(), "{name}");
}

#[test]
fn the_simulated_day_is_reported_as_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    played_day::play(&path.join("data"), 3);
    for ending in ["txt", "json", "csv", "html", "pdf"] {
        let file = format!("day.{ending}");
        let output = run_in(path, &["report", "--data", "data", "--out", &file]);
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(1), "{told}");
        // It is supported, in every form that carries its data.
        if ["json", "html"].contains(&ending) {
            let verified = run_in(path, &["verify", &file, "--data", "data"]);
            assert!(verified.status.success(), "{ending}");
        }
    }
    let read = |ending: &str| fs::read_to_string(path.join(format!("day.{ending}"))).unwrap();
    let mut data: Value = serde_json::from_str(&read("json")).unwrap();
    data["made"] = Value::from(MADE);
    compare("day.json", &(readable(&data, 0) + "\n"));
    compare("day.txt", &without_made(&read("txt")));
    compare("day.csv", &read("csv"));
    let page = read("html");
    let carried = inkdwell_daemon::report::html::data_of(&page).unwrap();
    let mut carried: Value = serde_json::from_str(&carried).unwrap();
    carried["made"] = Value::from(MADE);
    assert_eq!(carried, data);
    compare("day.html", &readable_page(&without_made(&page)));
    let words = Command::new("pdftotext")
        .args(["-layout", "day.pdf", "-"])
        .current_dir(path)
        .output();
    match words {
        Ok(words) => {
            let text = without_made(&String::from_utf8_lossy(&words.stdout));
            // How far apart words stand is the other program's guess.
            let lines = text
                .lines()
                .map(|line| line.split_whitespace().collect::<Vec<_>>().join(" "));
            let lines: Vec<String> = lines.filter(|line| !line.is_empty()).collect();
            compare("day.pdf.txt", &(lines.join("\n") + "\n"));
        }
        Err(_) => eprintln!("SKIPPED: pdftotext is not there; tests/run installs it"),
    }
    let files = fs::read_dir(golden()).unwrap();
    let bytes: u64 = files
        .map(|file| file.unwrap().metadata().unwrap().len())
        .sum();
    assert!(bytes < MOST, "{bytes} bytes");
    assert!(
        std::env::var_os("INKDWELL_RENEW_GOLDEN").is_none(),
        "the files were written anew: read the difference, and run this again without the variable"
    );
}
