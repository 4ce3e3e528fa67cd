//! Refunds undone: one that was typed wrongly, or a check of ours that nobody cashed.
//!
//! What stays true: the parts of a refund add up to its amount while it stands, and to nothing once it is undone; what it
//! gave back is the customer's credit again, in the payments and credit notes it came out of.

use chrono::NaiveDate;
use nameplate_entities::{refund, refund_part};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait};

use crate::base::audit::{self, Subject};
use crate::base::{Act, Error, ProblemCode, Result};
use crate::books;
use crate::invoices::store::{self, Source};

use super::settling;

/// Undoes a refund in the open transaction: rows of the other sign, its entry is reversed.
///
/// # Errors
/// `WrongState` at `refundId` for one undone already, or one that an invoice asks for again; `ImpossibleDate` at `reversedOn` for a day before it was paid;
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
    if let Some(claim) = store::claim_of_refund(tx, before.id).await? {
        let message = format!(
            "{} was paid out of money that came back, and {claim} asks for it again: credit that invoice first.",
            before.number
        );
        return refused(ProblemCode::WrongState, "refundId", message);
    }
    if on < before.refunded_on {
        let message = format!("{} is of {}.", before.number, before.refunded_on);
        return refused(ProblemCode::ImpossibleDate, "reversedOn", message);
    }
    books::check_open(tx, "reversedOn", on).await?;
    give_back(tx, before).await?;
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
    let subject = Subject {
        kind: "refund",
        id: after.id,
    };
    audit::record(tx, act, verb, subject, (Some(before), Some(&after))).await?;
    Ok(after)
}

/// Puts the refund's parts back where they came from.
async fn give_back(tx: &impl ConnectionTrait, row: &refund::Model) -> Result<()> {
    let mut rows = Vec::new();
    for part in store::parts_of_refund(tx, row.id).await? {
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
