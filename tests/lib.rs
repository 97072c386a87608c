//! What the acceptance tests share: the programs themselves, a running daemon, and traces whose figures follow by hand.

pub mod daemon;

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::OnceLock;

/// The freshly built program `inkdwell`.
///
/// # Panics
/// When it does not build.
pub fn inkdwell() -> &'static Path {
    static PROGRAM: OnceLock<PathBuf> = OnceLock::new();
    PROGRAM.get_or_init(|| program("inkdwell-cli", "inkdwell"))
}

/// The freshly built program `inkdwelld`, with `inkdwell` beside it.
///
/// # Panics
/// When one of them does not build.
pub fn inkdwelld() -> &'static Path {
    static PROGRAM: OnceLock<PathBuf> = OnceLock::new();
    inkdwell();
    PROGRAM.get_or_init(|| program("inkdwell-daemon", "inkdwelld"))
}

/// A program: where `tests/run` has had it built, else built now.
fn program(package: &str, name: &str) -> PathBuf {
    let file = format!("{name}{}", std::env::consts::EXE_SUFFIX);
    match std::env::var_os("INKDWELL_TEST_PROGRAMS") {
        Some(folder) => Path::new(&folder).join(file),
        None => built(package, name).join(file),
    }
}

/// Builds a program, and says in which folder it lies then.
fn built(package: &str, program: &str) -> PathBuf {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let mut build = Command::new(cargo);
    build
        .args(["build", "--quiet", "--locked", "--package", package])
        .args(["--bin", program])
        .current_dir(root());
    // Build scripts that look at what cargo tells a test of its own package would run again, and all
    // that depends on them be built anew.
    for (name, _) in std::env::vars_os() {
        let is_of_the_test = name == "CARGO_MANIFEST_DIR"
            || name == "CARGO_MANIFEST_PATH"
            || name.to_string_lossy().starts_with("CARGO_PKG_");
        if is_of_the_test {
            build.env_remove(name);
        }
    }
    let built = build.status();
    assert!(
        built.is_ok_and(|status| status.success()),
        "{program} does not build"
    );
    let mut folder = std::env::current_exe().unwrap_or_default();
    // target/debug/deps/NAME-HASH
    folder.pop();
    folder.pop();
    folder
}

/// The project's top folder.
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Runs `inkdwell` in `folder` with nothing on its standard input.
///
/// # Panics
/// When it cannot be started.
pub fn run_in(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(inkdwell())
        .args(arguments)
        .current_dir(folder)
        .stdin(Stdio::null())
        .env_remove("NO_COLOR")
        .output()
        .expect("inkdwell starts")
}

/// Samples on the straight lines between corners, `interval` seconds apart, corners included.
pub fn lines(corners: &[(f64, f64)], interval: f64) -> Vec<(f64, f64)> {
    let mut trace = vec![corners[0]];
    for pair in corners.windows(2) {
        let ((t0, c0), (t1, c1)) = (pair[0], pair[1]);
        let steps = ((t1 - t0) / interval).round().max(1.0) as u32;
        for step in 1..=steps {
            let share = f64::from(step) / f64::from(steps);
            trace.push((t0 + share * (t1 - t0), c0 + share * (c1 - c0)));
        }
    }
    trace
}

/// A trace file with the columns `time_s` and `column`.
pub fn csv(column: &str, trace: &[(f64, f64)]) -> String {
    let rows: String = trace
        .iter()
        .map(|(time, value)| format!("{time},{value}\n"))
        .collect();
    format!("time_s,{column}\n{rows}")
}
