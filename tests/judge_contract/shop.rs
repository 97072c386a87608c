//! A folder with inks, fabrics and traces in which the program judges, and a trace whose figures follow by hand.

use std::fs;
use std::path::Path;

use inkdwell_tests::run_in;
use serde_json::Value;
use tempfile::TempDir;

pub(super) const INKS: &str = r#"
[[ink]]
id = "wb-test"
name = "Water-based, test"
family = "water-based"
threshold = "160 C"
cure = { law = "equivalents", points = [["150 C", "180 s"], ["160 C", "90 s"], ["170 C", "50 s"]] }
film = "80 um"
gel = { from = "104 C", to = "121 C" }
pot_life = "8 h"
needs_exhaust = true
source = "invented for tests"

[[ink]]
id = "hold-test"
name = "Plastisol, test"
family = "plastisol"
cure = { law = "hold", at = "160 C", for = "5 s" }
gel = { from = "104 C", to = "121 C" }
source = "invented for tests"
"#;

const FABRICS: &str = r#"
[[fabric]]
id = "cotton-test"
name = "Cotton jersey, test"
mass = "180 g/m2"
regain = 0.085
layers = 2
harms = [ { harm = "scorch", law = "hold", at = "200 C", for = "30 s" } ]
source = "invented for tests"

[[fabric]]
id = "no-limit"
name = "Cloth without known limits, test"
mass = "5.3 oz/yd2"
regain = "8.5 %"
harms = []
source = "invented for tests"
"#;

/// 25 °C to 170 °C at 2.5 °C/s from 10 s on, 20 s there, and back: above 45 °C from 18 s to 138 s, at or
/// above 160 °C for 28 s.
pub(super) const PLAIN: [(f64, f64); 6] = [
    (0.0, 25.0),
    (10.0, 25.0),
    (68.0, 170.0),
    (88.0, 170.0),
    (146.0, 25.0),
    (160.0, 25.0),
];

pub(super) struct Shop(TempDir);

impl Shop {
    pub(super) fn new() -> Shop {
        let folder = TempDir::new().unwrap();
        fs::write(folder.path().join("inks.toml"), INKS).unwrap();
        fs::write(folder.path().join("fabrics.toml"), FABRICS).unwrap();
        Shop(folder)
    }

    pub(super) fn with(text: &str) -> Shop {
        let shop = Shop::new();
        shop.write("trace.csv", text.as_bytes());
        shop
    }

    pub(super) fn write(&self, name: &str, bytes: &[u8]) {
        fs::write(self.0.path().join(name), bytes).unwrap();
    }

    pub(super) fn path(&self) -> &Path {
        self.0.path()
    }

    /// Exit code, standard output, standard error.
    pub(super) fn call(&self, arguments: &str) -> (i32, String, String) {
        let call = format!("judge {arguments} --inks inks.toml --fabrics fabrics.toml");
        let words: Vec<String> = split(&call);
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        let output = run_in(self.path(), &words);
        (
            output.status.code().unwrap(),
            String::from_utf8(output.stdout).unwrap(),
            String::from_utf8(output.stderr).unwrap(),
        )
    }

    pub(super) fn json(&self, arguments: &str) -> (i32, Value) {
        let (code, out, err) = self.call(&format!("{arguments} --json"));
        let json =
            serde_json::from_str(&out).unwrap_or_else(|problem| panic!("{problem}: {out}{err}"));
        (code, json)
    }

    /// The single pass of trace.csv on the plain ink and cotton, with U = 0.
    pub(super) fn pass(&self) -> (i32, Value) {
        let (code, json) =
            self.json("trace.csv --ink hold-test --fabric cotton-test --uncertainty 0C");
        assert_eq!(json["passes"].as_array().unwrap().len(), 1, "{json:#}");
        (code, json["passes"][0].clone())
    }

    /// The message of a call that is refused: exit code 2, nothing on standard output.
    pub(super) fn refusal(&self, arguments: &str) -> String {
        let (code, out, err) = self.call(arguments);
        assert_eq!((code, out.as_str()), (2, ""), "{arguments}: {err}");
        assert!(!err.contains("panicked"), "{err}");
        err
    }

    /// The message with which trace.csv is refused.
    pub(super) fn trace_refusal(&self) -> String {
        self.refusal("trace.csv --ink hold-test --fabric cotton-test")
    }
}

/// Words, with what stands in double quotes kept together.
fn split(call: &str) -> Vec<String> {
    let quoted = call.split('"').enumerate();
    quoted
        .flat_map(|(number, part)| -> Vec<String> {
            if number % 2 == 1 {
                vec![part.to_owned()]
            } else {
                part.split_whitespace().map(str::to_owned).collect()
            }
        })
        .collect()
}

pub(super) fn close(value: &Value, expected: f64) {
    let value = value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is no number"));
    assert!(
        (value - expected).abs() <= 1e-6 * expected.abs().max(1e-3),
        "{value} {expected}"
    );
}
