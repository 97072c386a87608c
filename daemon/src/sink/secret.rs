//! Tokens and keys, read anew whenever they are needed, so that a corrected one needs no restart.

use inkdwell_config::shop::Secret;

use crate::broker::Trouble;

/// Reads one; `key` is what the shop file calls it, such as `token`.
pub(super) fn read(secret: &Secret, key: &str) -> Result<String, Trouble> {
    match secret {
        Secret::File(path) => {
            let file = path.display();
            let text = std::fs::read_to_string(path).map_err(|error| {
                Trouble::slow(format!(
                    "the file {file} cannot be read ({}); correct {key}_file, or let the daemon's user read it",
                    error.kind()
                ))
            })?;
            let first = text.lines().next().unwrap_or_default().trim();
            match first.is_empty() {
                true => Err(Trouble::slow(format!(
                    "the first line of {file} is empty; write the {key} there"
                ))),
                false => Ok(first.to_owned()),
            }
        }
        Secret::Environment(name) => match std::env::var(name) {
            Ok(text) if !text.is_empty() => Ok(text),
            _ => Err(Trouble::slow(format!(
                "the environment variable {name} is empty; set it before the daemon starts, or correct {key}_env"
            ))),
        },
    }
}
