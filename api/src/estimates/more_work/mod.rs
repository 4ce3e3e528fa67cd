//! Work beyond what was accepted: the customer's consent to it, and billing what was done.

pub mod consents;
pub mod work_done;
