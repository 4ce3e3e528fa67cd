//! Write-offs undone: as far as something comes in on the invoice after all, or because it was the wrong one.
//!
//! What must stay true: what is undone of a write-off never exceeds it, by what the shop bore and by tax level; once
//! nothing is left of it, it is undone as a whole.

use chrono::NaiveDate;
use nameplate_entities::kinds::WriteOffKind;
use nameplate_entities::{allocation, invoice, write_off, write_off_return, write_off_return_tax};
use nameplate_rules::invoice::credit::write_off_undone;
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait};
use serde::Serialize;

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::invoices::receiving::settling;
use crate::invoices::store::{self, Left};
use crate::{books, shop};

use super::writing_off::{entry_of, subject};

/// An invoice whose write-off was wrong.
#[derive(Clone, Debug, Serialize)]
pub struct UndoWriteOff {
    #[serde(skip)]
    pub idempotency_key: String,
    pub invoice_id: i64,
    pub reason: String,
}

/// Undoes what stands of an invoice's write-offs, as of today: it is owed again, and so is the tax that was given back. What
/// the shop bears of a claim stays borne.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for an invoice that is not written off; `PeriodClosed`.
pub async fn undo_write_off(act: &Act, order: UndoWriteOff) -> Result<invoice::Model> {
    let staff_id = act.staff_with(Right::UndoWriteOff)?;
    let verb = Right::UndoWriteOff.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_invoice(&tx, "", id).await;
    }
    let mut checks = Checks::new();
    let reason = checks.text("reason", &order.reason, LINE_MAX);
    checks.finish()?;
    let on = shop::settings(&tx).await?.day_of(act.at);
    books::check_open(&tx, "", on).await?;
    let invoice = store::get_invoice(&tx, "invoiceId", order.invoice_id).await?;
    let mut standing = store::standing_write_offs(&tx, [invoice.id]).await?;
    // What was borne of a claim is taken back on the claim, which keeps where it stands.
    standing.retain(|row| row.kind == WriteOffKind::BadDebt);
    if standing.is_empty() {
        let message = format!("{} is not written off.", invoice.number);
        return Err(Error::refused(
            ProblemCode::WrongState,
            "invoiceId",
            message,
        ));
    }
    let by = (verb, staff_id);
    for row in standing {
        undo_whole(&tx, act, by, (&row, &invoice, on, reason.as_str())).await?;
    }
    once.keep(&tx, act, &invoice.id).await?;
    tx.commit().await?;
    Ok(invoice)
}

/// Undoes all that stands of a write-off.
///
/// # Errors
/// Those of `books::post`.
pub async fn undo_whole(
    tx: &impl ConnectionTrait,
    act: &Act,
    by: (&'static str, i64),
    (row, invoice, on, reason): (&write_off::Model, &invoice::Model, NaiveDate, &str),
) -> Result<()> {
    let left = store::left_of_write_off(tx, row).await?;
    let memo = format!(
        "Write-off {} of {} undone: {reason}",
        row.number, invoice.number
    );
    let back = Back {
        amount: left.sum()?,
        on,
        because: memo.chars().take(LINE_MAX).collect(),
    };
    give_back(tx, act, by, (row, &left, back)).await
}

/// What comes in on invoices of a customer.
pub struct ComesIn<'a> {
    pub customer_id: i64,
    pub on: NaiveDate,
    /// What it is, such as `Money`.
    pub what: &'a str,
    /// Invoices, and how much comes in on each.
    pub amounts: Vec<(i64, Cents)>,
}

