//! What the shop bears of a call itself: parts and labour at what they cost.
//!
//! Who pays is said by the decision that stands on the call; where there is none, a confirmed callback is the shop's.
//! Which of a decision's splits counts is said by what was billed by it; while nothing is, the settled one.
//! Labour costs the minutes on record at what the settings say of an hour, nothing while they say nothing; once labour of a
//! call was borne, at what an hour cost then. It is settled when the call completes, and again with each decision on a
//! completed call, each bill of it and each credit note: what changed is posted on that day. What stays true: each row has its entry, of its own amounts. What comes back of parts that were all the
//! shop's, or is settled of them by a later receipt, goes to the same account by itself and counts with them; of parts it
//! bears a share of, that is left to the next decision.

use chrono::NaiveDate;
use nameplate_entities::kinds::CallState;
use nameplate_entities::{call_borne, coverage_decision, service_call};
use nameplate_rules::books::events::{self, PartPayer};
use nameplate_rules::books::{BooksRefusal, Entry, Role};
use nameplate_rules::coverage::{ShopShare, labour_cost};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};

use crate::base::audit::{self, Subject};
use crate::base::{Act, Error, ProblemCode, Result, Right, idempotency};
use crate::books::{self, NewEntry};
use crate::coverage::{self, DecideCoverage};
use crate::{callbacks, calls, invoices, shop, stock};

use super::operations::payer;
use super::store;

/// What of a call is the shop's.
struct Bearing {
    parts: ShopShare,
    labour: ShopShare,
    decision_id: Option<i64>,
}

impl Bearing {
    async fn of(tx: &impl ConnectionTrait, call: &service_call::Model) -> Result<Self> {
        if let Some(decision) = coverage::standing_of_call(tx, call.id).await? {
            let billed = invoices::billed_by(tx, &decision).await?;
            let (parts, labour) = coverage::shop_bears(tx, (&decision, billed)).await?;
            return Ok(Self {
                parts,
                labour,
                decision_id: Some(decision.id),
            });
        }
        let callback = callbacks::callback_of(tx, call.id).await?;
        let share = match payer(callback.as_ref()) {
            PartPayer::Shop => ShopShare::ALL,
            PartPayer::Customer | PartPayer::WarrantyPayer => ShopShare::NOTHING,
        };
        Ok(Self {
            parts: share,
            labour: share,
            decision_id: None,
        })
    }

    fn parts_of(&self, cost: Cents) -> Result<Cents> {
        let share = self.parts.of(cost);
        share.map_err(|refusal| Error::caused("what the shop bears of parts", refusal))
    }

    /// The shop's share of what the time on record costs, at this much an hour.
    async fn labour_of(
        &self,
        tx: &impl ConnectionTrait,
        (call_id, an_hour): (i64, Option<Cents>),
    ) -> Result<Cents> {
        let Some(an_hour) = an_hour else {
            return Ok(Cents::ZERO);
        };
        let minutes = store::minutes_worked(tx, call_id).await?;
        labour_cost(minutes, an_hour)
            .and_then(|cost| self.labour.of(cost))
            .map_err(|refusal| Error::caused("what the shop bears of labour", refusal))
    }
}

/// What an hour of labour of a call costs the shop: what it did when the shop first bore some of the call, else what the
/// settings say now. So what was borne is not priced anew when the settings change.
async fn an_hour(tx: &impl ConnectionTrait, call_id: i64) -> Result<Option<Cents>> {
    if let Some(cost) = store::labour_hour_of(tx, call_id).await? {
        return Ok(Some(cost));
    }
    let settings = shop::settings(tx).await?;
    Ok(settings.row.labour_cost_cents.map(Cents))
}

/// Decides who pays for a call, and settles what the shop bears of it if it is completed.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a call that is billed; `IdempotencyMismatch`; those of `coverage::decide`; `PeriodClosed` for today, where something
/// is to be posted.
pub async fn decide_coverage(act: &Act, order: DecideCoverage) -> Result<coverage_decision::Model> {
    act.staff_with(Right::DecideCoverage)?;
    let verb = Right::DecideCoverage.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return coverage::get_decision(&tx, "", id).await;
    }
    let call = calls::get_call(&tx, "callId", order.call_id).await?;
    if invoices::is_billed(&tx, call.id).await? {
        let message = format!(
            "Call {} is billed. Credit its invoices first; what was decided is what they bill.",
            call.number
        );
        return Err(Error::refused(ProblemCode::WrongState, "callId", message));
    }
    let row = coverage::decide(&tx, act, (&call, &order)).await?;
    if call.state == CallState::Completed {
        settle(&tx, act, (verb, &call)).await?;
    }
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

