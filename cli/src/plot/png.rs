//! A PNG from a figure's SVG, with a font of our own so that it looks the same everywhere.

use std::sync::Arc;

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb};

use crate::failure::Failure;

/// Pixels for each unit of the SVG.
const FINENESS: f32 = 2.0;

/// The picture's bytes.
pub(super) fn render(svg: &str) -> Result<Vec<u8>, Failure> {
    let failed = |what: String| {
        Failure::new(format!(
            "the picture cannot be made ({what}); write .svg instead"
        ))
    };
    let mut fonts = fontdb::Database::new();
    fonts.load_font_data(dejavu::sans::regular().to_vec());
    fonts.load_font_data(dejavu::sans::bold().to_vec());
    fonts.set_sans_serif_family("DejaVu Sans");
    let options = Options {
        fontdb: Arc::new(fonts),
        ..Options::default()
    };
    let tree = Tree::from_str(svg, &options).map_err(|error| failed(error.to_string()))?;
    let size = tree.size().to_int_size().scale_by(FINENESS);
    let mut picture = size
        .and_then(|size| Pixmap::new(size.width(), size.height()))
        .ok_or_else(|| failed("it would be too large".to_owned()))?;
    let scale = Transform::from_scale(FINENESS, FINENESS);
    resvg::render(&tree, scale, &mut picture.as_mut());
    picture
        .encode_png()
        .map_err(|error| failed(error.to_string()))
}
