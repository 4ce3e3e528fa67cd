//! A claim and its invoice ask the same: no claimed invoice is credited, and no claim goes out for less than its invoice.

use nameplate_entities::{claim, invoice};
use nameplate_rules::claims::ClaimStep;
use nameplate_rules::money::Cents;
use sea_orm::ConnectionTrait;

use super::super::store;
use super::wrong_state;
use crate::base::{Act, Error, Result};
use crate::invoices::{self, CreditInvoice, Dated};

/// Takes an invoice back by its mirror image, or a part of it, while no claim stands on it; in the open transaction.
///
/// What is open on it is settled; what was paid on it becomes the customer's credit.
///
/// # Errors
/// `NotFound` for invoice or line; `WrongState` for a claimed invoice, a credit note or an invoice taken back
/// already; `TooMuch` for more than was billed; `ImpossibleDate` for a day to come, or before the invoice was issued or
/// opened again; `PeriodClosed`.
pub async fn give_back(
    tx: &impl ConnectionTrait,
    act: &Act,
    who: (&'static str, i64),
    dated: Dated<CreditInvoice>,
) -> Result<invoice::Model> {
    if let Some(claim) = store::of_invoice(tx, dated.order.invoice_id).await? {
        return Err(claimed(&claim));
    }
    invoices::give_back(tx, act, who, dated).await
}

fn claimed(claim: &claim::Model) -> Error {
    let message = format!(
        "{} asks a warranty payer for this invoice; take that claim back first (voidClaim).",
        claim.number
    );
    wrong_state("invoiceId", message)
}

/// Refuses to let a claim go out whose invoice was taken back, or that is not open as it should be: all of it before the
/// claim went out, something of it later. What was billed to the customer or borne meanwhile may be disputed all the same.
///
/// # Errors
/// `WrongState` at `claimId`.
pub async fn must_ask_for_all(
    tx: &impl ConnectionTrait,
    (claim, number): (&claim::Model, &str),
    step: ClaimStep,
) -> Result<()> {
    if store::is_taken_back(tx, claim.invoice_id).await? {
        let message = format!(
            "Invoice {number} was taken back. Take {} back, too (voidClaim), and claim what is billed instead.",
            claim.number
        );
        return Err(wrong_state("claimId", message));
    }
    let balance = store::balance(tx, claim).await?;
    let open = balance.open();
    let open = open.map_err(|error| Error::caused("what is open of a claim", error))?;
    if claim.submitted_on.is_some() {
        let is_disputed = step == ClaimStep::Appeal && balance.written_down > Cents::ZERO;
        if open > Cents::ZERO || is_disputed {
            return Ok(());
        }
        let message = format!("Nothing of claim {} is open.", claim.number);
        return Err(wrong_state("claimId", message));
    }
    if open == balance.claimed {
        return Ok(());
    }
    let message = format!(
        "{} asks for {}, and only {open} of invoice {number} is open. Take off what settles the invoice, or take the claim \
         back (voidClaim).",
        claim.number, balance.claimed
    );
    Err(wrong_state("claimId", message))
}
