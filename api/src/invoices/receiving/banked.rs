//! Where the money of a payment is: waiting, or taken to an account at a bank.

use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::payment;
use sea_orm::{
    ActiveValue::Set, ColumnTrait, Condition, ConnectionTrait, EntityTrait, QueryFilter,
};

use crate::base::Result;

/// The account that payments were taken to, and the day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AtBank {
    pub account_id: i64,
    pub on: NaiveDate,
}

/// Notes that these payments were taken to a bank. Who calls posts the entry.
///
/// # Errors
/// Internal only.
pub async fn put_at_bank(
    tx: &impl ConnectionTrait,
    payment_ids: &[i64],
    place: AtBank,
) -> Result<()> {
    let change = payment::ActiveModel {
        bank_account_id: Set(Some(place.account_id)),
        banked_on: Set(Some(place.on)),
        ..Default::default()
    };
    let these = payment::Column::Id.is_in(payment_ids.iter().copied());
    write(tx, change, Condition::all().add(these)).await
}

/// Notes that these payments wait again from this day on. Who calls posts the entry.
///
/// # Errors
/// Internal only.
pub async fn wait_again(
    tx: &impl ConnectionTrait,
    payment_ids: &[i64],
    from: NaiveDate,
) -> Result<()> {
    let change = payment::ActiveModel {
        bank_account_id: Set(None),
        banked_on: Set(None),
        waits_again_from: Set(Some(from)),
        ..Default::default()
    };
    let these = payment::Column::Id.is_in(payment_ids.iter().copied());
    write(tx, change, Condition::all().add(these)).await
}

/// Notes of the payments that fit `which` that entries by hand took them to a bank. Nothing is to be posted for it.
///
/// # Errors
/// Internal only.
pub async fn mark_banked_before(
    tx: &impl ConnectionTrait,
    which: Condition,
    (place, at): (AtBank, DateTime<Utc>),
) -> Result<()> {
    let change = payment::ActiveModel {
        bank_account_id: Set(Some(place.account_id)),
        banked_on: Set(Some(place.on)),
        banked_before_at: Set(Some(at)),
        ..Default::default()
    };
    write(tx, change, which).await
}

/// Takes that note off these payments: they wait as they did.
///
/// # Errors
/// Internal only.
pub async fn unmark_banked_before(tx: &impl ConnectionTrait, payment_ids: &[i64]) -> Result<()> {
    let change = payment::ActiveModel {
        bank_account_id: Set(None),
        banked_on: Set(None),
        banked_before_at: Set(None),
        ..Default::default()
    };
    let these = payment::Column::Id.is_in(payment_ids.iter().copied());
    write(tx, change, Condition::all().add(these)).await
}

async fn write(
    tx: &impl ConnectionTrait,
    change: payment::ActiveModel,
    which: Condition,
) -> Result<()> {
    payment::Entity::update_many()
        .set(change)
        .filter(which)
        .exec(tx)
        .await?;
    Ok(())
}
