//! What the desk does with suppliers' bills.

mod arriving;
pub mod bills;
pub mod credits;
pub mod paying;
pub mod undoing;

use nameplate_entities::account;
use nameplate_rules::books::{AccountRef, BooksRefusal, Entry, Posting};
use nameplate_rules::money::Cents;
use sea_orm::ConnectionTrait;

use crate::base::audit::Subject;
use crate::base::{Act, Error, Result};
use crate::books::{self, NewEntry};

/// Most lines of one bill.
const LINES_MAX: usize = 200;

/// A bill or credit as the subject of audit and entry.
pub fn of_bill(id: i64) -> Subject {
    Subject {
        kind: "supplier_bill",
        id,
    }
}

/// A payment as the subject of audit and entry.
pub fn of_payment(id: i64) -> Subject {
    Subject {
        kind: "supplier_payment",
        id,
    }
}

fn sum(amounts: impl IntoIterator<Item = Cents>) -> Result<Cents> {
    Cents::sum(amounts).map_err(|error| Error::caused("sum of a supplier's bill", error))
}

fn less(whole: Cents, part: Cents) -> Result<Cents> {
    whole
        .checked_sub(part)
        .ok_or_else(|| Error::internal("a supplier's bill is too large"))
}

/// A debit; a credit where the amount is below zero; nothing for nothing.
fn debit(account: impl Into<AccountRef>, amount: Cents) -> Option<Posting> {
    if amount == Cents::ZERO {
        None
    } else if amount.is_negative() {
        Some(Posting::credit(account, amount.checked_neg()?))
    } else {
        Some(Posting::debit(account, amount))
    }
}

/// Posts these, if there are any.
async fn post(
    tx: &impl ConnectionTrait,
    act: &Act,
    about: (Subject, chrono::NaiveDate, String),
    postings: Vec<Posting>,
) -> Result<()> {
    if postings.is_empty() {
        return Ok(());
    }
    let entry: std::result::Result<Entry, BooksRefusal> = Entry::balanced(postings);
    let entry = entry.map_err(|error| Error::caused("entry of a supplier's document", error))?;
    post_entry(tx, act, about, entry).await
}

async fn post_entry(
    tx: &impl ConnectionTrait,
    act: &Act,
    (document, on, memo): (Subject, chrono::NaiveDate, String),
    entry: Entry,
) -> Result<()> {
    let new = NewEntry {
        on,
        memo,
        document: Some(document),
        entry,
    };
    books::post(tx, act, new).await?;
    Ok(())
}

/// The account as entries name it.
fn by_code(account: &account::Model) -> AccountRef {
    AccountRef::Code(account.code.clone())
}