/// Undoes the write-offs of invoices as far as what comes in on them goes beyond what is open: so much is owed again, and
/// so is the tax that was given back in it. On the day it comes in, or on that of the write-off if that is later.
///
/// # Errors
/// Those of `books::post`.
pub async fn recover(
    tx: &impl ConnectionTrait,
    act: &Act,
    by: (&'static str, i64),
    comes_in: ComesIn<'_>,
) -> Result<()> {
    let ids: Vec<i64> = comes_in.amounts.iter().map(|(id, _)| *id).collect();
    for row in store::standing_write_offs(tx, ids).await? {
        let invoice = store::get_invoice(tx, "", row.invoice_id).await?;
        if invoice.customer_id != comes_in.customer_id {
            continue;
        }
        let named = comes_in.amounts.iter().find(|(id, _)| *id == invoice.id);
        let amount = named.map_or(Cents::ZERO, |(_, amount)| *amount);
        let owed = store::receivable_of(tx, invoice.id).await?;
        let open = owed.map_or(Cents::ZERO, |owed| Cents(owed.open_cents));
        let beyond = settling::less(amount, open)?;
        let left = store::left_of_write_off(tx, &row).await?;
        let back = Back {
            amount: beyond.min(left.sum()?),
            on: comes_in.on,
            because: format!(
                "{} came in on {} after write-off {}",
                comes_in.what, invoice.number, row.number
            ),
        };
        if back.amount > Cents::ZERO {
            give_back(tx, act, by, (&row, &left, back)).await?;
        }
    }
    Ok(())
}

/// What is undone of a write-off.
struct Back {
    amount: Cents,
    on: NaiveDate,
    because: String,
}

async fn give_back(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, staff_id): (&'static str, i64),
    (before, left, back): (&write_off::Model, &Left, Back),
) -> Result<()> {
    let taxes: Vec<Cents> = left.taxes.iter().map(|(_, amount)| *amount).collect();
    let (bad_debt, shares) = write_off_undone(back.amount, (left.bad_debt, &taxes))
        .map_err(|refusal| Error::caused("a write-off undone", refusal))?;
    let levels = left.taxes.iter().map(|(level, _)| *level);
    let shares: Vec<(i64, Cents)> = levels
        .zip(shares)
        .filter(|(_, share)| *share > Cents::ZERO)
        .collect();
    let on = open_again(tx, act, before, &back).await?;
    let row = write_off_return::ActiveModel {
        write_off_id: Set(before.id),
        amount_cents: Set(back.amount.0),
        bad_debt_cents: Set(bad_debt.0),
        because: Set(back.because.clone()),
        returned_on: Set(on),
        recorded_at: Set(act.at),
        recorded_by: Set(staff_id),
        ..Default::default()
    };
    let row = row.insert(tx).await?;
    if !shares.is_empty() {
        let rows = shares
            .iter()
            .map(|(level, amount)| write_off_return_tax::ActiveModel {
                write_off_return_id: Set(row.id),
                tax_level_id: Set(*level),
                amount_cents: Set(amount.0),
                ..Default::default()
            });
        write_off_return_tax::Entity::insert_many(rows)
            .exec_without_returning(tx)
            .await?;
    }
    let invoice = store::get_invoice(tx, "", before.invoice_id).await?;
    let entry = entry_of(before, &invoice, (bad_debt, &shares)).map(|entry| entry.reversed());
    let about = Subject {
        kind: "write_off_return",
        id: row.id,
    };
    settling::post(tx, act, (about, on, back.because), entry).await?;
    audit::created(tx, act, verb, about, &row).await?;
    if back.amount == left.sum()? {
        let after = write_off::ActiveModel {
            id: Set(before.id),
            reversed_on: Set(Some(on)),
            ..Default::default()
        };
        let after = after.update(tx).await?;
        audit::record(
            tx,
            act,
            verb,
            subject(before.id),
            (Some(before), Some(&after)),
        )
        .await?;
    }
    Ok(())
}

/// Takes the write-off off its invoice, and what stays written off is laid against it anew; gives the day.
async fn open_again(
    tx: &impl ConnectionTrait,
    act: &Act,
    before: &write_off::Model,
    back: &Back,
) -> Result<NaiveDate> {
    let laid = store::laid_by_write_off(tx, before.id).await?;
    let latest = laid.iter().map(|row| row.applied_on).max();
    let on = latest.map_or(back.on, |day| day.max(back.on));
    for row in &laid {
        settling::take_off(tx, act, (row, on)).await?;
    }
    let whole = settling::sum(laid.iter().map(|row| Cents(row.amount_cents)))?;
    let stays = settling::less(whole, back.amount)?;
    if stays > Cents::ZERO {
        let row = allocation::ActiveModel {
            write_off_id: Set(Some(before.id)),
            invoice_id: Set(before.invoice_id),
            amount_cents: Set(stays.0),
            applied_on: Set(on),
            allocated_at: Set(act.at),
            ..Default::default()
        };
        row.insert(tx).await?;
        settling::open_more(tx, before.invoice_id, -stays.0).await?;
    }
    Ok(on)
}
