//! Rows of claims, and what claims read of other tables.

mod steps;

pub use steps::{TakenBy, closed_in, from_rule, get_step, last_step, steps_taken, to_rule};

use std::collections::HashMap;

use nameplate_entities::kinds::ReceivableKind;
use nameplate_entities::{
    allocation, appliance_cover, claim, claim_paper, claim_sending, failure_code, failure_mode,
    finding, invoice, invoice_division, invoice_line, kept_part, part, receivable, service_address,
};
use nameplate_rules::claims::ClaimBalance;
use nameplate_rules::money::Cents;
use sea_orm::sea_query::{Alias, CaseStatement, Expr, ExprTrait, Query};
use sea_orm::{
    ColumnTrait, Condition, ConnectionTrait, EntityTrait, FromQueryResult, PaginatorTrait,
    QueryFilter, QueryOrder, QuerySelect,
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

/// A payer's standing claims that have one of these texts as their number or as the payer's own, oldest first, in one
/// statement.
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
        .filter(claim::Column::StandingInvoiceId.is_not_null())
        .filter(named)
        .order_by_asc(claim::Column::Id)
        .limit(FOUND_MAX)
        .all(db)
        .await?)
}

#[derive(FromQueryResult)]
struct Laid {
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

/// What these claims have come to, by claim, in one statement. What payments settled of their invoices is paid, and so is
/// credit that the payer had from another invoice; what anything else settled is written down.
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
    let of_laid = |column| Expr::col((allocation::Entity, column));
    let amount = of_laid(allocation::Column::AmountCents);
    let of_payment = of_laid(allocation::Column::PaymentId).is_not_null();
    let credited = Expr::col((invoice::Entity, invoice::Column::CreditsInvoiceId));
    let of_another = credited.ne(of_laid(allocation::Column::InvoiceId));
    let paid: Expr = CaseStatement::new()
        .case(of_payment.or(of_another), amount.clone())
        .finally(0)
        .into();
    let query = Query::select()
        .column((allocation::Entity, allocation::Column::InvoiceId))
        .expr_as(paid.sum().cast_as(Alias::new("BIGINT")), "paid_cents")
        .expr_as(amount.sum().cast_as(Alias::new("BIGINT")), "settled_cents")
        .from(allocation::Entity)
        .left_join(
            invoice::Entity,
            Expr::col((invoice::Entity, invoice::Column::Id))
                .equals((allocation::Entity, allocation::Column::CreditNoteId)),
        )
        .and_where(
            of_laid(allocation::Column::InvoiceId).is_in(rows.iter().map(|row| row.invoice_id)),
        )
        .group_by_col((allocation::Entity, allocation::Column::InvoiceId))
        .to_owned();
    let sums: Vec<Laid> = joined::all(db, &query).await?;
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

/// The standing claims of a call that went nowhere yet and have no last day to file.
///
/// # Errors
/// Internal only.
pub async fn undated_of_call(db: &impl ConnectionTrait, call_id: i64) -> Result<Vec<claim::Model>> {
    Ok(claim::Entity::find()
        .filter(claim::Column::StandingCallId.eq(call_id))
        .filter(claim::Column::SubmittedOn.is_null())
        .filter(claim::Column::FileBy.is_null())
        .order_by_asc(claim::Column::Id)
        .all(db)
        .await?)
}

/// The standing claim of an invoice, if there is one.
///
/// # Errors
/// Internal only.
pub async fn of_invoice(
    db: &impl ConnectionTrait,
    invoice_id: i64,
) -> Result<Option<claim::Model>> {
    Ok(claim::Entity::find()
        .filter(claim::Column::StandingInvoiceId.eq(invoice_id))
        .one(db)
        .await?)
}

/// The standing claim of a call under a programme, if there is one.
///
/// # Errors
/// Internal only.
pub async fn of_call_and_programme(
    db: &impl ConnectionTrait,
    (call_id, programme_id): (i64, i64),
) -> Result<Option<claim::Model>> {
    Ok(claim::Entity::find()
        .filter(claim::Column::StandingCallId.eq(call_id))
        .filter(claim::Column::ProgrammeId.eq(programme_id))
        .one(db)
        .await?)
}

/// The invoice, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_invoice(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<invoice::Model> {
    invoice::Entity::find_by_id(id)
        .filter(invoice::Column::Kind.eq(ReceivableKind::Invoice))
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "invoice"))
}

/// The lines of an invoice, in order.
///
/// # Errors
/// Internal only.
pub async fn lines_of(
    db: &impl ConnectionTrait,
    invoice_id: i64,
) -> Result<Vec<invoice_line::Model>> {
    Ok(invoice_line::Entity::find()
        .filter(invoice_line::Column::InvoiceId.eq(invoice_id))
        .order_by_asc(invoice_line::Column::Position)
        .all(db)
        .await?)
}

/// The decision by which the invoice's sale was divided; none for an invoice that was not divided by one.
///
/// # Errors
/// Internal only.
pub async fn divided_by(db: &impl ConnectionTrait, row: &invoice::Model) -> Result<Option<i64>> {
    let Some(id) = row.division_id else {
        return Ok(None);
    };
    let division = invoice_division::Entity::find_by_id(id).one(db).await?;
    Ok(division.and_then(|division| division.coverage_decision_id))
}

