//! Customers' credit: laid against invoices, by itself or as told, and paid back.

use chrono::NaiveDate;
use nameplate_entities::kinds::PaymentMethod;
use nameplate_entities::{invoice, payment, receivable, refund, refund_part};
use nameplate_rules::books::AccountRef;
use nameplate_rules::books::events::{self, Owed, RefundFrom};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait};
use serde::Serialize;

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::numbers::{self, Series};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency, search};
use crate::invoices::chasing::terms;
use crate::invoices::issuing::writing;
use crate::invoices::store::{self, Source};
use crate::{books, customers, shop};

use super::{PaymentPart, Settlement, settling};

/// Lays a deposit for the call of an invoice against it, and then the customer's other credit, oldest first, where the
/// shop's terms say so. A deposit for another call is left for that one.
///
/// # Errors
/// Internal only.
pub async fn lay_by_itself(
    tx: &impl ConnectionTrait,
    act: &Act,
    row: &invoice::Model,
    owed: receivable::Model,
) -> Result<()> {
    let all = store::sources(tx, row.customer_id).await?;
    if all.is_empty() {
        return Ok(());
    }
    let is_for_it = |source: &&Source| {
        source.deposit_call_id.is_some() && source.deposit_call_id == row.call_id
    };
    let mut sources: Vec<Source> = all.iter().filter(is_for_it).copied().collect();
    if terms::terms(tx).await?.credit_applies_itself {
        let is_free = |source: &&Source| source.deposit_call_id.is_none();
        sources.extend(all.iter().filter(is_free));
    }
    // Credit that arose after the day of the invoice settles it from its own day on.
    let undone = store::refund_undone_on(tx, row.customer_id).await?;
    let earliest = undone.map_or(row.issued_on, |day| day.max(row.issued_on));
    let from = |source: &Source| source.on.max(earliest);
    let mut open = Cents(owed.open_cents);
    for run in sources.chunk_by(|one, next| from(one) == from(next)) {
        let amount = settling::sum(run.iter().map(|source| source.left))?.min(open);
        let on = run.first().map_or(row.issued_on, from);
        let names = (Right::IssueInvoice.mutation(), row);
        lay_and_post(tx, act, names, (&owed, (run, amount, on))).await?;
        open = settling::less(open, amount)?;
    }
    Ok(())
}

/// Lays credit against an invoice, posts it and notes it.
///
/// # Errors
/// Those of `books::post`.
pub async fn lay_and_post(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, invoice): (&'static str, &invoice::Model),
    (owed, (sources, amount, on)): (&receivable::Model, (&[Source], Cents, NaiveDate)),
) -> Result<()> {
    let about = (sources, amount, on);
    let Some(first) = settling::lay(tx, act, owed, about).await? else {
        return Ok(());
    };
    let memo = format!("Credit laid against {}", invoice.number);
    let about = (settling::subject(first), on, memo);
    let settles = Owed::by(store::debtor(invoice.payer), amount);
    settling::post(tx, act, about, events::deposit_applied(settles)).await?;
    let after = store::receivable_of(tx, owed.invoice_id).await?;
    let subject = writing::subject(owed.invoice_id);
    audit::record(tx, act, verb, subject, (Some(owed), after.as_ref())).await
}

/// Credit to lay against an invoice.
#[derive(Clone, Debug, Serialize)]
pub struct ApplyCredit {
    #[serde(skip)]
    pub idempotency_key: String,
    pub customer_id: i64,
    pub invoice_id: i64,
    pub amount: Cents,
}

