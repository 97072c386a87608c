//! The report as a PDF: of sound structure, with text that can be searched, on the paper that was asked for.

use std::fs;
use std::process::Command;

use super::day::{REPORT, call, copied, json};

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
