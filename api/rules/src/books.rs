//! The books: balanced journal entries, and the figures read from them.
//!
//! Every money event becomes one [`Entry`], and an `Entry` that does not balance cannot be made. It is here so that the
//! same rule holds wherever money is posted. What must stay true: at least two postings, amounts above zero, debits equal
//! credits, no sum wraps, sales tax always names its level. An entry is never edited, only reversed.
//! The default accounts are in [`chart`], one builder for each event in [`events`], reports in [`statements`], the text
//! that the journal is chained by in [`chain`].

pub mod cash;
pub mod chain;
pub mod chart;
pub mod events;
pub mod statements;

pub use chart::{DefaultAccount, Role, default_chart};

use crate::money::Cents;
use serde::{Deserialize, Serialize};
use std::fmt;
use thiserror::Error;

/// The five kinds of account.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AccountKind {
    Asset,
    Liability,
    Equity,
    Revenue,
    Expense,
}

impl AccountKind {
    /// The side on which an account of this kind grows.
    #[must_use]
    pub fn normal_side(self) -> Side {
        match self {
            Self::Asset | Self::Expense => Side::Debit,
            Self::Liability | Self::Equity | Self::Revenue => Side::Credit,
        }
    }
}

/// Debit or credit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    Debit,
    Credit,
}

impl Side {
    /// The other side.
    #[must_use]
    pub fn opposite(self) -> Self {
        match self {
            Self::Debit => Self::Credit,
            Self::Credit => Self::Debit,
        }
    }
}

/// The account a posting goes to: by its role in the shop, or by its code for accounts without one.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AccountRef {
    Role(Role),
    Code(String),
}

impl From<Role> for AccountRef {
    fn from(role: Role) -> Self {
        Self::Role(role)
    }
}

impl fmt::Display for AccountRef {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Role(role) => write!(f, "{} {}", role.code(), role.name()),
            Self::Code(code) => f.write_str(code),
        }
    }
}

/// One line of an entry. The amount is whole cents above zero; the side carries the sign.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Posting {
    pub account: AccountRef,
    pub side: Side,
    pub amount: Cents,
    /// Key of the tax level, such as `tx-travis-county`. Required on sales tax payable, so that the liability can be
    /// reported by level.
    pub tax_level: Option<String>,
}

impl Posting {
    /// A debit.
    #[must_use]
    pub fn debit(account: impl Into<AccountRef>, amount: Cents) -> Self {
        Self {
            account: account.into(),
            side: Side::Debit,
            amount,
            tax_level: None,
        }
    }

    /// A credit.
    #[must_use]
    pub fn credit(account: impl Into<AccountRef>, amount: Cents) -> Self {
        Self {
            account: account.into(),
            side: Side::Credit,
            amount,
            tax_level: None,
        }
    }

    /// A posting to sales tax payable of one level.
    #[must_use]
    pub fn sales_tax(side: Side, level: impl Into<String>, amount: Cents) -> Self {
        Self {
            account: Role::SalesTaxPayable.into(),
            side,
            amount,
            tax_level: Some(level.into()),
        }
    }

    /// The amount with a sign: debits positive, credits negative.
    ///
    /// Shape: cents. An amount of `i64::MIN` never enters an [`Entry`], so turning the sign cannot fail there; outside of
    /// one it saturates.
    #[must_use]
    pub fn signed(&self) -> Cents {
        match self.side {
            Side::Debit => self.amount,
            Side::Credit => Cents(self.amount.0.saturating_neg()),
        }
    }
}

/// Why postings make no entry.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum BooksRefusal {
    /// An entry has at least two postings.
    #[error("an entry needs at least two postings, not {count}")]
    TooFewPostings { count: usize },
    /// A posting's amount is zero or negative.
    #[error("the amount on {account} must be above zero, not {amount}")]
    NotPositive { account: AccountRef, amount: Cents },
    /// Sales tax payable without its level.
    #[error("sales tax of {amount} names no tax level")]
    TaxWithoutLevel { amount: Cents },
    /// A tax level on an account that is not sales tax payable.
    #[error("{account} takes no tax level, but got {level}")]
    LevelWithoutTax { account: AccountRef, level: String },
    /// Debits and credits differ.
    #[error("debits of {debits} do not equal credits of {credits}")]
    Unbalanced { debits: Cents, credits: Cents },
    /// A sum is larger than can be kept.
    #[error("a sum is too large to be kept")]
    Overflow,
    /// An event was given a negative amount where only zero or more makes sense.
    #[error("{what} must not be negative, but is {amount}")]
    NegativeAmount { what: &'static str, amount: Cents },
    /// Part of an amount is larger than the whole.
    #[error("{what} of {part} is more than the whole of {whole}")]
    PartExceedsWhole {
        what: &'static str,
        part: Cents,
        whole: Cents,
    },
    /// A document line was to be posted to an account that is no revenue account.
    #[error("{role:?} is no revenue account")]
    NotRevenue { role: Role },
}

