//! The report of a simulated day in every form, from the command line alone: what it says, that the journal supports it,
//! that tables open elsewhere, and that every figure of it comes out again when others work it out.

mod played_day;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

use inkdwell_tests::{root, run_in};
use rusqlite::Connection;
use serde_json::Value;
use tempfile::TempDir;

/// A folder with the journal of a played day in `data`, and nothing else.
fn day() -> &'static Path {
    static DAY: OnceLock<TempDir> = OnceLock::new();
    let folder = DAY.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        played_day::play(&folder.path().join("data"), 3);
        folder
    });
    folder.path()
}

/// A folder of a test's own with a copy of that journal alone.
fn copied() -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("data")).unwrap();
    for name in ["data/journal.sqlite", "data/journal.sqlite-wal"] {
        let from = day().join(name);
        if from.exists() {
            fs::copy(from, folder.path().join(name)).unwrap();
        }
    }
    folder
}

fn said(output: Output) -> (i32, String, String) {
    (
        output.status.code().unwrap(),
        String::from_utf8(output.stdout).unwrap(),
        String::from_utf8(output.stderr).unwrap(),
    )
}

fn call(folder: &Path, arguments: &str) -> (i32, String, String) {
    let arguments: Vec<&str> = arguments.split(' ').collect();
    said(run_in(folder, &arguments))
}

const REPORT: &str = "report --data data";

fn json(folder: &Path) -> Value {
    let (code, out, err) = call(folder, &format!("{REPORT} --format json"));
    assert_eq!((code, err.as_str()), (1, ""));
    serde_json::from_str(&out).unwrap()
}

/// The story of the demonstration is its own expectation: five batches, of which the first goes well, a heater sags in the
/// second, the belt stops in the third, a heavier garment lies in the fourth, and a probe breaks in the fifth.
#[test]
fn the_day_is_told_with_its_answer_first() {
    let folder = copied();
    let (code, out, err) = call(folder.path(), REPORT);
    assert_eq!((code, err.as_str()), (1, ""), "{out}");
    assert!(out.lines().all(|line| line.chars().count() <= 80), "{out}");
    let head: String = out.lines().take(12).collect::<Vec<_>>().join(" ");
    for words in [
        "Lantern Yard Print",
        "16 prints proved good",
        "not settled",
        "What to do tomorrow",
        "Settle the",
    ] {
        assert!(head.contains(words), "{words}\n{out}");
    }
    for words in [
        "Harbour choir",
        "Kite festival",
        "under-cured",
        "scorched",
        "no probe saw it",
        "Head: ",
        "Fingerprint: ",
        "Advice only",
    ] {
        assert!(out.contains(words), "{words}\n{out}");
    }
    let report = json(folder.path());
    assert_eq!(report["schema"], "inkdwell.report/1");
    assert_eq!(report["prints"], 16);
    let batches = report["batches"].as_array().unwrap();
    assert_eq!(batches.len(), 5);
    assert_eq!(
        batches[0]["counts"],
        serde_json::json!([{"verdict": "cured", "harm": null, "prints": 3}])
    );
    let left = &batches[1]["settings"]["recipe"]["departures"];
    assert!(
        left[0]["what"].as_str().unwrap().contains("zone-2"),
        "{left}"
    );
    let rides = batches[0]["rides"].as_array().unwrap();
    assert!(rides.len() == 3 && rides[0]["curve"].as_array().unwrap().len() > 50);
    let ids: Vec<&str> = report["chamber"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|own| own["id"].as_str())
        .collect();
    assert_eq!(ids, ["zone-1", "zone-2", "belt-speed"]);
    // What cannot be known says why.
    assert!(report["alarms"]["unknown"].is_string() || report["alarms"].is_array());
    let capability = &batches[0]["figures"][0]["capability"]["unknown"];
    assert!(capability.as_str().unwrap().contains("30 prints or more"));
}

