//! What things cost the customer before they are offered: price books, parts, and where and how sales are taxed.
//!
//! Words: a *price book* holds the rates, charges and markup of one period; a *part* is what the shop sells,
//! with what it costs; a *jurisdiction* is where tax is owed, by levels. What must stay true: an adopted book
//! is never edited, nor are rules of tax once a document was priced by them, a new cost never changes an estimate, and every kind of charge has a
//! rule of taxability wherever the shop works.

/// Longest chain of parts that took one another's place.
const SUPERSESSIONS_MAX: usize = 20;

mod book;
pub mod graphql;
mod kinds;
mod operations;
mod price_lists;
mod rates;
mod store;
mod tax;

pub use book::{Book, BookRows, any_book, book_on, price_part};
pub use kinds::{
    basis_for_row, basis_of_priced, carrier_for_row, carrier_of_row, charge_for_row, charge_of_row,
    charge_printed, condition_of_row, level_of_row, level_printed, outcome_for_row, outcome_of_row,
    prices_for_row, serves_for_row, serves_of_row, stated_for_row, stated_of_row,
};
pub use operations::{
    AddPart, AddSupplier, AddTaxExemption, AddTaxJurisdiction, BookChange, CertificateDetails,
    ChangePart, ChangePartCost, ChangePriceBook, ClonePriceBook, CompleteTaxExemption,
    DraftPriceBook, NewBracket, NewLevel, NewMethod, NewRate, NewTask, NewTaxability, NewZone,
    PartChange, SetLabourGrade, add_part, add_supplier, add_tax_exemption, add_tax_jurisdiction,
    adopt_price_book, certificate_used, change_part, change_part_cost, change_price_book,
    clone_price_book, complete_tax_exemption, draft_price_book, lot, replace_tax_jurisdiction,
    set_labour_grade, withdraw_price_book,
};
pub use price_lists::{
    Arriving, BeginPriceList, Columns, RECEIVED_MAX, Received, Take, TakeOverPriceList,
    begin_price_list, forget_staged, receive, take_over_price_list,
};
pub use store::{
    get_book, get_exemption, get_jurisdiction, get_part, get_supplier, grades_of, parts_by_id,
    tasks_in,
};
pub use tax::{Certificate, Jurisdiction, certificate_on, jurisdiction, level};

#[cfg(test)]
mod tax_tests;

#[cfg(test)]
mod catalogue_tests;
