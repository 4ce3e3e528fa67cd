//! Rows of advices, and what they read of claims and money.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::kinds::ClaimStep;
use nameplate_entities::{
    advice_row, allocation, claim, claim_step, customer, invoice, payer_advice, warranty_payer,
};
use nameplate_rules::money::Cents;
use sea_orm::sea_query::{Alias, Expr, ExprTrait, Query};
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder, Select,
};

use crate::base::{Error, Result, joined};

pub mod figures;

/// Values in one statement.
pub const PIECE: usize = 400;

/// The advice, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_advice(
    db: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<payer_advice::Model> {
    payer_advice::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "payer advice"))
}

/// The row, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_row(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<advice_row::Model> {
    advice_row::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "advice row"))
}

/// The advice of a payer that stands and came as this file.
pub async fn same_file(
    db: &impl ConnectionTrait,
    (payer_id, sha256): (i64, &str),
) -> Result<Option<payer_advice::Model>> {
    Ok(payer_advice::Entity::find()
        .filter(payer_advice::Column::PayerId.eq(payer_id))
        .filter(payer_advice::Column::StandingSha256.eq(sha256))
        .one(db)
        .await?)
}

/// The advice of a payer that stands and told of the payment of this number.
pub async fn same_payment(
    db: &impl ConnectionTrait,
    (payer_id, reference): (i64, &str),
) -> Result<Option<payer_advice::Model>> {
    Ok(payer_advice::Entity::find()
        .filter(payer_advice::Column::PayerId.eq(payer_id))
        .filter(payer_advice::Column::Reference.eq(reference))
        .filter(payer_advice::Column::StandingSha256.is_not_null())
        .filter(payer_advice::Column::TotalCents.gt(0))
        .one(db)
        .await?)
}

/// The rows of an advice, in the order of the file.
pub async fn rows_of(db: &impl ConnectionTrait, advice_id: i64) -> Result<Vec<advice_row::Model>> {
    Ok(advice_row::Entity::find()
        .filter(advice_row::Column::AdviceId.eq(advice_id))
        .order_by_asc(advice_row::Column::Position)
        .order_by_asc(advice_row::Column::Id)
        .all(db)
        .await?)
}

/// These claims, by id.
pub async fn claims_by_ids(
    db: &impl ConnectionTrait,
    ids: &[i64],
) -> Result<HashMap<i64, claim::Model>> {
    let mut found = HashMap::new();
    for piece in ids.chunks(PIECE) {
        let rows = claim::Entity::find()
            .filter(claim::Column::Id.is_in(piece.iter().copied()))
            .all(db)
            .await?;
        found.extend(rows.into_iter().map(|row| (row.id, row)));
    }
    Ok(found)
}

/// The standing claims that ask for these invoices.
pub async fn claims_of_invoices(
    db: &impl ConnectionTrait,
    invoice_ids: &[i64],
) -> Result<Vec<claim::Model>> {
    let mut found = Vec::new();
    for piece in invoice_ids.chunks(PIECE) {
        let rows = claim::Entity::find()
            .filter(claim::Column::StandingInvoiceId.is_in(piece.iter().copied()))
            .order_by_asc(claim::Column::Id)
            .all(db)
            .await?;
        found.extend(rows);
    }
    Ok(found)
}

/// The line of an advice whose payment settles a claim's invoice, if one does.
pub async fn row_laid(
    db: &impl ConnectionTrait,
    (payment_id, invoice_id): (i64, i64),
) -> Result<Option<i32>> {
    let mut advices = Query::select();
    advices
        .column(payer_advice::Column::Id)
        .from(payer_advice::Entity)
        .and_where(payer_advice::Column::PaymentId.eq(payment_id));
    let mut claims = Query::select();
    claims
        .column(claim::Column::Id)
        .from(claim::Entity)
        .and_where(claim::Column::InvoiceId.eq(invoice_id));
    let row = advice_row::Entity::find()
        .filter(advice_row::Column::AdviceId.in_subquery(advices))
        .filter(advice_row::Column::ClaimId.in_subquery(claims))
        .filter(advice_row::Column::LaidCents.gt(0))
        .one(db)
        .await?;
    Ok(row.map(|row| row.position))
}

/// The invoice that a claim asks for.
///
/// # Errors
/// Internal, for a claim without one.
pub async fn invoice_of(db: &impl ConnectionTrait, row: &claim::Model) -> Result<invoice::Model> {
    invoice::Entity::find_by_id(row.invoice_id)
        .one(db)
        .await?
        .ok_or_else(|| Error::internal("a claim without its invoice"))
}

#[derive(FromQueryResult)]
struct GivenUp {
    claim_id: i64,
    given_up_cents: i64,
}

