//! Rows of claims, and what claims read of other tables.

use std::collections::HashMap;

use nameplate_entities::{allocation, claim, claim_step, kinds};
use nameplate_rules::claims::{ClaimBalance, ClaimState};
use nameplate_rules::money::Cents;
use sea_orm::sea_query::{Alias, CaseStatement, Expr, ExprTrait, Query};
use sea_orm::{
    ColumnTrait, Condition, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder,
    QuerySelect,
};

use crate::base::{Error, Result, joined};

/// Most claims that one look-up by number gives.
const FOUND_MAX: u64 = 2_000;

/// The claim, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_claim(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<claim::Model> {
    claim::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "claim"))
}

/// A payer's claims that have one of these texts as their number or as the payer's own, oldest first, in one statement.
///
/// # Errors
/// Internal only.
pub async fn of_payer_by_numbers(
    db: &impl ConnectionTrait,
    payer_id: i64,
    texts: &[String],
) -> Result<Vec<claim::Model>> {
    if texts.is_empty() {
        return Ok(Vec::new());
    }
    let named = Condition::any()
        .add(claim::Column::Number.is_in(texts.iter().map(String::as_str)))
        .add(claim::Column::PayerReference.is_in(texts.iter().map(String::as_str)));
    Ok(claim::Entity::find()
        .filter(claim::Column::PayerId.eq(payer_id))
        .filter(named)
        .order_by_asc(claim::Column::Id)
        .limit(FOUND_MAX)
        .all(db)
        .await?)
}

#[derive(FromQueryResult)]
struct Settled {
    invoice_id: i64,
    paid_cents: i64,
    settled_cents: i64,
}

/// What a claim has come to.
///
/// # Errors
/// Internal only.
pub async fn balance(db: &impl ConnectionTrait, row: &claim::Model) -> Result<ClaimBalance> {
    let found = balances(db, std::slice::from_ref(row)).await?;
    (found.get(&row.id).copied()).ok_or_else(|| Error::internal("a claim has no balance"))
}

/// What these claims have come to, by claim, in one statement: what payments settled of their invoices is paid, what
/// anything else settled is written down.
///
/// # Errors
/// Internal only.
pub async fn balances(
    db: &impl ConnectionTrait,
    rows: &[claim::Model],
) -> Result<HashMap<i64, ClaimBalance>> {
    if rows.is_empty() {
        return Ok(HashMap::new());
    }
    let not_paid = Expr::col(allocation::Column::PaymentId).is_null();
    let amount = Expr::col(allocation::Column::AmountCents);
    let paid: Expr = CaseStatement::new()
        .case(not_paid, 0)
        .finally(amount.clone())
        .into();
    let query = Query::select()
        .column(allocation::Column::InvoiceId)
        .expr_as(paid.sum().cast_as(Alias::new("BIGINT")), "paid_cents")
        .expr_as(amount.sum().cast_as(Alias::new("BIGINT")), "settled_cents")
        .from(allocation::Entity)
        .and_where(
            Expr::col(allocation::Column::InvoiceId).is_in(rows.iter().map(|row| row.invoice_id)),
        )
        .group_by_col(allocation::Column::InvoiceId)
        .to_owned();
    let sums: Vec<Settled> = joined::all(db, &query).await?;
    (rows.iter())
        .map(|row| {
            let sum = sums.iter().find(|sum| sum.invoice_id == row.invoice_id);
            let (paid, settled) = sum.map_or((0, 0), |sum| (sum.paid_cents, sum.settled_cents));
            let written_down = (Cents(settled).checked_sub(Cents(paid)))
                .ok_or_else(|| Error::internal("what settled a claim is too large"))?;
            let balance = ClaimBalance {
                claimed: Cents(row.claimed_cents),
                paid: Cents(paid),
                written_down,
            };
            Ok((row.id, balance))
        })
        .collect()
}

/// What happened to a claim last.
///
/// # Errors
/// Internal, for a claim without a step.
pub async fn last_step(db: &impl ConnectionTrait, claim_id: i64) -> Result<claim_step::Model> {
    claim_step::Entity::find()
        .filter(claim_step::Column::ClaimId.eq(claim_id))
        .order_by_desc(claim_step::Column::Id)
        .one(db)
        .await?
        .ok_or_else(|| Error::internal("a claim has no step"))
}

/// Where a claim stands, for the rules.
#[must_use]
pub const fn to_rule(state: kinds::ClaimState) -> ClaimState {
    use kinds::ClaimState as K;
    match state {
        K::Draft => ClaimState::Draft,
        K::Ready => ClaimState::Ready,
        K::Submitted => ClaimState::Submitted,
        K::Queried => ClaimState::Queried,
        K::Approved => ClaimState::Approved,
        K::PartApproved => ClaimState::PartApproved,
        K::Denied => ClaimState::Denied,
        K::Paid => ClaimState::Paid,
        K::Appealed => ClaimState::Appealed,
        K::Closed => ClaimState::Closed,
    }
}

/// Where the rules say a claim stands, as kept.
#[must_use]
pub const fn from_rule(state: ClaimState) -> kinds::ClaimState {
    use kinds::ClaimState as K;
    match state {
        ClaimState::Draft => K::Draft,
        ClaimState::Ready => K::Ready,
        ClaimState::Submitted => K::Submitted,
        ClaimState::Queried => K::Queried,
        ClaimState::Approved => K::Approved,
        ClaimState::PartApproved => K::PartApproved,
        ClaimState::Denied => K::Denied,
        ClaimState::Paid => K::Paid,
        ClaimState::Appealed => K::Appealed,
        ClaimState::Closed => K::Closed,
    }
}
