//! The one way into the journal.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::{account, journal_entry, posting};
use nameplate_rules::books::chain::LinkPosting;
use nameplate_rules::books::{AccountRef, Entry, Role, Side};
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait};

use crate::base::audit::Subject;
use crate::base::numbers::{self, Series};
use crate::base::{Act, Error, ProblemCode, Result};
use crate::shop;

use super::{chain, store};

/// Document kind of an entry that somebody wrote by hand.
pub const MANUAL: &str = "manual";
/// Document kind of an entry that closes a fiscal year, and of the one that opens it again.
pub const YEAR_END: &str = "year_end";

/// An entry to post.
pub struct NewEntry {
    /// The day it counts for.
    pub on: NaiveDate,
    /// What happened, in a few words.
    pub memo: String,
    /// The document it belongs to; none for an entry by hand.
    pub document: Option<Subject>,
    pub entry: Entry,
}

/// One posting with its account found.
struct Row {
    account_id: i64,
    debit_cents: i64,
    credit_cents: i64,
    tax_level_id: Option<i64>,
}

/// Refuses a day in a closed period, at the input path that named it.
///
/// # Errors
/// `PeriodClosed`.
pub async fn check_open(tx: &impl ConnectionTrait, path: &str, on: NaiveDate) -> Result<()> {
    match shop::settings(tx).await?.row.books_closed_through {
        Some(through) if on <= through => Err(Error::refused(
            ProblemCode::PeriodClosed,
            path,
            format!("The books are closed through {through}; {on} takes no more entries."),
        )),
        _ => Ok(()),
    }
}

/// Posts an entry in the transaction of the act that moves the money.
///
/// The balance is checked again here, whoever made the entry. An act whose day comes from its input calls
/// [`check_open`] first, so that the refusal names the field.
///
/// # Errors
/// `PeriodClosed`; `Unbalanced`; `SettingMissing` for an account that is not in the chart.
pub async fn post(
    tx: &impl ConnectionTrait,
    act: &Act,
    new: NewEntry,
) -> Result<journal_entry::Model> {
    check_open(tx, "", new.on).await?;
    let rows = placed(tx, new.entry).await?;
    let header = journal_entry::ActiveModel {
        entry_on: Set(new.on),
        memo: Set(new.memo),
        document_kind: Set(new
            .document
            .map_or(MANUAL, |document| document.kind)
            .to_owned()),
        document_id: Set(new.document.map(|document| document.id)),
        ..Default::default()
    };
    write(tx, act, header, rows).await
}

/// Posts the entry that closes a fiscal year on its last day, which may lie in a closed period: it moves no money.
///
/// # Errors
/// `SettingMissing` for an account that is not in the chart.
pub async fn post_closing(
    tx: &impl ConnectionTrait,
    act: &Act,
    (year, on, memo): (i32, NaiveDate, String),
    entry: Entry,
) -> Result<journal_entry::Model> {
    let rows = placed(tx, entry).await?;
    let header = journal_entry::ActiveModel {
        entry_on: Set(on),
        memo: Set(memo),
        document_kind: Set(YEAR_END.to_owned()),
        document_id: Set(None),
        closes_year: Set(Some(year)),
        ..Default::default()
    };
    write(tx, act, header, rows).await
}

/// The postings of an entry with their accounts found.
async fn placed(tx: &impl ConnectionTrait, entry: Entry) -> Result<Vec<Row>> {
    let accounts = Chart::of(tx).await?;
    entry
        .into_postings()
        .into_iter()
        .map(|posting| {
            let (debit_cents, credit_cents) = match posting.side {
                Side::Debit => (posting.amount.0, 0),
                Side::Credit => (0, posting.amount.0),
            };
            Ok(Row {
                account_id: accounts.find(&posting.account)?,
                debit_cents,
                credit_cents,
                tax_level_id: posting.tax_level.as_deref().map(level_id).transpose()?,
            })
        })
        .collect()
}

/// Posts the entry that undoes `entry`, for the same document.
///
/// # Errors
/// `PeriodClosed`; `WrongState` at `path` when it is undone already or itself undoes another, or touches an account that
/// is retired.
pub async fn reverse(
    tx: &impl ConnectionTrait,
    act: &Act,
    (path, entry): (&str, &journal_entry::Model),
    (on, memo): (NaiveDate, String),
) -> Result<journal_entry::Model> {
    check_open(tx, "on", on).await?;
    if entry.reverses_entry_id.is_some() || store::reversal_of(tx, entry.id).await?.is_some() {
        return Err(Error::refused(
            ProblemCode::WrongState,
            path,
            format!(
                "Entry {} is reversed already, or reverses another.",
                entry.number
            ),
        ));
    }
    let postings = store::postings_of(tx, entry.id).await?;
    let accounts = Chart::of(tx).await?;
    for posting in &postings {
        accounts.check_in_use(path, posting.account_id)?;
    }
    let rows = postings
        .into_iter()
        .map(|posting| Row {
            account_id: posting.account_id,
            debit_cents: posting.credit_cents,
            credit_cents: posting.debit_cents,
            tax_level_id: posting.tax_level_id,
        })
        .collect();
    let header = journal_entry::ActiveModel {
        entry_on: Set(on),
        memo: Set(memo),
        document_kind: Set(entry.document_kind.clone()),
        document_id: Set(entry.document_id),
        reverses_entry_id: Set(Some(entry.id)),
        closes_year: Set(entry.closes_year),
        ..Default::default()
    };
    write(tx, act, header, rows).await
}