#[test]
fn a_batch_a_job_and_a_range_are_told_alone() {
    let folder = copied();
    let one = |rest: &str| -> Value {
        let (_, out, err) = call(folder.path(), &format!("{REPORT} --format json {rest}"));
        assert_eq!(err, "", "{rest}");
        serde_json::from_str(&out).unwrap()
    };
    assert_eq!(one("--batch 3")["batches"][0]["job"], "Rowing club");
    let arguments = [
        "report",
        "--data",
        "data",
        "--format",
        "json",
        "--job",
        "night MARKET",
    ];
    let (code, out, _) = said(run_in(folder.path(), &arguments));
    let job: Value = serde_json::from_str(&out).unwrap();
    assert_eq!((code, job["prints"].as_u64()), (1, Some(4)));
    assert_eq!(
        one("--day 2020-01-01")["answer"]["sentence"],
        "Nothing was printed."
    );
    assert_eq!(one("--station belt-9")["prints"], 0);
    // A range of moments holds what began in it, the second moment excluded.
    let batch = one("--batch 1");
    let at = |print: usize| {
        batch["batches"][0]["prints"][print]["at"]["at"]
            .as_str()
            .unwrap()
            .to_owned()
    };
    let range = one(&format!("--from {} --to {}", at(0), at(2)));
    assert_eq!(range["prints"], 2);
    // Another shop file wins over the one in the journal, and the report says so.
    let other = "[shop]\nname = \"Other Yard\"\ntimezone = \"America/Chicago\"\nunits = \"us\"\n";
    fs::write(folder.path().join("other.toml"), other).unwrap();
    let named = one("--shop other.toml");
    assert_eq!(
        (&named["shop"]["name"], &named["shop"]["us_units"]),
        (&"Other Yard".into(), &true.into())
    );
    assert!(named["shop"]["file_record"].is_null());
    assert!(
        named["remarks"][0]
            .as_str()
            .unwrap()
            .contains("another one than held then")
    );
    for (wrong, words) in [
        ("--batch 99", "there is no batch 99"),
        ("--day monday", "is no day"),
        ("--from 2026-03-02 --to 2026-03-01", "turn them round"),
        ("--out report.doc", "names no form"),
        ("--day-begins 25:00", "is no hour"),
        (
            "--from 2026-03-02 --to 2026-03-02T12:00:00Z",
            "a day and a moment",
        ),
        ("--format html --paper letter", "--paper is for a PDF"),
        ("--format pdf", "no text for a terminal"),
        ("--shop nowhere.toml", "nowhere.toml"),
    ] {
        let (code, out, err) = call(folder.path(), &format!("{REPORT} {wrong}"));
        assert_eq!((code, out.as_str()), (2, ""), "{wrong}");
        assert!(err.contains(words), "{wrong}: {err}");
    }
}

#[test]
fn the_page_wants_nothing_from_elsewhere_and_carries_its_own_proof() {
    let folder = copied();
    let (code, _, err) = call(folder.path(), &format!("{REPORT} --out day.html"));
    assert_eq!((code, err.as_str()), (1, ""));
    let page = fs::read_to_string(folder.path().join("day.html")).unwrap();
    for forbidden in ["<script", "<link", "<img", "src=", "@import", "url(", " on"] {
        let tags: Vec<&str> = page
            .split('<')
            .map(|tag| tag.split('>').next().unwrap_or(""))
            .collect();
        let found = match forbidden {
            " on" => tags.iter().any(|tag| {
                tag.split(' ')
                    .any(|word| word.starts_with("on") && word.contains('='))
            }),
            other => page.split("<template").next().unwrap_or("").contains(other),
        };
        assert!(!found, "{forbidden}");
    }
    // The namespace of SVG is the only address, and nobody fetches it.
    assert_eq!(
        page.matches("http").count(),
        page.matches("http://www.w3.org/2000/svg").count()
    );
    for pass in 1..=16 {
        assert!(page.contains(&format!("id=\"pass-{pass}\"")), "{pass}");
    }
    // Every link leads somewhere.
    for link in page.split("href=\"#").skip(1) {
        let id = link.split('"').next().unwrap();
        assert!(page.contains(&format!("id=\"{id}\"")), "{id}");
    }
    let (code, out, err) = call(folder.path(), "verify day.html --data data");
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(out.contains("the journal supports every figure"), "{out}");
    // A job's name is only a name.
    assert!(!page.contains("<b>Harbour"));
}

