//! Customers, the people to reach there, and the addresses where machines stand.
//!
//! Words: a *customer* is a household or an organisation; a *contact* is a further person there; a
//! *service address* is where machines stand, and its tax jurisdiction is confirmed by a person, not
//! guessed from a postal code. What must stay true: telephone numbers are kept in E.164, a change keeps
//! what was before in the audit log, and likely duplicates are shown but never merged by the program.

pub mod graphql;
mod operations;
mod placing;
mod store;

pub use operations::{
    AddContact, AddCustomer, AddServiceAddress, Address, ChangeCustomer, ChangeServiceAddress,
    add_contact, add_customer, add_service_address, change_customer, change_service_address,
    confirm_jurisdiction,
};
pub use placing::{PlaceServiceAddress, place_service_address};
pub use store::{address_line, get_address, get_customer, jurisdictions_proposed};
