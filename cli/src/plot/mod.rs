//! Drawing judged traces.
//!
//! A [`Panel`] takes a channel's readings as they are judged and keeps no more of them than can be
//! seen; a [`Figure`] sets panels below each other and writes SVG, or a PNG made from it.

pub(crate) mod axis;
mod believed;
mod drawing;
mod figure;
pub(crate) mod lettering;
mod marks;
mod panel;
mod png;
mod thinned;

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use inkdwell_config::display::Units;
use tempfile::NamedTempFile;

pub(crate) use panel::Panel;

use crate::failure::Failure;

/// Where a figure goes and in which form.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Target {
    Svg(PathBuf),
    Png(PathBuf),
}

impl Target {
    /// By the ending of the name.
    pub(crate) fn new(path: PathBuf) -> Result<Target, Failure> {
        match path.extension().and_then(|ending| ending.to_str()) {
            Some("svg") => Ok(Target::Svg(path)),
            Some("png") => Ok(Target::Png(path)),
            _ => Err(Failure::of_file(
                path.display(),
                "its ending does not say how to draw",
                "let the name of --plot end in .svg or .png",
            )),
        }
    }
}

/// A figure: a panel for each judged channel.
pub(crate) struct Figure {
    units: Units,
    panels: Vec<Panel>,
}

impl Figure {
    pub(crate) fn new(units: Units) -> Figure {
        Figure {
            units,
            panels: Vec::new(),
        }
    }

    pub(crate) fn add(&mut self, panel: Panel) {
        self.panels.push(panel);
    }

    /// Writes the figure; nothing half-written is left behind.
    pub(crate) fn write(&self, target: &Target) -> Result<(), Failure> {
        write(target, figure::figure(&self.panels, self.units))
    }
}

/// Writes a drawing as its target says; nothing half-written is left behind.
pub(crate) fn write(target: &Target, text: String) -> Result<(), Failure> {
    let (path, bytes) = match target {
        Target::Svg(path) => (path, text.into_bytes()),
        Target::Png(path) => (path, png::render(&text)?),
    };
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    if !folder.is_dir() {
        let what = format_args!("cannot be written: there is no folder {}", folder.display());
        return Err(Failure::of_file(
            path.display(),
            what,
            "make it, or name another",
        ));
    }
    let written = temporary(folder)
        .and_then(|mut file| file.write_all(&bytes).map(|()| file))
        .and_then(|file| file.persist(path).map_err(|error| error.error));
    written
        .map(|_| ())
        .map_err(|error| Failure::writing(path, &error))
}

/// A file in a folder that is nobody's yet, with the rights that any new file has.
fn temporary(folder: &Path) -> io::Result<NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    builder.tempfile_in(folder)
}