#[test]
fn what_was_changed_in_a_report_is_named() {
    let folder = copied();
    let path = folder.path();
    call(path, &format!("{REPORT} --out day.json"));
    let text = fs::read_to_string(path.join("day.json")).unwrap();
    let mut report: Value = serde_json::from_str(&text).unwrap();
    let print = &mut report["batches"][1]["prints"][1];
    assert_eq!(print["verdict"], "under-cured");
    print["verdict"] = Value::from("cured");
    fs::write(path.join("nicer.json"), report.to_string()).unwrap();
    let verify = |file: &str| call(path, &format!("verify {file} --data data"));
    let (code, out, _) = verify("nicer.json");
    assert_eq!(code, 1, "{out}");
    let flat = out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flat.contains("batches[1].prints[1].verdict: the report says “cured”, the journal “under-"),
        "{out}"
    );
    assert_eq!(verify("day.json").0, 0);
    let (code, _, err) = call(path, "verify day.json");
    assert!(code == 2 && err.contains("--public-key"), "{err}");
    // One that rests on another shop file than the journal's wants that file again.
    let other = "[shop]\nname = \"Other Yard\"\ntimezone = \"America/Chicago\"\n";
    fs::write(path.join("other.toml"), other).unwrap();
    call(
        path,
        &format!("{REPORT} --shop other.toml --out named.json"),
    );
    let (code, _, err) = verify("named.json");
    assert!(code == 2 && err.contains("--shop"), "{err}");
    assert_eq!(
        call(path, "verify named.json --data data --shop other.toml").0,
        0
    );
}

/// A journal that somebody has meddled with, as `inkdwell verify` tells it with a report that was made before: the link of
/// the chain that is broken, and the first figure that has no support any more.
#[test]
fn a_tampered_journal_is_found_and_named() {
    let folder = copied();
    let path = folder.path();
    call(path, &format!("{REPORT} --out day.json"));
    call(path, "backup whole.sqlite --data data");
    let journal = Connection::open(path.join("whole.sqlite")).unwrap();
    let record = |pass: u64| -> u64 {
        let sql = "SELECT record FROM pass WHERE number = ?1";
        journal.query_row(sql, [pass], |row| row.get(0)).unwrap()
    };
    // The second and third prints of the second batch.
    let (five, six) = (record(5), record(6));
    drop(journal);
    let found = |file: &str| -> (String, String) {
        let (code, out, err) = call(path, &format!("verify day.json --data {file}"));
        assert_eq!(code, 1, "{file}: {out}");
        assert!(out.contains("NOT as it was written"), "{file}: {out}");
        (out.split_whitespace().collect::<Vec<_>>().join(" "), err)
    };
    let meddled = |file: &str, sql: &str| {
        fs::copy(path.join("whole.sqlite"), path.join(file)).unwrap();
        let own = Connection::open(path.join(file)).unwrap();
        own.execute_batch(sql).unwrap();
        drop(own);
        found(file)
    };

    // One byte of a verdict, in the file itself. (Alarms name verdicts too, but no reasons.)
    let mut bytes = fs::read(path.join("whole.sqlite")).unwrap();
    let word = b"\"verdict\":\"under-cured\",\"harm\":null,\"reasons\"";
    let mut windows = bytes.windows(word.len());
    let at = windows.position(|window| window == word).unwrap();
    bytes[at + 11] = b'U';
    fs::write(path.join("byte.sqlite"), bytes).unwrap();
    let (out, _) = found("byte.sqlite");
    assert!(out.contains("it was changed after it was written"), "{out}");
    assert!(
        out.contains(".verdict: the report says “under-cured”, the journal “Under-cured”"),
        "{out}"
    );

    // A pass that is not there any more.
    let (out, _) = meddled(
        "deleted.sqlite",
        &format!("DELETE FROM record WHERE number = {five}; DELETE FROM pass WHERE number = 5;"),
    );
    assert!(out.contains(&format!("record {five} is missing")), "{out}");
    assert!(
        out.contains("NOT supported") && out.contains("batches[1].prints[1]"),
        "{out}"
    );

    // Two that have changed places.
    let (out, _) = meddled(
        "reordered.sqlite",
        &format!(
            "UPDATE record SET number = 0 WHERE number = {five};
             UPDATE record SET number = {five} WHERE number = {six};
             UPDATE record SET number = {six} WHERE number = 0;
             UPDATE pass SET record = {six} WHERE number = 5;
             UPDATE pass SET record = {five} WHERE number = 6;"
        ),
    );
    assert!(
        out.contains(&format!("record {five}")) && out.contains("belongs"),
        "{out}"
    );
    assert!(out.contains("batches[1].prints[1].record"), "{out}");

    // Another day's journal in its place.
    played_day::play(&path.join("another"), 4);
    let (out, _) = found("another");
    assert!(out.contains("NOT supported"), "{out}");
}

