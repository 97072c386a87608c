//! Starting the daemon, in the place of this program.

use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::failure::Failure;

/// Where nobody says otherwise, the log tells that the daemon is there and when it goes, and besides only what is wrong.
const LOG: &str = "warn,inkdwelld=info";
/// Says what is logged.
const LOG_VARIABLE: &str = "INKDWELL_LOG";
const PROGRAM: &str = "inkdwelld";

/// The daemon's program: beside this one, or where the system looks for programs.
pub(super) fn program() -> Result<PathBuf, Failure> {
    let own = std::env::current_exe().ok();
    let beside = own.as_deref().and_then(Path::parent).map(Path::to_owned);
    let path = std::env::var_os("PATH").unwrap_or_default();
    let mut folders = beside.into_iter().chain(std::env::split_paths(&path));
    let found = folders.find_map(|folder| {
        let program = folder.join(PROGRAM);
        program.is_file().then_some(program)
    });
    found.ok_or_else(|| {
        Failure::new(format!(
            "the daemon's program {PROGRAM} is neither beside this one nor in PATH; put it there (cargo build -p \
             inkdwell-daemon makes it), or start nothing with --no-run"
        ))
    })
}

/// The daemon takes this program's place, with its terminal and its signals.
///
/// # Errors
/// When it cannot; else it never returns.
pub(super) fn become_it(program: &Path, shop: &Path, data: &Path) -> Failure {
    let mut command = Command::new(program);
    command.arg("--shop").arg(shop).arg("--data").arg(data);
    if std::env::var_os(LOG_VARIABLE).is_none() {
        command.env(LOG_VARIABLE, LOG);
    }
    let error = command.exec();
    Failure::of_file(
        program.display(),
        format_args!("cannot be started ({error})"),
        "check its rights, or start it by hand: inkdwelld --shop SHOP.toml --data DIR",
    )
}
