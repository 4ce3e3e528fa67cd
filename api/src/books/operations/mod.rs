//! Opening the chart, and what the owner does to the books by hand.

mod accounts;
mod periods;

use chrono::NaiveDate;
use nameplate_entities::kinds::AccountKind;
use nameplate_entities::{account, journal_entry};
use nameplate_rules::books::{self as rules, AccountRef, BooksRefusal, Entry, Posting, Role, Side};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveValue::Set, ConnectionTrait, EntityTrait};
use serde::Serialize;

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};

use super::posting::{self, MANUAL, NewEntry, role_key, role_of};
use super::{chain, store};

pub use accounts::{
    AccountAsRead, AddAccount, ChangeAccount, add_account, change_account, restore_account,
    retire_account, take_up_again,
};
pub use periods::{CloseYear, ReopenBooks, close_books, close_year, reopen_books};

/// Accounts that only documents post to, so that they always equal their open documents.
const CONTROL: [Role; 8] = [
    Role::UndepositedReceipts,
    Role::Receivable,
    Role::ClaimsReceivable,
    Role::CustomerDeposits,
    Role::PartsStock,
    Role::ReceivedNotBilled,
    Role::Payables,
    Role::WarrantyReserve,
];

/// Gives a shop the accounts that the program posts to and that it lacks (all of them, when it is empty), and an older
/// one the chain of its journal. Does nothing later.
///
/// # Errors
/// Internal only.
pub async fn open(act: &Act) -> Result<()> {
    open_chart(act).await?;
    chain::catch_up(act).await
}

async fn open_chart(act: &Act) -> Result<()> {
    let tx = act.app.db.write().await?;
    let there = store::chart(&tx).await?;
    let missing = rules::default_chart().into_iter().filter(|default| {
        let key = Some(role_key(default.role));
        !there.iter().any(|row| row.role == key)
    });
    let rows: Vec<account::ActiveModel> = missing
        .map(|default| account::ActiveModel {
            code: Set(free_code(default.code, &there)),
            name: Set(default.name.to_owned()),
            kind: Set(kind_of(default.kind)),
            role: Set(Some(role_key(default.role))),
            is_bank: Set(default.role == Role::Bank),
            version: Set(1),
            ..Default::default()
        })
        .collect();
    if rows.is_empty() {
        return Ok(());
    }
    account::Entity::insert_many(rows)
        .exec_without_returning(&tx)
        .await?;
    Ok(tx.commit().await?)
}

/// The code itself, or with a letter behind it where the shop gave the code to an account of its own.
fn free_code(code: &str, there: &[account::Model]) -> String {
    let taken = |code: &String| there.iter().any(|row| row.code == *code);
    let lettered = ('A'..='Z').map(|letter| format!("{code}{letter}"));
    std::iter::once(code.to_owned())
        .chain(lettered)
        .find(|code| !taken(code))
        .unwrap_or_else(|| code.to_owned())
}

fn kind_of(kind: rules::AccountKind) -> AccountKind {
    match kind {
        rules::AccountKind::Asset => AccountKind::Asset,
        rules::AccountKind::Liability => AccountKind::Liability,
        rules::AccountKind::Equity => AccountKind::Equity,
        rules::AccountKind::Revenue => AccountKind::Revenue,
        rules::AccountKind::Expense => AccountKind::Expense,
    }
}

/// One line of an entry by hand: a debit or a credit.
#[derive(Clone, Debug, Serialize)]
pub struct JournalLine {
    /// Code of the account.
    pub account: String,
    pub debit: Option<Cents>,
    pub credit: Option<Cents>,
    /// Which levy a posting to sales tax payable is about.
    pub tax_level_id: Option<i64>,
}

/// An entry by hand.
#[derive(Clone, Debug, Serialize)]
pub struct PostJournal {
    #[serde(skip)]
    pub idempotency_key: String,
    pub on: NaiveDate,
    pub memo: String,
    pub lines: Vec<JournalLine>,
}