/// Lays a customer's credit against an invoice as of today, in a transaction that is open: free credit first, then the
/// deposit for its call, then deposits for other calls; each oldest first.
///
/// # Errors
/// `NotFound` for customer or invoice; `TooMuch` for more than is open, or more than the credit there is; `PeriodClosed`.
pub async fn lay_credit(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    order: &ApplyCredit,
) -> Result<invoice::Model> {
    let mut checks = Checks::new();
    checks.positive("amount", order.amount);
    checks.finish()?;
    let customer = customers::get_customer(tx, "customerId", order.customer_id).await?;
    let on = shop::settings(tx).await?.day_of(act.at);
    books::check_open(tx, "", on).await?;
    let owed = store::receivables(tx, customer.id, [order.invoice_id]).await?;
    let owed = owed.into_iter().next();
    let owed = owed.ok_or_else(|| Error::not_found("invoiceId", "invoice of this customer"))?;
    let row = store::get_invoice(tx, "invoiceId", order.invoice_id).await?;
    let open = Cents(owed.open_cents);
    if order.amount > open {
        return Err(too_much(format!("Only {open} is open on {}.", row.number)));
    }
    let mut sources = store::sources(tx, customer.id).await?;
    sources.sort_by_key(|source| match source.deposit_call_id {
        None => 0,
        of if of == row.call_id => 1,
        Some(_) => 2,
    });
    let there = settling::sum(sources.iter().map(|source| source.left))?;
    if order.amount > there {
        return Err(too_much(format!("The customer's credit is {there}.")));
    }
    let about = (&sources[..], order.amount, on);
    lay_and_post(tx, act, (verb, &row), (&owed, about)).await?;
    Ok(row)
}

fn too_much(message: String) -> Error {
    Error::refused(ProblemCode::TooMuch, "amount", message)
}

/// What is left of a payment, to be laid against invoices.
#[derive(Clone, Debug, Serialize)]
pub struct AllocatePayment {
    #[serde(skip)]
    pub idempotency_key: String,
    pub payment_id: i64,
    pub parts: Vec<PaymentPart>,
}

/// Lays what is left of one payment against invoices of its customer, as of today, in a transaction that is open.
///
/// # Errors
/// `NotFound` for payment or invoice; `WrongState` for a payment of which nothing is left; `TooMuch` for more than is left,
/// or than an invoice owes; `PeriodClosed`.
pub async fn allocate(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    order: &AllocatePayment,
) -> Result<payment::Model> {
    let mut checks = Checks::new();
    if order.parts.is_empty() {
        checks.refuse(
            ProblemCode::Missing,
            "allocations",
            "Name at least one invoice.",
        );
    }
    super::check_parts(&mut checks, order.parts.iter());
    checks.finish()?;
    let row = store::get_payment(tx, "paymentId", order.payment_id).await?;
    let left = Source::of_payment(&row).left;
    if left == Cents::ZERO {
        let waits = match row.held_cents {
            0 => "",
            _ => {
                " What waits for the claims of an advice is laid by matching its rows (matchAdviceRow)."
            }
        };
        let message = format!("Nothing of {} is left.{waits}", row.number);
        return Err(Error::refused(
            ProblemCode::WrongState,
            "paymentId",
            message,
        ));
    }
    let on = shop::settings(tx).await?.day_of(act.at);
    books::check_open(tx, "", on).await?;
    lay_payment(tx, act, (verb, on), (&row, &order.parts)).await
}

/// Lays what is left of one payment against invoices of its customer, in a transaction that is open.
///
/// # Errors
/// `NotFound` for an invoice that is not this customer's; `TooMuch` for more than is left, or than an invoice owes;
/// those of `books::post`.
pub async fn lay_payment(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, on): (&'static str, NaiveDate),
    (row, parts): (&payment::Model, &[PaymentPart]),
) -> Result<payment::Model> {
    let about = (row.customer_id, Source::of_payment(row).left);
    let settlement = Settlement::as_told(tx, about, parts).await?;
    for (owed, amount) in &settlement.parts {
        let invoice = store::get_invoice(tx, "", owed.invoice_id).await?;
        let source = Source {
            left: *amount,
            ..Source::of_payment(row)
        };
        let about = (&[source][..], *amount, on);
        lay_and_post(tx, act, (verb, &invoice), (owed, about)).await?;
    }
    store::get_payment(tx, "", row.id).await
}

/// Credit to pay back.
#[derive(Clone, Debug, Serialize)]
pub struct RefundCredit {
    #[serde(skip)]
    pub idempotency_key: String,
    pub customer_id: i64,
    pub amount: Cents,
    pub method: PaymentMethod,
    pub reference: Option<String>,
    pub refunded_on: NaiveDate,
    /// The account at a bank it is paid from; the usual one when left out, also of the request's hash, as keys of before
    /// this field was there must still be known again.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bank_account_id: Option<i64>,
}

