//! The least a caller must be to read each field, type by type.
//!
//! One file a capability, one row for fields of one type that are decided alike. Types whose name ends
//! in `Payload`, `Connection` or `Edge` follow the rule in `access/mod.rs`.

mod appliances;
mod attachments;
mod banking;
mod books;
mod brief;
mod callbacks;
mod calls;
mod claims;
mod coverage;
mod customers;
mod estimates;
mod invoices;
mod local_rules;
mod mail;
mod payables;
mod pricing;
mod recalls;
mod remittances;
mod reports;
mod reserve;
mod shop;
mod stock;
mod track_record;
mod warranty;

use super::Least;

/// Type, least, and its fields one by one.
type Row = (&'static str, Least, &'static str);

pub(super) const FIELDS: &[&[Row]] = &[
    shop::SHOP,
    customers::CUSTOMERS,
    appliances::APPLIANCES,
    recalls::RECALLS,
    pricing::PRICING,
    books::BOOKS,
    calls::CALLS,
    attachments::ATTACHMENTS,
    local_rules::LOCAL_RULES,
    stock::STOCK,
    payables::PAYABLES,
    warranty::WARRANTY,
    estimates::ESTIMATES,
    coverage::COVERAGE,
    invoices::INVOICES,
    banking::BANKING,
    remittances::REMITTANCES,
    claims::CLAIMS,
    callbacks::CALLBACKS,
    brief::BRIEF,
    reserve::RESERVE,
    track_record::TRACK_RECORD,
    reports::REPORTS,
    mail::MAIL,
];
