//! Parts on order, and the calls that wait for them.

use nameplate_entities::kinds::{CallState, PartOrderState, VisitState};
use nameplate_entities::{finding, part_order, part_used, remedy, service_call, visit, visit_call};
use sea_orm::sea_query::{Expr, ExprTrait, Query, SelectStatement};
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, Select};

use crate::base::{Error, Result};

/// The order, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_order(
    db: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<part_order::Model> {
    part_order::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "order of parts"))
}

/// Orders, narrowed.
pub fn orders(
    state: Option<PartOrderState>,
    supplier_id: Option<i64>,
) -> Select<part_order::Entity> {
    let mut select = part_order::Entity::find();
    if let Some(state) = state {
        select = select.filter(part_order::Column::State.eq(state));
    }
    if let Some(id) = supplier_id {
        select = select.filter(part_order::Column::SupplierId.eq(id));
    }
    select
}

/// Whether the call of the row at hand has an order that stands so.
fn has_order(state: PartOrderState) -> SelectStatement {
    Query::select()
        .expr(Expr::val(1))
        .from(part_order::Entity)
        .and_where(
            Expr::col((part_order::Entity, part_order::Column::CallId))
                .equals((service_call::Entity, service_call::Column::Id)),
        )
        .and_where(Expr::col((part_order::Entity, part_order::Column::State)).eq(state))
        .to_owned()
}

/// An order of which all came, and nothing of it was fitted on the call since.
fn has_parts_to_fit() -> SelectStatement {
    let fitted = Query::select()
        .expr(Expr::val(1))
        .from(finding::Entity)
        .inner_join(
            remedy::Entity,
            Expr::col((remedy::Entity, remedy::Column::FindingId))
                .equals((finding::Entity, finding::Column::Id)),
        )
        .inner_join(
            part_used::Entity,
            Expr::col((part_used::Entity, part_used::Column::RemedyId))
                .equals((remedy::Entity, remedy::Column::Id)),
        )
        .and_where(
            Expr::col((finding::Entity, finding::Column::CallId))
                .equals((service_call::Entity, service_call::Column::Id)),
        )
        .and_where(
            Expr::col((part_used::Entity, part_used::Column::PartId))
                .equals((part_order::Entity, part_order::Column::PartId)),
        )
        // What was fitted on an earlier day than they came were others.
        .and_where(
            Expr::col((remedy::Entity, remedy::Column::DoneAt)).gte(Expr::col((
                part_order::Entity,
                part_order::Column::ClosedOn,
            ))),
        )
        .to_owned();
    has_order(PartOrderState::Received)
        .and_where(Expr::col((part_order::Entity, part_order::Column::ClosedBecause)).is_null())
        .and_where(Expr::exists(fitted).not())
        .to_owned()
}

/// Open calls for which all of an order came that is not fitted yet, none is still on order, and no visit is planned. What came
/// of an order that was then closed does not count: the rest never came.
pub fn calls_with_all_parts_in() -> Select<service_call::Entity> {
    let planned = Query::select()
        .expr(Expr::val(1))
        .from(visit_call::Entity)
        .inner_join(
            visit::Entity,
            Expr::col((visit::Entity, visit::Column::Id))
                .equals((visit_call::Entity, visit_call::Column::VisitId)),
        )
        .and_where(
            Expr::col((visit_call::Entity, visit_call::Column::CallId))
                .equals((service_call::Entity, service_call::Column::Id)),
        )
        .and_where(Expr::col((visit::Entity, visit::Column::State)).eq(VisitState::Planned))
        .to_owned();
    service_call::Entity::find()
        .filter(service_call::Column::State.eq(CallState::Open))
        .filter(Expr::exists(has_parts_to_fit()))
        .filter(Expr::exists(has_order(PartOrderState::Ordered)).not())
        .filter(Expr::exists(planned).not())
}

/// Whether one of these calls waits for parts: on order, or there and not fitted yet.
pub async fn is_any_waiting(db: &impl ConnectionTrait, call_ids: &[i64]) -> Result<bool> {
    let on_order = Expr::exists(has_order(PartOrderState::Ordered));
    let waiting = service_call::Entity::find()
        .filter(service_call::Column::Id.is_in(call_ids.iter().copied()))
        .filter(on_order.or(Expr::exists(has_parts_to_fit())));
    Ok(waiting.one(db).await?.is_some())
}

/// Parts fitted on calls that are not completed: not yet taken from stock.
pub fn fitted_not_taken() -> Select<part_used::Entity> {
    let open = Query::select()
        .column((remedy::Entity, remedy::Column::Id))
        .from(remedy::Entity)
        .inner_join(
            finding::Entity,
            Expr::col((finding::Entity, finding::Column::Id))
                .equals((remedy::Entity, remedy::Column::FindingId)),
        )
        .inner_join(
            service_call::Entity,
            Expr::col((service_call::Entity, service_call::Column::Id))
                .equals((finding::Entity, finding::Column::CallId)),
        )
        .and_where(service_call::Column::State.eq(CallState::Open))
        .to_owned();
    part_used::Entity::find().filter(part_used::Column::RemedyId.in_subquery(open))
}

/// What was fitted on a call, with who fitted it, oldest first.
pub async fn fitted_on(
    db: &impl ConnectionTrait,
    call_id: i64,
) -> Result<Vec<(part_used::Model, i64)>> {
    let findings = Query::select()
        .column(finding::Column::Id)
        .from(finding::Entity)
        .and_where(finding::Column::CallId.eq(call_id))
        .to_owned();
    let remedies = remedy::Entity::find()
        .filter(remedy::Column::FindingId.in_subquery(findings))
        .all(db)
        .await?;
    let ids = remedies.iter().map(|row| row.id);
    let used = part_used::Entity::find()
        .filter(part_used::Column::RemedyId.is_in(ids))
        .order_by_asc(part_used::Column::Id)
        .all(db)
        .await?;
    Ok(used
        .into_iter()
        .filter_map(|row| {
            let done = remedies.iter().find(|done| done.id == row.remedy_id)?;
            Some((row, done.done_by))
        })
        .collect())
}
