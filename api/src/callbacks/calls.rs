//! Taking a call and recording a finding: acts on a call that look at what was repaired before.

use nameplate_entities::kinds::{CallKind, CallbackState};
use nameplate_entities::{callback, finding, flag, service_call};
use nameplate_rules::callback::{Completed, CompletedKind, classify, propose};
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait, IntoActiveModel};
use serde::Serialize;

use crate::base::audit::{self, Subject};
use crate::base::{Act, Error, Result, Right, idempotency};
use crate::calls::{self, NewCall, NewFinding};
use crate::shop;

use super::{deciding, flags, outcomes, store};

/// A complaint about a machine.
#[derive(Clone, Debug, Serialize)]
pub struct OpenCall {
    #[serde(skip)]
    pub idempotency_key: String,
    pub call: NewCall,
}

/// A call just taken, and what the desk should know of its machine.
pub struct Opened {
    pub call: service_call::Model,
    /// The earlier call of which this one may be the return.
    pub callback: Option<callback::Model>,
    /// Flags of the machine that are not closed.
    pub open_flags: Vec<flag::Model>,
}

/// Takes a call. A repair call soon after a completed one on the same machine is proposed as its callback.
///
/// # Errors
/// `Forbidden`; `IdempotencyMismatch`; those of `calls::create`.
pub async fn open_call(act: &Act, command: OpenCall) -> Result<Opened> {
    act.staff_with(Right::OpenCall)?;
    let verb = Right::OpenCall.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &command.idempotency_key, &command).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return opened(&tx, calls::get_call(&tx, "", id).await?).await;
    }
    let call = calls::create(&tx, act, command.call).await?;
    propose_callback(&tx, act, &call).await?;
    outcomes::refresh(&tx, call.appliance_id).await?;
    once.keep(&tx, act, &call.id).await?;
    let opened = opened(&tx, call).await?;
    tx.commit().await?;
    Ok(opened)
}

async fn opened(tx: &impl ConnectionTrait, call: service_call::Model) -> Result<Opened> {
    Ok(Opened {
        callback: store::callback_of(tx, call.id).await?,
        open_flags: store::open_flags(tx, call.appliance_id).await?,
        call,
    })
}

async fn propose_callback(
    tx: &impl ConnectionTrait,
    act: &Act,
    call: &service_call::Model,
) -> Result<()> {
    if call.kind != CallKind::Repair {
        return Ok(());
    }
    let settings = shop::settings(tx).await?.row;
    // The setting is checked to be zero or more when it changes.
    let window_days = u32::try_from(settings.callback_window_days).unwrap_or(0);
    let earlier =
        store::completed_repairs(tx, call.appliance_id, call.opened_on, window_days).await?;
    let completed = earlier
        .iter()
        .filter_map(|call| {
            Some(Completed {
                on: call.completed_on?,
                kind: CompletedKind::Repair,
            })
        })
        .collect::<Vec<_>>();
    let new_call = nameplate_rules::callback::NewCall {
        opened_on: call.opened_on,
        kind: store::call_kind(call.kind),
    };
    let Some(proposal) = propose(new_call, &completed, window_days) else {
        return Ok(());
    };
    let Some(earlier) = earlier.get(proposal.index) else {
        return Err(Error::internal("a proposal names no earlier call"));
    };
    let row = callback::ActiveModel {
        call_id: Set(call.id),
        earlier_call_id: Set(earlier.id),
        age_days: Set(i32::try_from(proposal.age_days).unwrap_or(i32::MAX)),
        state: Set(CallbackState::Proposed),
        ..Default::default()
    }
    .insert(tx)
    .await?;
    audit::created(tx, act, Right::OpenCall.mutation(), subject(row.id), &row).await
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "callback",
        id,
    }
}

/// What is wrong on a call.
#[derive(Clone, Debug, Serialize)]
pub struct RecordFinding {
    #[serde(skip)]
    pub idempotency_key: String,
    pub finding: NewFinding,
}

/// A finding just recorded, and what it says of earlier repairs.
pub struct Recorded {
    pub finding: finding::Model,
    /// The same failure is back on this machine.
    pub flag: Option<flag::Model>,
    /// What several machines have in common, where this finding shows it.
    pub patterns: Vec<flag::Model>,
    /// The callback this call was proposed to be, with the class that the findings suggest.
    pub callback: Option<callback::Model>,
}

/// Writes down what is wrong. If the same failed before on this machine, a flag is raised in the same transaction.
///
/// # Errors
/// `Forbidden`; `IdempotencyMismatch`; those of `calls::add_finding`.
pub async fn record_finding(act: &Act, command: RecordFinding) -> Result<Recorded> {
    act.staff_with(Right::RecordFinding)?;
    let verb = Right::RecordFinding.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &command.idempotency_key, &command).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return recorded_before(&tx, id).await;
    }
    let finding = calls::add_finding(&tx, act, command.finding).await?;
    let call = calls::get_call(&tx, "callId", finding.call_id).await?;
    let flag = flags::judge(&tx, act, &call, &finding).await?;
    let callback = suggest_class(&tx, act, call.id).await?;
    outcomes::refresh(&tx, call.appliance_id).await?;
    let patterns = flags::patterns::judge(&tx, act, &call, &finding).await?;
    once.keep(&tx, act, &finding.id).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    act.app.flag_bell.send_replace(());
    Ok(Recorded {
        finding,
        flag,
        patterns,
        callback,
    })
}

async fn recorded_before(tx: &impl ConnectionTrait, finding_id: i64) -> Result<Recorded> {
    let finding = finding::Entity::find_by_id(finding_id)
        .one(tx)
        .await?
        .ok_or_else(|| Error::internal("a receipt names no finding"))?;
    let (component_id, mode_id) = (finding.component_id, finding.failure_mode_id);
    Ok(Recorded {
        flag: store::flag_of(tx, finding.call_id, component_id, mode_id).await?,
        patterns: store::patterns_of_finding(tx, finding.id).await?,
        callback: store::callback_of(tx, finding.call_id).await?,
        finding,
    })
}

/// Keeps what the findings of both calls make of a callback that was not rejected, which may make it count or not; a person
/// decides.
async fn suggest_class(
    tx: &impl ConnectionTrait,
    act: &Act,
    call_id: i64,
) -> Result<Option<callback::Model>> {
    let Some(before) = store::callback_of(tx, call_id).await? else {
        return Ok(None);
    };
    if before.state == CallbackState::Rejected {
        return Ok(Some(before));
    }
    let found = store::found_twice(tx, &before).await?;
    let suggested = classify(&found.earlier, &found.new).map(store::class_of);
    if suggested == before.suggested_class {
        return Ok(Some(before));
    }
    let mut row = before.clone().into_active_model();
    row.suggested_class = Set(suggested);
    let after = row.update(tx).await?;
    let verb = Right::RecordFinding.mutation();
    let both = (Some(&before), Some(&after));
    audit::record(tx, act, verb, subject(after.id), both).await?;
    deciding::count_first(tx, (act, verb), after.earlier_call_id).await?;
    store::callback_of(tx, call_id).await
}