#[test]
fn a_signed_report_is_checked_by_anyone_with_the_public_key() {
    let folder = copied();
    let path = folder.path();
    let (code, _, err) = call(path, "key shop.key");
    assert_eq!((code, err.as_str()), (0, ""));
    let (code, _, err) = call(path, "key shop.key");
    assert!(code == 2 && err.contains("there is a file of this name"));
    let (code, _, err) = call(path, &format!("{REPORT} --out day.json --sign shop.key"));
    assert_eq!((code, err.as_str()), (1, ""));
    // By somebody who has nothing but the report, its signature and the public key.
    let elsewhere = tempfile::tempdir().unwrap();
    for name in ["day.json", "day.json.sig", "shop.key.pub"] {
        fs::copy(path.join(name), elsewhere.path().join(name)).unwrap();
    }
    let path = elsewhere.path();
    let verify = "verify day.json --public-key shop.key.pub";
    let (code, out, _) = call(path, verify);
    assert_eq!(code, 0, "{out}");
    assert!(out.contains("signed with the shop's key"), "{out}");
    // Another program that knows Ed25519 agrees, where it is there.
    if Command::new("openssl").arg("version").output().is_ok() {
        let checked = Command::new("openssl")
            .args([
                "pkeyutl",
                "-verify",
                "-pubin",
                "-inkey",
                "shop.key.pub",
                "-rawin",
            ])
            .args(["-in", "day.json", "-sigfile", "day.json.sig"])
            .current_dir(path)
            .output()
            .unwrap();
        assert!(checked.status.success(), "{checked:?}");
    }
    let mut bytes = fs::read(path.join("day.json")).unwrap();
    let last = bytes.len() - 3;
    bytes[last] = b' ';
    bytes.extend(b" ");
    fs::write(path.join("day.json"), &bytes).unwrap();
    let (code, out, err) = call(path, verify);
    // Either it is no report any more, or its signature is wrong.
    assert!(
        code == 1 && out.contains("NOT signed") || code == 2 && err.contains("holds no report"),
        "{out}{err}"
    );
}

