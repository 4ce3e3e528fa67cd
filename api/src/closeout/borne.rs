//! What the shop bears of a call itself: parts, labour and trips at what they cost.
//!
//! Who pays is said by the decision that stands on the call; where there is none, a confirmed callback is the shop's.
//! Which of a decision's splits counts is said by what was billed by it; while nothing is, the settled one.
//! Labour costs the minutes on record at what the settings say of an hour, nothing while they say nothing; once labour of a
//! call was borne, at what an hour cost then. Trips are the visits made for the call, at what the settings say of one, and
//! a visit for several calls is shared by all of them; what one cost is kept in the same way. It is settled when the call
//! completes, and again with each decision on a completed call, each bill of it, each credit note, and each visit that is
//! said to be made afterwards: what changed is posted on that day. What stays true: each row has its entry, of its own
//! amounts. What comes back of parts that were all the shop's, or is settled of them by a later receipt, goes to the same
//! account by itself and counts with them; of parts it bears a share of, that is left to the next decision.

use chrono::NaiveDate;
use nameplate_entities::kinds::CallState;
use nameplate_entities::{call_borne, coverage_decision, service_call};
use nameplate_rules::books::events::{self, Borne, PartPayer};
use nameplate_rules::books::{BooksRefusal, Entry, Role};
use nameplate_rules::coverage::{SharedTrip, ShopShare, ShopShares, labour_cost};
use nameplate_rules::money::{Cents, MoneyRefusal};
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
    shares: ShopShares,
    decision_id: Option<i64>,
}

impl Bearing {
    async fn of(tx: &impl ConnectionTrait, call: &service_call::Model) -> Result<Self> {
        if let Some(decision) = coverage::standing_of_call(tx, call.id).await? {
            let billed = invoices::billed_by(tx, &decision).await?;
            return Ok(Self {
                shares: coverage::shop_bears(tx, (&decision, billed)).await?,
                decision_id: Some(decision.id),
            });
        }
        let callback = callbacks::callback_of(tx, call.id).await?;
        let share = match payer(callback.as_ref()) {
            PartPayer::Shop => ShopShare::ALL,
            PartPayer::Customer | PartPayer::WarrantyPayer => ShopShare::NOTHING,
        };
        Ok(Self {
            shares: ShopShares::of_all(share),
            decision_id: None,
        })
    }

    /// The shop's share of parts that cost this much, of the time on record and of the trips made.
    async fn borne(
        &self,
        tx: &impl ConnectionTrait,
        (call_id, parts): (i64, Cents),
        rates: Rates,
    ) -> Result<Borne> {
        let labour = match rates.an_hour {
            Some(an_hour) => labour_cost(store::minutes_worked(tx, call_id).await?, an_hour),
            None => Ok(Cents::ZERO),
        };
        let trips = match rates.a_trip {
            Some(a_trip) => trips_cost(&store::trips_shared(tx, call_id).await?, a_trip),
            None => Ok(Cents::ZERO),
        };
        let share = |share: ShopShare, cost: std::result::Result<Cents, MoneyRefusal>| {
            cost.and_then(|cost| share.of(cost))
                .map_err(|refusal| Error::caused("what the shop bears of a call", refusal))
        };
        Ok(Borne {
            parts: share(self.shares.parts, Ok(parts))?,
            labour: share(self.shares.labour, labour)?,
            trip: share(self.shares.trip, trips)?,
        })
    }
}

/// A call's part of the trips made for it.
fn trips_cost(trips: &[SharedTrip], a_trip: Cents) -> std::result::Result<Cents, MoneyRefusal> {
    let parts = trips.iter().map(|trip| trip.part_of(a_trip));
    Cents::sum(parts.collect::<std::result::Result<Vec<_>, _>>()?)
}

/// What an hour of labour and a trip of a call cost the shop: what they did when it first bore some of the call, else what
/// the settings say now. So what was borne is not priced anew when the settings change.
#[derive(Clone, Copy)]
struct Rates {
    an_hour: Option<Cents>,
    a_trip: Option<Cents>,
}

