//! Reconciliations of banks' accounts.

use chrono::NaiveDate;
use nameplate_entities::bank_reconciliation::{Column, Entity, Model};
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, Select};

use crate::base::{Error, Result};

/// Reconciliations of an account, those opened again among them.
pub fn reconciliations(account_id: i64) -> Select<Entity> {
    Entity::find().filter(Column::AccountId.eq(account_id))
}

/// The last one that stands.
pub async fn last(db: &impl ConnectionTrait, account_id: i64) -> Result<Option<Model>> {
    Ok(reconciliations(account_id)
        .filter(Column::ReopenedAt.is_null())
        .order_by_desc(Column::ThroughOn)
        .one(db)
        .await?)
}

/// The one that stands through this very day.
pub async fn through(
    db: &impl ConnectionTrait,
    account_id: i64,
    through: NaiveDate,
) -> Result<Option<Model>> {
    Ok(reconciliations(account_id)
        .filter(Column::ReopenedAt.is_null())
        .filter(Column::ThroughOn.eq(through))
        .one(db)
        .await?)
}

/// The reconciliation, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<Model> {
    Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "bank reconciliation"))
}