#[test]
fn tables_have_a_row_for_everything_that_was_recorded() {
    let folder = copied();
    let path = folder.path();
    let rows = |what: &str| {
        let (code, out, err) = call(path, &format!("export {what} --data data"));
        assert_eq!((code, err.as_str()), (0, ""), "{what}");
        out
    };
    let passes = rows("passes");
    assert_eq!(passes.lines().count(), 17, "{passes}");
    let readings = rows("readings");
    let (_, verified, _) = call(path, "verify --data data --json");
    let verified: Value = serde_json::from_str(&verified).unwrap();
    let kept = verified["readings"].as_u64().unwrap() as usize;
    assert_eq!(readings.lines().count(), kept + 1);
    let events = rows("events");
    assert!(
        events.contains("batch-opened") && events.contains("recipe-locked"),
        "{events}"
    );
    for what in ["passes", "readings", "events"] {
        let (code, _, err) = call(
            path,
            &format!("export {what} --data data --out {what}.parquet"),
        );
        assert_eq!((code, err.as_str()), (0, ""), "{what}");
        let bytes = fs::read(path.join(format!("{what}.parquet"))).unwrap();
        assert!(bytes.starts_with(b"PAR1") && bytes.ends_with(b"PAR1"));
        let (_, told, _) = call(path, &format!("export {what} --columns"));
        let header = rows(what).lines().next().unwrap().split(',').count();
        assert_eq!(told.lines().count(), header);
    }
    let (code, _, err) = call(path, "export passes --data data --out passes.xls");
    assert!(code == 2 && err.contains(".csv or .parquet"), "{err}");
}

/// A Python with numpy, scipy and pyarrow, which `tests/run` installs.
fn python() -> Option<PathBuf> {
    let python = root().join("target/numbers/bin/python");
    python.exists().then_some(python)
}

/// An independent reader of Parquet finds the same cells as are in the CSV.
#[test]
fn a_data_frame_library_opens_the_tables_at_once() {
    let Some(python) = python() else {
        eprintln!("SKIPPED: no Python with pyarrow; tests/run installs it");
        return;
    };
    let folder = copied();
    let path = folder.path();
    for ending in ["csv", "parquet"] {
        for what in ["passes", "readings"] {
            call(
                path,
                &format!("export {what} --data data --out {what}.{ending}"),
            );
        }
    }
    let script = "import pandas as p, pyarrow.parquet as q\n\
        for n in ['passes', 'readings']:\n\
        \x20   a, b = p.read_parquet(n + '.parquet'), p.read_csv(n + '.csv')\n\
        \x20   assert list(a.columns) == list(b.columns) and len(a) == len(b), n\n\
        \x20   for c in a.columns:\n\
        \x20       x = a[c].where(a[c] != '')\n\
        \x20       if c in ('at', 'start'): assert (x == p.to_datetime(b[c], format='ISO8601')).all(), c\n\
        \x20       elif x.dtype.kind == 'f': assert ((x == b[c]) | (x.isna() & b[c].isna())).all(), c\n\
        \x20       assert (x.isna() == b[c].isna()).all(), c\n\
        \x20   told = q.read_metadata(n + '.parquet').metadata\n\
        \x20   assert all(told[c.encode()] for c in a.columns), n\n";
    let output = Command::new(python)
        .args(["-c", script])
        .current_dir(path)
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
}

