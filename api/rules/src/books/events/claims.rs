//! Events of what warranty payers owe, beside those of customers.

use super::{TaxAmount, debits_of_tax, entry, not_negative, pair, sum};
use crate::books::{BooksRefusal, Entry, Posting, Role};
use crate::money::Cents;
use serde::{Deserialize, Serialize};

/// Who owes what is being paid, refunded or written off.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Debtor {
    Customer,
    WarrantyPayer,
}

impl Debtor {
    /// The control account of what is open.
    #[must_use]
    pub fn receivable(self) -> Role {
        match self {
            Self::Customer => Role::Receivable,
            Self::WarrantyPayer => Role::ClaimsReceivable,
        }
    }
}

/// What is open, or settled, on invoices by who owes them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Owed {
    pub customer: Cents,
    pub payer: Cents,
}

impl Owed {
    /// So much, all owed by one.
    #[must_use]
    pub fn by(debtor: Debtor, amount: Cents) -> Self {
        match debtor {
            Debtor::Customer => Self {
                customer: amount,
                payer: Cents::ZERO,
            },
            Debtor::WarrantyPayer => Self {
                customer: Cents::ZERO,
                payer: amount,
            },
        }
    }

    /// Both together with another.
    ///
    /// # Errors
    /// `Overflow`.
    pub fn plus(self, other: Self) -> Result<Self, BooksRefusal> {
        Ok(Self {
            customer: sum([self.customer, other.customer])?,
            payer: sum([self.payer, other.payer])?,
        })
    }

    /// This less another, by who owes it.
    ///
    /// # Errors
    /// `Overflow`.
    pub fn less(self, other: Self) -> Result<Self, BooksRefusal> {
        let less = |one: Cents, other: Cents| one.checked_sub(other).ok_or(BooksRefusal::Overflow);
        Ok(Self {
            customer: less(self.customer, other.customer)?,
            payer: less(self.payer, other.payer)?,
        })
    }

    /// What of it is above zero, and what below, without its sign.
    #[must_use]
    pub fn parted(self) -> (Self, Self) {
        let above = |amount: Cents| amount.max(Cents::ZERO);
        let below = |amount: Cents| Cents(amount.0.min(0).saturating_neg());
        let of = |part: fn(Cents) -> Cents| Self {
            customer: part(self.customer),
            payer: part(self.payer),
        };
        (of(above), of(below))
    }

    /// Whatever is owed, by whomever.
    ///
    /// # Errors
    /// `Overflow`.
    pub fn sum(self) -> Result<Cents, BooksRefusal> {
        sum([self.customer, self.payer])
    }

    /// Takes it off the control accounts.
    pub(super) fn settled(self) -> Result<[Posting; 2], BooksRefusal> {
        not_negative("what settles customers' invoices", self.customer)?;
        not_negative("what settles warranty payers' invoices", self.payer)?;
        Ok([
            Posting::credit(Role::Receivable, self.customer),
            Posting::credit(Role::ClaimsReceivable, self.payer),
        ])
    }
}

/// Who bears what a warranty payer left unpaid.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ShortfallBearer {
    Shop,
    Customer,
}

/// Claim short-paid: what the payer will not pay leaves claims receivable.
///
/// # Errors
/// `NegativeAmount`, `TooFewPostings` for nothing.
pub fn claim_short_paid(borne_by: ShortfallBearer, amount: Cents) -> Result<Entry, BooksRefusal> {
    match borne_by {
        ShortfallBearer::Shop => claim_borne(amount, &[]),
        ShortfallBearer::Customer => pair(Role::Receivable, Role::ClaimsReceivable, amount),
    }
}

/// What a payer left unpaid and the shop bears. The tax part goes back to sales tax payable only where the law gives
/// relief; otherwise the whole is the shop's shortfall and `tax_relief` is empty.
///
/// # Errors
/// `NegativeAmount`, `TooFewPostings` for nothing, `Overflow`, `TaxWithoutLevel`.
pub fn claim_borne(shortfall: Cents, tax_relief: &[TaxAmount]) -> Result<Entry, BooksRefusal> {
    not_negative("the shortfall", shortfall)?;
    let loss = Posting::debit(Role::ClaimShortfall, shortfall);
    lost(loss, Debtor::WarrantyPayer, tax_relief)
}

/// A loss and the tax relief in it against what is open.
pub(super) fn lost(
    loss: Posting,
    owed_by: Debtor,
    tax_relief: &[TaxAmount],
) -> Result<Entry, BooksRefusal> {
    let relief = debits_of_tax(tax_relief)?;
    let whole = sum(relief.iter().map(|p| p.amount).chain([loss.amount]))?;
    let mut postings = vec![loss];
    postings.extend(relief);
    postings.push(Posting::credit(owed_by.receivable(), whole));
    entry(postings)
}
