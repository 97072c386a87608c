//! `inkdwell demo` tells its whole story, and what it says of prints agrees with the simulation, whose physics
//! knows nothing of Inkdwell's engine.

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::sync::OnceLock;

use inkdwell_simulated_traces::record::{PrintRecord, TruthFile};
use inkdwell_tests::{inkdwell, root, run_in};
use tempfile::TempDir;

/// The chapters, by the names of their files, with their headings.
const CHAPTERS: [(&str, &str); 5] = [
    ("1-good-run", "1  A good run"),
    ("2-heater-sags", "2  A heater sags"),
    ("3-belt-stops", "3  The belt stops"),
    ("4-wrong-garment", "4  A wrong garment"),
    ("5-probe-breaks", "5  A probe breaks"),
];
const MARKS: [&str; 4] = ["● ", "▽ ", "▲ ", "◇ "];

/// A demonstration that was told whole.
struct Told {
    folder: TempDir,
    text: String,
}

/// A verdict: the print's number and the word.
type Said = (u32, String);

fn tell(seed: &str) -> Told {
    let folder = tempfile::tempdir().unwrap();
    let keep = folder.path().join("kept");
    let keep = keep.to_str().unwrap();
    let arguments = ["demo", "--speed", "2000", "--seed", seed, "--keep", keep];
    let output = run_in(folder.path(), &arguments);
    let errors = String::from_utf8_lossy(&output.stderr).into_owned();
    let text = String::from_utf8(output.stdout).unwrap();
    assert_eq!(output.status.code(), Some(0), "{errors}\n{text}");
    assert_eq!(errors, "");
    Told { folder, text }
}

/// The story that everybody is told who asks for nothing else.
fn usual() -> &'static Told {
    static TOLD: OnceLock<Told> = OnceLock::new();
    TOLD.get_or_init(|| tell("1"))
}

impl Told {
    /// The text of a chapter.
    fn chapter(&self, number: usize) -> &str {
        let (_, rest) = self.text.split_once(CHAPTERS[number].1).unwrap();
        let end = CHAPTERS
            .get(number + 1)
            .map_or("What became of it", |next| next.1);
        rest.split_once(end).unwrap().0
    }

    /// What the simulation says of a chapter's prints.
    fn truth(&self, number: usize) -> Vec<PrintRecord> {
        let file = format!("kept/{}.truth.json", CHAPTERS[number].0);
        let text = fs::read_to_string(self.folder.path().join(file)).unwrap();
        serde_json::from_str::<TruthFile>(&text).unwrap().prints
    }

    fn said(&self, number: usize) -> Vec<Said> {
        let mut said: Vec<Said> = verdict_lines(self.chapter(number))
            .iter()
            .map(|line| said(line))
            .collect();
        said.sort();
        said
    }
}

/// The lines of verdicts, without the clock, which goes with the wall's.
fn verdict_lines(text: &str) -> Vec<String> {
    let lines = text.lines().filter_map(|line| {
        let at = MARKS.iter().find_map(|mark| line.find(mark))?;
        Some(line[at..].to_owned())
    });
    lines.collect()
}

/// From `▽ print 2  under-cured  peak 152 °C`.
fn said(line: &str) -> Said {
    let mut parts = line.split("  ");
    let print = parts.next().unwrap().rsplit(' ').next().unwrap();
    (
        print.parse().unwrap_or_else(|_| panic!("{line}")),
        parts.next().unwrap().to_owned(),
    )
}

/// Every print has one verdict, and none claims what is not true.
fn holds_against_the_truth(told: &Told) {
    for (number, chapter) in CHAPTERS.iter().enumerate() {
        let (said, truth) = (told.said(number), told.truth(number));
        let judged: Vec<u32> = said.iter().map(|own| own.0).collect();
        let printed: Vec<u32> = truth.iter().map(|own| own.index).collect();
        assert_eq!(judged, printed, "{}", chapter.0);
        for ((print, said), truth) in said.iter().zip(&truth) {
            let truly = match truth.truth.harm.as_deref() {
                Some("scorch") => "scorched",
                Some(harm) => harm,
                None => truth.truth.verdict.as_str(),
            };
            let fits = said == truly || said == "unproven";
            assert!(fits, "{} print {print}: {said}, truly {truly}", chapter.0);
        }
    }
}

fn words(said: &[Said]) -> Vec<&str> {
    said.iter().map(|own| own.1.as_str()).collect()
}

/// What each chapter is told for.
fn every_trouble_is_found(told: &Told) {
    assert_eq!(words(&told.said(0)), ["cured"; 3]);
    let sagging = ["cured", "under-cured", "under-cured", "cured"];
    assert_eq!(words(&told.said(1)), sagging);
    assert_eq!(words(&told.said(2)), ["scorched", "cured"]);
    assert_eq!(words(&told.said(3)), ["cured", "under-cured", "cured"]);
    let broken = ["cured", "unproven", "unproven", "cured"];
    assert_eq!(words(&told.said(4)), broken);
    for (number, warned) in [
        (1, "recipe 1 left: zone-2 shows"),
        (2, "recipe 1 left: the belt runs at 0.00 m/min"),
    ] {
        let chapter = told.chapter(number);
        let warned = chapter.find(warned).unwrap_or_else(|| panic!("{chapter}"));
        let bad = chapter
            .find("▽ print 2")
            .or(chapter.find("▲ print 1"))
            .unwrap();
        assert!(
            warned < bad,
            "the warning comes before the first bad print: {chapter}"
        );
        assert!(chapter.contains("recipe 1 kept again"), "{chapter}");
    }
}