/// A journal entry that balances.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Entry {
    postings: Vec<Posting>,
    total: Cents,
}

impl Entry {
    /// Makes an entry of postings that balance.
    ///
    /// # Errors
    /// In this order: `TooFewPostings`; for each posting `NotPositive`, `TaxWithoutLevel`, `LevelWithoutTax`; `Overflow`;
    /// `Unbalanced`.
    ///
    /// # Source
    /// Double-entry bookkeeping; `worked/books-cycle.json`.
    ///
    /// # Example
    /// ```
    /// use nameplate_rules::{books::{Entry, Posting, Role}, money::Cents};
    /// # fn main() -> Result<(), nameplate_rules::books::BooksRefusal> {
    /// let entry = Entry::balanced(vec![
    ///     Posting::debit(Role::Bank, Cents(5_000)),
    ///     Posting::credit(Role::UndepositedReceipts, Cents(5_000)),
    /// ])?;
    /// assert_eq!(entry.total(), Cents(5_000));
    /// # Ok(()) }
    /// ```
    pub fn balanced(postings: Vec<Posting>) -> Result<Self, BooksRefusal> {
        if postings.len() < 2 {
            return Err(BooksRefusal::TooFewPostings {
                count: postings.len(),
            });
        }
        postings.iter().try_for_each(check)?;
        let debits = side_total(&postings, Side::Debit)?;
        let credits = side_total(&postings, Side::Credit)?;
        if debits != credits {
            return Err(BooksRefusal::Unbalanced { debits, credits });
        }
        Ok(Self {
            postings,
            total: debits,
        })
    }

    /// The postings, in the order given.
    #[must_use]
    pub fn postings(&self) -> &[Posting] {
        &self.postings
    }

    /// The postings, for storing them.
    #[must_use]
    pub fn into_postings(self) -> Vec<Posting> {
        self.postings
    }

    /// Sum of the debits, which is the sum of the credits.
    #[must_use]
    pub fn total(&self) -> Cents {
        self.total
    }

    /// The entry that undoes this one: every posting on its other side.
    #[must_use]
    pub fn reversed(&self) -> Self {
        let postings = self
            .postings
            .iter()
            .cloned()
            .map(|p| Posting {
                side: p.side.opposite(),
                ..p
            })
            .collect();
        Self {
            postings,
            total: self.total,
        }
    }
}

fn check(posting: &Posting) -> Result<(), BooksRefusal> {
    if posting.amount <= Cents(0) {
        return Err(BooksRefusal::NotPositive {
            account: posting.account.clone(),
            amount: posting.amount,
        });
    }
    let is_tax = posting.account == AccountRef::Role(Role::SalesTaxPayable);
    match &posting.tax_level {
        None if is_tax => Err(BooksRefusal::TaxWithoutLevel {
            amount: posting.amount,
        }),
        Some(level) if level.trim().is_empty() && is_tax => Err(BooksRefusal::TaxWithoutLevel {
            amount: posting.amount,
        }),
        Some(level) if !is_tax => Err(BooksRefusal::LevelWithoutTax {
            account: posting.account.clone(),
            level: level.clone(),
        }),
        _ => Ok(()),
    }
}

fn side_total(postings: &[Posting], side: Side) -> Result<Cents, BooksRefusal> {
    sum(postings.iter().filter(|p| p.side == side).map(|p| p.amount))
}

pub(crate) fn sum(amounts: impl IntoIterator<Item = Cents>) -> Result<Cents, BooksRefusal> {
    Cents::sum(amounts).map_err(|_| BooksRefusal::Overflow)
}

#[cfg(test)]
mod property_tests;
#[cfg(test)]
mod tests;
