//! Whether everybody can use a page: the rules of axe-core for WCAG 2.2 A and AA.

use std::fs;
use std::path::Path;

use serde_json::json;

use super::driver::Browser;

/// Where `tests/run` puts it.
const FILE: &str = "../target/axe-core/node_modules/axe-core/axe.min.js";

/// The checker, where it is at hand; else it is said loudly that nothing is checked.
pub struct Access(Option<String>);

impl Access {
    pub fn new() -> Access {
        let script = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(FILE)).ok();
        if script.is_none() {
            eprintln!(
                "\n== SKIPPED: accessibility of the board's pages (npm install --prefix target/axe-core axe-core)\n"
            );
        }
        Access(script)
    }

    /// Holds the open page against every rule.
    pub fn check(&self, browser: &Browser, what: &str) {
        let Some(script) = &self.0 else {
            return;
        };
        let tags = [
            "wcag2a",
            "wcag2aa",
            "wcag21a",
            "wcag21aa",
            "wcag22aa",
            "best-practice",
        ];
        let found = browser.run_until_called(&format!(
            "{script}; const done = arguments[arguments.length - 1];\
             axe.run(document, {{ runOnly: {} }}).then((found) => done(found.violations.map((own) => \
             own.id + ': ' + own.help + ' ' + own.nodes.map((node) => node.html + ' ' + node.failureSummary).join(' | '))), \
             (error) => done([String(error)]));",
            json!(tags)
        ));
        assert_eq!(found, json!([]), "{what} at {}", browser.address());
    }
}
