//! A rest that the shop bears.

use chrono::NaiveDate;
use nameplate_entities::kinds::WriteOffKind;
use nameplate_entities::{invoice, write_off};
use nameplate_rules::money::Cents;
use sea_orm::ConnectionTrait;

use crate::base::{Act, Result};
use crate::invoices::chasing::writing_off::{self, Loss};

use super::Rest;

/// The shop bears so much of what is open on a payer's invoice. Where the shop's terms say that the place gives relief,
/// the share of the sales tax in it goes back by level; otherwise all of it is the shop's shortfall.
///
/// # Errors
/// `WrongState` for an invoice that no warranty payer owes; `Missing` at `reason`; `NegativeMoney` or `TooMuch` at
/// `amount`; at `on` `ImpossibleDate` and `PeriodClosed`.
pub async fn bear_rest(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    invoice: &invoice::Model,
    amount: Cents,
    reason: &str,
    on: NaiveDate,
) -> Result<write_off::Model> {
    let rest = Rest::of(tx, act, invoice, (amount, reason, on)).await?;
    let loss = Loss {
        kind: WriteOffKind::ClaimShortfall,
        amount: rest.amount,
        reason: rest.reason,
        on: rest.on,
    };
    writing_off::lose(tx, act, (verb, rest.staff_id), (invoice, loss)).await
}
