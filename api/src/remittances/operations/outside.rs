//! Money and losses on invoices, with the claims that ask for them: what comes in of a claim outside an advice moves it on as
//! a row of an advice does, and no claim is given up but by its own act.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::{claim, invoice, payment};
use nameplate_rules::claims::{AdviceLine, ClaimBalance};
use nameplate_rules::money::Cents;
use sea_orm::ConnectionTrait;

use super::super::store;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::claims::{self, Taken, TakenBy};
use crate::invoices::{
    self, AllocatePayment, ApplyCredit, Dated, PaymentPart, RecordPayment, WriteOffInvoice,
};
use crate::shop;

/// Records a payment, lays it against invoices and posts it. A write-off of an invoice that it names is undone first, as far
/// as the money goes; a claim that asks for such an invoice moves on.
///
/// # Errors
/// `Forbidden`; `NotFound` for customer or invoice; `TooMuch` for more than is owed; `WrongState` for an invoice of a claim
/// that was not submitted or is closed; `PeriodClosed`; refusals name the field.
pub async fn record_payment(act: &Act, new: RecordPayment) -> Result<payment::Model> {
    let staff_id = act.staff_with(Right::RecordPayment)?;
    let verb = Right::RecordPayment.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, &new).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return invoices::get_payment(&tx, "", id).await;
    }
    let asked = Asked::of_parts(&tx, new.parts.as_deref().unwrap_or_default()).await?;
    let row = invoices::take_in(&tx, act, (verb, staff_id), &new).await?;
    let by = (format!("Payment {}", row.number), Some(row.id));
    asked.settle(&tx, act, (verb, row.received_on), by).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

/// Lays what is left of one payment against invoices of its customer, as of today; claims that ask for them move on.
///
/// # Errors
/// `Forbidden`; `NotFound` for payment or invoice; `WrongState` for a payment of which nothing is left, or an invoice of a
/// claim that was not submitted or is closed; `TooMuch` for more than is left, or than an invoice owes; `PeriodClosed`.
pub async fn allocate_payment(act: &Act, order: AllocatePayment) -> Result<payment::Model> {
    act.staff_with(Right::AllocatePayment)?;
    let verb = Right::AllocatePayment.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return invoices::get_payment(&tx, "", id).await;
    }
    let asked = Asked::of_parts(&tx, &order.parts).await?;
    let row = invoices::allocate(&tx, act, verb, &order).await?;
    let today = shop::settings(&tx).await?.day_of(act.at);
    let by = (format!("Payment {}", row.number), Some(row.id));
    asked.settle(&tx, act, (verb, today), by).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

/// Lays a customer's credit against an invoice as of today: free credit first, then the deposit for its call, then deposits
/// for other calls; each oldest first. A claim that asks for it moves on.
///
/// # Errors
/// `Forbidden`; `NotFound` for customer or invoice; `WrongState` for an invoice of a claim that was not submitted or is
/// closed; `TooMuch` for more than is open, or more than the credit there is; `PeriodClosed`.
pub async fn apply_credit(act: &Act, order: ApplyCredit) -> Result<invoice::Model> {
    act.staff_with(Right::ApplyCredit)?;
    let verb = Right::ApplyCredit.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return invoices::get_invoice(&tx, "", id).await;
    }
    let part = PaymentPart {
        invoice_id: order.invoice_id,
        amount: order.amount,
    };
    let asked = Asked::of(&tx, &[("invoiceId".to_owned(), &part)]).await?;
    let row = invoices::lay_credit(&tx, act, verb, &order).await?;
    let today = shop::settings(&tx).await?.day_of(act.at);
    let by = ("Credit of the payer".to_owned(), None);
    asked.settle(&tx, act, (verb, today), by).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

