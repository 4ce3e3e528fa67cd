//! Reports read from balances: trial balance, income, balance sheet, tax by level, and the closing entry.
//!
//! They take plain (account, kind, signed cents) rows, so that they work on any account key. What must stay true: debits
//! are positive, an account at zero has no row, and totals that do not agree are shown, not hidden.

use super::{AccountKind, AccountRef, BooksRefusal, Entry, Posting, Role, Side, sum};
use crate::money::Cents;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// One account of a trial balance; one of the two amounts is zero.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct TrialRow<A> {
    pub account: A,
    pub kind: AccountKind,
    pub debit: Cents,
    pub credit: Cents,
}

impl<A> TrialRow<A> {
    /// The balance with debits positive.
    #[must_use]
    pub fn signed(&self) -> Cents {
        // One of the two is zero, so this neither overflows nor loses anything.
        Cents(self.debit.0.saturating_sub(self.credit.0))
    }
}

/// Every account with a balance, by account, and the two totals.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct TrialBalance<A> {
    pub rows: Vec<TrialRow<A>>,
    pub debits: Cents,
    pub credits: Cents,
}

impl<A> TrialBalance<A> {
    /// Whether the totals agree.
    #[must_use]
    pub fn balances(&self) -> bool {
        self.debits == self.credits
    }
}

/// Revenue, expense and what is left of the one after the other. Unit: cents; a loss is negative.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Income {
    pub revenue: Cents,
    pub expenses: Cents,
    pub net: Cents,
}

/// Assets against liabilities and equity. Equity holds the net income not yet closed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Position {
    pub assets: Cents,
    pub liabilities: Cents,
    pub equity: Cents,
}

impl Position {
    /// Whether assets equal liabilities plus equity.
    #[must_use]
    pub fn balances(&self) -> bool {
        self.liabilities.checked_add(self.equity) == Some(self.assets)
    }
}

/// Adds up signed amounts (debits positive) by account. Rows of one account may come in any number and order; the kind
/// of its first row counts.
///
/// # Errors
/// `Overflow`.
///
/// # Source
/// Double-entry bookkeeping; `worked/books-cycle.json`.
pub fn trial_balance<A: Ord>(
    amounts: impl IntoIterator<Item = (A, AccountKind, Cents)>,
) -> Result<TrialBalance<A>, BooksRefusal> {
    let mut by_account: BTreeMap<A, (AccountKind, Cents)> = BTreeMap::new();
    for (account, kind, amount) in amounts {
        let (_, balance) = by_account.entry(account).or_insert((kind, Cents(0)));
        *balance = balance.checked_add(amount).ok_or(BooksRefusal::Overflow)?;
    }
    let rows = by_account
        .into_iter()
        .filter(|(_, (_, balance))| *balance != Cents(0))
        .map(|(account, (kind, balance))| trial_row(account, kind, balance))
        .collect::<Result<Vec<_>, _>>()?;
    let debits = sum(rows.iter().map(|row| row.debit))?;
    let credits = sum(rows.iter().map(|row| row.credit))?;
    Ok(TrialBalance {
        rows,
        debits,
        credits,
    })
}

fn trial_row<A>(
    account: A,
    kind: AccountKind,
    balance: Cents,
) -> Result<TrialRow<A>, BooksRefusal> {
    let (debit, credit) = if balance > Cents(0) {
        (balance, Cents(0))
    } else {
        (Cents(0), turned(balance)?)
    };
    Ok(TrialRow {
        account,
        kind,
        debit,
        credit,
    })
}

/// Revenue less expenses.
///
/// # Errors
/// `Overflow`.
pub fn income<A>(trial: &TrialBalance<A>) -> Result<Income, BooksRefusal> {
    let revenue = total_of(trial, AccountKind::Revenue)?;
    let expenses = total_of(trial, AccountKind::Expense)?;
    let net = revenue
        .0
        .checked_sub(expenses.0)
        .map(Cents)
        .ok_or(BooksRefusal::Overflow)?;
    Ok(Income {
        revenue,
        expenses,
        net,
    })
}

/// The balance sheet's three totals, before or after closing.
///
/// # Errors
/// `Overflow`.
pub fn position<A>(trial: &TrialBalance<A>) -> Result<Position, BooksRefusal> {
    let equity = sum([total_of(trial, AccountKind::Equity)?, income(trial)?.net])?;
    Ok(Position {
        assets: total_of(trial, AccountKind::Asset)?,
        liabilities: total_of(trial, AccountKind::Liability)?,
        equity,
    })
}

/// Sum of the accounts of one kind, positive on their normal side.
///
/// # Errors
/// `Overflow`.
pub fn total_of<A>(trial: &TrialBalance<A>, kind: AccountKind) -> Result<Cents, BooksRefusal> {
    let debit_positive = sum(trial
        .rows
        .iter()
        .filter(|row| row.kind == kind)
        .map(TrialRow::signed))?;
    match kind.normal_side() {
        Side::Debit => Ok(debit_positive),
        Side::Credit => turned(debit_positive),
    }
}

/// The entry that closes the year: revenue, expense and drawings to zero, the rest to retained earnings. `None` if there
/// is nothing to close.
///
/// # Errors
/// `Overflow`.
pub fn closing_entry(
    trial: &TrialBalance<AccountRef>,
    drawings: &[AccountRef],
) -> Result<Option<Entry>, BooksRefusal> {
    let closes = |row: &&TrialRow<AccountRef>| {
        matches!(row.kind, AccountKind::Revenue | AccountKind::Expense)
            || drawings.contains(&row.account)
    };
    let mut postings = Vec::new();
    for row in trial.rows.iter().filter(closes) {
        postings.push(signed_posting(row.account.clone(), turned(row.signed())?)?);
    }
    let rest = sum(postings.iter().map(Posting::signed))?;
    if rest != Cents(0) {
        postings.push(signed_posting(
            Role::RetainedEarnings.into(),
            turned(rest)?,
        )?);
    }
    if postings.is_empty() {
        Ok(None)
    } else {
        Entry::balanced(postings).map(Some)
    }
}

/// Sales tax still owed by level, positive when owed. It adds up to the balance of sales tax payable.
///
/// # Errors
/// `Overflow`.
pub fn tax_by_level<'a>(
    postings: impl IntoIterator<Item = &'a Posting>,
) -> Result<BTreeMap<String, Cents>, BooksRefusal> {
    let mut levels: BTreeMap<String, Cents> = BTreeMap::new();
    for posting in postings {
        let Some(level) = &posting.tax_level else {
            continue;
        };
        let owed = levels.entry(level.clone()).or_insert(Cents(0));
        *owed = owed
            .checked_add(turned(posting.signed())?)
            .ok_or(BooksRefusal::Overflow)?;
    }
    Ok(levels)
}

/// A debit for a positive amount, a credit for a negative one.
fn signed_posting(account: AccountRef, amount: Cents) -> Result<Posting, BooksRefusal> {
    if amount >= Cents(0) {
        Ok(Posting::debit(account, amount))
    } else {
        Ok(Posting::credit(account, turned(amount)?))
    }
}

fn turned(amount: Cents) -> Result<Cents, BooksRefusal> {
    amount
        .0
        .checked_neg()
        .map(Cents)
        .ok_or(BooksRefusal::Overflow)
}