/// What write-offs settle of the invoices of these claims, by claim, where it is anything.
pub async fn given_up(
    db: &impl ConnectionTrait,
    rows: &[claim::Model],
) -> Result<HashMap<i64, Cents>> {
    let amount = Expr::col((allocation::Entity, allocation::Column::AmountCents));
    let query = Query::select()
        .expr_as(Expr::col((claim::Entity, claim::Column::Id)), "claim_id")
        .expr_as(amount.sum().cast_as(Alias::new("BIGINT")), "given_up_cents")
        .from(claim::Entity)
        .inner_join(
            allocation::Entity,
            Expr::col((allocation::Entity, allocation::Column::InvoiceId))
                .equals((claim::Entity, claim::Column::InvoiceId)),
        )
        .and_where(
            Expr::col((claim::Entity, claim::Column::Id)).is_in(rows.iter().map(|row| row.id)),
        )
        .and_where(Expr::col((allocation::Entity, allocation::Column::WriteOffId)).is_not_null())
        .group_by_col((claim::Entity, claim::Column::Id))
        .to_owned();
    let sums: Vec<GivenUp> = joined::all(db, &query).await?;
    Ok(sums
        .into_iter()
        .map(|sum| (sum.claim_id, Cents(sum.given_up_cents)))
        .collect())
}

#[derive(FromQueryResult)]
struct LastOn {
    claim_id: i64,
    last_on: NaiveDate,
}

/// Steps that may be written down later than the claim went out.
const BEFORE_IT_GOES: [ClaimStep; 3] =
    [ClaimStep::Drafted, ClaimStep::MakeReady, ClaimStep::Reopen];

/// The day of the last step of these claims since they went out.
pub async fn last_steps_on(
    db: &impl ConnectionTrait,
    claim_ids: &[i64],
) -> Result<HashMap<i64, NaiveDate>> {
    let mut found = HashMap::new();
    for piece in claim_ids.chunks(PIECE) {
        let query = Query::select()
            .column(claim_step::Column::ClaimId)
            .expr_as(
                Expr::col(claim_step::Column::TakenOn).max(),
                Alias::new("last_on"),
            )
            .from(claim_step::Entity)
            .and_where(Expr::col(claim_step::Column::ClaimId).is_in(piece.iter().copied()))
            .and_where(claim_step::Column::Step.is_not_in(BEFORE_IT_GOES))
            .group_by_col(claim_step::Column::ClaimId)
            .to_owned();
        let rows: Vec<LastOn> = joined::all(db, &query).await?;
        found.extend(rows.into_iter().map(|row| (row.claim_id, row.last_on)));
    }
    Ok(found)
}

/// A claim of another payer that bears a number of a file.
#[derive(Clone, Debug, FromQueryResult)]
pub struct OfAnother {
    pub number: String,
    pub payer: String,
}

/// The claims of other payers that have these as their numbers.
pub async fn of_other_payers(
    db: &impl ConnectionTrait,
    (payer_id, numbers): (i64, &[String]),
) -> Result<Vec<OfAnother>> {
    let mut found = Vec::new();
    for piece in numbers.chunks(PIECE) {
        let query = Query::select()
            .column((claim::Entity, claim::Column::Number))
            .expr_as(
                Expr::col((customer::Entity, customer::Column::Name)),
                Alias::new("payer"),
            )
            .from(claim::Entity)
            .inner_join(
                warranty_payer::Entity,
                Expr::col((warranty_payer::Entity, warranty_payer::Column::Id))
                    .equals((claim::Entity, claim::Column::PayerId)),
            )
            .inner_join(
                customer::Entity,
                Expr::col((customer::Entity, customer::Column::Id))
                    .equals((warranty_payer::Entity, warranty_payer::Column::CustomerId)),
            )
            .and_where(
                Expr::col((claim::Entity, claim::Column::Number))
                    .is_in(piece.iter().map(String::as_str)),
            )
            .and_where(Expr::col((claim::Entity, claim::Column::PayerId)).ne(payer_id))
            .to_owned();
        found.extend(joined::all::<OfAnother>(db, &query).await?);
    }
    Ok(found)
}

/// Advices, narrowed to a payer's.
pub fn advices(payer_id: Option<i64>) -> Select<payer_advice::Entity> {
    let select = payer_advice::Entity::find();
    match payer_id {
        Some(id) => select.filter(payer_advice::Column::PayerId.eq(id)),
        None => select,
    }
}

/// Rows that wait for somebody to say which claim they are about, of advices that stand.
pub fn work_list(payer_id: Option<i64>) -> Select<advice_row::Entity> {
    let mut standing = Query::select();
    standing
        .column(payer_advice::Column::Id)
        .from(payer_advice::Entity)
        .and_where(payer_advice::Column::StandingSha256.is_not_null());
    if let Some(id) = payer_id {
        standing.and_where(payer_advice::Column::PayerId.eq(id));
    }
    advice_row::Entity::find()
        .filter(advice_row::Column::SettledAt.is_null())
        .filter(advice_row::Column::SetAsideBecause.is_null())
        .filter(advice_row::Column::ClaimId.is_null())
        .filter(advice_row::Column::AdviceId.in_subquery(standing))
}
