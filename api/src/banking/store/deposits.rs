//! Payments that wait, and the deposits they are on.

use nameplate_entities::kinds::PaymentMethod;
use nameplate_entities::{
    bank_deposit, bank_deposit_line, bank_match_posting, journal_entry, payment, posting,
};
use sea_orm::sea_query::{Expr, ExprTrait, Query};
use sea_orm::{
    ColumnTrait, Condition, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder,
    QuerySelect, Select,
};

use crate::base::{Error, Result};

/// Payments that are neither banked nor undone. Read from `ix_payment_bank_account_id_reversed_on_method_id`.
pub fn waiting(method: Option<PaymentMethod>) -> Select<payment::Entity> {
    let select = payment::Entity::find()
        .filter(payment::Column::BankAccountId.is_null())
        .filter(payment::Column::ReversedOn.is_null());
    match method {
        Some(method) => select.filter(payment::Column::Method.eq(method)),
        None => select,
    }
}

/// Deposits, narrowed to those of one account.
pub fn deposits(account_id: Option<i64>) -> Select<bank_deposit::Entity> {
    let select = bank_deposit::Entity::find();
    match account_id {
        Some(id) => select.filter(bank_deposit::Column::AccountId.eq(id)),
        None => select,
    }
}

/// The deposit, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<bank_deposit::Model> {
    bank_deposit::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "bank deposit"))
}

/// Payments with these ids.
pub async fn payments(
    db: &impl ConnectionTrait,
    ids: impl IntoIterator<Item = i64>,
) -> Result<Vec<payment::Model>> {
    Ok(payment::Entity::find()
        .filter(payment::Column::Id.is_in(ids))
        .all(db)
        .await?)
}

/// The payments of a deposit, oldest first.
pub async fn payments_of(
    db: &impl ConnectionTrait,
    deposit_id: i64,
) -> Result<Vec<payment::Model>> {
    let lines = bank_deposit_line::Entity::find()
        .filter(bank_deposit_line::Column::DepositId.eq(deposit_id))
        .all(db)
        .await?;
    let ids = lines.into_iter().map(|line| line.payment_id);
    Ok(payment::Entity::find()
        .filter(payment::Column::Id.is_in(ids))
        .order_by_asc(payment::Column::Id)
        .all(db)
        .await?)
}

/// How many payments that wait fit, and what they come to.
#[derive(Clone, Copy, Debug, Default, FromQueryResult)]
pub struct Waiting {
    pub number: i64,
    pub amount_cents: i64,
}

/// How many payments that wait fit `which`, and what they come to. Read from
/// `ix_payment_bank_account_id_reversed_on_method_id`.
pub async fn waiting_sum(db: &impl ConnectionTrait, which: Condition) -> Result<Waiting> {
    let sum = payment::Column::AmountCents.sum().cast_as("BIGINT");
    let sums = waiting(None)
        .filter(which)
        .select_only()
        .column_as(payment::Column::Id.count(), "number")
        .column_as(Expr::expr(sum).if_null(0_i64), "amount_cents")
        .into_model::<Waiting>();
    Ok(sums.one(db).await?.unwrap_or_default())
}

/// The entry of a deposit that is not itself a reversal.
///
/// # Errors
/// Internal, when the deposit has none.
pub async fn entry_of(db: &impl ConnectionTrait, deposit_id: i64) -> Result<journal_entry::Model> {
    journal_entry::Entity::find()
        .filter(journal_entry::Column::DocumentKind.eq("bank_deposit"))
        .filter(journal_entry::Column::DocumentId.eq(deposit_id))
        .filter(journal_entry::Column::ReversesEntryId.is_null())
        .one(db)
        .await?
        .ok_or_else(|| Error::internal("a bank deposit without its entry"))
}

/// Whether a statement of the bank shows the deposit.
pub async fn is_matched(db: &impl ConnectionTrait, deposit_id: i64) -> Result<bool> {
    let postings = Query::select()
        .column((posting::Entity, posting::Column::Id))
        .from(posting::Entity)
        .inner_join(
            journal_entry::Entity,
            Expr::col((journal_entry::Entity, journal_entry::Column::Id))
                .equals((posting::Entity, posting::Column::EntryId)),
        )
        .and_where(journal_entry::Column::DocumentKind.eq("bank_deposit"))
        .and_where(journal_entry::Column::DocumentId.eq(deposit_id))
        .to_owned();
    let found = bank_match_posting::Entity::find()
        .filter(bank_match_posting::Column::PostingId.in_subquery(postings))
        .one(db)
        .await?;
    Ok(found.is_some())
}
