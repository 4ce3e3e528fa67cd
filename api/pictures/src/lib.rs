//! Pictures of figures: a chart's data in, an SVG and its words out, and a PNG where a mail needs one.
//!
//! Why a crate of its own: it draws and knows nothing of the database, the statistics or the mail. It takes finished
//! figures and words; nothing is judged or added up here.
//!
//! What stays true:
//! - The same data gives the same bytes. No clock, no network, no script, no font of the machine.
//! - Each picture says in words what it shows (`<title>`, `<desc>`, [`Chart::alternative`]), with the figures.
//! - Nothing depends on colour: marks differ by shape, lines by dash and label, so that a grey print reads the same.
//! - Every text is escaped. A figure that is no number, or too large to be one, is left out and never drawn.
//!
//! # Example
//! ```
//! use nameplate_pictures::{Bar, Caption, Chart, Money};
//! let chart = Money {
//!     caption: Caption {
//!         title: "Money lost to callbacks".to_owned(),
//!         subtitle: "By technician, as of Nov 29, 2026".to_owned(),
//!         note: String::new(),
//!     },
//!     bars: vec![Bar { label: "R. Moss".to_owned(), amount: "$412.50".to_owned(), length: 412.5 }],
//! };
//! let picture = chart.picture();
//! assert!(picture.svg.starts_with("<svg"));
//! assert!(picture.alternative.contains("$412.50"));
//! assert!(picture.png()?.starts_with(b"\x89PNG"));
//! # Ok::<(), nameplate_pictures::PictureError>(())
//! ```

mod frame;
mod lines;
mod marks;
mod money;
mod months;
mod plane;
mod rates;
mod scale;
mod svg;
mod visits;
mod words;

mod png;

pub use frame::Caption;
pub use lines::{Lines, Series};
pub use money::{Bar, Money};
pub use months::{Month, Months};
pub use png::{PictureError, warm_up};
pub use rates::{Judgement, RateRow, Rates};
pub use visits::{AgeUnit, Curve, Moment, Visits};

/// A kind of chart that can be drawn.
pub trait Chart {
    /// What the picture shows, in a few sentences with its figures, for who cannot see it.
    fn alternative(&self) -> String;

    /// Draws it.
    fn picture(&self) -> Picture;
}

/// A finished picture, 720 units wide.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    /// A whole SVG document without references to anything outside; may also stand inside an HTML page.
    pub svg: String,
    /// The same words as in its `<desc>`.
    pub alternative: String,
}

impl Picture {
    /// The picture as PNG at twice its size, for mails and places that show no SVG. Letters that no font in the program
    /// has (wide scripts, emoji) are missing in it; the SVG leaves them to the reader's fonts.
    ///
    /// # Errors
    /// Any [`PictureError`] means a fault in this crate.
    pub fn png(&self) -> Result<Vec<u8>, PictureError> {
        png::png_of(&self.svg)
    }
}

#[cfg(test)]
mod tests;
