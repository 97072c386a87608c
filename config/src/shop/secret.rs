//! Where passwords, tokens and keys are kept: never in the shop file itself.

use std::path::PathBuf;

use crate::reading::TableReader;

/// Where a password, token or key is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Secret {
    /// The first line of a file.
    File(PathBuf),
    /// An environment variable.
    Environment(String),
}

/// Reads `NAME_file` or `NAME_env`, and refuses the secret itself under `NAME`.
pub(super) fn read_secret(
    table: &TableReader<'_>,
    name: &'static str,
    file: &'static str,
    environment: &'static str,
) -> Option<Secret> {
    if let Some(node) = table.optional(name) {
        node.report(
            "a shop file is no place for secrets",
            format!("keep it in a file and name that as {file}, or in a variable as {environment}"),
        );
    }
    let path = table.optional(file).and_then(|node| node.words());
    let variable = table.optional(environment);
    if let (Some(_), Some(node)) = (&path, &variable) {
        node.report(format!("stands beside {file}"), "keep one of them");
        return None;
    }
    match (path, variable.and_then(|node| node.words())) {
        (Some(path), _) => Some(Secret::File(PathBuf::from(path))),
        (None, Some(variable)) => Some(Secret::Environment(variable)),
        (None, None) => None,
    }
}