/// Pays a customer's credit back from the bank: free credit first, then deposits; each oldest first.
///
/// # Errors
/// `Forbidden`; `NotFound`; `TooMuch` for more than the credit there is; `ImpossibleDate` for a day to come, or before
/// the credit arose; `PeriodClosed`; `WrongState` for an account that is no bank's.
pub async fn refund_credit(act: &Act, order: RefundCredit) -> Result<refund::Model> {
    let staff_id = act.staff_with(Right::RefundCredit)?;
    let verb = Right::RefundCredit.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_refund(&tx, "", id).await;
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let mut checks = Checks::new();
    checks.positive("amount", order.amount);
    checks.not_after("refundedOn", order.refunded_on, today);
    checks.near("refundedOn", order.refunded_on, today);
    let reference = checks.text_if_any("reference", order.reference.as_deref(), LINE_MAX);
    checks.finish()?;
    let customer = customers::get_customer(&tx, "customerId", order.customer_id).await?;
    books::check_open(&tx, "refundedOn", order.refunded_on).await?;
    let bank = books::bank_account(&tx, "bankAccountId", order.bank_account_id).await?;
    let sources = to_refund(&tx, &order).await?;
    let row = refund::ActiveModel {
        number: Set(numbers::take(&tx, Series::Refund).await?),
        customer_id: Set(customer.id),
        method: Set(order.method),
        reference: Set(reference),
        refunded_on: Set(order.refunded_on),
        recorded_at: Set(act.at),
        recorded_by: Set(staff_id),
        amount_cents: Set(order.amount.0),
        bank_account_id: Set(Some(bank.id)),
        ..Default::default()
    };
    let row = row.insert(&tx).await?;
    take_out(&tx, &row, &sources).await?;
    let subject = Subject {
        kind: "refund",
        id: row.id,
    };
    let memo = format!("Refund {}", row.number);
    let entry = events::refund(
        RefundFrom::Deposits,
        AccountRef::Code(bank.code),
        order.amount,
    );
    settling::post(&tx, act, (subject, row.refunded_on, memo), entry).await?;
    audit::created(&tx, act, verb, subject, &row).await?;
    let title = format!("{}, {}", row.number, customer.name);
    search::index(&tx, subject, &title, &[&row.number, &customer.name]).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

/// The credit a refund is paid out of.
async fn to_refund(tx: &impl ConnectionTrait, order: &RefundCredit) -> Result<Vec<Source>> {
    let mut sources = store::sources(tx, order.customer_id).await?;
    sources.sort_by_key(|source| source.deposit_call_id.is_some());
    let there = settling::sum(sources.iter().map(|source| source.left))?;
    if order.amount > there {
        return Err(too_much(format!("The customer's credit is {there}.")));
    }
    if let Some(day) = store::refund_undone_on(tx, order.customer_id).await?
        && order.refunded_on < day
    {
        let message = format!("A refund was undone on {day}; pay credit back from that day on.");
        return Err(Error::refused(
            ProblemCode::ImpossibleDate,
            "refundedOn",
            message,
        ));
    }
    sources.retain(|source| source.on <= order.refunded_on);
    let then = settling::sum(sources.iter().map(|source| source.left))?;
    if order.amount > then {
        let message = format!("On {} the credit was only {then}.", order.refunded_on);
        return Err(Error::refused(
            ProblemCode::ImpossibleDate,
            "refundedOn",
            message,
        ));
    }
    Ok(sources)
}

async fn take_out(
    tx: &impl ConnectionTrait,
    row: &refund::Model,
    sources: &[Source],
) -> Result<()> {
    let mut rest = Cents(row.amount_cents);
    let mut parts = Vec::new();
    for source in sources {
        let part = rest.min(source.left);
        if part <= Cents::ZERO {
            continue;
        }
        rest = settling::less(rest, part)?;
        settling::take(tx, source, part).await?;
        parts.push(refund_part::ActiveModel {
            refund_id: Set(row.id),
            payment_id: Set(source.payment_id),
            credit_note_id: Set(source.credit_note_id),
            amount_cents: Set(part.0),
            ..Default::default()
        });
    }
    refund_part::Entity::insert_many(parts)
        .exec_without_returning(tx)
        .await?;
    Ok(())
}
