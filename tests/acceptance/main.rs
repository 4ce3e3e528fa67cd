//! Nameplate as its users meet it: the built program, its database and its mail server, each in a process of its own.
//!
//! `tests/run` brings up what these tests need; `tests/run COMMAND` does so for one command.

#![allow(
    clippy::indexing_slicing,
    reason = "a test that finds nothing at a place fails there"
)]

mod access;
mod appliances;
mod arrival;
mod attachments;
mod banking;
mod books;
mod browser;
mod callbacks;
mod calls;
mod catalogue;
mod claims;
mod customer_page;
mod estimates;
mod harness;
mod http;
mod kill;
mod live;
mod mail;
mod main_job;
mod more_work;
mod offers;
mod parts;
mod patterns;
mod payers;
mod receivables;
mod refusals;
mod remittances;
mod reports;
mod schema;
mod support;
mod taxes;
mod tidy;
mod track_record;
mod upgrade;
mod warranty;