#[test]
fn the_whole_story_is_told_and_true() {
    let told = usual();
    let found: Vec<usize> = CHAPTERS
        .iter()
        .map(|own| told.text.find(own.1).unwrap())
        .collect();
    assert!(found.is_sorted(), "{found:?}");
    holds_against_the_truth(told);
    every_trouble_is_found(told);
    // The faults are real ones.
    assert!(
        told.truth(1)[1..3]
            .iter()
            .all(|own| own.truth.verdict == "under-cured")
    );
    assert_eq!(told.truth(2)[0].truth.harm.as_deref(), Some("scorch"));
    assert!(!told.truth(3)[1].faults.is_empty());
}

#[test]
fn what_is_on_hold_and_what_can_be_done_is_said() {
    let told = usual();
    let (_, summary) = told.text.split_once("What became of it").unwrap();
    let summary = summary.split_whitespace().collect::<Vec<_>>().join(" ");
    for said in [
        "hold 1, batch 2: prints 2, 3 (under-cured; can go through the heat once more)",
        "hold 2, batch 3: print 1 (overheated; cannot be brought back)",
        "hold 3, batch 4: print 2 (under-cured; can go through the heat once more)",
        "batch 5: print 3 (unproven, no probe saw it; only a wash test tells now)",
        "batch 5: print 2 (unproven; only a wash test tells now)",
        "14 verdicts that claim to know, all of them are true; 2 times Inkdwell said that nobody knows",
        "journal verified: ",
        "it is no safety device",
        "1 Harbour choir 3 3 - - - 3",
        "5 Kite festival 4 2 - - 2 3",
    ] {
        assert!(summary.contains(said), "{said}\n{summary}");
    }
    let kept = told.folder.path().join("kept");
    assert!(summary.contains(kept.canonicalize().unwrap().to_str().unwrap()));
    assert!(journal(&kept));
}

#[test]
fn the_same_seed_gives_the_same_verdicts() {
    let again = tell("1");
    assert_eq!(verdict_lines(&again.text), verdict_lines(&usual().text));
}

#[test]
fn another_seed_is_another_day_and_as_true() {
    let other = tell("29");
    assert_ne!(verdict_lines(&other.text), verdict_lines(&usual().text));
    holds_against_the_truth(&other);
    every_trouble_is_found(&other);
}

#[test]
fn without_a_terminal_lines_are_plain_and_no_wider_than_eighty() {
    let folder = usual().folder.path().canonicalize().unwrap();
    for line in usual().text.lines() {
        assert!(!line.chars().any(char::is_control), "{line:?}");
        let is_path = line.contains(folder.to_str().unwrap());
        assert!(is_path || line.chars().count() <= 80, "{line}");
    }
}

/// The lines that the README shows, clocks aside, are among those that the program says.
#[test]
fn the_readme_shows_what_it_says() {
    let readme = fs::read_to_string(root().join("README.md")).unwrap();
    let (_, rest) = readme.split_once("```console\n").unwrap();
    let (shown, _) = rest.split_once("```").unwrap();
    let without_clock = |line: &str| {
        let clock = line.trim_start().split("  ").next().unwrap_or_default();
        let is_clock = clock.len() == 8 && clock.chars().all(|c| c.is_ascii_digit() || c == ':');
        match is_clock {
            true => line.replacen(clock, "hh:mm:ss", 1),
            false => line.to_owned(),
        }
    };
    let said: Vec<String> = usual().text.lines().map(without_clock).collect();
    let shown: Vec<String> = shown.lines().map(without_clock).collect();
    assert!(shown.len() > 5);
    for line in shown {
        // A hold names prints by the clock.
        let is_hold = line.trim_start().starts_with("hold ");
        assert!(is_hold || said.contains(&line), "{line}");
    }
}

#[test]
fn a_folder_with_something_in_it_is_refused_and_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("mine"), "dear").unwrap();
    let keep = folder.path().to_str().unwrap();
    let Output {
        status,
        stdout,
        stderr,
    } = run_in(folder.path(), &["demo", "--keep", keep]);
    assert_eq!(status.code(), Some(2));
    assert!(stdout.is_empty());
    let said = String::from_utf8(stderr).unwrap();
    assert!(said.contains("is not empty; name a folder"), "{said}");
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
}

#[test]
fn a_story_shorter_than_its_chapters_is_refused() {
    let output = run_in(&root(), &["demo", "--minutes", "5"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("--minutes"));
}

/// Ctrl-C in the middle: the daemon is stopped in order, and what was recorded stays.
#[test]
fn it_can_be_stopped() {
    let folder = tempfile::tempdir().unwrap();
    let keep = folder.path().join("kept");
    let mut program = Command::new(inkdwell())
        .args(["demo", "--speed", "20", "--keep"])
        .arg(&keep)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(program.stdout.take().unwrap()).lines();
    let opened = lines.find(|line| line.as_ref().unwrap().contains("batch 1 opened"));
    assert!(opened.is_some());
    let id = program.id().to_string();
    let sent = Command::new("kill").args(["-INT", &id]).status();
    assert!(sent.unwrap().success());
    let rest: Vec<String> = lines.map(Result::unwrap).collect();
    assert!(
        rest.iter().any(|line| line.starts_with("Interrupted")),
        "{rest:?}"
    );
    assert_eq!(program.wait().unwrap().code(), Some(1));
    assert!(journal(&keep));
}

/// Whether the journal is there.
fn journal(keep: &Path) -> bool {
    keep.join("data/journal.sqlite").is_file()
}