/// Whether credit notes give back all of an invoice.
///
/// # Errors
/// Internal only.
pub async fn is_taken_back(db: &impl ConnectionTrait, invoice_id: i64) -> Result<bool> {
    let row = receivable::Entity::find_by_id(invoice_id).one(db).await?;
    Ok(row.is_some_and(|row| row.taken_back))
}

/// A registration, if it is there.
///
/// # Errors
/// Internal only.
pub async fn cover(db: &impl ConnectionTrait, id: i64) -> Result<Option<appliance_cover::Model>> {
    Ok(appliance_cover::Entity::find_by_id(id).one(db).await?)
}

/// An address where machines stand, if it is there.
///
/// # Errors
/// Internal only.
pub async fn address(db: &impl ConnectionTrait, id: i64) -> Result<Option<service_address::Model>> {
    Ok(service_address::Entity::find_by_id(id).one(db).await?)
}

/// The papers of a claim, oldest first.
///
/// # Errors
/// Internal only.
pub async fn papers_of(
    db: &impl ConnectionTrait,
    claim_id: i64,
) -> Result<Vec<claim_paper::Model>> {
    Ok(claim_paper::Entity::find()
        .filter(claim_paper::Column::ClaimId.eq(claim_id))
        .order_by_asc(claim_paper::Column::Id)
        .all(db)
        .await?)
}

/// The kept parts with these ids.
///
/// # Errors
/// Internal only.
pub async fn kept_parts(db: &impl ConnectionTrait, ids: Vec<i64>) -> Result<Vec<kept_part::Model>> {
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    Ok(kept_part::Entity::find()
        .filter(kept_part::Column::Id.is_in(ids))
        .all(db)
        .await?)
}

/// The failure modes with these ids.
///
/// # Errors
/// Internal only.
pub async fn failure_modes(
    db: &impl ConnectionTrait,
    ids: impl IntoIterator<Item = i64>,
) -> Result<Vec<failure_mode::Model>> {
    Ok(failure_mode::Entity::find()
        .filter(failure_mode::Column::Id.is_in(ids))
        .all(db)
        .await?)
}

/// The parts of the catalogue with these ids.
///
/// # Errors
/// Internal only.
pub async fn parts(db: &impl ConnectionTrait, ids: Vec<i64>) -> Result<Vec<part::Model>> {
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    Ok(part::Entity::find()
        .filter(part::Column::Id.is_in(ids))
        .all(db)
        .await?)
}

/// What a finding is called in an industry scheme: by its own component before every component.
///
/// # Errors
/// Internal only.
pub async fn codes_for(
    db: &impl ConnectionTrait,
    finding: &finding::Model,
) -> Result<Option<failure_code::Model>> {
    let rows = failure_code::Entity::find()
        .filter(failure_code::Column::FailureModeId.eq(finding.failure_mode_id))
        .filter(
            Condition::any()
                .add(failure_code::Column::ComponentId.eq(finding.component_id))
                .add(failure_code::Column::ComponentId.is_null()),
        )
        .all(db)
        .await?;
    let own = rows.iter().position(|row| row.component_id.is_some());
    Ok(rows.into_iter().nth(own.unwrap_or(0)))
}

/// What a component and failure are called in an industry scheme, exactly as it was set.
///
/// # Errors
/// Internal only.
pub async fn codes_of(
    db: &impl ConnectionTrait,
    (component_id, failure_mode_id): (Option<i64>, i64),
) -> Result<Option<failure_code::Model>> {
    let component = match component_id {
        Some(id) => failure_code::Column::ComponentId.eq(id),
        None => failure_code::Column::ComponentId.is_null(),
    };
    Ok(failure_code::Entity::find()
        .filter(failure_code::Column::FailureModeId.eq(failure_mode_id))
        .filter(component)
        .one(db)
        .await?)
}

/// The archive that was sent last with a claim, if any was.
///
/// # Errors
/// Internal only.
pub async fn last_sending(
    db: &impl ConnectionTrait,
    claim_id: i64,
) -> Result<Option<claim_sending::Model>> {
    Ok(claim_sending::Entity::find()
        .filter(claim_sending::Column::ClaimId.eq(claim_id))
        .order_by_desc(claim_sending::Column::Id)
        .one(db)
        .await?)
}

/// The archive that was sent first with a claim, if any was: its id.
///
/// # Errors
/// Internal only.
pub async fn first_sending(db: &impl ConnectionTrait, claim_id: i64) -> Result<Option<i64>> {
    let row = claim_sending::Entity::find()
        .filter(claim_sending::Column::ClaimId.eq(claim_id))
        .order_by_asc(claim_sending::Column::Id)
        .one(db)
        .await?;
    Ok(row.map(|row| row.id))
}

/// What was sent.
///
/// # Errors
/// `NotFound`.
pub async fn get_sending(db: &impl ConnectionTrait, id: i64) -> Result<claim_sending::Model> {
    claim_sending::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found("", "sending of a claim"))
}

/// How often a claim was sent.
///
/// # Errors
/// Internal only.
pub async fn sendings(db: &impl ConnectionTrait, claim_id: i64) -> Result<u64> {
    Ok(claim_sending::Entity::find()
        .filter(claim_sending::Column::ClaimId.eq(claim_id))
        .count(db)
        .await?)
}
