//! What is read to see what several machines have in common.

use chrono::{Days, NaiveDate};
use nameplate_entities::kinds::Pattern;
use nameplate_entities::kinds::{CallState, Dimension, Hazard, Method};
use nameplate_entities::{
    failure_mode, finding, flag, remedy, repair_group, repair_outcome, service_call,
};
use sea_orm::sea_query::{Alias, Expr, ExprTrait, Order, Query, SelectStatement};
use sea_orm::{
    ActiveEnum, ColumnTrait, Condition, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter,
};

use crate::base::{Result, joined};

use super::super::outcomes::Watch;
use super::super::store;
use super::raising::{EVIDENCE_MAX, Evidence};

/// The repair of which a call is the return, if it counts against one.
pub async fn returned_by(
    db: &impl ConnectionTrait,
    call_id: i64,
) -> Result<Option<repair_outcome::Model>> {
    Ok(repair_outcome::Entity::find()
        .filter(repair_outcome::Column::ReturnCallId.eq(call_id))
        .one(db)
        .await?)
}

/// The groups of a repair that may show a pattern.
pub async fn groups_of(
    db: &impl ConnectionTrait,
    call_id: i64,
) -> Result<Vec<repair_group::Model>> {
    let dimensions = [
        Dimension::Model,
        Dimension::Part,
        Dimension::Lot,
        Dimension::Method,
    ];
    Ok(repair_group::Entity::find()
        .filter(repair_group::Column::CallId.eq(call_id))
        .filter(repair_group::Column::Dimension.is_in(dimensions))
        // What nothing was done about has no method to change.
        .filter(repair_group::Column::GroupKey.ne(Method::None.to_value()))
        .all(db)
        .await?)
}

/// A repair that came back, or a failure that was found.
#[derive(Clone, Debug, FromQueryResult)]
pub struct OnMachine {
    pub call_id: i64,
    pub finding_id: i64,
    /// The day that call was completed; while it is not, that on which it was taken.
    pub on: NaiveDate,
    /// The last by which something was done about it.
    pub method: Option<Method>,
}

impl OnMachine {
    pub fn evidence(&self) -> Evidence {
        Evidence {
            call_id: self.call_id,
            finding_id: self.finding_id,
            on: self.on,
            method: self.method,
        }
    }
}

/// Repairs of a group that came back within the window.
fn returned(group: &repair_group::Model, watch: &Watch) -> SelectStatement {
    let mut query = Query::select();
    query
        .from(repair_group::Entity)
        .inner_join(
            repair_outcome::Entity,
            outcome(repair_outcome::Column::CallId)
                .equals((repair_group::Entity, repair_group::Column::CallId)),
        )
        .and_where(repair_group::Column::Dimension.eq(group.dimension))
        .and_where(repair_group::Column::GroupKey.eq(group.group_key.as_str()))
        .and_where(
            Expr::col((repair_group::Entity, repair_group::Column::CompletedOn))
                .between(watch.from, watch.through),
        )
        .and_where(outcome(repair_outcome::Column::ReturnAgeDays).lte(watch.window_days));
    query
}

fn outcome(column: repair_outcome::Column) -> Expr {
    Expr::col((repair_outcome::Entity, column))
}

/// On how many machines repairs of a group came back.
pub async fn machines_of_group(
    db: &impl ConnectionTrait,
    group: &repair_group::Model,
    watch: &Watch,
) -> Result<i64> {
    let mut query = returned(group, watch);
    query.expr_as(
        outcome(repair_outcome::Column::ApplianceId).count_distinct(),
        Alias::new("machines"),
    );
    let row = db.query_one(&query).await?;
    Ok(row.map_or(Ok(0), |row| row.try_get("", "machines"))?)
}

/// The latest repairs of a group that came back, one row a repair, with the first finding on what was repaired and the
/// method of that; where they have the method in common, that one.
pub async fn returned_of_group(
    db: &impl ConnectionTrait,
    group: &repair_group::Model,
    watch: &Watch,
) -> Result<Vec<OnMachine>> {
    let repaired = Query::select()
        .expr(of_finding(finding::Column::Id).min())
        .from(finding::Entity)
        .cond_where(on_what_was_repaired())
        .to_owned();
    let mut query = returned(group, watch);
    query
        .expr_as(
            outcome(repair_outcome::Column::CallId),
            Alias::new("call_id"),
        )
        .expr_as(
            Expr::SubQuery(None, Box::new(repaired.into())),
            Alias::new("finding_id"),
        )
        .expr_as(
            outcome(repair_outcome::Column::CompletedOn),
            Alias::new("on"),
        )
        .expr_as(
            Expr::SubQuery(None, Box::new(last_method_of_outcome().into())),
            Alias::new("method"),
        )
        .order_by(
            (repair_group::Entity, repair_group::Column::CompletedOn),
            Order::Desc,
        )
        .order_by(
            (repair_group::Entity, repair_group::Column::CallId),
            Order::Desc,
        )
        .limit(u64::try_from(EVIDENCE_MAX).unwrap_or(u64::MAX));
    let mut rows = joined::all::<OnMachine>(db, &query).await?;
    if group.dimension == Dimension::Method {
        let shared = Method::try_from_value(&group.group_key).ok();
        for row in &mut rows {
            row.method = shared;
        }
    }
    Ok(rows)
}