impl Rates {
    async fn of(tx: &impl ConnectionTrait, call_id: i64) -> Result<Self> {
        let settings = shop::settings(tx).await?.row;
        let kept = store::rates_of(tx, call_id).await?;
        let rate = |kept: Option<i64>, now: Option<i64>| kept.or(now).map(Cents);
        Ok(Self {
            an_hour: rate(kept.labour_hour_cents, settings.labour_cost_cents),
            a_trip: rate(kept.trip_each_cents, settings.trip_cost_cents),
        })
    }
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

/// Takes the parts fitted out of stock and posts what they cost, and what of it, of the labour and of the trips the shop
/// bears. Nothing without any.
pub(super) async fn post_costs(
    tx: &impl ConnectionTrait,
    act: &Act,
    call: &service_call::Model,
    on: NaiveDate,
) -> Result<()> {
    let bearing = Bearing::of(tx, call).await?;
    let against = if bearing.shares.parts.is_all() {
        Role::CallbackCost
    } else {
        Role::PartsCostOfSales
    };
    let cost = stock::take_fitted(tx, act, call, (against, on)).await?;
    let rates = Rates::of(tx, call.id).await?;
    let borne = bearing.borne(tx, (call.id, cost), rates).await?;
    let memo = format!("Parts fitted on call {}", call.number);
    let entry = post(tx, act, call, (memo, on, events::call_costs(cost, borne))).await?;
    if let Some(entry_id) = entry {
        let about = (&bearing, rates, entry_id, on);
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
    let rates = Rates::of(tx, call.id).await?;
    let cost = store::parts_cost(tx, call.id).await?;
    let now = bearing.borne(tx, (call.id, cost), rates).await?;
    let borne = now
        .beyond(store::borne_so_far(tx, call.id).await?)
        .ok_or_else(|| Error::internal("what the shop bears is too large"))?;
    let on = shop::settings(tx).await?.day_of(act.at);
    let since = store::was_borne(tx, call.id).await?.then_some(verb);
    let memo = memo(&call.number, since);
    let entry = events::borne_changed(borne);
    if let Some(entry_id) = post(tx, act, call, (memo, on, entry)).await? {
        let about = (&bearing, rates, entry_id, on);
        keep(tx, act, (verb, call), about, borne).await?;
    }
    Ok(())
}

/// What an entry is called in the journal; one that changes or takes back an earlier one says after which act.
fn memo(call_number: &str, since: Option<&'static str>) -> String {
    let after = [
        (Right::IssueInvoice, " as it was billed"),
        (Right::CreditInvoice, " after an invoice was credited"),
        (Right::FinishVisit, " after a visit was made"),
        (Right::DecideCallback, " after its callback was decided"),
        (Right::DecideCoverage, " after its coverage was decided"),
    ];
    let after = after
        .into_iter()
        .find(|(right, _)| since == Some(right.mutation()));
    let words = after.map_or("", |(_, words)| words);
    format!("What the shop bears of call {call_number}{words}")
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
    (bearing, rates, entry_id, on): (&Bearing, Rates, i64, NaiveDate),
    borne: Borne,
) -> Result<()> {
    if borne.is_nothing() {
        return Ok(());
    }
    let row = call_borne::ActiveModel {
        call_id: Set(call.id),
        borne_on: Set(on),
        parts_cents: Set(borne.parts.0),
        labour_cents: Set(borne.labour.0),
        trip_cents: Set(borne.trip.0),
        labour_hour_cents: Set(rates.an_hour.map(|cost| cost.0)),
        trip_each_cents: Set(rates.a_trip.map(|cost| cost.0)),
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

/// What the shop came to bear of calls in these days, both included, at cost; less what it bears no more.
///
/// # Errors
/// Internal only.
pub async fn borne_between(
    db: &impl ConnectionTrait,
    from: NaiveDate,
    through: NaiveDate,
) -> Result<Borne> {
    store::borne_between(db, (from, through)).await
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_journal_says_why_what_was_borne_changes() {
        assert_eq!(
            memo("C-000131", None),
            "What the shop bears of call C-000131"
        );
        let decided = Some(Right::DecideCallback.mutation());
        assert_eq!(
            memo("C-000131", decided),
            "What the shop bears of call C-000131 after its callback was decided"
        );
        let visited = Some(Right::FinishVisit.mutation());
        assert_eq!(
            memo("C-000131", visited),
            "What the shop bears of call C-000131 after a visit was made"
        );
    }
}
