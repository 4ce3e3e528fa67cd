//! Payments undone: a check that bounced, a card charged back, a payment typed by mistake.

use chrono::NaiveDate;
use nameplate_entities::kinds::ReversalKind;
use nameplate_entities::{allocation, payment, payment_reversal, refund};
use nameplate_rules::books::AccountRef;
use nameplate_rules::books::events::{self, Owed};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};
use serde::Serialize;

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency, wording};
use crate::invoices::chasing::terms;
use crate::invoices::issuing::charges::{self, Charge, Claim};
use crate::invoices::store;
use crate::invoices::telling::returned;
use crate::{books, shop};

use super::{credit, settling, subject};

/// A payment to undo.
#[derive(Clone, Debug, Serialize)]
pub struct ReversePayment {
    #[serde(skip)]
    pub idempotency_key: String,
    pub payment_id: i64,
    pub kind: ReversalKind,
    pub reason: String,
    pub reversed_on: NaiveDate,
    /// Whether the customer is charged the shop's fee for it.
    pub charge_fee: bool,
    /// What the bank kept for it, beside the payment itself. Left out of the request's hash where nothing was kept, as
    /// keys of before this field was there must still be known again.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bank_fee: Option<Cents>,
}

/// Undoes a payment: what it settled is open again, its entry is reversed, and the customer is told, unless it was typed by
/// mistake.
///
/// One that was taken to a bank is taken back by that account, in use again if it was retired; one that was not leaves the receipts not yet banked.
/// Credit out of it that was laid against other invoices is taken off them, too. What a credit note gave back of an
/// invoice is laid against that invoice before the customer owes it again. What was refunded out of it is owed again: an
/// invoice of its own asks for it.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a payment undone already, or one whose
/// invoice was credited and that credit settles others, naming them, and at `kind` for one recorded by
/// mistake that was taken to a bank; `SettingMissing` for a fee the shop
/// has not set; `ImpossibleDate` for a day to come or before the payment settled anything; `PeriodClosed`.
pub async fn reverse_payment(act: &Act, order: ReversePayment) -> Result<payment::Model> {
    let staff_id = act.staff_with(Right::ReversePayment)?;
    let verb = Right::ReversePayment.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_payment(&tx, "", id).await;
    }
    let settings = shop::settings(&tx).await?;
    let today = settings.day_of(act.at);
    let mut checks = Checks::new();
    let reason = checks.text("reason", &order.reason, LINE_MAX);
    checks.not_after("reversedOn", order.reversed_on, today);
    if let Some(fee) = order.bank_fee {
        checks.not_negative("bankFee", fee);
    }
    checks.finish()?;
    let before = store::get_payment(&tx, "paymentId", order.payment_id).await?;
    let laid = to_undo(&tx, &before, order.reversed_on).await?;
    must_have_come(&before, order.kind)?;
    let claim = refunded(&tx, &before, order.reversed_on).await?;
    let bank_fee = bank_fee(&before, &order)?;
    books::check_open(&tx, "reversedOn", order.reversed_on).await?;
    let row = payment_reversal::ActiveModel {
        payment_id: Set(before.id),
        kind: Set(order.kind),
        reason: Set(reason),
        reversed_on: Set(order.reversed_on),
        recorded_at: Set(act.at),
        recorded_by: Set(staff_id),
        bank_account_id: Set(before.bank_account_id),
        bank_fee_cents: Set(bank_fee.0),
        ..Default::default()
    };
    let reversal = row.insert(&tx).await?;
    for allocation in &laid {
        settling::take_off(&tx, act, (allocation, order.reversed_on)).await?;
    }
    post(&tx, act, (&before, &reversal), &laid).await?;
    let after = payment::ActiveModel {
        id: Set(before.id),
        unallocated_cents: Set(0),
        held_cents: Set(0),
        reversed_on: Set(Some(order.reversed_on)),
        ..Default::default()
    };
    let after = after.update(&tx).await?;
    for invoice_id in invoices_of(&laid) {
        lay_credits(&tx, act, (verb, &before), (invoice_id, order.reversed_on)).await?;
    }
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(before.id), both).await?;
    audit::created(&tx, act, verb, of_reversal(&reversal), &reversal).await?;
    if let Some(claim) = claim {
        charges::claim(&tx, act, &settings, (verb, staff_id), claim).await?;
    }
    if order.charge_fee {
        let charge = fee(&tx, (&before, &order, today), &laid).await?;
        charges::issue(&tx, act, &settings, (verb, staff_id), charge).await?;
    }
    returned::tell(&tx, act, (&after, order.kind)).await?;
    once.keep(&tx, act, &after.id).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(after)
}

