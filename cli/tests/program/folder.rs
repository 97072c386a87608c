//! What the tests of the program share.

use std::fs;
use std::process::{Command, Stdio};

use tempfile::TempDir;

/// A folder with files.
pub struct Folder(TempDir);

/// How a call ended.
pub struct Ended {
    /// The exit code.
    pub code: i32,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

impl Folder {
    /// A folder with these files.
    pub fn with(files: &[(&str, &str)]) -> Folder {
        let folder = TempDir::new().unwrap();
        for (name, text) in files {
            fs::write(folder.path().join(name), text).unwrap();
        }
        Folder(folder)
    }

    /// Runs the program in it.
    pub fn run(&self, arguments: &[&str]) -> Ended {
        let output = Command::new(env!("CARGO_BIN_EXE_inkdwell"))
            .args(arguments)
            .current_dir(self.0.path())
            .stdin(Stdio::null())
            .output()
            .unwrap();
        Ended {
            code: output.status.code().unwrap(),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }

    /// The path of a file in it.
    pub fn path(&self, name: &str) -> std::path::PathBuf {
        self.0.path().join(name)
    }
}

/// A trace file: straight lines between corners, four samples a second, for each column its own corners
/// at the same times.
pub fn trace(notes: &str, header: &str, corners: &[(f64, &[f64])]) -> String {
    let mut text = format!("{notes}time_s,{header}\n");
    for pair in corners.windows(2) {
        let ((t0, from), (t1, to)) = (pair[0], pair[1]);
        let steps = ((t1 - t0) * 4.0).round() as u32;
        for step in 0..steps {
            let share = f64::from(step) / f64::from(steps);
            let cells: Vec<String> = from
                .iter()
                .zip(to)
                .map(|(a, b)| format!("{:.3}", a + share * (b - a)))
                .collect();
            text += &format!("{:.3},{}\n", t0 + share * (t1 - t0), cells.join(","));
        }
    }
    text
}

/// What names ink and fabric in a file.
pub const NOTES: &str = "# ink: plastisol-standard\n# fabric: cotton-jersey\n# uncertainty: 1 C\n";
