//! Rows of the shop's warranty, and what a call repaired.

use chrono::NaiveDate;
use nameplate_entities::kinds::Method;
use nameplate_entities::{failure_mode, finding, remedy, service_call, shop, shop_warranty};
use nameplate_rules::callback::NO_FAULT_FOUND;
use nameplate_rules::coverage::{Workmanship, WorkmanshipTerms};
use sea_orm::sea_query::{Expr, ExprTrait, Query, SelectStatement};
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, Condition, ConnectionTrait, EntityTrait,
    FromQueryResult, QueryFilter, QueryOrder,
};

use crate::base::audit::{self, Subject};
use crate::base::{Act, Error, Result, Right, joined};
use crate::shop as shop_settings;

/// A component repaired of one failure on one call; two of its places repaired alike are one repair.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, FromQueryResult)]
pub struct Repair {
    pub component_id: i64,
    pub failure_mode_id: i64,
}

/// The condition on a finding that something was done about a real fault.
///
/// Correlated on purpose: asked of the few findings of a call or machine, it looks up their remedies by index.
pub fn is_repair() -> Condition {
    Condition::all()
        .add(Expr::exists(remedies(Method::None)))
        .add(finding::Column::FailureModeId.not_in_subquery(no_fault_found()))
}

/// The condition on a finding that it says no fault was found.
pub fn is_no_fault() -> Condition {
    Condition::all().add(finding::Column::FailureModeId.in_subquery(no_fault_found()))
}

/// Remedies of the finding at hand by any method but this.
fn remedies(but: Method) -> SelectStatement {
    Query::select()
        .expr(Expr::val(1))
        .from(remedy::Entity)
        .and_where(
            Expr::col((remedy::Entity, remedy::Column::FindingId))
                .equals((finding::Entity, finding::Column::Id)),
        )
        .and_where(remedy::Column::Method.ne(but))
        .to_owned()
}

fn no_fault_found() -> SelectStatement {
    Query::select()
        .column(failure_mode::Column::Id)
        .from(failure_mode::Entity)
        .and_where(failure_mode::Column::Key.eq(NO_FAULT_FOUND))
        .to_owned()
}

/// What the call repaired, each component and failure once, in a fixed order.
///
/// # Errors
/// Internal only.
pub async fn repairs_of(db: &impl ConnectionTrait, call_id: i64) -> Result<Vec<Repair>> {
    let mut query = Query::select();
    query
        .distinct()
        .column(finding::Column::ComponentId)
        .column(finding::Column::FailureModeId)
        .from(finding::Entity)
        .and_where(finding::Column::CallId.eq(call_id))
        .cond_where(is_repair())
        .order_by(finding::Column::ComponentId, sea_orm::Order::Asc)
        .order_by(finding::Column::FailureModeId, sea_orm::Order::Asc);
    joined::all(db, &query).await
}

/// Writes the shop's warranty on each component the call repaired. Settings of zero promise nothing and write nothing.
///
/// # Errors
/// Internal, above all for settings no calendar reaches.
pub async fn write(
    tx: &impl ConnectionTrait,
    act: &Act,
    call: &service_call::Model,
    completed_on: NaiveDate,
) -> Result<Vec<shop_warranty::Model>> {
    let settings = shop_settings::settings(tx).await?.row;
    let promise = terms(&settings)
        .written_on(completed_on)
        .map_err(|error| Error::caused("the shop's warranty", error))?;
    if promise.labour_through.is_none() && promise.parts_through.is_none() {
        return Ok(Vec::new());
    }
    let mut components = repairs_of(tx, call.id)
        .await?
        .into_iter()
        .map(|repair| repair.component_id)
        .collect::<Vec<_>>();
    components.dedup();
    let mut written = Vec::with_capacity(components.len());
    for component_id in components {
        let row = shop_warranty::ActiveModel {
            call_id: Set(call.id),
            appliance_id: Set(call.appliance_id),
            component_id: Set(component_id),
            written_on: Set(completed_on),
            labour_through: Set(promise.labour_through),
            parts_through: Set(promise.parts_through),
            ..Default::default()
        }
        .insert(tx)
        .await?;
        let subject = Subject {
            kind: "shop_warranty",
            id: row.id,
        };
        audit::created(tx, act, Right::CompleteCall.mutation(), subject, &row).await?;
        written.push(row);
    }
    Ok(written)
}

fn terms(shop: &shop::Model) -> WorkmanshipTerms {
    // The columns are checked to be zero or more when the settings change.
    let whole = |count: i32| u32::try_from(count).unwrap_or(0);
    WorkmanshipTerms {
        labour_days: whole(shop.labour_warranty_days),
        parts_months: whole(shop.parts_warranty_months),
    }
}

/// The promise a row holds, as the rules read it.
pub fn promise_of(row: &shop_warranty::Model) -> Workmanship {
    Workmanship {
        completed_on: row.written_on,
        labour_through: row.labour_through,
        parts_through: row.parts_through,
    }
}

/// The warranties a call gave.
///
/// # Errors
/// Internal only.
pub async fn of_call(db: &impl ConnectionTrait, call_id: i64) -> Result<Vec<shop_warranty::Model>> {
    Ok(shop_warranty::Entity::find()
        .filter(shop_warranty::Column::CallId.eq(call_id))
        .order_by_asc(shop_warranty::Column::Id)
        .all(db)
        .await?)
}

/// The shop's warranties on a machine that hold on a day, for labour or for parts, newest first.
///
/// # Errors
/// Internal only.
pub async fn in_force(
    db: &impl ConnectionTrait,
    appliance_id: i64,
    on: NaiveDate,
) -> Result<Vec<shop_warranty::Model>> {
    let holds = Condition::any()
        .add(shop_warranty::Column::LabourThrough.gte(on))
        .add(shop_warranty::Column::PartsThrough.gte(on));
    Ok(shop_warranty::Entity::find()
        .filter(shop_warranty::Column::ApplianceId.eq(appliance_id))
        .filter(shop_warranty::Column::WrittenOn.lte(on))
        .filter(holds)
        .order_by_desc(shop_warranty::Column::WrittenOn)
        .order_by_desc(shop_warranty::Column::Id)
        .all(db)
        .await?)
}
