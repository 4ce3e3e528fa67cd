//! Rows of decisions, and what deciding reads of other tables.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::kinds::CallState;
use nameplate_entities::{
    appliance_cover, appliance_stay, component, coverage_decision, coverage_portion, estimate,
    estimate_line, estimate_option, estimate_revision, failure_mode, finding, programme_terms,
    service_call,
};
use nameplate_rules::callback::NO_FAULT_FOUND;
use nameplate_rules::coverage::{Case, EarlierRepair, Finding};
use sea_orm::sea_query::{Expr, ExprTrait, Order, Query, SelectStatement};
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder,
};

use super::holdings::Failure;
use super::kept::read;
use crate::base::{Error, Result, joined};
use crate::warranty;

/// Most earlier repairs of a machine that are weighed; one machine has fewer.
const REPAIRS_MAX: u64 = 200;

/// What failed, by name.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Found {
    pub component: String,
    pub failure_key: String,
}

/// A repair of a machine that a programme paid.
#[derive(Clone, Debug)]
pub struct Repaired {
    pub programme_id: i64,
    pub repair: EarlierRepair,
}

#[derive(FromQueryResult)]
struct RepairRow {
    programme_id: i64,
    component: String,
    failure_key: String,
    failed_on: NaiveDate,
    completed_on: NaiveDate,
    case_json: String,
}

/// The faults that a call found, in order; "no fault found" where that is all.
///
/// # Errors
/// Internal only.
pub async fn faults_on(db: &impl ConnectionTrait, call_id: i64) -> Result<Vec<Found>> {
    let mut query = found();
    query.and_where(of_finding(finding::Column::CallId).eq(call_id));
    let rows: Vec<Found> = joined::all(db, &query).await?;
    let (faults, mut others): (Vec<Found>, Vec<Found>) =
        (rows.into_iter()).partition(|row| row.failure_key != NO_FAULT_FOUND);
    if faults.is_empty() {
        others.truncate(1);
        return Ok(others);
    }
    Ok(faults)
}

/// One finding of a call, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_found(
    db: &impl ConnectionTrait,
    path: &str,
    (call_id, id): (i64, i64),
) -> Result<Found> {
    let mut query = found();
    query
        .and_where(of_finding(finding::Column::CallId).eq(call_id))
        .and_where(of_finding(finding::Column::Id).eq(id));
    let rows: Vec<Found> = joined::all(db, &query).await?;
    (rows.into_iter().next()).ok_or_else(|| Error::not_found(path, "finding of this call"))
}

fn found() -> SelectStatement {
    Query::select()
        .expr_as(
            Expr::col((component::Entity, component::Column::Name)),
            "component",
        )
        .expr_as(
            Expr::col((failure_mode::Entity, failure_mode::Column::Key)),
            "failure_key",
        )
        .from(finding::Entity)
        .inner_join(
            component::Entity,
            of_finding(finding::Column::ComponentId)
                .equals((component::Entity, component::Column::Id)),
        )
        .inner_join(
            failure_mode::Entity,
            of_finding(finding::Column::FailureModeId)
                .equals((failure_mode::Entity, failure_mode::Column::Id)),
        )
        .order_by((finding::Entity, finding::Column::Id), Order::Asc)
        .to_owned()
}

