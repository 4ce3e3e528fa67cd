//! PNG from SVG, with the fonts that lie in the program.

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb};
use std::sync::{Arc, OnceLock};

/// Twice the size of the SVG, so that it is sharp on a good screen and on paper.
const ENLARGED: f32 = 2.0;

/// Why a picture could not be made into a PNG.
#[derive(Debug, thiserror::Error)]
pub enum PictureError {
    /// The SVG could not be read.
    #[error("the picture could not be read: {0}")]
    Svg(#[from] resvg::usvg::Error),
    /// Its size is none a PNG can have.
    #[error("the picture is too large")]
    TooLarge,
    /// The PNG could not be written.
    #[error("the picture could not be written: {0}")]
    Writing(String),
}

/// Loads the fonts, so that the first PNG is not slower than the next. Optional and harmless to repeat.
pub fn warm_up() {
    fonts();
}

pub(crate) fn png_of(svg: &str) -> Result<Vec<u8>, PictureError> {
    let options = Options {
        font_family: FAMILY.to_owned(),
        fontdb: fonts(),
        ..Options::default()
    };
    let tree = Tree::from_str(svg, &options)?;
    let size = tree
        .size()
        .to_int_size()
        .scale_by(ENLARGED)
        .ok_or(PictureError::TooLarge)?;
    let mut pixels = Pixmap::new(size.width(), size.height()).ok_or(PictureError::TooLarge)?;
    let enlarged = Transform::from_scale(ENLARGED, ENLARGED);
    resvg::render(&tree, enlarged, &mut pixels.as_mut());
    pixels
        .encode_png()
        .map_err(|error| PictureError::Writing(error.to_string()))
}

const FAMILY: &str = "Libertinus Serif";

fn fonts() -> Arc<fontdb::Database> {
    static FONTS: OnceLock<Arc<fontdb::Database>> = OnceLock::new();
    FONTS
        .get_or_init(|| {
            let mut fonts = fontdb::Database::new();
            for font in typst_assets::fonts() {
                fonts.load_font_source(fontdb::Source::Binary(Arc::new(font)));
            }
            fonts.set_serif_family(FAMILY);
            Arc::new(fonts)
        })
        .clone()
}
