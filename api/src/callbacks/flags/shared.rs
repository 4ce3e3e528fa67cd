//! What is read to see what several machines have in common.

use chrono::{Days, NaiveDate};
use nameplate_entities::kinds::Pattern;
use nameplate_entities::kinds::{CallState, Dimension, Hazard};
use nameplate_entities::{failure_mode, finding, flag, repair_group, repair_outcome, service_call};
use sea_orm::sea_query::{Alias, Expr, ExprTrait, Order, Query};
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter};

use crate::base::{Result, joined};

use super::super::outcomes::Watch;
use super::raising::Evidence;

/// Most repairs that a flag about several machines rests on.
const EVIDENCE_MAX: u64 = 50;

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
        .all(db)
        .await?)
}

/// A repair that came back, with the machine it was on.
#[derive(Clone, Debug, FromQueryResult)]
pub struct OnMachine {
    pub appliance_id: i64,
    pub call_id: i64,
    pub finding_id: i64,
    pub on: NaiveDate,
}

impl OnMachine {
    pub fn evidence(&self) -> Evidence {
        Evidence {
            call_id: self.call_id,
            finding_id: self.finding_id,
            on: self.on,
            method: None,
        }
    }
}

/// The latest repairs of a group that came back within the window, one row a repair.
pub async fn returned_of_group(
    db: &impl ConnectionTrait,
    group: &repair_group::Model,
    watch: &Watch,
) -> Result<Vec<OnMachine>> {
    let outcome = |column: repair_outcome::Column| Expr::col((repair_outcome::Entity, column));
    let first_finding = Query::select()
        .expr(Expr::col((finding::Entity, finding::Column::Id)).min())
        .from(finding::Entity)
        .and_where(
            Expr::col((finding::Entity, finding::Column::CallId))
                .equals((repair_outcome::Entity, repair_outcome::Column::CallId)),
        )
        .to_owned();
    let mut query = Query::select();
    query
        .expr_as(
            outcome(repair_outcome::Column::ApplianceId),
            Alias::new("appliance_id"),
        )
        .expr_as(
            outcome(repair_outcome::Column::CallId),
            Alias::new("call_id"),
        )
        .expr_as(
            Expr::SubQuery(None, Box::new(first_finding.into())),
            Alias::new("finding_id"),
        )
        .expr_as(
            outcome(repair_outcome::Column::CompletedOn),
            Alias::new("on"),
        )
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
        .and_where(outcome(repair_outcome::Column::ReturnAgeDays).lte(watch.window_days))
        .order_by(
            (repair_group::Entity, repair_group::Column::CompletedOn),
            Order::Desc,
        )
        .limit(EVIDENCE_MAX);
    joined::all(db, &query).await
}

/// The latest heat and arc failures found on other machines at an address, one row a finding.
pub async fn burnt_at_address(
    db: &impl ConnectionTrait,
    call: &service_call::Model,
    days: u32,
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
    let mut query = Query::select();
    query
        .expr_as(
            of_call(service_call::Column::ApplianceId),
            Alias::new("appliance_id"),
        )
        .expr_as(of_call(service_call::Column::Id), Alias::new("call_id"))
        .expr_as(
            Expr::col((finding::Entity, finding::Column::Id)),
            Alias::new("finding_id"),
        )
        .expr_as(of_call(service_call::Column::OpenedOn), Alias::new("on"))
        .from(service_call::Entity)
        .inner_join(
            finding::Entity,
            Expr::col((finding::Entity, finding::Column::CallId))
                .equals((service_call::Entity, service_call::Column::Id)),
        )
        .and_where(of_call(service_call::Column::ServiceAddressId).eq(call.service_address_id))
        .and_where(of_call(service_call::Column::ApplianceId).ne(call.appliance_id))
        .and_where(of_call(service_call::Column::State).ne(CallState::Cancelled))
        .and_where(of_call(service_call::Column::OpenedOn).between(from_on, call.opened_on))
        .and_where(finding::Column::FailureModeId.in_subquery(burnt))
        .order_by_expr(of_call(service_call::Column::OpenedOn), Order::Desc)
        .limit(EVIDENCE_MAX);
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
