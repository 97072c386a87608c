//! The data of a report fits its schema, and its page carries that data and nothing else of what was typed.

use inkdwell_daemon::report::{self, Report};

use crate::shop::{commit, day, judged, open, opened, pass, run, told, utc};

#[test]
fn the_data_fits_its_schema_and_comes_back_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, readers) = open(folder.path());
    run(&mut writer, utc("2026-03-02T06:00:00Z"), &[170.0, 171.0]);
    let report = told(&readers.reader().unwrap(), &day("2026-03-02"));
    let value = serde_json::to_value(&report).unwrap();
    let schema = serde_json::to_value(report::schema()).unwrap();
    let validator = jsonschema::draft202012::new(&schema).unwrap();
    let problems: Vec<String> = validator
        .iter_errors(&value)
        .map(|error| error.to_string())
        .collect();
    assert_eq!(problems, Vec::<String>::new());
    let text = serde_json::to_string(&report).unwrap();
    let back: Report = serde_json::from_str(&text).unwrap();
    assert_eq!(back, report);
    let page = report::html::page(&report).unwrap();
    let data = report::html::data_of(&page).unwrap();
    assert_eq!(serde_json::from_str::<Report>(&data).unwrap(), report);
}

/// What people type stands in the page as what they typed.
#[test]
fn nothing_that_was_typed_becomes_part_of_the_page() {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, readers) = open(folder.path());
    let begun = utc("2026-03-02T06:00:00Z");
    let nasty = "</template><script>alert(1)</script>&lt;\"'";
    commit(&mut writer, begun, opened(1, nasty));
    commit(
        &mut writer,
        begun,
        pass(1, begun, Some(1), Some(judged("cured", 170.0, 2.0))),
    );
    let report = told(&readers.reader().unwrap(), &day("2026-03-02"));
    let page = report::html::page(&report).unwrap();
    assert!(!page.contains("<script") && page.matches("</template>").count() == 1);
    let data = report::html::data_of(&page).unwrap();
    let back: Report = serde_json::from_str(&data).unwrap();
    assert_eq!(back.batches[0].job, nasty);
    assert!(
        report::pdf::document(&report)
            .unwrap()
            .starts_with(b"%PDF-")
    );
}
