//! Paying suppliers, and payments undone: a voided check, a slip of the pen.

use std::collections::HashSet;

use chrono::NaiveDate;
use nameplate_entities::kinds::PaymentMethod;
use nameplate_entities::{account, payable, supplier_payment};
use nameplate_rules::books::events;
use nameplate_rules::invoice::{OpenItem, allocate};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};
use serde::Serialize;

use crate::base::audit;
use crate::base::check::LINE_MAX;
use crate::base::numbers::{self, Series};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::{books, pricing, shop};

use super::super::store::{self, Laid, Source};
use super::{by_code, less, of_payment, post_entry, sum};

/// What part of a payment settles which bill.
#[derive(Clone, Debug, Serialize)]
pub struct BillPart {
    pub bill_id: i64,
    pub amount: Cents,
}

/// Money paid to a supplier.
#[derive(Clone, Debug, Serialize)]
pub struct PaySupplier {
    #[serde(skip)]
    pub idempotency_key: String,
    pub supplier_id: i64,
    pub method: PaymentMethod,
    pub reference: Option<String>,
    pub paid_on: NaiveDate,
    pub amount: Cents,
    /// Code of the bank account it is paid from.
    pub paid_from: String,
    /// What it settles; the bills due first when left out.
    pub parts: Option<Vec<BillPart>>,
}

/// Pays a supplier's bills, all of the payment for bills: more than is open is refused.
///
/// # Errors
/// `Forbidden`; `NotFound` for supplier, bill or account; `WrongState` for an account that is no bank's; `TooMuch` for
/// more than is open, `Unbalanced` when the parts do not add up to the amount; `ImpossibleDate`, also for a bill of a later
/// day, or before another payment of the bill was undone; `PeriodClosed`; refusals name the field.
pub async fn pay_supplier(act: &Act, new: PaySupplier) -> Result<supplier_payment::Model> {
    let staff_id = act.staff_with(Right::PaySupplier)?;
    let verb = Right::PaySupplier.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, &new).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_payment(&tx, "", id).await;
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let reference = new.checked(today)?;
    let supplier = pricing::get_supplier(&tx, "supplierId", new.supplier_id).await?;
    let bank = bank(&tx, &new.paid_from).await?;
    books::check_open(&tx, "paidOn", new.paid_on).await?;
    let parts = new.divided(&tx).await?;
    new.not_before_undoing(&tx, &parts).await?;
    let row = supplier_payment::ActiveModel {
        number: Set(numbers::take(&tx, Series::SupplierPayment).await?),
        supplier_id: Set(supplier.id),
        method: Set(new.method),
        reference: Set(reference),
        paid_on: Set(new.paid_on),
        account_id: Set(bank.id),
        amount_cents: Set(new.amount.0),
        recorded_at: Set(act.at),
        recorded_by: Set(staff_id),
        undone_on: Set(None),
        undone_because: Set(None),
        ..Default::default()
    };
    let row = row.insert(&tx).await?;
    for (bill_id, amount) in parts {
        let laid = Laid {
            source: Source::Payment(row.id),
            bill_id,
            amount,
            on: row.paid_on,
        };
        laid.write(&tx, act.at).await?;
    }
    let entry = events::supplier_paid(by_code(&bank), new.amount)
        .map_err(|error| Error::caused("entry of a payment to a supplier", error))?;
    let memo = format!("Payment {} to {}", row.number, supplier.name);
    post_entry(&tx, act, (of_payment(row.id), row.paid_on, memo), entry).await?;
    audit::created(&tx, act, verb, of_payment(row.id), &row).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

/// The account at a bank of this code.
async fn bank(tx: &impl ConnectionTrait, code: &str) -> Result<account::Model> {
    let path = "paidFrom";
    let mut checks = Checks::new();
    let chart = books::chart(tx).await?;
    let row = books::bank_of_code(&mut checks, path, (&chart, code));
    checks.finish()?;
    row.ok_or_else(|| Error::not_found(path, "account"))
}

impl PaySupplier {
    fn checked(&self, today: NaiveDate) -> Result<Option<String>> {
        let mut checks = Checks::new();
        checks.positive("amount", self.amount);
        checks.not_after("paidOn", self.paid_on, today);
        checks.near("paidOn", self.paid_on, today);
        let reference = checks.text_if_any("reference", self.reference.as_deref(), LINE_MAX);
        let mut named = HashSet::new();
        for (at, part) in self.parts.iter().flatten().enumerate() {
            checks.positive(&format!("allocations.{at}.amount"), part.amount);
            if !named.insert(part.bill_id) {
                let message = "This bill is named twice; add the two amounts.";
                let path = format!("allocations.{at}.billId");
                checks.refuse(ProblemCode::Malformed, &path, message);
            }
        }
        checks.finish()?;
        Ok(reference)
    }

    /// Which bills it settles, and by how much each.
    async fn divided(&self, tx: &impl ConnectionTrait) -> Result<Vec<(i64, Cents)>> {
        let open = store::open_of(tx, (self.supplier_id, self.paid_on)).await?;
        match &self.parts {
            Some(parts) => self.as_told(tx, &open, parts).await,
            None => self.oldest_first(&open),
        }
    }

