//! Nameplate: the back office of a small in-home appliance-repair shop, as one GraphQL service.
//!
//! The map of this crate is in DEVELOPERS.md. In short: `base` is the ground, each capability of the
//! shop has its folder, and `graphql`, `http`, `jobs`, `mail` and `cli` are the edges above them.

pub mod base;

pub mod appliances;
pub mod attachments;
pub mod banking;
pub mod books;
pub mod brief;
pub mod callbacks;
pub mod calls;
pub mod claims;
pub mod closeout;
pub mod coverage;
pub mod customers;
pub mod estimates;
pub mod invoices;
pub mod local_rules;
pub mod payables;
pub mod pricing;
pub mod recalls;
pub mod remittances;
pub mod reports;
pub mod reserve;
pub mod shop;
pub mod stock;
pub mod summaries;
pub mod track_record;
pub mod warranty;

pub mod cli;
pub mod graphql;
pub mod http;
pub mod jobs;
pub mod mail;
pub mod verify;
