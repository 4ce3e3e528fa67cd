//! What suppliers bill and are paid.

use super::{entry, not_negative, turned};
use crate::books::{AccountRef, BooksRefusal, Entry, Posting, Role, sum};
use crate::money::Cents;

/// Parts of a supplier's bill.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct PartsBilled {
    /// What those cost that come in with the bill.
    pub in_stock: Cents,
    /// What those were entered at that came before it.
    pub awaited: Cents,
    /// What the bill asks for those above that, below zero under it: cost of sales.
    pub difference: Cents,
}

/// Supplier's bill: parts and expenses against payables. Expenses name their account by role or code.
///
/// # Errors
/// `NegativeAmount`, `TooFewPostings` for nothing, `Overflow`.
pub fn supplier_bill(
    parts: PartsBilled,
    expenses: &[(AccountRef, Cents)],
) -> Result<Entry, BooksRefusal> {
    not_negative("the stock part of the bill", parts.in_stock)?;
    not_negative("parts that came before the bill", parts.awaited)?;
    let mut postings = Vec::new();
    for (account, amount) in expenses {
        not_negative("an expense of the bill", *amount)?;
        postings.push(Posting::debit(account.clone(), *amount));
    }
    postings.push(Posting::debit(Role::PartsStock, parts.in_stock));
    postings.push(Posting::debit(Role::ReceivedNotBilled, parts.awaited));
    let whole = sum(postings.iter().map(|p| p.amount).chain([parts.difference]))?;
    let difference = Posting::debit(Role::PartsCostOfSales, parts.difference);
    postings.push(turned(difference)?);
    postings.push(Posting::credit(Role::Payables, whole));
    entry(postings)
}

/// Supplier paid from an account at a bank.
///
/// # Errors
/// `NegativeAmount`, `TooFewPostings` for nothing.
pub fn supplier_paid(from: impl Into<AccountRef>, amount: Cents) -> Result<Entry, BooksRefusal> {
    not_negative("the amount", amount)?;
    entry(vec![
        Posting::debit(Role::Payables, amount),
        Posting::credit(from, amount),
    ])
}
