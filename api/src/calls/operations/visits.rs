//! Planning trips and saying whether they were made.

use std::collections::BTreeSet;

use chrono::{Days, NaiveDate};
use nameplate_entities::kinds::{Role, VisitReason, VisitState};
use nameplate_entities::{service_call, staff, visit, visit_call};
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, IntoActiveModel,
    QueryFilter,
};

use crate::base::audit::{self, Subject};
use crate::base::check::{LINE_MAX, TEXT_MAX};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};
use crate::shop;

use super::super::records::must_be_open;
use super::super::store;

/// Most calls one trip serves.
const CALLS_MAX: usize = 20;
/// How far ahead a trip is planned; a later day is a mistyped year.
const AHEAD_DAYS_MAX: u64 = 366;

/// A trip to plan.
#[derive(Clone, Debug)]
pub struct ScheduleVisit {
    /// Open calls at one address.
    pub call_ids: Vec<i64>,
    pub technician_id: i64,
    pub planned_on: NaiveDate,
    /// Arrival window as told to the customer.
    pub window: Option<String>,
    /// Why one of the calls needs another visit.
    pub reason: Option<VisitReason>,
    pub reason_note: Option<String>,
}

/// Plans a trip for one or more calls at one address. `proposed` is the reason of a further visit of which nobody said one.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a call that is not open or stands elsewhere, for somebody who does not make
/// visits, or for a reason of a first visit; `Missing` for the note of another reason; `ImpossibleDate`.
pub async fn plan_visit(
    tx: &impl ConnectionTrait,
    act: &Act,
    new: &ScheduleVisit,
    proposed: Option<VisitReason>,
) -> Result<visit::Model> {
    act.staff_with(Right::ScheduleVisit)?;
    let mut checks = Checks::new();
    let window = checks.text_if_any("window", new.window.as_deref(), LINE_MAX);
    let reason_note = checks.text_if_any("reasonNote", new.reason_note.as_deref(), TEXT_MAX);
    let calls = calls_to_serve(tx, &mut checks, &new.call_ids).await?;
    let is_first = !store::is_any_visited(tx, &new.call_ids).await?;
    check_reason(&mut checks, new.reason, (reason_note.is_some(), is_first));
    let technician = store::staff_by_id(tx, new.technician_id).await?;
    check_technician(&mut checks, technician.as_ref());
    let today = shop::settings(tx).await?.day_of(act.at);
    check_day(&mut checks, &calls, (new.planned_on, today));
    let place = calls.first().map(|call| call.service_address_id);
    checks.finish()?;
    let service_address_id = place.ok_or_else(|| Error::internal("a visit without a call"))?;
    let row = visit::ActiveModel {
        service_address_id: Set(service_address_id),
        technician_id: Set(new.technician_id),
        planned_on: Set(new.planned_on),
        window: Set(window),
        state: Set(VisitState::Planned),
        version: Set(1),
        reason: Set(new.reason.or(proposed.filter(|_| !is_first))),
        reason_note: Set(reason_note),
        ..Default::default()
    }
    .insert(tx)
    .await?;
    let served = calls.iter().map(|call| visit_call::ActiveModel {
        visit_id: Set(row.id),
        call_id: Set(call.id),
        ..Default::default()
    });
    visit_call::Entity::insert_many(served).exec(tx).await?;
    let verb = Right::ScheduleVisit.mutation();
    audit::created(tx, act, verb, subject(row.id), &(&row, &new.call_ids)).await?;
    Ok(row)
}

/// Why a call needs another visit is asked once it had one.
fn check_reason(
    checks: &mut Checks,
    reason: Option<VisitReason>,
    (has_note, is_first): (bool, bool),
) {
    if is_first && (reason.is_some() || has_note) {
        let message = "This is the first visit of these calls; a reason is for a further one.";
        checks.refuse(ProblemCode::WrongState, "reason", message);
    } else if reason == Some(VisitReason::Other) && !has_note {
        let message = "Say what the other reason is.";
        checks.refuse(ProblemCode::Missing, "reasonNote", message);
    } else if reason.is_none() && has_note {
        let message = "Say which reason the note is about.";
        checks.refuse(ProblemCode::Missing, "reason", message);
    }
}

