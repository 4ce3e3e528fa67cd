//! Every query of the reports. Each is bounded: by the accounts, levels and staff of the shop, by a page, or by a limit.

pub mod bills;
pub mod documents;
pub mod journal;
pub mod margins;
pub mod takings;
pub mod visits;

use std::collections::HashMap;

use chrono::{Datelike, NaiveDate};
use sea_orm::{ConnectionTrait, FromQueryResult, Statement, Value};

use crate::base::Result;

/// The first and the last day that count.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Span {
    pub from: NaiveDate,
    pub to: NaiveDate,
}

impl Span {
    /// Days in order, of years that both databases keep.
    ///
    /// # Errors
    /// In words, what is wrong with them.
    pub fn new(from: NaiveDate, to: NaiveDate) -> std::result::Result<Self, String> {
        if let Some(day) = [from, to]
            .iter()
            .find(|day| !(1..=9999).contains(&day.year()))
        {
            return Err(format!("{day} lies outside of the years 1 to 9999."));
        }
        if to < from {
            return Err(format!("{to} lies before {from}."));
        }
        Ok(Self { from, to })
    }

    /// Both days, as the first two values of a statement.
    fn values(self) -> Vec<Value> {
        vec![self.from.into(), self.to.into()]
    }
}

/// Reads the rows of a statement.
async fn rows<T: FromQueryResult>(
    db: &impl ConnectionTrait,
    sql: &str,
    values: Vec<Value>,
) -> Result<Vec<T>> {
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    Ok(T::find_by_statement(statement).all(db).await?)
}

/// A customer who ever owed anything.
#[derive(FromQueryResult)]
pub struct Debtor {
    pub id: i64,
    pub name: String,
    pub phone_e164: Option<String>,
    pub email: Option<String>,
}

/// The customers who ever owed anything, by id. One statement.
pub async fn debtors(db: &impl ConnectionTrait) -> Result<HashMap<i64, Debtor>> {
    let sql = "SELECT id, name, phone_e164, email FROM customer WHERE id IN (SELECT customer_id FROM receivable)";
    let found: Vec<Debtor> = rows(db, sql, Vec::new()).await?;
    Ok(found.into_iter().map(|row| (row.id, row)).collect())
}