    /// What is open now was open on the day of the payment only if nothing that had settled it was undone since.
    async fn not_before_undoing(
        &self,
        tx: &impl ConnectionTrait,
        parts: &[(i64, Cents)],
    ) -> Result<()> {
        let bills = parts.iter().map(|(bill_id, _)| *bill_id);
        let undone_on = store::last_undone(tx, bills).await?;
        let mut checks = Checks::new();
        checks.in_order(&[
            (
                "",
                "the day an earlier payment of these bills was undone,",
                undone_on,
            ),
            ("paidOn", "The day of the payment", Some(self.paid_on)),
        ]);
        checks.finish()
    }

    fn oldest_first(&self, open: &[payable::Model]) -> Result<Vec<(i64, Cents)>> {
        let items: Vec<OpenItem> = open
            .iter()
            .map(|row| OpenItem {
                due_on: row.due_on,
                open: Cents(row.open_cents),
            })
            .collect();
        let given = allocate(self.amount, &items)
            .map_err(|refusal| Error::caused("allocation", refusal))?;
        if given.excess > Cents::ZERO {
            let message = format!(
                "Only {} of {} was open on bills of that day. Correct the amount.",
                less(self.amount, given.excess)?,
                self.amount
            );
            return Err(Error::refused(ProblemCode::TooMuch, "amount", message));
        }
        let parts = given.parts.into_iter();
        Ok(parts
            .filter_map(|(at, amount)| Some((open.get(at)?.bill_id, amount)))
            .collect())
    }

    async fn as_told(
        &self,
        tx: &impl ConnectionTrait,
        open: &[payable::Model],
        parts: &[BillPart],
    ) -> Result<Vec<(i64, Cents)>> {
        let mut checks = Checks::new();
        for (at, part) in parts.iter().enumerate() {
            let path = format!("allocations.{at}.billId");
            let bill = store::get_bill_of(tx, (&path, part.bill_id), self.supplier_id).await?;
            if bill.billed_on > self.paid_on {
                let message = format!(
                    "{} is of {}, after the payment.",
                    bill.number, bill.billed_on
                );
                checks.refuse(ProblemCode::ImpossibleDate, &path, message);
                continue;
            }
            let owed = open.iter().find(|row| row.bill_id == part.bill_id);
            let owed = owed.map_or(Cents::ZERO, |row| Cents(row.open_cents));
            if part.amount > owed {
                let message = format!("Only {owed} is open on {}.", bill.number);
                let path = format!("allocations.{at}.amount");
                checks.refuse(ProblemCode::TooMuch, &path, message);
            }
        }
        let whole = sum(parts.iter().map(|part| part.amount))?;
        if whole != self.amount {
            let message = format!("The bills take {whole}, but {} is paid.", self.amount);
            checks.refuse(ProblemCode::Unbalanced, "allocations", message);
        }
        checks.finish()?;
        Ok(parts
            .iter()
            .map(|part| (part.bill_id, part.amount))
            .collect())
    }
}

/// A payment to undo.
#[derive(Clone, Debug, Serialize)]
pub struct UndoSupplierPayment {
    #[serde(skip)]
    pub idempotency_key: String,
    pub payment_id: i64,
    pub reason: String,
    pub undone_on: NaiveDate,
}

/// Undoes a payment: what it settled is open again, its entry is reversed.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for one that is undone already; `ImpossibleDate` for a day to come or before the
/// payment; `PeriodClosed`; refusals name the field.
pub async fn undo_supplier_payment(
    act: &Act,
    order: UndoSupplierPayment,
) -> Result<supplier_payment::Model> {
    act.staff_with(Right::UndoSupplierPayment)?;
    let verb = Right::UndoSupplierPayment.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_payment(&tx, "", id).await;
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let mut checks = Checks::new();
    let reason = checks.text("reason", &order.reason, LINE_MAX);
    checks.not_after("undoneOn", order.undone_on, today);
    let before = store::get_payment(&tx, "paymentId", order.payment_id).await?;
    if let Some(day) = before.undone_on {
        let message = format!("{} was undone on {day}.", before.number);
        checks.refuse(ProblemCode::WrongState, "paymentId", message);
    }
    checks.in_order(&[
        ("paymentId", "the day of the payment,", Some(before.paid_on)),
        ("undoneOn", "The day it is undone", Some(order.undone_on)),
    ]);
    checks.finish()?;
    books::check_open(&tx, "undoneOn", order.undone_on).await?;
    for laid in store::laid_with(&tx, before.id).await? {
        store::take_back(&tx, (&laid, order.undone_on), act.at).await?;
    }
    let entry = store::entry_of(&tx, of_payment(before.id)).await?;
    let memo = format!("Payment {} undone", before.number);
    books::reverse(&tx, act, ("paymentId", &entry), (order.undone_on, memo)).await?;
    let mut row = before.clone().into_active_model();
    row.undone_on = Set(Some(order.undone_on));
    row.undone_because = Set(Some(reason));
    let after = row.update(&tx).await?;
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, of_payment(before.id), both).await?;
    once.keep(&tx, act, &after.id).await?;
    tx.commit().await?;
    Ok(after)
}