fn of_reversal(reversal: &payment_reversal::Model) -> Subject {
    Subject {
        kind: "payment_reversal",
        id: reversal.id,
    }
}

fn invoices_of(laid: &[allocation::Model]) -> Vec<i64> {
    let mut ids: Vec<i64> = laid.iter().map(|row| row.invoice_id).collect();
    ids.sort_unstable();
    ids.dedup();
    ids
}

/// What the payment settles, if it can be undone on this day.
async fn to_undo(
    tx: &impl ConnectionTrait,
    row: &payment::Model,
    on: NaiveDate,
) -> Result<Vec<allocation::Model>> {
    let refused = |message: String| Error::refused(ProblemCode::WrongState, "paymentId", message);
    if let Some(day) = row.reversed_on {
        return Err(refused(format!("{} was undone on {day}.", row.number)));
    }
    let laid = store::laid_with(tx, row.id).await?;
    let too_early = |message: String| {
        Err(Error::refused(
            ProblemCode::ImpossibleDate,
            "reversedOn",
            message,
        ))
    };
    if let Some(day) = row.banked_on.filter(|day| on < *day) {
        return too_early(format!("{} was taken to the bank on {day}.", row.number));
    }
    if let Some(day) = row.waits_again_from.filter(|day| on < *day) {
        return too_early(format!("{} lay at the bank until {day}.", row.number));
    }
    let taken_off_on = store::taken_off_on(tx, row.id).await?;
    let days = laid.iter().map(|row| row.applied_on).chain(taken_off_on);
    let earliest = days.fold(row.received_on, NaiveDate::max);
    if on < earliest {
        return too_early(format!(
            "{} still settled something on {earliest}.",
            row.number
        ));
    }
    Ok(laid)
}

/// What was refunded out of the payment, which its customer owes again.
async fn refunded(
    tx: &impl ConnectionTrait,
    row: &payment::Model,
    on: NaiveDate,
) -> Result<Option<Claim>> {
    let refunds = store::refunds_of(tx, row.id).await?;
    let moved_on = |refund: &refund::Model| refund.reversed_on.unwrap_or(refund.refunded_on);
    let latest = refunds.iter().max_by_key(|(refund, _)| moved_on(refund));
    if let Some((refund, _)) = latest.filter(|(refund, _)| on < moved_on(refund)) {
        return Err(Error::refused(
            ProblemCode::ImpossibleDate,
            "reversedOn",
            format!(
                "Part of {} was paid back by {}, or that was undone, on {}.",
                row.number,
                refund.number,
                moved_on(refund)
            ),
        ));
    }
    let amount = settling::sum(refunds.iter().map(|(_, amount)| *amount))?;
    Ok((amount > Cents::ZERO).then(|| Claim {
        payment: row.clone(),
        refunds: (refunds.into_iter())
            .filter(|(_, taken)| *taken > Cents::ZERO)
            .map(|(row, _)| row.number)
            .collect(),
        amount,
        returned_on: on,
    }))
}

/// Refuses to say of a payment that lies in a bank that it never came: the books would let the bank take it back.
fn must_have_come(row: &payment::Model, kind: ReversalKind) -> Result<()> {
    match row.banked_on {
        Some(day) if kind == ReversalKind::RecordedByMistake => {
            let first = match row.banked_before_at {
                None => "undo that deposit first (undoDeposit)",
                Some(_) => "take that mark off first (unmarkBankedBefore)",
            };
            Err(Error::refused(
                ProblemCode::WrongState,
                "kind",
                format!(
                    "{} was taken to the bank on {day}. If it never came, {first}.",
                    row.number
                ),
            ))
        }
        _ => Ok(()),
    }
}

/// What the bank kept: nothing of a payment that it never had.
fn bank_fee(row: &payment::Model, order: &ReversePayment) -> Result<Cents> {
    let fee = order.bank_fee.unwrap_or(Cents::ZERO);
    if fee > Cents::ZERO && row.bank_account_id.is_none() {
        let message = format!(
            "{} was not taken to a bank yet, so no bank kept a fee for it. Leave the fee out, or take the payment to the \
             bank first (bankReceipts).",
            row.number
        );
        return Err(Error::refused(ProblemCode::WrongState, "bankFee", message));
    }
    Ok(fee)
}

