//! Recording money received and what it settles.

use std::collections::HashSet;

use chrono::NaiveDate;
use nameplate_entities::kinds::PaymentMethod;
use nameplate_entities::{allocation, payment, receivable};
use nameplate_rules::books::events::{self, Debtor};
use nameplate_rules::invoice::{AllocationRefusal, OpenItem, allocate, check_allocation};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait};
use serde::Serialize;

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::numbers::{self, Series};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency, search};
use crate::books::{self, NewEntry};
use crate::{customers, shop};

use super::store;

/// What part of a payment settles which invoice.
#[derive(Clone, Debug, Serialize)]
pub struct PaymentPart {
    pub invoice_id: i64,
    pub amount: Cents,
}

/// Whether a payment may leave something over as the customer's credit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Excess {
    /// Refuse more than is owed: most likely a slip of the pen.
    Refused,
    /// Keep it for the customer.
    BecomesCredit,
}

/// Money received from a customer.
#[derive(Clone, Debug, Serialize)]
pub struct RecordPayment {
    #[serde(skip)]
    pub idempotency_key: String,
    pub customer_id: i64,
    pub method: PaymentMethod,
    pub reference: Option<String>,
    pub received_on: NaiveDate,
    pub amount: Cents,
    /// What it settles; oldest due first when left out.
    pub parts: Option<Vec<PaymentPart>>,
    pub excess: Excess,
}

/// Records a payment, lays it against invoices and posts it.
///
/// # Errors
/// `Forbidden`; `NotFound` for customer or invoice; `TooMuch` for more than is owed; `PeriodClosed`; refusals
/// name the field.
pub async fn record_payment(act: &Act, new: RecordPayment) -> Result<payment::Model> {
    let staff_id = act.staff_with(Right::RecordPayment)?;
    let verb = Right::RecordPayment.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, &new).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_payment(&tx, "", id).await;
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let reference = new.checked(today)?;
    let customer = customers::get_customer(&tx, "customerId", new.customer_id).await?;
    books::check_open(&tx, "receivedOn", new.received_on).await?;
    let division = Division::of(&tx, &new).await?;
    let row = payment::ActiveModel {
        number: Set(numbers::take(&tx, Series::Payment).await?),
        customer_id: Set(customer.id),
        method: Set(new.method),
        reference: Set(reference),
        received_on: Set(new.received_on),
        recorded_at: Set(act.at),
        recorded_by: Set(staff_id),
        amount_cents: Set(new.amount.0),
        unallocated_cents: Set(division.excess.0),
        ..Default::default()
    }
    .insert(&tx)
    .await?;
    let allocated = division.write(&tx, act, row.id).await?;
    let subject = Subject {
        kind: "payment",
        id: row.id,
    };
    let entry = events::payment(events::Payment {
        from: Debtor::Customer,
        allocated,
        excess: division.excess,
    });
    let entry = NewEntry {
        on: row.received_on,
        memo: format!("Payment {}", row.number),
        document: Some(subject),
        entry: entry.map_err(|refusal| Error::caused("payment entry", refusal))?,
    };
    books::post(&tx, act, entry).await?;
    let title = format!("{}, {}", row.number, customer.name);
    let reference = row.reference.as_deref().unwrap_or_default();
    search::index(
        &tx,
        subject,
        &title,
        &[&row.number, reference, &customer.name],
    )
    .await?;
    audit::created(&tx, act, verb, subject, &row).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

impl RecordPayment {
    /// Holds the input against what can be said without the books; gives the reference, trimmed.
    fn checked(&self, today: NaiveDate) -> Result<Option<String>> {
        let mut checks = Checks::new();
        checks.positive("amount", self.amount);
        checks.not_after("receivedOn", self.received_on, today);
        checks.near("receivedOn", self.received_on, today);
        let reference = checks.text_if_any("reference", self.reference.as_deref(), LINE_MAX);
        let mut named = HashSet::new();
        for (at, part) in self.parts.iter().flatten().enumerate() {
            checks.positive(&format!("allocations.{at}.amount"), part.amount);
            if !named.insert(part.invoice_id) {
                let message = "This invoice is named twice; add the two amounts.";
                let path = format!("allocations.{at}.invoiceId");
                checks.refuse(ProblemCode::Malformed, &path, message);
            }
        }
        checks.finish()?;
        Ok(reference)
    }
}

/// What a payment settles, and what is left of it.
struct Division {
    /// What was open, and how much of it is paid now.
    parts: Vec<(receivable::Model, Cents)>,
    excess: Cents,
}