/// Writes header and postings, after a last look at both sums.
async fn write(
    tx: &impl ConnectionTrait,
    act: &Act,
    header: journal_entry::ActiveModel,
    rows: Vec<Row>,
) -> Result<journal_entry::Model> {
    let sum = |amount: fn(&Row) -> i64| {
        rows.iter()
            .map(amount)
            .try_fold(0_i64, i64::checked_add)
            .ok_or_else(|| Error::internal("an entry's sum is too large"))
    };
    let debit_cents = sum(|row| row.debit_cents)?;
    let credit_cents = sum(|row| row.credit_cents)?;
    if debit_cents != credit_cents || debit_cents <= 0 {
        return Err(Error::internal("an entry that does not balance"));
    }
    let entry = journal_entry::ActiveModel {
        number: Set(numbers::take(tx, Series::Journal).await?),
        posted_at: Set(act.at),
        posted_by: Set(act.staff_id()),
        debit_cents: Set(debit_cents),
        credit_cents: Set(credit_cents),
        ..header
    }
    .insert(tx)
    .await?;
    let links = rows.iter().map(|row| LinkPosting {
        account: row.account_id,
        debit_cents: row.debit_cents,
        credit_cents: row.credit_cents,
        tax_level: row.tax_level_id,
    });
    let links = links.collect();
    let postings = (1_i32..)
        .zip(rows)
        .map(|(position, row)| posting::ActiveModel {
            entry_id: Set(entry.id),
            position: Set(position),
            account_id: Set(row.account_id),
            debit_cents: Set(row.debit_cents),
            credit_cents: Set(row.credit_cents),
            tax_level_id: Set(row.tax_level_id),
            entry_on: Set(entry.entry_on),
            ..Default::default()
        });
    posting::Entity::insert_many(postings)
        .exec_without_returning(tx)
        .await?;
    chain::seal(tx, &entry, links).await?;
    Ok(entry)
}

/// The row of an account that takes entries.
///
/// # Errors
/// `SettingMissing` for one that is not in the chart; `WrongState` for a retired one.
pub async fn account_id(tx: &impl ConnectionTrait, account: &AccountRef) -> Result<i64> {
    Chart::of(tx).await?.find(account)
}

/// The chart, to find accounts in.
struct Chart {
    by_role: HashMap<String, i64>,
    by_code: HashMap<String, i64>,
    retired: HashMap<i64, String>,
}

impl Chart {
    async fn of(tx: &impl ConnectionTrait) -> Result<Self> {
        let rows: Vec<account::Model> = store::chart(tx).await?;
        let retired = rows.iter().filter(|row| row.retired_at.is_some());
        Ok(Self {
            retired: retired.map(|row| (row.id, row.code.clone())).collect(),
            by_role: rows
                .iter()
                .filter_map(|row| Some((row.role.clone()?, row.id)))
                .collect(),
            by_code: rows.into_iter().map(|row| (row.code, row.id)).collect(),
        })
    }

    fn find(&self, account: &AccountRef) -> Result<i64> {
        let found = match account {
            AccountRef::Role(role) => self.by_role.get(&role_key(*role)),
            AccountRef::Code(code) => self.by_code.get(code),
        };
        let id = found.copied().ok_or_else(|| {
            Error::refused(
                ProblemCode::SettingMissing,
                "",
                format!("The chart of accounts lacks {account}. Add it first."),
            )
        })?;
        self.check_in_use("", id)?;
        Ok(id)
    }

    /// Refuses a retired account.
    fn check_in_use(&self, path: &str, account_id: i64) -> Result<()> {
        match self.retired.get(&account_id) {
            None => Ok(()),
            Some(code) => Err(Error::refused(
                ProblemCode::WrongState,
                path,
                format!("Account {code} is retired; it takes no more entries."),
            )),
        }
    }
}

/// The word for a role in the chart's rows, such as `sales_tax_payable`.
pub fn role_key(role: Role) -> String {
    serde_json::to_value(role)
        .ok()
        .and_then(|value| value.as_str().map(str::to_owned))
        .unwrap_or_default()
}

/// The role with this word.
pub fn role_of(key: &str) -> Option<Role> {
    Role::ALL.into_iter().find(|role| role_key(*role) == key)
}

/// A level's key in an entry is its row's id.
fn level_id(key: &str) -> Result<i64> {
    key.parse()
        .map_err(|_| Error::internal("a tax level's key is no row id"))
}
