//! What the desk does about warranties.

pub mod covers;
pub mod keeping;
pub mod payers;
pub mod programmes;
pub mod terms;
