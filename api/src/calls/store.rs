//! Rows of calls, visits, readings, findings, remedies and the parts used in them.

use chrono::NaiveDate;
use nameplate_entities::kinds::{CallState, VisitState};
use nameplate_entities::{
    finding, part, part_used, reading, remedy, service_call, staff, visit, visit_call,
};
use sea_orm::sea_query::{Query, SelectStatement};
use sea_orm::{
    ColumnTrait, Condition, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
    Select,
};

use crate::base::own_work::{Sight, call_ids};
use crate::base::{Act, Error, Result};

/// The calls this caller may see.
pub fn visible_to(act: &Act) -> Select<service_call::Entity> {
    service_call::Entity::find().filter(Sight::of(act).calls(service_call::Column::Id))
}

/// The call, which the input names at `path`, whoever asks.
///
/// # Errors
/// `NotFound`.
pub async fn get_call(
    db: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<service_call::Model> {
    service_call::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "service call"))
}

/// The call, which the input names at `path`, if the caller may see it.
///
/// # Errors
/// `NotFound`, for a technician also for a call of somebody else.
pub async fn get_own_call(
    db: &impl ConnectionTrait,
    act: &Act,
    path: &str,
    id: i64,
) -> Result<service_call::Model> {
    visible_to(act)
        .filter(service_call::Column::Id.eq(id))
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "service call"))
}

/// The calls with these ids, in one statement.
pub async fn calls_by_ids(
    db: &impl ConnectionTrait,
    ids: impl IntoIterator<Item = i64>,
) -> Result<Vec<service_call::Model>> {
    Ok(service_call::Entity::find()
        .filter(service_call::Column::Id.is_in(ids))
        .order_by_asc(service_call::Column::Id)
        .all(db)
        .await?)
}

/// The newest calls about a machine, newest first, whoever's it was.
pub async fn calls_of_appliance(
    db: &impl ConnectionTrait,
    appliance_id: i64,
    calls_max: u64,
) -> Result<Vec<service_call::Model>> {
    Ok(service_call::Entity::find()
        .filter(service_call::Column::ApplianceId.eq(appliance_id))
        .order_by_desc(service_call::Column::Id)
        .limit(calls_max)
        .all(db)
        .await?)
}

/// Findings on all calls about a machine.
pub fn history_of(appliance_id: i64) -> Select<finding::Entity> {
    let calls = Query::select()
        .column(service_call::Column::Id)
        .from(service_call::Entity)
        .and_where(service_call::Column::ApplianceId.eq(appliance_id))
        .to_owned();
    finding::Entity::find().filter(finding::Column::CallId.in_subquery(calls))
}

/// The visits this caller may see: a technician those of own calls, whoever makes them.
pub fn visits_visible_to(act: &Act) -> Select<visit::Entity> {
    let select = visit::Entity::find();
    match Sight::of(act) {
        Sight::All => select,
        Sight::Own(technician_id) => select.filter(
            Condition::any()
                .add(visit::Column::TechnicianId.eq(technician_id))
                .add(visit::Column::Id.in_subquery(visit_ids(call_ids(technician_id)))),
        ),
        Sight::Nothing => select.filter(Condition::any().add(visit::Column::Id.is_null())),
    }
}

fn visit_ids(calls: SelectStatement) -> SelectStatement {
    Query::select()
        .column((visit_call::Entity, visit_call::Column::VisitId))
        .from(visit_call::Entity)
        .and_where(visit_call::Column::CallId.in_subquery(calls))
        .to_owned()
}

/// The visit, which the input names at `path`; for a technician one of own visits.
///
/// # Errors
/// `NotFound`.
pub async fn get_own_visit(
    db: &impl ConnectionTrait,
    act: &Act,
    path: &str,
    id: i64,
) -> Result<visit::Model> {
    let mut select = visit::Entity::find_by_id(id);
    if let Sight::Own(technician_id) = Sight::of(act) {
        select = select.filter(visit::Column::TechnicianId.eq(technician_id));
    }
    select
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "visit"))
}

/// Trips of some days, in the order in which they are planned.
pub struct Days {
    /// One technician's only.
    pub technician_id: Option<i64>,
    pub from_on: NaiveDate,
    pub to_on: NaiveDate,
}

/// Most visits in one answer; the days asked for are few.
const VISITS_MAX: u64 = 1_000;

/// Visits of those days that are the caller's, or anybody's for the desk.
pub async fn visits_of(
    db: &impl ConnectionTrait,
    act: &Act,
    days: &Days,
) -> Result<Vec<visit::Model>> {
    let mut select = visit::Entity::find()
        .filter(visit::Column::PlannedOn.between(days.from_on, days.to_on))
        .order_by_asc(visit::Column::PlannedOn)
        .order_by_asc(visit::Column::Id)
        .limit(VISITS_MAX);
    let own = match Sight::of(act) {
        Sight::All => None,
        Sight::Own(technician_id) => Some(technician_id),
        Sight::Nothing => return Ok(Vec::new()),
    };
    for technician_id in own.into_iter().chain(days.technician_id) {
        select = select.filter(visit::Column::TechnicianId.eq(technician_id));
    }
    Ok(select.all(db).await?)
}