/// The repairs of a machine that were done on other calls, completed by the day it failed, and that a programme paid by the
/// decision that stands on the call, newest first. Of several components only the one that was decided on counts.
///
/// # Errors
/// Internal, for a decision that does not read.
pub async fn repairs_paid(
    db: &impl ConnectionTrait,
    appliance_id: i64,
    failure: Failure,
) -> Result<Vec<Repaired>> {
    let decision = |column| Expr::col((coverage_decision::Entity, column));
    let mut query = found();
    query
        .distinct()
        .expr_as(of_finding(finding::Column::Id), "finding_id")
        .expr_as(
            of_terms(programme_terms::Column::ProgrammeId),
            "programme_id",
        )
        .expr_as(decision(coverage_decision::Column::FailedOn), "failed_on")
        .expr_as(decision(coverage_decision::Column::CaseJson), "case_json")
        .expr_as(of_call(service_call::Column::CompletedOn), "completed_on")
        .inner_join(
            service_call::Entity,
            of_finding(finding::Column::CallId)
                .equals((service_call::Entity, service_call::Column::Id)),
        );
    paid_by_programmes(&mut query, appliance_id, failure.call_id);
    query
        .and_where(of_call(service_call::Column::CompletedOn).lte(failure.on))
        .cond_where(warranty::is_repair())
        .clear_order_by()
        .order_by((finding::Entity, finding::Column::Id), Order::Desc)
        .limit(REPAIRS_MAX);
    let rows: Vec<RepairRow> = joined::all(db, &query).await?;
    let mut repairs = Vec::with_capacity(rows.len());
    for row in rows {
        let case: Case = read(&row.case_json)?;
        let is_other = |decided: &Finding| {
            (&decided.component, &decided.failure) != (&row.component, &row.failure_key)
        };
        if case.finding.as_ref().is_some_and(is_other) {
            continue;
        }
        repairs.push(Repaired {
            programme_id: row.programme_id,
            repair: EarlierRepair {
                component: row.component,
                failure: row.failure_key,
                failed_on: row.failed_on,
                completed_on: row.completed_on,
            },
        });
    }
    Ok(repairs)
}

/// Keeps to completed calls of a machine, but one, that programmes paid by the decisions that stand.
fn paid_by_programmes(query: &mut SelectStatement, appliance_id: i64, but_call_id: Option<i64>) {
    let portion = |column| Expr::col((coverage_portion::Entity, column));
    query
        .inner_join(
            coverage_decision::Entity,
            of_call(service_call::Column::Id).equals((
                coverage_decision::Entity,
                coverage_decision::Column::StandingCallId,
            )),
        )
        .inner_join(
            coverage_portion::Entity,
            portion(coverage_portion::Column::DecisionId)
                .equals((coverage_decision::Entity, coverage_decision::Column::Id)),
        )
        .inner_join(
            programme_terms::Entity,
            portion(coverage_portion::Column::TermsId)
                .equals((programme_terms::Entity, programme_terms::Column::Id)),
        )
        .and_where(portion(coverage_portion::Column::PayerId).is_not_null())
        .and_where(of_call(service_call::Column::ApplianceId).eq(appliance_id))
        .and_where(of_call(service_call::Column::State).eq(CallState::Completed));
    if let Some(call_id) = but_call_id {
        query.and_where(of_call(service_call::Column::Id).ne(call_id));
    }
}

fn of_terms(column: programme_terms::Column) -> Expr {
    Expr::col((programme_terms::Entity, column))
}

fn of_finding(column: finding::Column) -> Expr {
    Expr::col((finding::Entity, column))
}

fn of_call(column: service_call::Column) -> Expr {
    Expr::col((service_call::Entity, column))
}

/// What components are called, in one statement; none for no component.
///
/// # Errors
/// Internal only.
pub async fn component_names(
    db: &impl ConnectionTrait,
    ids: &[i64],
) -> Result<HashMap<i64, String>> {
    if ids.is_empty() {
        return Ok(HashMap::new());
    }
    let rows = component::Entity::find()
        .filter(component::Column::Id.is_in(ids.iter().copied()))
        .all(db)
        .await?;
    Ok(rows.into_iter().map(|row| (row.id, row.name)).collect())
}

/// Whose a machine was, in order.
///
/// # Errors
/// Internal only.
pub async fn stays_of(
    db: &impl ConnectionTrait,
    appliance_id: i64,
) -> Result<Vec<appliance_stay::Model>> {
    Ok(appliance_stay::Entity::find()
        .filter(appliance_stay::Column::ApplianceId.eq(appliance_id))
        .order_by_asc(appliance_stay::Column::FromOn)
        .order_by_asc(appliance_stay::Column::Id)
        .all(db)
        .await?)
}

/// The calls that registrations of parts name.
///
/// # Errors
/// Internal only.
pub async fn repair_calls(
    db: &impl ConnectionTrait,
    covers: &[appliance_cover::Model],
) -> Result<Vec<service_call::Model>> {
    let ids: Vec<i64> = covers.iter().filter_map(|row| row.repair_call_id).collect();
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    Ok(service_call::Entity::find()
        .filter(service_call::Column::Id.is_in(ids))
        .all(db)
        .await?)
}

