//! Lines of banks.

use chrono::NaiveDate;
use nameplate_entities::{bank_line, bank_statement};
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder,
    QuerySelect, Select, Statement,
};

use crate::base::{Error, Result};

/// Statements of an account.
pub fn statements(account_id: i64) -> Select<bank_statement::Entity> {
    bank_statement::Entity::find().filter(bank_statement::Column::AccountId.eq(account_id))
}

/// Lines of an account, or only those that nothing is matched to.
pub fn lines(account_id: i64, open_only: bool) -> Select<bank_line::Entity> {
    let select = bank_line::Entity::find().filter(bank_line::Column::AccountId.eq(account_id));
    if open_only {
        select.filter(bank_line::Column::MatchId.is_null())
    } else {
        select
    }
}

/// The oldest lines that nothing is matched to, at most `count`.
pub async fn open(
    db: &impl ConnectionTrait,
    account_id: i64,
    count: u64,
) -> Result<Vec<bank_line::Model>> {
    Ok(lines(account_id, true)
        .order_by_asc(bank_line::Column::BookedOn)
        .order_by_asc(bank_line::Column::Id)
        .limit(count)
        .all(db)
        .await?)
}

/// The line, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<bank_line::Model> {
    bank_line::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "line of a bank"))
}

/// Lines with these ids.
pub async fn by_ids(db: &impl ConnectionTrait, ids: &[i64]) -> Result<Vec<bank_line::Model>> {
    Ok(bank_line::Entity::find()
        .filter(bank_line::Column::Id.is_in(ids.iter().copied()))
        .all(db)
        .await?)
}

/// Lines of a match.
pub async fn of_match(db: &impl ConnectionTrait, match_id: i64) -> Result<Vec<bank_line::Model>> {
    Ok(bank_line::Entity::find()
        .filter(bank_line::Column::MatchId.eq(match_id))
        .all(db)
        .await?)
}

/// A line of a file that something is matched to.
pub async fn first_matched(
    db: &impl ConnectionTrait,
    statement_id: i64,
) -> Result<Option<bank_line::Model>> {
    Ok(bank_line::Entity::find()
        .filter(bank_line::Column::StatementId.eq(statement_id))
        .filter(bank_line::Column::MatchId.is_not_null())
        .order_by_asc(bank_line::Column::BookedOn)
        .order_by_asc(bank_line::Column::Id)
        .one(db)
        .await?)
}

/// Lines on record with these keys.
pub async fn of_keys(
    db: &impl ConnectionTrait,
    account_id: i64,
    keys: &[String],
) -> Result<Vec<bank_line::Model>> {
    Ok(bank_line::Entity::find()
        .filter(bank_line::Column::AccountId.eq(account_id))
        .filter(bank_line::Column::SameKey.is_in(keys))
        .all(db)
        .await?)
}

/// Whether there is a line of the account on or before a day.
pub async fn is_begun(
    db: &impl ConnectionTrait,
    account_id: i64,
    through: NaiveDate,
) -> Result<bool> {
    let found = lines(account_id, false)
        .filter(bank_line::Column::BookedOn.lte(through))
        .one(db)
        .await?;
    Ok(found.is_some())
}

/// Lines that are not reconciled, through a day: how many, how many of them unmatched, and their sum.
#[derive(Clone, Copy, Debug, Default, FromQueryResult)]
pub struct Unsettled {
    pub unmatched: i64,
    pub sum_cents: i64,
}

/// Lines that are not reconciled, through a day.
pub async fn unsettled(
    db: &impl ConnectionTrait,
    account_id: i64,
    through: NaiveDate,
) -> Result<Unsettled> {
    let sql = "SELECT CAST(COALESCE(SUM(CASE WHEN match_id IS NULL THEN 1 ELSE 0 END), 0) AS BIGINT) AS unmatched, \
         CAST(COALESCE(SUM(amount_cents), 0) AS BIGINT) AS sum_cents FROM bank_line \
         WHERE account_id = $1 AND reconciliation_id IS NULL AND booked_on <= $2";
    let values = [account_id.into(), through.into()];
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    Ok(Unsettled::find_by_statement(statement)
        .one(db)
        .await?
        .unwrap_or_default())
}

/// Lines through a day that are not reconciled and have a balance, by file and as they stand in it.
pub async fn with_balance(
    db: &impl ConnectionTrait,
    account_id: i64,
    through: NaiveDate,
) -> Result<Vec<bank_line::Model>> {
    Ok(lines(account_id, false)
        .filter(bank_line::Column::ReconciliationId.is_null())
        .filter(bank_line::Column::BookedOn.lte(through))
        .filter(bank_line::Column::BalanceCents.is_not_null())
        .order_by_asc(bank_line::Column::StatementId)
        .order_by_asc(bank_line::Column::FileLine)
        .all(db)
        .await?)
}

/// A line through a day whose match has a line after it, too.
pub async fn astride(
    db: &impl ConnectionTrait,
    account_id: i64,
    through: NaiveDate,
) -> Result<Option<bank_line::Model>> {
    let sql = "SELECT l.* FROM bank_line l WHERE l.account_id = $1 AND l.reconciliation_id IS NULL \
         AND l.booked_on <= $2 AND EXISTS (SELECT 1 FROM bank_line o WHERE o.match_id = l.match_id \
         AND o.booked_on > $2) ORDER BY l.booked_on, l.id LIMIT 1";
    let values = [account_id.into(), through.into()];
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    Ok(bank_line::Entity::find()
        .from_raw_sql(statement)
        .one(db)
        .await?)
}