/// Reverses the payment's own entry, and what was laid of it later.
async fn post(
    tx: &impl ConnectionTrait,
    act: &Act,
    (row, reversal): (&payment::Model, &payment_reversal::Model),
    laid: &[allocation::Model],
) -> Result<()> {
    let on = reversal.reversed_on;
    let memo = format!("Payment {} undone", row.number);
    let (entry, settled) = store::entry_of_payment(tx, row.id).await?;
    books::reverse(tx, act, ("paymentId", &entry), (on, memo.clone())).await?;
    let laid = laid
        .iter()
        .map(|row| (row.invoice_id, Cents(row.amount_cents)));
    let later = settling::by_debtor(tx, laid).await?.less(settled);
    let later = later.map_err(|refusal| Error::caused("what a payment settled", refusal))?;
    let (later, freed) = later.parted();
    if later != Owed::default() {
        let entry = events::deposit_applied(later).map(|entry| entry.reversed());
        let about = (of_reversal(reversal), on, memo.clone());
        settling::post(tx, act, about, entry).await?;
    }
    // What it settled at once and was taken off since is credit no more.
    if freed != Owed::default() {
        let about = (of_reversal(reversal), on, memo.clone());
        settling::post(tx, act, about, events::deposit_applied(freed)).await?;
    }
    if let Some(id) = reversal.bank_account_id {
        let right = Right::ReversePayment;
        let bank = books::take_up_again(tx, act, (right, id)).await?;
        let entry = events::taken_back_by_bank(
            AccountRef::Code(bank.code),
            Cents(row.amount_cents),
            Cents(reversal.bank_fee_cents),
        );
        let memo = format!("Payment {} taken back by the bank", row.number);
        settling::post(tx, act, (of_reversal(reversal), on, memo), entry).await?;
    }
    Ok(())
}

/// An invoice of which credit notes gave something back owes only the rest: their credit is laid against it again.
///
/// # Errors
/// `WrongState` at `paymentId` where that credit was used otherwise; those of `books::post`.
pub async fn lay_credits(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, payment): (&'static str, &payment::Model),
    (invoice_id, on): (i64, NaiveDate),
) -> Result<()> {
    let credits = store::credits_of(tx, invoice_id).await?;
    if credits.is_empty() {
        return Ok(());
    }
    let invoice = store::get_invoice(tx, "", invoice_id).await?;
    let owed = store::receivable_of(tx, invoice_id)
        .await?
        .ok_or_else(|| Error::internal("an invoice without its receivable"))?;
    let totals = credits.iter().map(|row| Cents(row.total_cents));
    let owes = settling::sum(totals.chain([Cents(invoice.total_cents)]))?;
    let need = settling::less(Cents(owed.open_cents), owes)?;
    if need <= Cents::ZERO {
        return Ok(());
    }
    let ids: Vec<i64> = credits.iter().map(|row| row.id).collect();
    let sources = store::sources_of_credits(tx, &ids).await?;
    let left = settling::sum(sources.iter().map(|source| source.left))?;
    // What was refunded of it is gone, so the invoice that was paid with it is owed.
    let refunded = settling::sum(store::refunded_of(tx, &ids).await?)?;
    if settling::sum([left, refunded])? < need {
        let used_by = store::named_users(tx, invoice_id).await?;
        return Err(Error::refused(
            ProblemCode::WrongState,
            "paymentId",
            format!(
                "What {} paid on {} was given back by a credit note, and that credit was used: {}.",
                payment.number,
                invoice.number,
                used_by.join(", ")
            ),
        ));
    }
    let undone = store::refund_undone_on(tx, invoice.customer_id).await?;
    let arose = sources.iter().filter(|source| source.left > Cents::ZERO);
    let on = arose
        .map(|source| source.on)
        .chain(undone)
        .fold(on, NaiveDate::max);
    let about = (&sources[..], need.min(left), on);
    credit::lay_and_post(tx, act, (verb, &invoice), (&owed, about)).await
}

/// The fee for a payment that came back.
async fn fee(
    tx: &impl ConnectionTrait,
    (payment, order, today): (&payment::Model, &ReversePayment, NaiveDate),
    laid: &[allocation::Model],
) -> Result<Charge> {
    let path = "chargeFee";
    let amount = Cents(terms::terms(tx).await?.returned_payment_fee_cents);
    if amount == Cents::ZERO || order.kind == ReversalKind::RecordedByMistake {
        let message = "There is no fee for this: set one, or undo the payment without it.";
        return Err(Error::refused(ProblemCode::SettingMissing, path, message));
    }
    let Some(invoice_id) = invoices_of(laid).first().copied() else {
        let message = format!(
            "{} settled no invoice that a fee could refer to.",
            payment.number
        );
        return Err(Error::refused(ProblemCode::WrongState, path, message));
    };
    Ok(Charge {
        invoice: store::get_invoice(tx, "", invoice_id).await?,
        description: format!("Charge for returned payment {}", payment.number),
        reason: format!(
            "Payment {} of {} was returned on {}.",
            payment.number,
            wording::day(payment.received_on),
            wording::day(order.reversed_on)
        ),
        amount,
        on: today,
    })
}
