//! What becomes of money that does not come: reminders, late charges, disputes, write-offs, and the shop's terms about
//! them.

pub mod dispute;
pub mod late;
pub mod reminding;
pub mod terms;
pub mod undoing;
pub mod writing_off;
