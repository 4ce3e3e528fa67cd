//! What the customer is shown, frozen at the sending: the page, the PDF and the letter say the same.

pub mod cautions;
pub mod changes;
pub mod content;
pub mod letter;
pub mod local;
pub mod page;
pub mod parties;
pub mod printed;