/// Planned visits that serve this call and no other open one.
pub async fn planned_for_alone(
    db: &impl ConnectionTrait,
    call_id: i64,
) -> Result<Vec<visit::Model>> {
    let serving_it = Query::select()
        .column(visit_call::Column::VisitId)
        .from(visit_call::Entity)
        .and_where(visit_call::Column::CallId.eq(call_id))
        .to_owned();
    let other_open = Query::select()
        .column(service_call::Column::Id)
        .from(service_call::Entity)
        .and_where(service_call::Column::State.eq(CallState::Open))
        .and_where(service_call::Column::Id.ne(call_id))
        .to_owned();
    Ok(visit::Entity::find()
        .filter(visit::Column::State.eq(VisitState::Planned))
        .filter(visit::Column::Id.in_subquery(serving_it))
        .filter(visit::Column::Id.not_in_subquery(visit_ids(other_open)))
        .all(db)
        .await?)
}

/// Whether one of these calls has a visit, planned, made or missed.
pub async fn is_any_visited(db: &impl ConnectionTrait, call_ids: &[i64]) -> Result<bool> {
    let served = visit_call::Entity::find()
        .filter(visit_call::Column::CallId.is_in(call_ids.iter().copied()));
    Ok(served.one(db).await?.is_some())
}

pub async fn staff_by_id(db: &impl ConnectionTrait, id: i64) -> Result<Option<staff::Model>> {
    Ok(staff::Entity::find_by_id(id).one(db).await?)
}

/// The findings this caller may see.
pub fn findings_visible_to(act: &Act) -> Select<finding::Entity> {
    finding::Entity::find().filter(Sight::of(act).calls(finding::Column::CallId))
}

/// The readings this caller may see.
pub fn readings_visible_to(act: &Act) -> Select<reading::Entity> {
    reading::Entity::find().filter(Sight::of(act).calls(reading::Column::CallId))
}

/// The remedies this caller may see.
pub fn remedies_visible_to(act: &Act) -> Select<remedy::Entity> {
    let findings = Query::select()
        .column(finding::Column::Id)
        .from(finding::Entity)
        .cond_where(Sight::of(act).calls(finding::Column::CallId))
        .to_owned();
    remedy::Entity::find().filter(remedy::Column::FindingId.in_subquery(findings))
}

/// The finding, which the input names at `path`, if the caller may see it.
///
/// # Errors
/// `NotFound`.
pub async fn get_own_finding(
    db: &impl ConnectionTrait,
    act: &Act,
    path: &str,
    id: i64,
) -> Result<finding::Model> {
    findings_visible_to(act)
        .filter(finding::Column::Id.eq(id))
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "finding"))
}

pub async fn parts_by_ids(
    db: &impl ConnectionTrait,
    ids: impl IntoIterator<Item = i64>,
) -> Result<Vec<part::Model>> {
    Ok(part::Entity::find()
        .filter(part::Column::Id.is_in(ids))
        .all(db)
        .await?)
}

/// Findings on these calls, oldest first.
pub async fn findings_of_calls(
    db: &impl ConnectionTrait,
    call_ids: impl IntoIterator<Item = i64>,
) -> Result<Vec<finding::Model>> {
    Ok(finding::Entity::find()
        .filter(finding::Column::CallId.is_in(call_ids))
        .order_by_asc(finding::Column::Id)
        .all(db)
        .await?)
}

/// Remedies of these findings, oldest first.
pub async fn remedies_of_findings(
    db: &impl ConnectionTrait,
    finding_ids: impl IntoIterator<Item = i64>,
) -> Result<Vec<remedy::Model>> {
    Ok(remedy::Entity::find()
        .filter(remedy::Column::FindingId.is_in(finding_ids))
        .order_by_asc(remedy::Column::Id)
        .all(db)
        .await?)
}

/// Parts used in these remedies, in the order of the form.
pub async fn parts_of_remedies(
    db: &impl ConnectionTrait,
    remedy_ids: impl IntoIterator<Item = i64>,
) -> Result<Vec<part_used::Model>> {
    Ok(part_used::Entity::find()
        .filter(part_used::Column::RemedyId.is_in(remedy_ids))
        .order_by_asc(part_used::Column::Id)
        .all(db)
        .await?)
}

/// A finding and all that was done about it.
#[derive(Clone, Debug)]
pub struct Work {
    pub finding: finding::Model,
    pub remedies: Vec<(remedy::Model, Vec<part_used::Model>)>,
}

/// Everything found and done on these calls, in three statements, oldest finding first.
pub async fn work_of_calls(
    db: &impl ConnectionTrait,
    call_ids: impl IntoIterator<Item = i64>,
) -> Result<Vec<Work>> {
    let findings = findings_of_calls(db, call_ids).await?;
    let remedies = remedies_of_findings(db, findings.iter().map(|row| row.id)).await?;
    let parts = parts_of_remedies(db, remedies.iter().map(|row| row.id)).await?;
    let done = remedies
        .into_iter()
        .map(|remedy| {
            let used = parts.iter().filter(|part| part.remedy_id == remedy.id);
            let used = used.cloned().collect::<Vec<_>>();
            (remedy, used)
        })
        .collect::<Vec<_>>();
    Ok(findings
        .into_iter()
        .map(|finding| Work {
            remedies: done
                .iter()
                .filter(|(remedy, _)| remedy.finding_id == finding.id)
                .cloned()
                .collect(),
            finding,
        })
        .collect())
}
