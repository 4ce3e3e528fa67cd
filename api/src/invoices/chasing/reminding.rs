//! Reminders of what is overdue: by the shop's plan, once each, never of what is paid or disputed. Of customers without an
//! e-mail address the shop is told.

use chrono::{Days, NaiveDate};
use nameplate_entities::{receivable, receivable_terms};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};

use crate::base::audit;
use crate::base::outbox::{self, Addressee, Payload};
use crate::base::{Act, Result, wording};
use crate::invoices::issuing::writing;
use crate::invoices::store;
use crate::{customers, estimates, shop};

use super::terms;

/// Invoices looked at in one transaction.
const AT_ONCE: u64 = 50;
/// The act as the audit log names it.
const VERB: &str = "remindOverdue";

/// The day after `after` on which an invoice due on this day is to be looked at for a reminder.
pub fn next_on(
    terms: &receivable_terms::Model,
    due_on: NaiveDate,
    after: Option<NaiveDate>,
) -> Option<NaiveDate> {
    let days = [
        terms.overdue_first_days,
        terms.overdue_second_days,
        terms.overdue_third_days,
    ];
    days.into_iter()
        .filter_map(|days| u64::try_from(days).ok())
        .filter(|days| *days > 0)
        .filter_map(|days| due_on.checked_add_days(Days::new(days)))
        .filter(|day| after.is_none_or(|after| *day > after))
        .min()
}

/// Queues the reminders that are due; gives how many. Runs every hour.
///
/// # Errors
/// Internal only.
pub async fn remind_overdue(act: &Act) -> Result<u64> {
    let mut sent = 0;
    loop {
        let tx = act.app.db.write().await?;
        let today = shop::settings(&tx).await?.day_of(act.at);
        let rows = store::to_remind(&tx, today, AT_ONCE).await?;
        if rows.is_empty() {
            return Ok(sent);
        }
        let terms = terms::terms(&tx).await?;
        for before in rows {
            let next = next_on(&terms, before.due_on, Some(today));
            if remind(&tx, act, before, next).await? {
                sent += 1;
            }
        }
        tx.commit().await?;
        act.app.mail_bell.notify_one();
    }
}

/// Reminds of one invoice, if it is still owed and its customer can be reached, and notes when to look again.
async fn remind(
    tx: &impl ConnectionTrait,
    act: &Act,
    before: receivable::Model,
    next: Option<NaiveDate>,
) -> Result<bool> {
    let customer = customers::get_customer(tx, "", before.customer_id).await?;
    let is_owed = before.open_cents > 0 && before.disputed_on.is_none();
    let to = customer.email.as_ref().filter(|_| is_owed);
    let subject = writing::subject(before.invoice_id);
    let number = before.reminders_sent.saturating_add(1);
    if let Some(email) = &to {
        let to = Addressee {
            email: (*email).clone(),
            name: customer.name.clone(),
        };
        let payload = Payload::Overdue {
            invoice_id: before.invoice_id,
            number,
        };
        outbox::enqueue(tx, act, &to, subject, &payload).await?;
    } else if is_owed {
        tell_the_shop(tx, act, (&before, &customer.name, customer.phone_e164)).await?;
    }
    let after = receivable::ActiveModel {
        invoice_id: Set(before.invoice_id),
        next_reminder_on: Set(next),
        reminders_sent: Set(if to.is_some() {
            number
        } else {
            before.reminders_sent
        }),
        ..Default::default()
    };
    let after = after.update(tx).await?;
    audit::record(tx, act, VERB, subject, (Some(&before), Some(&after))).await?;
    Ok(to.is_some())
}

/// A customer without an e-mail address is called or written to; the shop is told once for each reminder of the plan.
async fn tell_the_shop(
    tx: &impl ConnectionTrait,
    act: &Act,
    (owed, name, phone): (&receivable::Model, &str, Option<String>),
) -> Result<()> {
    let settings = shop::settings(tx).await?;
    let invoice = store::get_invoice(tx, "", owed.invoice_id).await?;
    let reach = phone.map_or_else(
        || "There is no telephone number either; write a letter.".to_owned(),
        |phone| format!("Call {}.", wording::phone(&phone)),
    );
    let notice = Payload::Notice {
        headline: format!("{name} owes {} and has no e-mail address", invoice.number),
        sentences: vec![
            format!(
                "{} {} of invoice {} was due on {}. A reminder is due today, but there is no e-mail address to send it to.",
                settings.row.currency,
                Cents(owed.open_cents),
                invoice.number,
                wording::day(owed.due_on)
            ),
            reach,
        ],
    };
    for to in estimates::office(tx, &settings).await? {
        outbox::enqueue(tx, act, &to, writing::subject(invoice.id), &notice).await?;
    }
    Ok(())
}

/// Why a reminder that waits to be sent is over; none while it should go.
///
/// # Errors
/// Internal only.
pub async fn moot(act: &Act, invoice_id: i64) -> Result<Option<&'static str>> {
    let owed = store::receivable_of(act.app.db.read(), invoice_id).await?;
    Ok(match owed {
        Some(row) if row.open_cents > 0 && row.disputed_on.is_none() => None,
        Some(row) if row.open_cents > 0 => Some("The invoice is disputed."),
        _ => Some("The invoice is settled."),
    })
}
