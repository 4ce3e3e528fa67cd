//! Safety recalls: which are published, which machines they are about, and what was done about each.
//!
//! Words: a *recall* is a notice with hazard and remedy; its *products* say by make, model pattern and serial range which
//! machines are meant; a *check* says that somebody looked at the plate, told the customer, had the remedy carried out.
//! What must stay true: a recall is on record once by its publisher and number; a machine that may be meant is told of
//! until somebody looked; a check says who looked and when.

pub mod graphql;
mod importing;
mod operations;
mod reading;
mod store;

pub use importing::{FILE_MAX, Imported, Purpose, import_recalls};
pub use operations::{
    CheckRecall, NewProduct, SetRecallProducts, WithdrawRecall, check_recall, set_recall_products,
    withdraw_recall,
};
pub use reading::{Fault, Taken};
pub use store::{Matched, about, about_each, get_recall};
