//! Tables hold everything that was recorded, and open in other programs.

use std::fs;
use std::process::Command;

use serde_json::Value;

use super::day::{call, copied, python};

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
