//! The report as a page: it needs nothing but itself, and the journal supports it.

use std::fs;

use super::day::{REPORT, call, copied};

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
