//! Acts of this capability on both databases.

pub mod acceptance;
pub mod answers;
pub mod catalogue;
pub mod lines;
pub mod offers;
pub mod tax;
pub mod templates;
pub mod testing;
pub mod trips;
