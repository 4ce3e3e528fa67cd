//! Calls and what was billed for them.

use nameplate_entities::kinds::ReceivableKind;
use nameplate_entities::{coverage_decision, invoice, invoice_division, receivable, service_call};
use sea_orm::sea_query::{Expr, ExprTrait, Query, SelectStatement};
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder,
    QuerySelect, Select, Statement,
};

use crate::base::Result;
use crate::coverage;

/// Invoices that credit notes give back in whole.
fn taken_back() -> SelectStatement {
    Query::select()
        .column(receivable::Column::InvoiceId)
        .from(receivable::Entity)
        .and_where(receivable::Column::TakenBack.eq(true))
        .to_owned()
}

fn standing() -> Select<invoice::Entity> {
    invoice::Entity::find()
        .filter(invoice::Column::Kind.eq(ReceivableKind::Invoice))
        .filter(invoice::Column::Id.not_in_subquery(taken_back()))
}

/// Whether an invoice of a call stands, not taken back in whole.
pub async fn is_billed(db: &impl ConnectionTrait, call_id: i64) -> Result<bool> {
    Ok(standing_invoice(db, call_id).await?.is_some())
}

/// An invoice of this call that credit notes do not take back in whole.
pub async fn standing_invoice(
    db: &impl ConnectionTrait,
    call_id: i64,
) -> Result<Option<invoice::Model>> {
    Ok(standing()
        .filter(invoice::Column::CallId.eq(call_id))
        .order_by_asc(invoice::Column::Id)
        .one(db)
        .await?)
}

/// Whether a call is billed, and by which split of the decision that stands on it.
///
/// # Errors
/// Internal only.
pub async fn billed_by(
    db: &impl ConnectionTrait,
    decision: &coverage_decision::Model,
) -> Result<coverage::Billed> {
    let of_call = standing().filter(invoice::Column::CallId.eq(decision.call_id));
    let divisions: Vec<Option<i64>> = of_call
        .select_only()
        .column(invoice::Column::DivisionId)
        .into_tuple()
        .all(db)
        .await?;
    if divisions.is_empty() {
        return Ok(coverage::Billed::NotYet);
    }
    let division = invoice_division::Entity::find()
        .filter(invoice_division::Column::Id.is_in(divisions.into_iter().flatten()))
        .filter(invoice_division::Column::CoverageDecisionId.eq(decision.id))
        .one(db)
        .await?;
    let split = division.and_then(|row| row.coverage_split);
    Ok(split.map_or(coverage::Billed::ToCustomers, coverage::Billed::By))
}

/// Whether an invoice of a call stands, not taken back in whole: a condition on rows of `service_call`.
pub fn has_standing_invoice() -> Expr {
    let call = (service_call::Entity, service_call::Column::Id);
    let mut standing = Query::select();
    standing
        .expr(Expr::val(1))
        .from(invoice::Entity)
        .inner_join(
            receivable::Entity,
            Expr::col((receivable::Entity, receivable::Column::InvoiceId))
                .equals((invoice::Entity, invoice::Column::Id)),
        )
        .and_where(Expr::col((invoice::Entity, invoice::Column::CallId)).equals(call))
        .and_where(receivable::Column::TakenBack.eq(false));
    Expr::exists(standing)
}

/// Whether any share of a divided sale stands.
pub async fn stands(db: &impl ConnectionTrait, division_id: i64) -> Result<bool> {
    let standing = standing()
        .filter(invoice::Column::DivisionId.eq(division_id))
        .one(db)
        .await?;
    Ok(standing.is_some())
}

/// The invoice that bills the share of this one to somebody else.
pub async fn rebilled_by(
    db: &impl ConnectionTrait,
    invoice_id: i64,
) -> Result<Option<invoice::Model>> {
    Ok(invoice::Entity::find()
        .filter(invoice::Column::RebillsInvoiceId.eq(invoice_id))
        .one(db)
        .await?)
}

/// The invoices issued in one act with this one, itself included, in the order of issue.
///
/// # Errors
/// `NotFound`.
pub async fn issued_with(
    db: &impl ConnectionTrait,
    invoice_id: i64,
) -> Result<Vec<invoice::Model>> {
    let first = super::get_invoice(db, "", invoice_id).await?;
    let Some(division_id) = first.division_id else {
        return Ok(vec![first]);
    };
    Ok(invoice::Entity::find()
        .filter(invoice::Column::DivisionId.eq(division_id))
        .filter(invoice::Column::Kind.eq(ReceivableKind::Invoice))
        .filter(invoice::Column::RebillsInvoiceId.is_null())
        .order_by_asc(invoice::Column::Id)
        .all(db)
        .await?)
}

/// The last invoice billed under an exemption certificate that no credit note takes back.
pub async fn last_under(
    db: &impl ConnectionTrait,
    certificate_id: i64,
) -> Result<Option<invoice::Model>> {
    Ok(standing()
        .filter(invoice::Column::TaxExemptionId.eq(certificate_id))
        .order_by_desc(invoice::Column::IssuedOn)
        .order_by_desc(invoice::Column::Id)
        .one(db)
        .await?)
}

#[derive(FromQueryResult)]
struct Found {
    component: String,
    failure: String,
    place: Option<String>,
    cause: Option<String>,
}

/// What was found on a call, as its bill says it; one sentence for each finding, oldest first.
pub async fn found_on(db: &impl ConnectionTrait, call_id: i64) -> Result<String> {
    let sql = "SELECT c.name AS component, m.name AS failure, f.position AS place, f.cause FROM finding f \
         JOIN component c ON c.id = f.component_id JOIN failure_mode m ON m.id = f.failure_mode_id \
         WHERE f.call_id = $1 ORDER BY f.id";
    let backend = db.get_database_backend();
    let statement = Statement::from_sql_and_values(backend, sql, [call_id.into()]);
    let rows = Found::find_by_statement(statement).all(db).await?;
    let sentence = |row: Found| {
        let place = row
            .place
            .map_or_else(String::new, |place| format!(" ({place})"));
        let cause = row
            .cause
            .map_or_else(String::new, |cause| format!("; cause: {cause}"));
        format!(
            "{}{place}: {}{cause}.",
            row.component,
            row.failure.to_lowercase()
        )
    };
    Ok(rows.into_iter().map(sentence).collect::<Vec<_>>().join(" "))
}
