//! What accounts add up to, and the lines of one account.
//!
//! Each sum is read account by account from `ix_posting_balance`, which holds all that it needs; a month in an old shop
//! costs as little as in a young one.

use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::kinds::AccountKind;
use nameplate_entities::{account, posting};
use nameplate_rules::books::{self as rules, Role};
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, Select, Statement,
    Value,
};

use super::super::posting::role_key;
use crate::base::{Error, Result};

/// What one account adds up to; debits positive.
#[derive(Clone, Debug)]
pub struct Balance {
    pub id: i64,
    pub code: String,
    pub name: String,
    pub kind: AccountKind,
    pub role: Option<String>,
    pub is_bank: bool,
    pub retired_at: Option<DateTime<Utc>>,
    pub version: i32,
    pub balance_cents: i64,
}

impl From<account::Model> for Balance {
    /// An account that nothing was posted to.
    fn from(row: account::Model) -> Self {
        Self {
            id: row.id,
            code: row.code,
            name: row.name,
            kind: row.kind,
            role: row.role,
            is_bank: row.is_bank,
            retired_at: row.retired_at,
            version: row.version,
            balance_cents: 0,
        }
    }
}

impl Balance {
    /// The class of the account as the rules name it.
    pub fn rules_kind(&self) -> rules::AccountKind {
        kind_of_rules(self.kind)
    }
}

/// The class of an account as the rules name it.
pub fn kind_of_rules(kind: AccountKind) -> rules::AccountKind {
    match kind {
        AccountKind::Asset => rules::AccountKind::Asset,
        AccountKind::Liability => rules::AccountKind::Liability,
        AccountKind::Equity => rules::AccountKind::Equity,
        AccountKind::Revenue => rules::AccountKind::Revenue,
        AccountKind::Expense => rules::AccountKind::Expense,
    }
}

/// What becomes of the entries that close a fiscal year.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Closings {
    /// They count like any other.
    #[default]
    Count,
    /// None counts: an income statement would be empty otherwise.
    LeaveOut,
    /// Those of the last day do not count, so that what is read is the same before the year is closed and after.
    LeaveOutOnLastDay,
}

/// Which entries count.
#[derive(Clone, Copy, Debug, Default)]
pub struct Days {
    pub from: Option<NaiveDate>,
    pub through: Option<NaiveDate>,
    pub closings: Closings,
    /// Whether entries of invoices and credit notes, and others that touch what is owed on them, are left out: no money
    /// moves in them.
    pub without_invoices: bool,
}

/// Neither of an invoice or credit note, nor on what is owed on them. `days` narrows both looks to the days asked for, as
/// all postings of an entry lie on its day; without it `PostgreSQL` reads the whole journal for one month.
fn without_invoices(days: &[String]) -> String {
    let on = |table: &str| {
        let narrowed = days.iter().map(|day| format!(" AND {table}.{day}"));
        narrowed.collect::<String>()
    };
    format!(
        "NOT EXISTS (SELECT 1 FROM posting q JOIN account r ON r.id = q.account_id \
         WHERE q.entry_id = p.entry_id{} AND r.role IN ('receivable', 'claims_receivable')) \
         AND NOT EXISTS (SELECT 1 FROM journal_entry d \
         WHERE d.id = p.entry_id{} AND d.document_kind = 'invoice')",
        on("q"),
        on("d"),
    )
}

impl Days {
    /// Every day through this one.
    pub fn through(day: NaiveDate) -> Self {
        Self {
            through: Some(day),
            ..Self::default()
        }
    }

    /// The condition on `posting p`, and its values in order.
    fn condition(&self) -> (String, Vec<Value>) {
        let mut values: Vec<Value> = Vec::new();
        let mut place = |day: NaiveDate| {
            values.push(day.into());
            format!("${}", values.len())
        };
        let first_day = self.from.map(&mut place);
        let last_day = self.through.map(&mut place);
        let from = first_day.map(|day| format!("entry_on >= {day}"));
        let through = last_day.as_ref().map(|day| format!("entry_on <= {day}"));
        let days: Vec<String> = from.into_iter().chain(through).collect();
        let mut conditions = vec![String::new()];
        conditions.extend(days.iter().map(|day| format!("p.{day}")));
        let closing = "SELECT c.id FROM journal_entry c WHERE c.closes_year IS NOT NULL";
        match (self.closings, last_day) {
            (Closings::Count, _) | (Closings::LeaveOutOnLastDay, None) => {}
            (Closings::LeaveOut, _) => {
                conditions.push(format!("p.entry_id NOT IN ({closing})"));
            }
            (Closings::LeaveOutOnLastDay, Some(day)) => {
                conditions.push(format!(
                    "p.entry_id NOT IN ({closing} AND c.entry_on = {day})"
                ));
            }
        }
        if self.without_invoices {
            conditions.push(without_invoices(&days));
        }
        (conditions.join(" AND "), values)
    }
}