/// The calls a trip is for, in the order of the input; every wrong one is refused at its place.
async fn calls_to_serve(
    tx: &impl ConnectionTrait,
    checks: &mut Checks,
    ids: &[i64],
) -> Result<Vec<service_call::Model>> {
    if ids.is_empty() || ids.len() > CALLS_MAX {
        checks.refuse(
            ProblemCode::OutOfRange,
            "callIds",
            format!("A visit serves 1 to {CALLS_MAX} calls."),
        );
        return Ok(Vec::new());
    }
    let found = store::calls_by_ids(tx, ids.iter().copied()).await?;
    let mut calls: Vec<service_call::Model> = Vec::with_capacity(ids.len());
    let mut seen = BTreeSet::new();
    for (place, id) in ids.iter().enumerate() {
        let path = format!("callIds.{place}");
        let Some(call) = found.iter().find(|call| call.id == *id) else {
            checks.refuse(
                ProblemCode::NotFound,
                &path,
                "There is no such service call. Look it up again and use its id.",
            );
            continue;
        };
        if let Err(Error::Refused(problems)) = must_be_open(call, &path) {
            for problem in problems {
                checks.refuse(problem.code, &problem.path, problem.message);
            }
        }
        if !seen.insert(*id) {
            checks.refuse(ProblemCode::Taken, &path, "This call is named twice.");
        }
        let elsewhere = calls
            .first()
            .is_some_and(|first| first.service_address_id != call.service_address_id);
        if elsewhere {
            checks.refuse(
                ProblemCode::WrongState,
                &path,
                "This call is at another address. One visit is one trip to one address.",
            );
        }
        calls.push(call.clone());
    }
    Ok(calls)
}

fn check_technician(checks: &mut Checks, technician: Option<&staff::Model>) {
    let path = "technicianId";
    match technician {
        None => checks.refuse(
            ProblemCode::NotFound,
            path,
            "There is no such member of staff. Look it up again and use its id.",
        ),
        Some(staff) if staff.left_at.is_some() => checks.refuse(
            ProblemCode::WrongState,
            path,
            "This person does not work here any more.",
        ),
        Some(staff) if staff.role == Role::Office => checks.refuse(
            ProblemCode::WrongState,
            path,
            "The office makes no visits; name a technician or the owner.",
        ),
        Some(_) => {}
    }
}

fn check_day(
    checks: &mut Checks,
    calls: &[service_call::Model],
    (planned_on, today): (NaiveDate, NaiveDate),
) {
    let opened_on = calls.iter().map(|call| call.opened_on).max();
    if let Some(opened_on) = opened_on.filter(|day| planned_on < *day) {
        checks.refuse(
            ProblemCode::ImpossibleDate,
            "plannedOn",
            format!("{planned_on} lies before the call was opened on {opened_on}."),
        );
    }
    let last = today.checked_add_days(Days::new(AHEAD_DAYS_MAX));
    if last.is_some_and(|last| planned_on > last) {
        checks.refuse(
            ProblemCode::ImpossibleDate,
            "plannedOn",
            format!("{planned_on} is more than a year ahead."),
        );
    }
}

/// Whether a trip was made.
#[derive(Clone, Copy, Debug)]
pub struct FinishVisit {
    pub visit_id: i64,
    /// Done or missed.
    pub outcome: VisitState,
}

/// Says that a trip was made or missed.
///
/// # Errors
/// `NotFound`, for a technician also for a visit of somebody else; `WrongState` when it was said before.
pub async fn finish_visit(
    tx: &impl ConnectionTrait,
    act: &Act,
    finished: FinishVisit,
) -> Result<visit::Model> {
    let before = store::get_own_visit(tx, act, "visitId", finished.visit_id).await?;
    if before.state != VisitState::Planned {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "visitId",
            "This visit was finished already. Plan another one.",
        ));
    }
    if finished.outcome == VisitState::Planned {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "outcome",
            "Say whether the visit was done or missed.",
        ));
    }
    finish(tx, act, Right::FinishVisit, (before, finished.outcome)).await
}

/// The calls that a visit was planned for.
///
/// # Errors
/// Internal only.
pub async fn served_by(
    tx: &impl ConnectionTrait,
    visit_id: i64,
) -> Result<Vec<service_call::Model>> {
    let served = visit_call::Entity::find()
        .filter(visit_call::Column::VisitId.eq(visit_id))
        .all(tx)
        .await?;
    store::calls_by_ids(tx, served.iter().map(|row| row.call_id)).await
}

/// Writes the outcome of a planned visit, with its audit row.
pub(super) async fn finish(
    tx: &impl ConnectionTrait,
    act: &Act,
    right: Right,
    (before, outcome): (visit::Model, VisitState),
) -> Result<visit::Model> {
    let mut row = before.clone().into_active_model();
    row.state = Set(outcome);
    row.done_at = Set((outcome == VisitState::Done).then_some(act.at));
    row.version = Set(before.version + 1);
    let after = row.update(tx).await?;
    let changed = (Some(&before), Some(&after));
    audit::record(tx, act, right.mutation(), subject(after.id), changed).await?;
    Ok(after)
}

fn subject(id: i64) -> Subject {
    Subject { kind: "visit", id }
}
