//! Recording money received and what it settles.
//!
//! A payment settles an invoice from the day it was received, or from the day the invoice was issued if that is later:
//! until then it is the customer's credit, so that no invoice is paid before it is there. Each invoice is settled on the
//! control account of whoever owes it: a customer's, or that of warranty claims.

use std::collections::{BTreeMap, HashSet};

use chrono::NaiveDate;
use nameplate_entities::kinds::PaymentMethod;
use nameplate_entities::{customer, payment, receivable};
use nameplate_rules::books::events::{self, Owed};
use nameplate_rules::invoice::{AllocationRefusal, OpenItem, allocate, check_allocation};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};
use serde::Serialize;

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::numbers::{self, Series};
use crate::base::{Act, Checks, Error, ProblemCode, Result, search};
use crate::{books, customers, shop};

use super::chasing::undoing::{self, ComesIn};
use super::store::{self, Source};

pub mod banked;
pub mod credit;
pub mod deposits;
pub mod freeing;
pub mod reversing;
pub mod settling;
pub mod undoing_refund;

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

/// Takes money in, in a transaction that is open: records it, lays it against invoices and posts it. A write-off of an
/// invoice that it names is undone first, as far as the money goes. Without names it settles what its payer owes as a
/// customer; what is claimed of a warranty payer is settled by name only, as each claim has its own answer.
///
/// # Errors
/// `NotFound` for customer or invoice; `TooMuch` for more than is owed; `PeriodClosed`; refusals name the field.
pub async fn take_in(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, staff_id): (&'static str, i64),
    new: &RecordPayment,
) -> Result<payment::Model> {
    let today = shop::settings(tx).await?.day_of(act.at);
    let reference = new.checked(today)?;
    let customer = customers::get_customer(tx, "customerId", new.customer_id).await?;
    books::check_open(tx, "receivedOn", new.received_on).await?;
    if let Some(parts) = &new.parts {
        let amounts = parts.iter().map(|part| (part.invoice_id, part.amount));
        let comes_in = ComesIn {
            customer_id: new.customer_id,
            on: new.received_on,
            what: "Money",
            amounts: amounts.collect(),
        };
        undoing::recover(tx, act, (verb, staff_id), comes_in).await?;
    }
    let settlement = Settlement::of(tx, new).await?;
    let received = Received {
        staff_id,
        method: new.method,
        reference,
        on: new.received_on,
        amount: new.amount,
        deposit_call_id: None,
    };
    let row = received.write(tx, act, &customer).await?;
    settlement.settle(tx, act, &row).await?;
    let row = store::get_payment(tx, "", row.id).await?;
    audit::created(tx, act, verb, subject(row.id), &row).await?;
    Ok(row)
}

/// Money as it came in, before it settles anything.
pub struct Received {
    pub staff_id: i64,
    pub method: PaymentMethod,
    pub reference: Option<String>,
    pub on: NaiveDate,
    pub amount: Cents,
    pub deposit_call_id: Option<i64>,
}

impl Received {
    /// Writes the payment, all of it still credit of the customer, and makes it findable.
    ///
    /// # Errors
    /// Internal only.
    pub async fn write(
        self,
        tx: &impl ConnectionTrait,
        act: &Act,
        customer: &customer::Model,
    ) -> Result<payment::Model> {
        let row = payment::ActiveModel {
            number: Set(numbers::take(tx, Series::Payment).await?),
            customer_id: Set(customer.id),
            method: Set(self.method),
            reference: Set(self.reference),
            received_on: Set(self.on),
            recorded_at: Set(act.at),
            recorded_by: Set(self.staff_id),
            amount_cents: Set(self.amount.0),
            unallocated_cents: Set(self.amount.0),
            deposit_call_id: Set(self.deposit_call_id),
            ..Default::default()
        }
        .insert(tx)
        .await?;
        let title = format!("{}, {}", row.number, customer.name);
        let reference = row.reference.as_deref().unwrap_or_default();
        let words = [row.number.as_str(), reference, customer.name.as_str()];
        search::index(tx, subject(row.id), &title, &words).await?;
        Ok(row)
    }
}

/// A payment as the subject of audit and entry.
pub fn subject(id: i64) -> Subject {
    Subject {
        kind: "payment",
        id,
    }
}

impl RecordPayment {
    /// Holds the input against what can be said without the books; gives the reference, trimmed.
    fn checked(&self, today: NaiveDate) -> Result<Option<String>> {
        let mut checks = Checks::new();
        checks.positive("amount", self.amount);
        checks.not_after("receivedOn", self.received_on, today);
        checks.near("receivedOn", self.received_on, today);
        let reference = checks.text_if_any("reference", self.reference.as_deref(), LINE_MAX);
        check_parts(&mut checks, self.parts.iter().flatten());
        checks.finish()?;
        Ok(reference)
    }
}