impl Division {
    async fn of(tx: &impl ConnectionTrait, new: &RecordPayment) -> Result<Self> {
        let division = match &new.parts {
            Some(parts) => Self::as_told(tx, new, parts).await?,
            None => Self::oldest_first(tx, new).await?,
        };
        if division.excess > Cents::ZERO && new.excess == Excess::Refused {
            return Err(Error::refused(
                ProblemCode::TooMuch,
                "amount",
                format!(
                    "{} of {} would settle nothing. Correct the amount, or allow it to become the \
                     customer's credit.",
                    division.excess, new.amount
                ),
            ));
        }
        Ok(division)
    }

    async fn oldest_first(tx: &impl ConnectionTrait, new: &RecordPayment) -> Result<Self> {
        let open = store::open_of(tx, new.customer_id).await?;
        let items = open.iter().map(open_item).collect::<Vec<_>>();
        let given =
            allocate(new.amount, &items).map_err(|refusal| Error::caused("allocation", refusal))?;
        let parts = given
            .parts
            .into_iter()
            .filter_map(|(at, amount)| Some((open.get(at)?.clone(), amount)));
        Ok(Self {
            parts: parts.collect(),
            excess: given.excess,
        })
    }

    async fn as_told(
        tx: &impl ConnectionTrait,
        new: &RecordPayment,
        parts: &[PaymentPart],
    ) -> Result<Self> {
        let ids = parts.iter().map(|part| part.invoice_id);
        let found = store::receivables(tx, new.customer_id, ids).await?;
        let mut checks = Checks::new();
        let mut named = Vec::with_capacity(parts.len());
        for (at, part) in parts.iter().enumerate() {
            match found.iter().find(|row| row.invoice_id == part.invoice_id) {
                Some(row) => named.push((row.clone(), part.amount)),
                None => checks.refuse(
                    ProblemCode::NotFound,
                    &format!("allocations.{at}.invoiceId"),
                    "This customer has no such invoice. Look it up again and use its id.",
                ),
            }
        }
        checks.finish()?;
        let items = named
            .iter()
            .map(|(row, _)| open_item(row))
            .collect::<Vec<_>>();
        let amounts = named.iter().map(|(_, amount)| *amount).enumerate();
        let excess = check_allocation(new.amount, &items, &amounts.collect::<Vec<_>>())
            .map_err(|refusal| refused(&refusal))?;
        Ok(Self {
            parts: named,
            excess,
        })
    }

    /// Writes the allocations and lowers what is open; gives the sum.
    async fn write(&self, tx: &impl ConnectionTrait, act: &Act, payment_id: i64) -> Result<Cents> {
        if self.parts.is_empty() {
            return Ok(Cents::ZERO);
        }
        let rows = self
            .parts
            .iter()
            .map(|(row, amount)| allocation::ActiveModel {
                payment_id: Set(Some(payment_id)),
                invoice_id: Set(row.invoice_id),
                amount_cents: Set(amount.0),
                allocated_at: Set(act.at),
                ..Default::default()
            });
        allocation::Entity::insert_many(rows)
            .exec_without_returning(tx)
            .await?;
        for (row, amount) in &self.parts {
            let open = Cents(row.open_cents)
                .checked_sub(*amount)
                .ok_or_else(|| Error::internal("an open amount is too large"))?;
            receivable::ActiveModel {
                invoice_id: Set(row.invoice_id),
                open_cents: Set(open.0),
                ..Default::default()
            }
            .update(tx)
            .await?;
        }
        Cents::sum(self.parts.iter().map(|(_, amount)| *amount))
            .map_err(|refusal| Error::caused("allocation", refusal))
    }
}

fn open_item(row: &receivable::Model) -> OpenItem {
    OpenItem {
        due_on: row.due_on,
        open: Cents(row.open_cents),
    }
}

fn refused(refusal: &AllocationRefusal) -> Error {
    match refusal {
        AllocationRefusal::PaidMoreThanOwed { item, open, given } => Error::refused(
            ProblemCode::TooMuch,
            format!("allocations.{item}.amount"),
            format!("{given} is more than the {open} that is open on this invoice."),
        ),
        AllocationRefusal::AllocatedMoreThanPaid { amount, allocated } => Error::refused(
            ProblemCode::TooMuch,
            "allocations",
            format!("{allocated} is allocated from a payment of {amount}."),
        ),
        other => Error::caused("allocation", *other),
    }
}
