//! The rest of a warranty payer's invoice: what it will not pay.
//!
//! Either the shop *bears* it, as a write-off of its own kind, or it is *moved* to the customer of the call: an invoice of
//! its own asks the customer for it, which is no sale, as the work was sold by the payer's invoice. Both are taken back
//! when an appeal is won. What must stay true: what was borne and moved never exceeds what the payer left open; what is
//! moved leaves claims receivable and is owed by the customer, to the cent, while it stands.
//!
//! Who calls has the right, the open transaction and the claim; these functions know only invoices.

mod bearing;
mod moving;

pub use bearing::bear_rest;
pub use moving::move_rest;

use chrono::NaiveDate;
use nameplate_entities::kinds::{Payer, ReceivableKind, WriteOffKind};
use nameplate_entities::{invoice, write_off};
use nameplate_rules::money::Cents;
use sea_orm::ConnectionTrait;

use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result};
use crate::shop;

use super::chasing::undoing;
use super::{dated, store};

/// What is left unpaid, as it was told.
struct Rest {
    amount: Cents,
    reason: String,
    on: NaiveDate,
    staff_id: i64,
}

impl Rest {
    /// Holds what was told against the payer's invoice.
    ///
    /// # Errors
    /// `WrongState` for another invoice; `Missing` at `reason`; `NegativeMoney` or `TooMuch` at `amount`; at `on`
    /// `ImpossibleDate` and `PeriodClosed`.
    async fn of(
        tx: &impl ConnectionTrait,
        act: &Act,
        invoice: &invoice::Model,
        (amount, reason, on): (Cents, &str, NaiveDate),
    ) -> Result<Self> {
        must_be_claimed(invoice)?;
        let mut checks = Checks::new();
        let reason = checks.text("reason", reason, LINE_MAX);
        checks.positive("amount", amount);
        checks.finish()?;
        let owed = store::receivable_of(tx, invoice.id).await?;
        let open = owed.map_or(Cents::ZERO, |owed| Cents(owed.open_cents));
        if amount > open {
            let message = format!("Only {open} is open on {}.", invoice.number);
            return Err(Error::refused(ProblemCode::TooMuch, "amount", message));
        }
        let today = shop::settings(tx).await?.day_of(act.at);
        let earliest = store::open_since(tx, invoice).await?;
        Ok(Self {
            on: dated::day(tx, ("on", Some(on), today), Some(earliest)).await?,
            amount,
            reason,
            staff_id: staff(act)?,
        })
    }
}

/// That a warranty payer owes this invoice.
fn must_be_claimed(invoice: &invoice::Model) -> Result<()> {
    if invoice.payer == Payer::WarrantyPayer && invoice.kind == ReceivableKind::Invoice {
        return Ok(());
    }
    let message = format!("{} is no invoice to a warranty payer.", invoice.number);
    Err(Error::refused(ProblemCode::WrongState, "", message))
}

fn staff(act: &Act) -> Result<i64> {
    let id = act.staff_id();
    id.ok_or_else(|| Error::internal("a rest settled by nobody"))
}

/// Whether the shop bears something of a payer's invoice.
///
/// # Errors
/// Internal only.
pub async fn is_rest_borne(tx: &impl ConnectionTrait, invoice: &invoice::Model) -> Result<bool> {
    Ok(!borne(tx, invoice).await?.is_empty())
}

async fn borne(
    tx: &impl ConnectionTrait,
    invoice: &invoice::Model,
) -> Result<Vec<write_off::Model>> {
    let mut borne = store::standing_write_offs(tx, [invoice.id]).await?;
    borne.retain(|row| row.kind == WriteOffKind::ClaimShortfall);
    Ok(borne)
}

/// Takes back all that was borne or moved of a payer's invoice: the payer owes it again. What the customer paid of what was
/// moved is the customer's credit.
///
/// # Errors
/// `WrongState` for an invoice of which nothing was borne or moved; `Missing` at `reason`; at `on` `ImpossibleDate` for a
/// day to come or before it was borne, moved or settled, and `PeriodClosed`.
pub async fn undo_rest(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    invoice: &invoice::Model,
    reason: &str,
    on: NaiveDate,
) -> Result<()> {
    must_be_claimed(invoice)?;
    let mut checks = Checks::new();
    let reason = checks.text("reason", reason, LINE_MAX);
    checks.finish()?;
    let borne = borne(tx, invoice).await?;
    let moves = store::standing_moves(tx, invoice.id).await?;
    let days = borne.iter().map(|row| row.written_off_on);
    let latest = days.chain(moves.iter().map(|row| row.applied_on)).max();
    let Some(latest) = latest else {
        let message = format!("Nothing of {} was borne or moved.", invoice.number);
        return Err(Error::refused(ProblemCode::WrongState, "", message));
    };
    let settings = shop::settings(tx).await?;
    let told = ("on", Some(on), settings.day_of(act.at));
    let why = format!("A rest of {} was settled on {latest}.", invoice.number);
    let on = dated::day(tx, told, Some((latest, why))).await?;
    let by = (verb, staff(act)?);
    for row in &borne {
        undoing::undo_whole(tx, act, by, (row, invoice, on, reason.as_str())).await?;
    }
    for row in &moves {
        moving::undo(tx, act, (&settings, by), (row, on, reason.as_str())).await?;
    }
    Ok(())
}