/// Posts an entry by hand.
///
/// # Errors
/// `Forbidden`; `PeriodClosed`; `NotFound` for an account or level; `WrongState` for a control account;
/// `NegativeMoney`, `OutOfRange` for an amount; `Unbalanced`.
pub async fn post_journal(act: &Act, new: PostJournal) -> Result<journal_entry::Model> {
    act.staff_with(Right::PostJournal)?;
    let verb = Right::PostJournal.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, &new).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_entry(&tx, "", id).await;
    }
    let mut checks = Checks::new();
    let memo = checks.text("memo", &new.memo, LINE_MAX);
    let chart = store::chart(&tx).await?;
    let levels = store::levels(&tx, new.lines.iter().filter_map(|line| line.tax_level_id)).await?;
    let mut postings = Vec::with_capacity(new.lines.len());
    for (at, line) in new.lines.iter().enumerate() {
        postings.extend(line.checked(&mut checks, &format!("lines.{at}"), (&chart, &levels)));
    }
    checks.near("on", new.on, act.at.date_naive());
    checks.finish()?;
    posting::check_open(&tx, "on", new.on).await?;
    let entry = NewEntry {
        on: new.on,
        memo,
        document: None,
        entry: Entry::balanced(postings).map_err(|refusal| refused(&refusal))?,
    };
    let row = posting::post(&tx, act, entry).await?;
    audit::created(&tx, act, verb, subject(row.id), &(&row, &new.lines)).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

impl JournalLine {
    fn checked(
        &self,
        checks: &mut Checks,
        below: &str,
        (chart, levels): (&[account::Model], &[i64]),
    ) -> Option<Posting> {
        let at = |field: &str| format!("{below}.{field}");
        let account_ref = account_of_code(checks, &at("account"), (chart, &self.account));
        if let Some(id) = self.tax_level_id
            && !levels.contains(&id)
        {
            let message = "There is no such tax level.";
            checks.refuse(ProblemCode::NotFound, &at("taxLevelId"), message);
        }
        let amounts = [
            ("debit", Side::Debit, self.debit),
            ("credit", Side::Credit, self.credit),
        ];
        let mut given = amounts
            .into_iter()
            .filter_map(|(field, side, amount)| Some((field, side, amount?)));
        let (Some((field, side, amount)), None) = (given.next(), given.next()) else {
            let message = "Give a debit or a credit, one of the two.";
            checks.refuse(ProblemCode::Missing, &at("debit"), message);
            return None;
        };
        let account = account_ref?;
        let is_tax = account == AccountRef::Role(Role::SalesTaxPayable);
        if is_tax != self.tax_level_id.is_some() {
            let message = "Sales tax payable names the tax level, and no other account does.";
            checks.refuse(ProblemCode::Malformed, &at("taxLevelId"), message);
        }
        Some(Posting {
            account,
            side,
            amount: checks.positive(&at(field), amount),
            tax_level: self.tax_level_id.map(|id| id.to_string()),
        })
    }
}

/// The account of this code as the rules name it, if it takes entries beside those of its own documents; sales tax payable
/// asks for its level.
pub fn free_account(
    checks: &mut Checks,
    path: &str,
    (chart, code): (&[account::Model], &str),
) -> Option<AccountRef> {
    let account = account_of_code(checks, path, (chart, code))?;
    if account == AccountRef::Role(Role::SalesTaxPayable) {
        let message = "Sales tax payable is posted by level; post an entry by hand (postJournal).";
        checks.refuse(ProblemCode::WrongState, path, message);
        return None;
    }
    Some(account)
}

fn account_of_code(
    checks: &mut Checks,
    path: &str,
    (chart, code): (&[account::Model], &str),
) -> Option<AccountRef> {
    let Some(row) = chart.iter().find(|row| row.code == code.trim()) else {
        let message = format!("There is no account {code}; add it first.");
        checks.refuse(ProblemCode::NotFound, path, message);
        return None;
    };
    account_ref(checks, path, row)
}

/// The account at a bank of this code, in use: what money is paid from.
pub fn bank_of_code(
    checks: &mut Checks,
    path: &str,
    (chart, code): (&[account::Model], &str),
) -> Option<account::Model> {
    free_account(checks, path, (chart, code))?;
    let row = chart.iter().find(|row| row.code == code.trim())?;
    if !row.is_bank {
        let message = format!(
            "{} {} is no account at a bank; mark it as one, or name another.",
            row.code, row.name
        );
        checks.refuse(ProblemCode::WrongState, path, message);
        return None;
    }
    Some(row.clone())
}

/// The account as the rules name it, unless documents alone keep it.
fn account_ref(checks: &mut Checks, path: &str, row: &account::Model) -> Option<AccountRef> {
    if row.retired_at.is_some() {
        let message = format!(
            "{} {} is retired; it takes no more entries.",
            row.code, row.name
        );
        checks.refuse(ProblemCode::WrongState, path, message);
        return None;
    }
    match row.role.as_deref().and_then(role_of) {
        Some(role) if CONTROL.contains(&role) => {
            let message = format!(
                "{} {} is kept by documents, such as invoices and stock records; it takes no other entry.",
                row.code, row.name
            );
            checks.refuse(ProblemCode::WrongState, path, message);
            None
        }
        Some(role) => Some(AccountRef::Role(role)),
        None => Some(AccountRef::Code(row.code.clone())),
    }
}

