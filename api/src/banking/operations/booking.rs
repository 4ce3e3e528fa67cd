//! What only the bank knew: the balance an account begins with, and lines that the owner books.

use chrono::NaiveDate;
use nameplate_entities::{bank_line, posting};
use nameplate_rules::books::{AccountRef, BooksRefusal, Entry, Posting};
use nameplate_rules::money::Cents;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter,
};
use serde::Serialize;

use super::super::store::{lines, reconciliations};
use super::matching::NewMatch;
use crate::base::audit::{self, Subject};
use crate::base::check::{AMOUNT_MAX, LINE_MAX};
use crate::base::digest::sha256;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::books::{self, NewEntry};
use crate::shop;

/// Accounts that one line is split over.
const SPLITS_MAX: usize = 20;

/// The balance of an account at a bank before the first line that was imported.
#[derive(Clone, Debug, Serialize)]
pub struct StartBankAccount {
    #[serde(skip)]
    pub idempotency_key: String,
    pub account_id: i64,
    /// The last day before the first statement.
    pub on: NaiveDate,
    pub balance: Cents,
}

/// Says what lay at the bank before its first statement: a line like any other, to be matched or booked.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for an account that is no bank's, or has lines on or before that day;
/// `OutOfRange` for nothing; `ImpossibleDate` for a day to come.
pub async fn start_bank_account(act: &Act, new: StartBankAccount) -> Result<bank_line::Model> {
    act.staff_with(Right::StartBankAccount)?;
    let verb = Right::StartBankAccount.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, &new).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return lines::get(&tx, "", id).await;
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let mut checks = Checks::new();
    checks.not_after("on", new.on, today);
    checks.near("on", new.on, today);
    if new.balance == Cents::ZERO || new.balance.0.unsigned_abs() > AMOUNT_MAX.0.unsigned_abs() {
        let message = format!("This takes an amount other than nothing, at most {AMOUNT_MAX}.");
        checks.refuse(ProblemCode::OutOfRange, "balance", message);
    }
    checks.finish()?;
    let account = books::bank_account(&tx, "bankAccountId", Some(new.account_id)).await?;
    let key = sha256(b"start");
    let started = lines::of_keys(&tx, account.id, std::slice::from_ref(&key)).await?;
    if !started.is_empty() || lines::is_begun(&tx, account.id, new.on).await? {
        let message = "This account has lines already that are as old, or a balance it began with.";
        return Err(Error::refused(
            ProblemCode::WrongState,
            "bankAccountId",
            message,
        ));
    }
    if reconciliations::last(&tx, account.id).await?.is_some() {
        let message = "This account was reconciled already.";
        return Err(Error::refused(
            ProblemCode::WrongState,
            "bankAccountId",
            message,
        ));
    }
    let row = bank_line::ActiveModel {
        account_id: Set(account.id),
        booked_on: Set(new.on),
        amount_cents: Set(new.balance.0),
        words: Set("Balance before the first statement".to_owned()),
        balance_cents: Set(Some(new.balance.0)),
        same_key: Set(key),
        occurrence: Set(1),
        ..Default::default()
    };
    let row = row.insert(&tx).await?;
    audit::created(&tx, act, verb, subject(row.id), &row).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "bank_line",
        id,
    }
}

/// Part of a line, on one account.
#[derive(Clone, Debug, Serialize)]
pub struct Split {
    /// Code of the account.
    pub account: String,
    /// Of the same sign as the line reads; below zero for what goes the other way.
    pub amount: Cents,
}

/// A line that the books do not know yet.
#[derive(Clone, Debug, Serialize)]
pub struct BookBankLine {
    #[serde(skip)]
    pub idempotency_key: String,
    pub line_id: i64,
    /// The bank's words when left out.
    pub memo: Option<String>,
    pub splits: Vec<Split>,
}

