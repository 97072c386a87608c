//! The inks and fabrics that a call knows: those that ship, a shop file's, and files of their own.

use std::path::Path;

use inkdwell_config::display::Units;
use inkdwell_config::library::Library;
use inkdwell_config::shop::Shop;

use crate::arguments::{LibraryArguments, UnitsArgument};
use crate::failure::Failure;

/// The shop file of a call, if it names one, and the library with everything taken in.
pub(crate) fn load(typed: &LibraryArguments) -> Result<(Option<Shop>, Library), Failure> {
    let mut library = Library::shipped();
    let shop = typed.shop.as_deref().map(Shop::load).transpose()?;
    if let Some(shop) = &shop {
        library.add(shop.library.clone());
    }
    for file in &typed.inks {
        library.add(declares(file, "ink", |library| !library.inks().is_empty())?);
    }
    for file in &typed.fabrics {
        library.add(declares(file, "fabric", |library| {
            !library.fabrics().is_empty()
        })?);
    }
    Ok((shop, library))
}

fn declares(
    file: &Path,
    kind: &str,
    has_any: impl Fn(&Library) -> bool,
) -> Result<Library, Failure> {
    let library = Library::load(file)?;
    if !has_any(&library) {
        let what = format!("declares no {kind}");
        return Err(Failure::of_file(
            file.display(),
            what,
            format!("add a [[{kind}]]"),
        ));
    }
    Ok(library)
}

/// The units to show figures in: the call's, else the shop's.
pub(crate) fn units(typed: Option<UnitsArgument>, shop: Option<&Shop>) -> Units {
    match (typed, shop) {
        (Some(units), _) => units.units(),
        (None, Some(shop)) => shop.units,
        (None, None) => Units::Metric,
    }
}
