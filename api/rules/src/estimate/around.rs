//! What an estimate says around its offer: pictures, cautions, local lines, and the sentence that is agreed to.
//!
//! It is frozen and hashed with the offer, so that nobody can say later that something else was on the page.

use serde::{Deserialize, Serialize};

/// What stands around the offer. Each part may be empty.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Around {
    /// What was found, in pictures, in the order of showing.
    pub pictures: Vec<Picture>,
    /// What the customer must know where the work concerns heat, gas, refrigerant or water on electrics.
    pub cautions: Vec<String>,
    /// Lines that the local rules want on the document.
    pub local_lines: Vec<String>,
    /// The sentence agreed to by accepting.
    pub consent: String,
}

/// A picture, known by its hash.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Picture {
    /// What it shows, for who cannot see it.
    pub words: String,
    /// SHA-256 of the bytes shown, as 64 lower-case hexadecimal digits.
    pub sha256: String,
}

impl Around {
    /// Whether there is nothing; then it leaves no trace in the hashed text.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}