/// Books a line of the bank on the day of the bank, as an entry by hand, and matches it.
///
/// # Errors
/// `Forbidden`; `NotFound` for line or account; `WrongState` for a line that is matched, or a control or retired account,
/// sales tax payable or the bank's own; `Unbalanced` where the parts are not the line; `PeriodClosed`.
pub async fn book_bank_line(act: &Act, order: BookBankLine) -> Result<bank_line::Model> {
    let staff_id = act.staff_with(Right::BookBankLine)?;
    let verb = Right::BookBankLine.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return lines::get(&tx, "", id).await;
    }
    let line = lines::get(&tx, "lineId", order.line_id).await?;
    if line.match_id.is_some() {
        let message = "This line is matched already.";
        return Err(Error::refused(ProblemCode::WrongState, "lineId", message));
    }
    let bank = books::bank_account(&tx, "lineId", Some(line.account_id)).await?;
    let mut checks = Checks::new();
    let memo = checks.text_if_any("memo", order.memo.as_deref(), LINE_MAX);
    let chart = books::chart(&tx).await?;
    let splits = order.checked(&mut checks, (&chart, &bank));
    checks.finish()?;
    check_sum(&order, line.amount_cents)?;
    books::check_open(&tx, "lineId", line.booked_on).await?;
    let entry = NewEntry {
        on: line.booked_on,
        memo: memo.unwrap_or_else(|| memo_of(&line)),
        document: None,
        entry: entry(AccountRef::Code(bank.code), line.amount_cents, splits)?,
    };
    let entry = books::post(&tx, act, entry).await?;
    let new = NewMatch {
        account_id: line.account_id,
        staff_id,
        reason: format!("Booked from the statement as {}", entry.number),
        line_ids: vec![line.id],
        posting_ids: vec![first_posting(&tx, entry.id).await?],
    };
    new.write(&tx, act, Right::BookBankLine).await?;
    once.keep(&tx, act, &line.id).await?;
    let after = lines::get(&tx, "", line.id).await?;
    tx.commit().await?;
    Ok(after)
}

impl BookBankLine {
    fn checked(
        &self,
        checks: &mut Checks,
        (chart, bank): (
            &[nameplate_entities::account::Model],
            &nameplate_entities::account::Model,
        ),
    ) -> Vec<(AccountRef, Cents)> {
        if self.splits.is_empty() || self.splits.len() > SPLITS_MAX {
            let message = format!("Name 1 to {SPLITS_MAX} accounts.");
            checks.refuse(ProblemCode::OutOfRange, "splits", message);
        }
        let mut splits = Vec::with_capacity(self.splits.len());
        for (at, split) in self.splits.iter().enumerate() {
            let path = format!("splits.{at}.account");
            if split.amount == Cents::ZERO {
                let path = format!("splits.{at}.amount");
                checks.refuse(ProblemCode::OutOfRange, &path, "This must not be nothing.");
            }
            if split.account.trim() == bank.code {
                let message = "This is the bank's own account.";
                checks.refuse(ProblemCode::WrongState, &path, message);
                continue;
            }
            let account = books::free_account(checks, &path, (chart, &split.account));
            splits.extend(account.map(|account| (account, split.amount)));
        }
        splits
    }
}

fn check_sum(order: &BookBankLine, amount_cents: i64) -> Result<()> {
    let parts = Cents::sum(order.splits.iter().map(|split| split.amount))
        .map_err(|refusal| Error::caused("parts of a line", refusal))?;
    let whole = Cents(amount_cents);
    let turned = whole.checked_neg();
    if parts != whole && Some(parts) != turned.filter(|_| whole.is_negative()) {
        let message = format!("The parts add up to {parts}, and the line is of {whole}.");
        return Err(Error::refused(ProblemCode::Unbalanced, "splits", message));
    }
    Ok(())
}

/// The bank's posting first, and the parts on the other side; parts may be given with the line's sign or without.
fn entry(bank: AccountRef, amount_cents: i64, splits: Vec<(AccountRef, Cents)>) -> Result<Entry> {
    let too_large = || Error::internal("an amount that has no negative");
    let side = |account: AccountRef, amount: i64| {
        let positive = amount.checked_abs().map(Cents).ok_or_else(too_large)?;
        Ok::<_, Error>(if amount > 0 {
            Posting::debit(account, positive)
        } else {
            Posting::credit(account, positive)
        })
    };
    let parts = Cents::sum(splits.iter().map(|(_, amount)| *amount))
        .map_err(|refusal| Error::caused("parts of a line", refusal))?;
    let has_sign_of_line = parts.0 == amount_cents;
    let mut postings = vec![side(bank, amount_cents)?];
    for (account, amount) in splits {
        let amount = if has_sign_of_line {
            amount.checked_neg().ok_or_else(too_large)?
        } else {
            amount
        };
        postings.push(side(account, amount.0)?);
    }
    Entry::balanced(postings).map_err(|refusal: BooksRefusal| {
        let message = format!("Nothing was posted: {refusal}.");
        Error::refused(ProblemCode::Unbalanced, "splits", message)
    })
}

/// The bank's words, as long as a memo may be.
fn memo_of(line: &bank_line::Model) -> String {
    let words = match (&line.payee, line.words.as_str()) {
        (Some(payee), "") => payee.as_str(),
        (_, "") => "Line of the bank",
        (_, words) => words,
    };
    words.chars().take(LINE_MAX).collect()
}

async fn first_posting(tx: &impl ConnectionTrait, entry_id: i64) -> Result<i64> {
    let row = posting::Entity::find()
        .filter(posting::Column::EntryId.eq(entry_id))
        .filter(posting::Column::Position.eq(1))
        .one(tx)
        .await?;
    row.map(|row| row.id)
        .ok_or_else(|| Error::internal("an entry without postings"))
}