/// Holds what is to be settled against what can be said without the books.
pub fn check_parts<'a>(checks: &mut Checks, parts: impl Iterator<Item = &'a PaymentPart>) {
    let mut named = HashSet::new();
    for (at, part) in parts.enumerate() {
        checks.positive(&format!("allocations.{at}.amount"), part.amount);
        if !named.insert(part.invoice_id) {
            let message = "This invoice is named twice; add the two amounts.";
            let path = format!("allocations.{at}.invoiceId");
            checks.refuse(ProblemCode::Malformed, &path, message);
        }
    }
}

/// What a payment settles, and what is left of it.
pub struct Settlement {
    /// What was open, and how much of it is paid now.
    pub parts: Vec<(receivable::Model, Cents)>,
    pub excess: Cents,
}

impl Settlement {
    async fn of(tx: &impl ConnectionTrait, new: &RecordPayment) -> Result<Self> {
        let settlement = match &new.parts {
            Some(parts) => Self::as_told(tx, (new.customer_id, new.amount), parts).await?,
            None => Self::oldest_first(tx, new).await?,
        };
        if settlement.excess > Cents::ZERO && new.excess == Excess::Refused {
            let others = match new.parts {
                Some(_) => String::new(),
                None => by_name_only(tx, new.customer_id).await?,
            };
            return Err(Error::refused(
                ProblemCode::TooMuch,
                "amount",
                format!(
                    "{} of {} would settle nothing. Correct the amount, or allow it to become the \
                     customer's credit.{others}",
                    settlement.excess, new.amount
                ),
            ));
        }
        Ok(settlement)
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

    /// So much of a customer's money as somebody chose.
    ///
    /// # Errors
    /// `NotFound` for an invoice that is not this customer's; `TooMuch`.
    pub async fn as_told(
        tx: &impl ConnectionTrait,
        (customer_id, amount): (i64, Cents),
        parts: &[PaymentPart],
    ) -> Result<Self> {
        let ids = parts.iter().map(|part| part.invoice_id);
        let found = store::receivables(tx, customer_id, ids).await?;
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
        let excess = check_allocation(amount, &items, &amounts.collect::<Vec<_>>())
            .map_err(|refusal| refused(&refusal))?;
        Ok(Self {
            parts: named,
            excess,
        })
    }

    /// Lays the payment against the invoices and posts both.
    async fn settle(
        &self,
        tx: &impl ConnectionTrait,
        act: &Act,
        row: &payment::Model,
    ) -> Result<()> {
        let ids = self.parts.iter().map(|(owed, _)| owed.invoice_id);
        let debtors = store::debtors(tx, ids.clone()).await?;
        let issued = store::issued_on(tx, ids).await?;
        let mut at_once = Owed::default();
        let mut later: BTreeMap<NaiveDate, (i64, Owed)> = BTreeMap::new();
        for (owed, amount) in &self.parts {
            let issued_on = issued.get(&owed.invoice_id).copied();
            let on = issued_on.map_or(row.received_on, |day| day.max(row.received_on));
            let source = Source {
                left: *amount,
                ..Source::of_payment(row)
            };
            let first = settling::lay(tx, act, owed, (&[source], *amount, on)).await?;
            let owed = (settling::debtor_of(&debtors, owed.invoice_id)?, *amount);
            if on == row.received_on {
                at_once = settling::plus(at_once, owed)?;
            } else if let Some(first) = first {
                let of_day = later.entry(on).or_insert((first, Owed::default()));
                of_day.1 = settling::plus(of_day.1, owed)?;
            }
        }
        let laid = at_once.sum();
        let laid = laid.map_err(|refusal| Error::caused("payment", refusal))?;
        let entry = events::payment(events::Payment {
            settles: at_once,
            excess: settling::less(Cents(row.amount_cents), laid)?,
        });
        let memo = format!("Payment {}", row.number);
        let about = (subject(row.id), row.received_on, memo);
        settling::post(tx, act, about, entry).await?;
        for (on, (first, settles)) in later {
            let memo = format!("Payment {} settles what was billed later", row.number);
            let about = (settling::subject(first), on, memo);
            settling::post(tx, act, about, events::deposit_applied(settles)).await?;
        }
        Ok(())
    }
}

/// What money settles only where it names it, and how that is recorded; nothing where nothing is.
async fn by_name_only(tx: &impl ConnectionTrait, customer_id: i64) -> Result<String> {
    let told = written_off(tx, customer_id).await?;
    let claimed = store::claimed_of(tx, customer_id).await?;
    Ok(match claimed {
        None => told,
        Some(number) => format!(
            "{told} {number} is claimed of a warranty payer: post its advice (postAdvice), or name the invoice under allocations."
        ),
    })
}

/// What is written off of a customer's invoices, and how money on it is recorded.
async fn written_off(tx: &impl ConnectionTrait, customer_id: i64) -> Result<String> {
    let rows = store::written_off_of(tx, customer_id).await?;
    if rows.is_empty() {
        return Ok(String::new());
    }
    let named = rows
        .iter()
        .map(|(invoice, write_off)| format!("{invoice} was written off ({write_off})"));
    let named: Vec<String> = named.collect();
    Ok(format!(
        " {}; if the money is for it, name it under allocations, and its write-off is undone so far.",
        named.join(", ")
    ))
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
