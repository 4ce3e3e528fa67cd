//! What rates are read from. Each function is one statement, but where it says otherwise.

pub mod drill;
pub mod lost;
pub mod machines;
