//! What suppliers are owed: bills, credits, payments, and how long each is open.
//!
//! Words: a *supplier bill* is recorded under a number of our own beside the supplier's; a *supplier credit* is what a
//! supplier gives back, for parts sent back, cores or prices; a *charge* (freight, tax) is an expense, or spread over the
//! cost of the bill's parts; a *payable* is what is open on a bill or left of a credit. What must stay true: bills, their
//! lines and what settles them are never changed, and what was recorded by mistake is met by rows of the other sign; open bills less what is left of credits are the balance of what is
//! payable to suppliers on every day; one supplier's number is recorded once among bills that
//! stand; numbers have no gap.

mod ageing;
pub mod graphql;
mod operations;
mod store;

pub use ageing::Aged;
pub use operations::bills::{
    BillLine, RecordSupplierBill, accounts_of_bills, record_supplier_bill,
};
pub use operations::credits::{
    ApplySupplierCredit, CreditLine, RecordSupplierCredit, apply_supplier_credit,
    record_supplier_credit,
};
pub use operations::paying::{
    BillPart, PaySupplier, UndoSupplierPayment, pay_supplier, undo_supplier_payment,
};
pub use operations::undoing::{
    UndoAppliedSupplierCredit, UndoSupplierBill, undo_applied_supplier_credit, undo_supplier_bill,
};
pub use store::{OpenBill, by_hand_on, named, open_on};
