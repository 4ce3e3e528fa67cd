//! The least a caller must be to read each field, type by type.
//!
//! One list a capability, one row for fields of one type that are decided alike. Types whose name ends
//! in `Payload`, `Connection` or `Edge` follow the rule in `mod.rs`.

use super::Least::{self, Anyone, Desk, Owner, Staff};

type Row = (&'static str, Least, &'static str);

pub(super) const FIELDS: &[&[Row]] = &[
    SHOP,
    CUSTOMERS,
    APPLIANCES,
    PRICING,
    BOOKS,
    CALLS,
    WARRANTY,
    ESTIMATES,
    INVOICES,
    CALLBACKS,
    BRIEF,
];

const SHOP: &[Row] = &[];

const CUSTOMERS: &[Row] = &[];

const APPLIANCES: &[Row] = &[];

const PRICING: &[Row] = &[];

const BOOKS: &[Row] = &[];

const CALLS: &[Row] = &[];

const WARRANTY: &[Row] = &[];

const ESTIMATES: &[Row] = &[];

const INVOICES: &[Row] = &[];

const CALLBACKS: &[Row] = &[];

const BRIEF: &[Row] = &[];