/// Every figure of the report, worked out by numpy and scipy from what was exported: `tests/reference/report.py` says to
/// which tolerances.
#[test]
fn others_work_out_the_same_figures() {
    let Some(python) = python() else {
        eprintln!("SKIPPED: no Python with numpy and scipy; tests/run installs it");
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    // A long good run, so that there is something for charts and trends.
    played_day::play(&path.join("data"), 32);
    call(path, &format!("{REPORT} --out day.json"));
    for what in ["passes", "readings", "events"] {
        call(path, &format!("export {what} --data data --out {what}.csv"));
    }
    let script = root()
        .join("tests/reference/report.py")
        .canonicalize()
        .unwrap();
    let arguments = ["day.json", "passes.csv", "readings.csv", "events.csv"];
    let output = Command::new(&python)
        .arg("-B")
        .arg(&script)
        .args(arguments)
        .current_dir(path)
        .output()
        .unwrap();
    let (out, err) = (
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr),
    );
    assert!(output.status.success(), "{out}{err}");
    for compared in [
        "good at least",
        "cure dose from readings",
        "scorch dose from readings",
        "peak, median",
        "chart, patterns",
        "trend refused",
        "capability refused",
        "hold, outcome",
        "scrapped, cost",
        "test, review says by how much",
        "recipe, lasted",
        "alarm, seen after",
        "chamber, mean",
        "curve, temperatures",
        "calibration, due in days",
        "fingerprint",
        "period, before",
    ] {
        assert!(out.contains(compared), "{compared}\n{out}");
    }
    // It would notice.
    let text = fs::read_to_string(path.join("day.json")).unwrap();
    let mut report: Value = serde_json::from_str(&text).unwrap();
    let share = &mut report["batches"][0]["proof"]["good_at_least"];
    *share = Value::from(share.as_f64().unwrap() + 1e-6);
    fs::write(path.join("day.json"), report.to_string()).unwrap();
    let output = Command::new(&python)
        .arg("-B")
        .arg(&script)
        .args(arguments)
        .current_dir(path)
        .output()
        .unwrap();
    assert!(!output.status.success());
}

/// The PDF by two general-purpose programs, where they are there: one that checks its structure, and one that reads its
/// text.
#[test]
fn the_pdf_is_sound_and_its_text_can_be_searched() {
    let folder = copied();
    let path = folder.path();
    let (code, _, err) = call(path, &format!("{REPORT} --out day.pdf"));
    assert_eq!((code, err.as_str()), (1, ""));
    let bytes = fs::read(path.join("day.pdf")).unwrap();
    assert!(bytes.starts_with(b"%PDF-"));
    let tool = |name: &str, arguments: &[&str]| {
        let output = Command::new(name)
            .args(arguments)
            .current_dir(path)
            .output();
        match output {
            Ok(output) => Some(output),
            Err(_) => {
                eprintln!("SKIPPED: {name} is not there; tests/run installs it");
                None
            }
        }
    };
    if let Some(output) = tool("qpdf", &["--check", "day.pdf"]) {
        assert!(
            output.status.success(),
            "{}",
            String::from_utf8_lossy(&output.stdout)
        );
    }
    if let Some(output) = tool("pdftotext", &["-layout", "day.pdf", "-"]) {
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        let head = json(path)["journal"]["fingerprint"]
            .as_str()
            .unwrap()
            .to_owned();
        for words in [
            "What to do tomorrow",
            "Harbour choir",
            "Every print",
            "scorched",
            "Advice only",
            &head,
        ] {
            assert!(text.contains(words), "{words}");
        }
    }
    // ISO 216: A4 is 210 mm by 297 mm, 595 by 842 points of 1/72 inch; Letter is 8.5 by 11 inches.
    call(path, &format!("{REPORT} --out letter.pdf --paper letter"));
    for (file, size) in [("day.pdf", ["595", "841"]), ("letter.pdf", ["612", "792"])] {
        if let Some(output) = tool("pdfinfo", &[file]) {
            let text = String::from_utf8_lossy(&output.stdout).into_owned();
            let line = text.lines().find(|line| line.starts_with("Page size:"));
            let line = line.unwrap_or_default();
            assert!(size.iter().all(|own| line.contains(own)), "{file}: {line}");
        }
    }
    if let Some(output) = tool("pdfinfo", &["day.pdf"]) {
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        let tagged = text.lines().find(|line| line.starts_with("Tagged:"));
        assert!(tagged.is_some_and(|line| line.ends_with("yes")), "{text}");
    }
    if let Some(output) = tool("pdffonts", &["day.pdf"]) {
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        let fonts: Vec<&str> = text.lines().skip(2).collect();
        // The columns emb, sub, uni: embedded, a subset, and with the letters that its glyphs stand for.
        assert!(
            !fonts.is_empty() && fonts.iter().all(|font| font.contains("yes yes yes")),
            "{text}"
        );
    }
}
