//! Refunds undone: one that was typed wrongly, or a check of ours that nobody cashed.
//!
//! What stays true: the parts of a refund add up to its amount while it stands, and to nothing once it is undone; what it
//! gave back is the customer's credit again, in the payments and credit notes it came out of.

use chrono::NaiveDate;
use nameplate_entities::{invoice, refund, refund_part};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait};

use crate::base::audit::{self, Subject};
use crate::base::{Act, Error, ProblemCode, Result};
use crate::books;
use crate::invoices::chasing::undoing::{self, ComesIn};
use crate::invoices::store::{self, Source};

use super::{credit, settling};

/// Undoes a refund in the open transaction: rows of the other sign, its entry is reversed.
///
/// # Errors
/// `WrongState` at `refundId` for one undone already; `ImpossibleDate` at `reversedOn` for a day before it was paid;
/// `PeriodClosed`.
pub async fn undo_refund(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    (before, on, reason): (&refund::Model, NaiveDate, String),
) -> Result<refund::Model> {
    let refused = |code, path: &str, message: String| Err(Error::refused(code, path, message));
    if let Some(day) = before.reversed_on {
        let message = format!("{} was undone on {day}.", before.number);
        return refused(ProblemCode::WrongState, "refundId", message);
    }
    if on < before.refunded_on {
        let message = format!("{} is of {}.", before.number, before.refunded_on);
        return refused(ProblemCode::ImpossibleDate, "reversedOn", message);
    }
    let parts = store::parts_of_refund(tx, before.id).await?;
    let claims = claims(tx, &parts).await?;
    if let Some((claim, _)) = claims.iter().find(|(claim, _)| on < claim.issued_on) {
        let message = format!(
            "{} asks for it again since {}.",
            claim.number, claim.issued_on
        );
        return refused(ProblemCode::ImpossibleDate, "reversedOn", message);
    }
    books::check_open(tx, "reversedOn", on).await?;
    give_back(tx, before, &parts).await?;
    let entry = store::entry_of(tx, "refund", before.id).await?;
    let memo = format!("Refund {} undone", before.number);
    books::reverse(tx, act, ("refundId", &entry), (on, memo)).await?;
    let after = refund::ActiveModel {
        id: Set(before.id),
        reversed_on: Set(Some(on)),
        reversed_because: Set(Some(reason)),
        ..Default::default()
    };
    let after = after.update(tx).await?;
    settle(tx, act, (verb, on), claims).await?;
    let subject = Subject {
        kind: "refund",
        id: after.id,
    };
    audit::record(tx, act, verb, subject, (Some(before), Some(&after))).await?;
    Ok(after)
}

/// Puts the refund's parts back where they came from.
async fn give_back(
    tx: &impl ConnectionTrait,
    row: &refund::Model,
    parts: &[refund_part::Model],
) -> Result<()> {
    let mut rows = Vec::new();
    for part in parts {
        let negative = Cents(part.amount_cents)
            .checked_neg()
            .ok_or_else(|| Error::internal("a part of a refund that has no negative"))?;
        let source = Source {
            payment_id: part.payment_id,
            credit_note_id: part.credit_note_id,
            on: row.refunded_on,
            left: Cents::ZERO,
            deposit_call_id: None,
        };
        settling::take(tx, &source, negative).await?;
        rows.push(refund_part::ActiveModel {
            refund_id: Set(row.id),
            payment_id: Set(part.payment_id),
            credit_note_id: Set(part.credit_note_id),
            amount_cents: Set(negative.0),
            ..Default::default()
        });
    }
    refund_part::Entity::insert_many(rows)
        .exec_without_returning(tx)
        .await?;
    Ok(())
}

/// The invoices that ask again for what the refund took out of payments that came back, and how much each part was.
async fn claims(
    tx: &impl ConnectionTrait,
    parts: &[refund_part::Model],
) -> Result<Vec<(invoice::Model, Source)>> {
    let mut claims = Vec::new();
    for part in parts {
        let Some(payment_id) = part.payment_id else {
            continue;
        };
        if let Some(claim) = store::claim_on(tx, payment_id).await? {
            let source = Source {
                payment_id: Some(payment_id),
                credit_note_id: None,
                on: claim.issued_on,
                left: Cents(part.amount_cents),
                deposit_call_id: None,
            };
            claims.push((claim, source));
        }
    }
    Ok(claims)
}

/// What was not paid back after all is not owed again: it is laid against the invoice that asked for it, and what was
/// written off of that is undone as far.
async fn settle(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, on): (&'static str, NaiveDate),
    claims: Vec<(invoice::Model, Source)>,
) -> Result<()> {
    let staff_id = act.staff_id();
    let staff_id = staff_id.ok_or_else(|| Error::internal("a refund undone by nobody"))?;
    for (claim, source) in claims {
        let comes_in = ComesIn {
            customer_id: claim.customer_id,
            on,
            what: "A refund that was undone",
            amounts: vec![(claim.id, source.left)],
        };
        undoing::recover(tx, act, (verb, staff_id), comes_in).await?;
        let owed = store::receivable_of(tx, claim.id).await?;
        let owed = owed.ok_or_else(|| Error::internal("an invoice that nobody owes"))?;
        let amount = source.left.min(Cents(owed.open_cents));
        if amount > Cents::ZERO {
            let about = (&owed, (&[source][..], amount, on));
            credit::lay_and_post(tx, act, (verb, &claim), about).await?;
        }
    }
    Ok(())
}