fn refused(refusal: &BooksRefusal) -> Error {
    Error::refused(
        ProblemCode::Unbalanced,
        "lines",
        format!("Nothing was posted: {refusal}."),
    )
}

/// Which entry by hand to undo, and when.
#[derive(Clone, Debug, Serialize)]
pub struct ReverseJournal {
    #[serde(skip)]
    pub idempotency_key: String,
    pub entry_id: i64,
    pub on: NaiveDate,
    pub memo: String,
}

/// Undoes an entry by hand. Entries of documents are undone by documents, such as a credit note.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a document's entry, one undone already, or one whose receipts are marked as
/// banked before; `PeriodClosed`.
pub async fn reverse_journal(act: &Act, reversal: ReverseJournal) -> Result<journal_entry::Model> {
    act.staff_with(Right::ReverseJournal)?;
    let verb = Right::ReverseJournal.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &reversal.idempotency_key, &reversal).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_entry(&tx, "", id).await;
    }
    let mut checks = Checks::new();
    let memo = checks.text("memo", &reversal.memo, LINE_MAX);
    checks.finish()?;
    let path = "entryId";
    let entry = store::get_entry(&tx, path, reversal.entry_id).await?;
    if entry.closes_year.is_some() {
        return Err(Error::refused(
            ProblemCode::WrongState,
            path,
            "This entry closes a year; open the books again (reopenBooks) to undo it.",
        ));
    }
    if entry.document_kind != MANUAL {
        return Err(Error::refused(
            ProblemCode::WrongState,
            path,
            "This entry belongs to a document; correct the document, such as an invoice by a credit note.",
        ));
    }
    if touches(&tx, entry.id, Role::PartsStock).await? {
        return Err(Error::refused(
            ProblemCode::WrongState,
            path,
            "This entry is part of the stock's value by now; post that to another account (writeOffUnassignedStock).",
        ));
    }
    if reversal.on < entry.entry_on {
        return Err(Error::refused(
            ProblemCode::ImpossibleDate,
            "on",
            format!(
                "{} lies before the entry itself, {}.",
                reversal.on, entry.entry_on
            ),
        ));
    }
    let memo = format!("Reversal of {}: {memo}", entry.number);
    let memo = memo.chars().take(LINE_MAX).collect();
    let row = posting::reverse(&tx, act, (path, &entry), (reversal.on, memo)).await?;
    check_receipts(&tx, (path, entry.id)).await?;
    audit::created(&tx, act, verb, subject(row.id), &row).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

/// Refuses that receipts not yet banked come to hold more than the payments that wait: those that an entry by hand took
/// to a bank may be marked so, and wait no more.
async fn check_receipts(tx: &impl ConnectionTrait, (path, entry_id): (&str, i64)) -> Result<()> {
    let role = Role::UndepositedReceipts;
    let account_id = posting::account_id(tx, &AccountRef::Role(role)).await?;
    let postings = store::postings_of(tx, entry_id).await?;
    let took_some = postings
        .iter()
        .any(|posting| posting.account_id == account_id && posting.credit_cents > 0);
    if !took_some {
        return Ok(());
    }
    let held = store::balances::balance_of_role(tx, role).await?;
    let waiting = store::receipts_waiting(tx).await?;
    if held <= waiting {
        return Ok(());
    }
    let (held, waiting) = (Cents(held), Cents(waiting));
    let message = format!(
        "Receipts not yet banked would hold {held}, and only {waiting} wait: payments that this entry took to a bank are \
         marked so. Take that off first (unmarkBankedBefore)."
    );
    Err(Error::refused(ProblemCode::WrongState, path, message))
}

/// Whether an entry posts to the account of this role.
async fn touches(tx: &impl ConnectionTrait, entry_id: i64, role: Role) -> Result<bool> {
    let chart = store::chart(tx).await?;
    let key = Some(role_key(role));
    let account = chart.iter().find(|row| row.role == key);
    let postings = store::postings_of(tx, entry_id).await?;
    Ok(postings
        .iter()
        .any(|posting| account.is_some_and(|row| row.id == posting.account_id)))
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "journal_entry",
        id,
    }
}