/// Takes the parts fitted out of stock and posts what they cost, and what of it and of the labour the shop bears. Nothing
/// without either.
pub(super) async fn post_costs(
    tx: &impl ConnectionTrait,
    act: &Act,
    call: &service_call::Model,
    on: NaiveDate,
) -> Result<()> {
    let bearing = Bearing::of(tx, call).await?;
    let against = if bearing.parts.is_all() {
        Role::CallbackCost
    } else {
        Role::PartsCostOfSales
    };
    let cost = stock::take_fitted(tx, act, call, (against, on)).await?;
    let an_hour = an_hour(tx, call.id).await?;
    let labour = bearing.labour_of(tx, (call.id, an_hour)).await?;
    let borne = (bearing.parts_of(cost)?, labour);
    let memo = format!("Parts fitted on call {}", call.number);
    let entry = post(tx, act, call, (memo, on, events::call_costs(cost, borne))).await?;
    if let Some(entry_id) = entry {
        let about = (&bearing, an_hour, entry_id, on);
        let verb = Right::CompleteCall.mutation();
        keep(tx, act, (verb, call), about, borne).await?;
    }
    Ok(())
}

/// Posts today what the shop bears of a completed call beyond what was posted so far, or no more.
pub(super) async fn settle(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, call): (&'static str, &service_call::Model),
) -> Result<()> {
    let bearing = Bearing::of(tx, call).await?;
    let cost = store::parts_cost(tx, call.id).await?;
    let (parts_so_far, labour_so_far) = store::borne_so_far(tx, call.id).await?;
    let less = |now: Cents, before: Cents| {
        let difference = now.checked_sub(before);
        difference.ok_or_else(|| Error::internal("what the shop bears is too large"))
    };
    let parts = less(bearing.parts_of(cost)?, parts_so_far)?;
    let an_hour = an_hour(tx, call.id).await?;
    let labour = bearing.labour_of(tx, (call.id, an_hour)).await?;
    let labour = less(labour, labour_so_far)?;
    let on = shop::settings(tx).await?.day_of(act.at);
    let memo = format!("What the shop bears of call {}", call.number);
    let entry = events::borne_changed(parts, labour);
    if let Some(entry_id) = post(tx, act, call, (memo, on, entry)).await? {
        let about = (&bearing, an_hour, entry_id, on);
        keep(tx, act, (verb, call), about, (parts, labour)).await?;
    }
    Ok(())
}

type Made = std::result::Result<Option<Entry>, BooksRefusal>;

/// Posts an entry about a call, if there is one; gives its id.
async fn post(
    tx: &impl ConnectionTrait,
    act: &Act,
    call: &service_call::Model,
    (memo, on, entry): (String, NaiveDate, Made),
) -> Result<Option<i64>> {
    let entry = entry.map_err(|error| Error::caused("what a call cost", error))?;
    let Some(entry) = entry else {
        return Ok(None);
    };
    let new = NewEntry {
        on,
        memo,
        document: Some(Subject {
            kind: "service_call",
            id: call.id,
        }),
        entry,
    };
    let row = books::post(tx, act, new).await?;
    Ok(Some(row.id))
}

/// Writes down what the shop came to bear, unless that is nothing.
async fn keep(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, call): (&'static str, &service_call::Model),
    (bearing, an_hour, entry_id, on): (&Bearing, Option<Cents>, i64, NaiveDate),
    (parts, labour): (Cents, Cents),
) -> Result<()> {
    if parts == Cents::ZERO && labour == Cents::ZERO {
        return Ok(());
    }
    let row = call_borne::ActiveModel {
        call_id: Set(call.id),
        borne_on: Set(on),
        parts_cents: Set(parts.0),
        labour_cents: Set(labour.0),
        labour_hour_cents: Set(an_hour.map(|cost| cost.0)),
        decision_id: Set(bearing.decision_id),
        entry_id: Set(entry_id),
        settled_at: Set(act.at),
        settled_by: Set(act.staff_id()),
        ..Default::default()
    };
    let row = row.insert(tx).await?;
    let subject = Subject {
        kind: "call_borne",
        id: row.id,
    };
    audit::created(tx, act, verb, subject, &row).await
}

/// What the shop came to bear of calls in these days, both included: parts and labour, at cost; less what it bears no
/// more.
///
/// # Errors
/// Internal only.
pub async fn borne_between(
    db: &impl ConnectionTrait,
    from: NaiveDate,
    through: NaiveDate,
) -> Result<(Cents, Cents)> {
    store::borne_between(db, (from, through)).await
}
