//! Records that higher acts write in their own transaction: a new call, a finding, a call's completion.

use chrono::NaiveDate;
use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::{CallKind, CallState};
use nameplate_entities::{finding, part_used, service_call};
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};
use serde::Serialize;

use crate::base::audit::{self, Subject};
use crate::base::check::{LINE_MAX, TEXT_MAX};
use crate::base::numbers::{self, Series};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, search};
use crate::{appliances, customers, shop};

use super::store;

/// A complaint about a machine.
#[derive(Clone, Debug, Serialize)]
pub struct NewCall {
    pub appliance_id: i64,
    /// Who asks for the work; the machine's customer when left out.
    pub customer_id: Option<i64>,
    /// Where the work is done; the machine's address when left out.
    pub service_address_id: Option<i64>,
    pub kind: CallKind,
    pub complaint: String,
}

/// Writes a call with the next number.
///
/// # Errors
/// `NotFound` at `applianceId`, `customerId`, `serviceAddressId`; `WrongState` for somebody else's address; `Missing` and `TooLong` at `complaint`.
pub async fn create(
    tx: &impl ConnectionTrait,
    act: &Act,
    new: NewCall,
) -> Result<service_call::Model> {
    let mut checks = Checks::new();
    let complaint = checks.text("complaint", &new.complaint, TEXT_MAX);
    checks.finish()?;
    let appliance = appliances::get_appliance(tx, "applianceId", new.appliance_id).await?;
    let customer_id = match new.customer_id {
        Some(id) => customers::get_customer(tx, "customerId", id).await?.id,
        None => appliance.customer_id,
    };
    let service_address_id = match new.service_address_id {
        Some(id) => {
            let address = customers::get_address(tx, "serviceAddressId", id).await?;
            if ![customer_id, appliance.customer_id].contains(&address.customer_id) {
                return Err(Error::refused(
                    ProblemCode::WrongState,
                    "serviceAddressId",
                    "This address belongs neither to whoever calls nor to the machine's customer.",
                ));
            }
            address.id
        }
        None => appliance.service_address_id,
    };
    let opened_on = shop::settings(tx).await?.day_of(act.at);
    let row = service_call::ActiveModel {
        number: Set(numbers::take(tx, Series::Call).await?),
        appliance_id: Set(appliance.id),
        customer_id: Set(customer_id),
        service_address_id: Set(service_address_id),
        kind: Set(new.kind),
        complaint: Set(complaint),
        state: Set(CallState::Open),
        opened_at: Set(act.at),
        opened_on: Set(opened_on),
        opened_by: Set(act.staff_id()),
        version: Set(1),
        ..Default::default()
    }
    .insert(tx)
    .await?;
    audit::created(tx, act, Right::OpenCall.mutation(), subject(row.id), &row).await?;
    let title = format!("{} {} {}", row.number, appliance.make, appliance.model);
    search::index(tx, subject(row.id), &title, &[&row.number, &row.complaint]).await?;
    Ok(row)
}

/// What is wrong.
#[derive(Clone, Debug, Serialize)]
pub struct NewFinding {
    pub call_id: i64,
    pub component_id: i64,
    pub failure_mode_id: i64,
    pub position: Option<String>,
    pub cause: Option<String>,
    pub note: Option<String>,
}

/// Writes a finding on an open call the caller may see.
///
/// # Errors
/// `NotFound`, also for a component of another type of machine; `WrongState` for a call that is not open.
pub async fn add_finding(
    tx: &impl ConnectionTrait,
    act: &Act,
    new: NewFinding,
) -> Result<finding::Model> {
    let (staff_id, _) = act.staff()?;
    let call = store::get_own_call(tx, act, "callId", new.call_id).await?;
    must_be_open(&call, "callId")?;
    let mut checks = Checks::new();
    let position = checks.text_if_any("position", new.position.as_deref(), LINE_MAX);
    let cause = checks.text_if_any("cause", new.cause.as_deref(), TEXT_MAX);
    let note = checks.text_if_any("note", new.note.as_deref(), TEXT_MAX);
    checks.finish()?;
    let appliance = appliances::get_appliance(tx, "callId", call.appliance_id).await?;
    let of = (&appliance, new.component_id);
    let component = appliances::get_component_of(tx, "componentId", of).await?;
    let mode = appliances::get_failure_mode(tx, "failureModeId", new.failure_mode_id).await?;
    let row = finding::ActiveModel {
        call_id: Set(call.id),
        component_id: Set(component.id),
        failure_mode_id: Set(mode.id),
        position: Set(position),
        cause: Set(cause),
        found_at: Set(act.at),
        found_by: Set(staff_id),
        note: Set(note),
        ..Default::default()
    }
    .insert(tx)
    .await?;
    let finding = Subject {
        kind: "finding",
        id: row.id,
    };
    audit::created(tx, act, Right::RecordFinding.mutation(), finding, &row).await?;
    Ok(row)
}

/// Marks an open call as completed on `completed_on`, the shop's day of the act.
///
/// # Errors
/// `WrongState` at `callId` for a call that is not open.
pub async fn mark_completed(
    tx: &impl ConnectionTrait,
    act: &Act,
    before: &service_call::Model,
    completed_on: NaiveDate,
) -> Result<service_call::Model> {
    must_be_open(before, "callId")?;
    let mut row = before.clone().into_active_model();
    row.state = Set(CallState::Completed);
    row.completed_at = Set(Some(act.at));
    row.completed_on = Set(Some(completed_on));
    row.version = Set(before.version + 1);
    let after = row.update(tx).await?;
    audit::record(
        tx,
        act,
        Right::CompleteCall.mutation(),
        subject(after.id),
        (Some(before), Some(&after)),
    )
    .await?;
    Ok(after)
}

/// Writes how many of a part were fitted for good and what they cost, as the stock says it.
///
/// # Errors
/// Internal only.
pub async fn set_part_cost(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    before: &part_used::Model,
    (quantity, cost): (Decimal, Cents),
) -> Result<()> {
    if before.quantity.0 == quantity && before.cost_cents == cost.0 {
        return Ok(());
    }
    let mut row = before.clone().into_active_model();
    row.quantity = Set(Exact(quantity.normalize()));
    row.cost_cents = Set(cost.0);
    let after = row.update(tx).await?;
    let used = Subject {
        kind: "part_used",
        id: before.id,
    };
    audit::record(tx, act, verb, used, (Some(before), Some(&after))).await
}

/// Nothing is written on a call that is completed or cancelled.
///
/// # Errors
/// `WrongState` at `path`.
pub fn must_be_open(call: &service_call::Model, path: &str) -> Result<()> {
    let state = match call.state {
        CallState::Open => return Ok(()),
        CallState::Completed => "completed",
        CallState::Cancelled => "cancelled",
    };
    Err(Error::refused(
        ProblemCode::WrongState,
        path,
        format!(
            "Call {} is {state}. Open a new call for what is to be done now.",
            call.number
        ),
    ))
}

pub(super) fn subject(id: i64) -> Subject {
    Subject {
        kind: "service_call",
        id,
    }
}