/// Writes off what is open on an invoice, as of today or of a day told.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a credit note, an invoice of which nothing is open, or one that a claim asks
/// for, as its rest is borne by an act of its own (`bearClaimRest`); `ImpossibleDate` for a day to come, or before the
/// invoice was issued or opened again; `PeriodClosed`.
pub async fn write_off_invoice(
    act: &Act,
    dated: impl Into<Dated<WriteOffInvoice>>,
) -> Result<invoice::Model> {
    let staff_id = act.staff_with(Right::WriteOffInvoice)?;
    let verb = Right::WriteOffInvoice.mutation();
    let dated = dated.into();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &dated.order.idempotency_key, &dated).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return invoices::get_invoice(&tx, "", id).await;
    }
    let claims = store::claims_of_invoices(&tx, &[dated.order.invoice_id]).await?;
    if let Some(claim) = claims.first() {
        let message = format!(
            "{} asks a warranty payer for this invoice. Write its answer down (noteClaimAnswer), then let the shop bear \
             what it does not pay (bearClaimRest).",
            claim.number
        );
        return Err(Error::refused(
            ProblemCode::WrongState,
            "invoiceId",
            message,
        ));
    }
    let about = (&dated.order, dated.on);
    let row = invoices::write_off(&tx, act, (verb, staff_id), about).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

/// Claims that ask for invoices which something is laid against, as they stood before.
struct Asked {
    claims: Vec<(claim::Model, ClaimBalance, Cents)>,
}

impl Asked {
    async fn of_parts(tx: &impl ConnectionTrait, parts: &[PaymentPart]) -> Result<Self> {
        let named = parts
            .iter()
            .enumerate()
            .map(|(at, part)| (format!("allocations.{at}.invoiceId"), part));
        Self::of(tx, &named.collect::<Vec<_>>()).await
    }

    /// The claims behind these parts; each part comes with the path by which the input names it.
    async fn of(tx: &impl ConnectionTrait, parts: &[(String, &PaymentPart)]) -> Result<Self> {
        let ids: Vec<i64> = parts.iter().map(|(_, part)| part.invoice_id).collect();
        let rows = store::claims_of_invoices(tx, &ids).await?;
        let balances: HashMap<i64, ClaimBalance> = claims::balances(tx, &rows).await?;
        let mut checks = Checks::new();
        let mut found = Vec::new();
        for row in rows {
            let Some((path, part)) = parts.iter().find(|(_, p)| p.invoice_id == row.invoice_id)
            else {
                continue;
            };
            if !claims::to_rule(row.state).takes_money() {
                let message = format!(
                    "{} asks for this invoice and was not submitted, or is closed. Submit it first; until then money can \
                     be kept as the payer's credit.",
                    row.number
                );
                checks.refuse(ProblemCode::WrongState, path, message);
            }
            let balance = balances.get(&row.id).copied();
            let balance = balance.ok_or_else(|| Error::internal("a claim without its balance"))?;
            found.push((row, balance, part.amount));
        }
        checks.finish()?;
        Ok(Self { claims: found })
    }

    /// Moves the claims on by what was laid, with words for it and the payment that it was, where it was one.
    async fn settle(
        self,
        tx: &impl ConnectionTrait,
        act: &Act,
        (verb, on): (&'static str, NaiveDate),
        (words, payment_id): (String, Option<i64>),
    ) -> Result<()> {
        let ids: Vec<i64> = self.claims.iter().map(|(row, _, _)| row.id).collect();
        let not_before = store::last_steps_on(tx, &ids).await?;
        for (mut row, balance, paid) in self.claims {
            let line = AdviceLine {
                paid,
                refused: None,
            };
            let fault = |refusal| Error::caused("what settles a claim", refusal);
            let settlement = balance.settled_by(line).map_err(fault)?;
            let steps = claims::to_rule(row.state).steps_by(settlement);
            let steps = steps.map_err(|refusal| Error::caused("steps of a claim", refusal))?;
            let day = not_before.get(&row.id).map_or(on, |day| on.max(*day));
            for step in steps {
                let taken = Taken {
                    step,
                    on: day,
                    note: Some(words.clone()),
                    reason: None,
                    cents: Some(paid),
                    by: payment_id.map(TakenBy::Payment),
                };
                row = claims::take_step(tx, act, (verb, &row), taken).await?;
            }
        }
        Ok(())
    }
}
