//! Nameplate: the back office of a small in-home appliance-repair shop, as one GraphQL service.
//!
//! The map of this crate is in DEVELOPERS.md. In short: `base` is the ground, each capability of the
//! shop has its folder, and `graphql`, `http`, `jobs`, `mail` and `cli` are the edges above them.

pub mod base;
pub mod customers;
pub mod graphql;
pub mod shop;
