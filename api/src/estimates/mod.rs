//! Offers: priced, frozen, mailed, and answered by the customer's link.

pub mod page;