/// An account and what was posted to it, if anything was.
#[derive(FromQueryResult)]
struct Posted {
    #[sea_orm(nested)]
    account: account::Model,
    posted_cents: Option<i64>,
}

/// Every account that was posted to in these days, with its sum, by code. One statement.
pub async fn balances(db: &impl ConnectionTrait, days: Days) -> Result<Vec<Balance>> {
    let posted = Posted::find_by_statement(statement(db, days))
        .all(db)
        .await?;
    let rows = posted.into_iter().filter_map(|row| {
        Some(Balance {
            balance_cents: row.posted_cents?,
            ..row.account.into()
        })
    });
    let mut rows: Vec<Balance> = rows.collect();
    // Databases differ in how they sort text; the rules sort by code, and rows are matched by place.
    rows.sort_by(|a, b| a.code.cmp(&b.code));
    Ok(rows)
}

/// The statement behind [`balances`]. Accounts without a posting are dropped by who reads it: asked to do so,
/// `PostgreSQL` adds everything up twice.
pub fn statement(db: &impl ConnectionTrait, days: Days) -> Statement {
    let (condition, values) = days.condition();
    let sql = format!(
        "SELECT a.*, (SELECT CAST(SUM(p.debit_cents - p.credit_cents) AS BIGINT) FROM posting p \
         WHERE p.account_id = a.id{condition}) AS posted_cents FROM account a"
    );
    Statement::from_sql_and_values(db.get_database_backend(), sql, values)
}

#[derive(FromQueryResult)]
struct Sum {
    cents: i64,
}

/// What one account adds up to, debits positive.
pub async fn balance_of(db: &impl ConnectionTrait, account_id: i64, reach: Reach) -> Result<i64> {
    let mut values: Vec<Value> = vec![account_id.into()];
    let sql = match reach {
        Reach::All => "",
        Reach::Before(day) => {
            values.push(day.into());
            " AND entry_on < $2"
        }
        Reach::Through(day) => {
            values.push(day.into());
            " AND entry_on <= $2"
        }
        Reach::BeforeLine(day, id) => {
            values.extend([day.into(), id.into()]);
            " AND (entry_on, id) < ($2, $3)"
        }
    };
    let sql = format!(
        "SELECT CAST(COALESCE(SUM(debit_cents - credit_cents), 0) AS BIGINT) AS cents FROM posting \
         WHERE account_id = $1{sql}"
    );
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    let row = Sum::find_by_statement(statement).one(db).await?;
    Ok(row.map_or(0, |row| row.cents))
}

/// What the account of a role adds up to, debits positive.
pub async fn balance_of_role(db: &impl ConnectionTrait, role: Role) -> Result<i64> {
    let row = account::Entity::find()
        .filter(account::Column::Role.eq(role_key(role)))
        .one(db)
        .await?
        .ok_or_else(|| Error::internal("an account that the program posts to is gone"))?;
    balance_of(db, row.id, Reach::All).await
}

/// The same before a day.
pub async fn balance_before(
    db: &impl ConnectionTrait,
    account_id: i64,
    day: NaiveDate,
) -> Result<i64> {
    balance_of(db, account_id, Reach::Before(day)).await
}

/// How far a sum goes.
#[derive(Clone, Copy, Debug)]
pub enum Reach {
    All,
    /// Up to the day before.
    Before(NaiveDate),
    Through(NaiveDate),
    /// Up to the line before this posting of a day.
    BeforeLine(NaiveDate, i64),
}

/// The lines of an account in these days.
pub fn lines(account_id: i64, from: NaiveDate, through: NaiveDate) -> Select<posting::Entity> {
    posting::Entity::find()
        .filter(posting::Column::AccountId.eq(account_id))
        .filter(posting::Column::EntryOn.gte(from))
        .filter(posting::Column::EntryOn.lte(through))
}
