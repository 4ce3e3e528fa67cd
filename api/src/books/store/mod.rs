//! Accounts, entries and balances.

pub mod balances;
pub mod periods;
pub mod seals;

use chrono::NaiveDate;
use nameplate_entities::{account, journal_entry, payment, posting, tax_jurisdiction, tax_level};
use nameplate_rules::books::Role;
use sea_orm::sea_query::{Alias, Expr, ExprTrait, Query};
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder,
    QuerySelect, Select,
};

use crate::base::{Error, ProblemCode, Result};

use super::posting::role_key;

/// Every account, by code. A chart is short.
pub async fn chart(db: &impl ConnectionTrait) -> Result<Vec<account::Model>> {
    Ok(account::Entity::find()
        .order_by_asc(account::Column::Code)
        .all(db)
        .await?)
}

/// The account, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_account(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<account::Model> {
    account::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "account"))
}

/// What waits to be banked of what customers paid. Payments lie above the books; their sum alone is read here, as the
/// account of receipts not yet banked is held against it.
pub async fn receipts_waiting(db: &impl ConnectionTrait) -> Result<i64> {
    let sum = payment::Column::AmountCents.sum().cast_as("BIGINT");
    let waiting: Option<Option<i64>> = payment::Entity::find()
        .filter(payment::Column::BankAccountId.is_null())
        .filter(payment::Column::ReversedOn.is_null())
        .select_only()
        .column_as(sum, "cents")
        .into_tuple()
        .one(db)
        .await?;
    Ok(waiting.flatten().unwrap_or_default())
}

/// The account at a bank, which the input names at `path`; the one the program pays from when it names none.
///
/// # Errors
/// `NotFound`; `WrongState` for an account that is no bank's, or retired.
pub async fn bank_account(
    db: &impl ConnectionTrait,
    path: &str,
    id: Option<i64>,
) -> Result<account::Model> {
    let row = match id {
        Some(id) => get_account(db, path, id).await?,
        None => account::Entity::find()
            .filter(account::Column::Role.eq(role_key(Role::Bank)))
            .one(db)
            .await?
            .ok_or_else(|| Error::not_found(path, "account at a bank"))?,
    };
    let refused = |why: &str| {
        let message = format!("{} {} {why}.", row.code, row.name);
        Err(Error::refused(ProblemCode::WrongState, path, message))
    };
    if !row.is_bank {
        return refused("is no account at a bank");
    }
    if row.retired_at.is_some() {
        return refused("is retired; it takes no more entries");
    }
    Ok(row)
}

/// The entry, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_entry(
    db: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<journal_entry::Model> {
    journal_entry::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "journal entry"))
}

/// The entry that undoes this one, if there is one.
pub async fn reversal_of(
    db: &impl ConnectionTrait,
    id: i64,
) -> Result<Option<journal_entry::Model>> {
    Ok(journal_entry::Entity::find()
        .filter(journal_entry::Column::ReversesEntryId.eq(id))
        .one(db)
        .await?)
}

/// The postings of an entry, in order.
pub async fn postings_of(db: &impl ConnectionTrait, id: i64) -> Result<Vec<posting::Model>> {
    Ok(posting::Entity::find()
        .filter(posting::Column::EntryId.eq(id))
        .order_by_asc(posting::Column::Position)
        .all(db)
        .await?)
}

/// Which of these tax levels exist.
pub async fn levels(
    db: &impl ConnectionTrait,
    ids: impl IntoIterator<Item = i64>,
) -> Result<Vec<i64>> {
    let rows = tax_level::Entity::find()
        .filter(tax_level::Column::Id.is_in(ids))
        .all(db)
        .await?;
    Ok(rows.into_iter().map(|row| row.id).collect())
}

/// Entries, narrowed to those that touch an account or belong to a document.
pub fn entries(
    account_id: Option<i64>,
    document: Option<(&'static str, i64)>,
) -> Select<journal_entry::Entity> {
    let mut select = journal_entry::Entity::find();
    if let Some(id) = account_id {
        let touching = Query::select()
            .column(posting::Column::EntryId)
            .from(posting::Entity)
            .and_where(posting::Column::AccountId.eq(id))
            .to_owned();
        select = select.filter(journal_entry::Column::Id.in_subquery(touching));
    }
    if let Some((kind, id)) = document {
        select = select
            .filter(journal_entry::Column::DocumentKind.eq(kind))
            .filter(journal_entry::Column::DocumentId.eq(id));
    }
    select
}

/// Sales tax owed to one level, positive when owed.
#[derive(Clone, Debug, FromQueryResult)]
pub struct TaxOwed {
    pub tax_level_id: i64,
    pub name: String,
    pub jurisdiction: String,
    pub owed_cents: i64,
}

/// Sales tax owed through a day by level. One statement.
pub async fn tax_owed(db: &impl ConnectionTrait, on: NaiveDate) -> Result<Vec<TaxOwed>> {
    let owed = Expr::col((posting::Entity, posting::Column::CreditCents))
        .sub(Expr::col((posting::Entity, posting::Column::DebitCents)))
        .sum()
        .cast_as(Alias::new("BIGINT"));
    let level = |column: tax_level::Column| (tax_level::Entity, column);
    let jurisdiction = |column: tax_jurisdiction::Column| (tax_jurisdiction::Entity, column);
    let select = Query::select()
        .column((posting::Entity, posting::Column::TaxLevelId))
        .column(level(tax_level::Column::Name))
        .expr_as(
            Expr::col(jurisdiction(tax_jurisdiction::Column::Name)),
            Alias::new("jurisdiction"),
        )
        .expr_as(owed, Alias::new("owed_cents"))
        .from(posting::Entity)
        .inner_join(
            tax_level::Entity,
            Expr::col(level(tax_level::Column::Id))
                .equals((posting::Entity, posting::Column::TaxLevelId)),
        )
        .inner_join(
            tax_jurisdiction::Entity,
            Expr::col(jurisdiction(tax_jurisdiction::Column::Id))
                .equals(level(tax_level::Column::TaxJurisdictionId)),
        )
        .and_where(posting::Column::EntryOn.lte(on))
        .group_by_col((posting::Entity, posting::Column::TaxLevelId))
        .group_by_col(level(tax_level::Column::Name))
        .group_by_col(jurisdiction(tax_jurisdiction::Column::Name))
        .order_by(
            (posting::Entity, posting::Column::TaxLevelId),
            sea_orm::Order::Asc,
        )
        .to_owned();
    let statement = db.get_database_backend().build(&select);
    Ok(TaxOwed::find_by_statement(statement).all(db).await?)
}