#[derive(FromQueryResult)]
struct OutOfUse {
    programme_id: i64,
    opened_on: NaiveDate,
    completed_on: NaiveDate,
}

/// By programme, the days a machine was out of use for repairs that the programme paid, by the decisions that stand.
///
/// # Errors
/// Internal only.
pub async fn out_of_use(
    db: &impl ConnectionTrait,
    (appliance_id, but_call_id): (i64, Option<i64>),
) -> Result<Vec<(i64, (NaiveDate, NaiveDate))>> {
    let mut query = Query::select();
    query
        .distinct()
        .expr_as(
            of_terms(programme_terms::Column::ProgrammeId),
            "programme_id",
        )
        .expr_as(of_call(service_call::Column::OpenedOn), "opened_on")
        .expr_as(of_call(service_call::Column::CompletedOn), "completed_on")
        .from(service_call::Entity);
    paid_by_programmes(&mut query, appliance_id, but_call_id);
    let rows: Vec<OutOfUse> = joined::all(db, &query).await?;
    Ok((rows.into_iter())
        .map(|row| (row.programme_id, (row.opened_on, row.completed_on)))
        .collect())
}

/// An option of an estimate for a call, which the input names at `path`, with its lines in order.
///
/// # Errors
/// `NotFound`.
pub async fn get_option(
    db: &impl ConnectionTrait,
    path: &str,
    (call_id, id): (i64, i64),
) -> Result<(estimate_option::Model, Vec<estimate_line::Model>)> {
    let estimates = Query::select()
        .column(estimate::Column::Id)
        .from(estimate::Entity)
        .and_where(estimate::Column::CallId.eq(call_id))
        .to_owned();
    let revisions = Query::select()
        .column(estimate_revision::Column::Id)
        .from(estimate_revision::Entity)
        .and_where(estimate_revision::Column::EstimateId.in_subquery(estimates))
        .to_owned();
    let option = estimate_option::Entity::find_by_id(id)
        .filter(estimate_option::Column::RevisionId.in_subquery(revisions))
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "option of an estimate for this call"))?;
    let lines = estimate_line::Entity::find()
        .filter(estimate_line::Column::OptionId.eq(option.id))
        .order_by_asc(estimate_line::Column::Position)
        .all(db)
        .await?;
    Ok((option, lines))
}

/// What the lines that a decision is about say, in their order.
///
/// # Errors
/// Internal only.
pub async fn line_words(
    db: &impl ConnectionTrait,
    decision: &coverage_decision::Model,
) -> Result<Vec<String>> {
    let Some(option_id) = decision.estimate_option_id else {
        return Ok(Vec::new());
    };
    let lines = estimate_line::Entity::find()
        .filter(estimate_line::Column::OptionId.eq(option_id))
        .order_by_asc(estimate_line::Column::Position)
        .all(db)
        .await?;
    Ok(lines.into_iter().map(|line| line.description).collect())
}

/// The decision, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_decision(
    db: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<coverage_decision::Model> {
    coverage_decision::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "coverage decision"))
}

/// The decision on a call that no later one stands in the place of.
///
/// # Errors
/// Internal only.
pub async fn standing_of_call(
    db: &impl ConnectionTrait,
    call_id: i64,
) -> Result<Option<coverage_decision::Model>> {
    Ok(coverage_decision::Entity::find()
        .filter(coverage_decision::Column::StandingCallId.eq(call_id))
        .one(db)
        .await?)
}

/// What others than the customer pay, by line.
///
/// # Errors
/// Internal only.
pub async fn portions_of(
    db: &impl ConnectionTrait,
    decision_id: i64,
) -> Result<Vec<coverage_portion::Model>> {
    Ok(coverage_portion::Entity::find()
        .filter(coverage_portion::Column::DecisionId.eq(decision_id))
        .order_by_asc(coverage_portion::Column::Position)
        .order_by_asc(coverage_portion::Column::Id)
        .all(db)
        .await?)
}
