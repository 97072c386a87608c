//! The journal of a played day in a folder of its own, and the programs that are called there.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;
use std::sync::OnceLock;

use inkdwell_tests::{root, run_in};
use serde_json::Value;
use tempfile::TempDir;

use super::played_day;

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
pub(super) fn copied() -> TempDir {
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

pub(super) fn said(output: Output) -> (i32, String, String) {
    (
        output.status.code().unwrap(),
        String::from_utf8(output.stdout).unwrap(),
        String::from_utf8(output.stderr).unwrap(),
    )
}

pub(super) fn call(folder: &Path, arguments: &str) -> (i32, String, String) {
    let arguments: Vec<&str> = arguments.split(' ').collect();
    said(run_in(folder, &arguments))
}

pub(super) const REPORT: &str = "report --data data";

pub(super) fn json(folder: &Path) -> Value {
    let (code, out, err) = call(folder, &format!("{REPORT} --format json"));
    assert_eq!((code, err.as_str()), (1, ""));
    serde_json::from_str(&out).unwrap()
}

/// A Python with numpy, scipy and pyarrow, which `tests/run` installs.
pub(super) fn python() -> Option<PathBuf> {
    let python = root().join("target/numbers/bin/python");
    python.exists().then_some(python)
}