/// A finding on what was repaired first on the repair at hand.
fn on_what_was_repaired() -> Condition {
    let of_repair = |column| (repair_outcome::Entity, column);
    Condition::all()
        .add(of_finding(finding::Column::CallId).equals(of_repair(repair_outcome::Column::CallId)))
        .add(
            of_finding(finding::Column::ComponentId)
                .equals(of_repair(repair_outcome::Column::ComponentId)),
        )
}

fn of_finding(column: finding::Column) -> Expr {
    Expr::col((finding::Entity, column))
}

/// The last method by which something was done about what was repaired first on the repair at hand.
fn last_method_of_outcome() -> SelectStatement {
    Query::select()
        .column((remedy::Entity, remedy::Column::Method))
        .from(remedy::Entity)
        .inner_join(
            finding::Entity,
            of_finding(finding::Column::Id).equals((remedy::Entity, remedy::Column::FindingId)),
        )
        .cond_where(on_what_was_repaired())
        .and_where(remedy::Column::Method.ne(Method::None))
        .order_by((remedy::Entity, remedy::Column::Id), Order::Desc)
        .limit(1)
        .to_owned()
}

/// Other machines at an address on which a heat or arc failure was found, by calls from so many days before the call at hand
/// through a day, each machine with its latest.
pub async fn burnt_at_address(
    db: &impl ConnectionTrait,
    call: &service_call::Model,
    (days, through): (u32, NaiveDate),
) -> Result<Vec<OnMachine>> {
    let from_on = (call.opened_on)
        .checked_sub_days(Days::new(u64::from(days)))
        .unwrap_or(NaiveDate::MIN);
    let of_call = |column: service_call::Column| Expr::col((service_call::Entity, column));
    let burnt = Query::select()
        .column(failure_mode::Column::Id)
        .from(failure_mode::Entity)
        .and_where(failure_mode::Column::Hazard.is_in([Hazard::Heat, Hazard::Arc]))
        .to_owned();
    let latest = Query::select()
        .expr(Expr::col((finding::Entity, finding::Column::Id)).max())
        .from(service_call::Entity)
        .inner_join(
            finding::Entity,
            Expr::col((finding::Entity, finding::Column::CallId))
                .equals((service_call::Entity, service_call::Column::Id)),
        )
        .and_where(of_call(service_call::Column::ServiceAddressId).eq(call.service_address_id))
        .and_where(of_call(service_call::Column::ApplianceId).ne(call.appliance_id))
        .and_where(of_call(service_call::Column::State).ne(CallState::Cancelled))
        .and_where(of_call(service_call::Column::OpenedOn).between(from_on, through))
        .and_where(finding::Column::FailureModeId.in_subquery(burnt))
        .add_group_by([of_call(service_call::Column::ApplianceId)])
        .limit(u64::try_from(EVIDENCE_MAX).unwrap_or(u64::MAX))
        .to_owned();
    let mut query = Query::select();
    query
        .expr_as(of_call(service_call::Column::Id), Alias::new("call_id"))
        .expr_as(
            Expr::col((finding::Entity, finding::Column::Id)),
            Alias::new("finding_id"),
        )
        .expr_as(
            of_call(service_call::Column::CompletedOn)
                .if_null(of_call(service_call::Column::OpenedOn)),
            Alias::new("on"),
        )
        .expr_as(
            Expr::SubQuery(None, Box::new(store::last_method().into())),
            Alias::new("method"),
        )
        .from(finding::Entity)
        .inner_join(
            service_call::Entity,
            of_call(service_call::Column::Id).equals((finding::Entity, finding::Column::CallId)),
        )
        .and_where(Expr::col((finding::Entity, finding::Column::Id)).in_subquery(latest))
        .order_by_expr(of_call(service_call::Column::OpenedOn), Order::Desc);
    joined::all(db, &query).await
}

/// The flag about what these machines have in common.
pub async fn flag_of_pattern(
    db: &impl ConnectionTrait,
    pattern: Pattern,
    key: &str,
) -> Result<Option<flag::Model>> {
    Ok(flag::Entity::find()
        .filter(flag::Column::Pattern.eq(pattern))
        .filter(flag::Column::PatternKey.eq(key))
        .one(db)
        .await?)
}
