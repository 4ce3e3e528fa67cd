//! Credit notes: a whole invoice, or so many of a line, or an amount off its price.
//!
//! What is open on the invoice is settled first; the rest becomes the customer's credit.

use nameplate_entities::kinds::ReceivableKind;
use nameplate_entities::{credit_left, invoice, receivable};
use nameplate_rules::books::events::{self, DocumentAmounts, Owed, ShortfallBearer};
use nameplate_rules::invoice::mirror;
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};
use serde::Serialize;

use crate::base::check::LINE_MAX;
use crate::base::numbers::{self, Series};
use crate::base::{Act, Checks, Error, ProblemCode, Result};
use crate::{customers, estimates, shop};

use super::chasing::undoing::{self, ComesIn};
use super::content::{self, Content};
use super::dated::{self, Dated};
use super::issuing::certificates;
use super::issuing::writing::{self, Issue, Rows, post_if_any, tell};
use super::receiving::settling;
use super::store::{self, Source};

mod part;

/// What a credit note gives back of one line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct CreditedLine {
    /// Its place on the invoice, from 1.
    pub position: i32,
    /// So many; without this and an amount, all that is left.
    pub quantity: Option<Decimal>,
    /// So much off its price, before tax.
    pub amount_off: Option<Cents>,
}

/// An invoice to take back, in whole or in part.
#[derive(Clone, Debug, Serialize)]
pub struct CreditInvoice {
    #[serde(skip)]
    pub idempotency_key: String,
    pub invoice_id: i64,
    pub reason: String,
    /// Which lines; all that is left of the invoice when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lines: Option<Vec<CreditedLine>>,
}

/// Takes an invoice back by its mirror image, or a part of it, in the open transaction. Whether a claim stands on it is
/// asked above.
///
/// What is open on it is settled; what was paid on it becomes the customer's credit.
///
/// # Errors
/// `NotFound` for invoice or line; `WrongState` for a credit note or an invoice taken back already; `TooMuch` for more than
/// was billed; `ImpossibleDate` for a day to come, or before the invoice was issued or opened again; `PeriodClosed`.
pub async fn give_back(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, staff_id): (&'static str, i64),
    Dated { order, on }: Dated<CreditInvoice>,
) -> Result<invoice::Model> {
    let mut checks = Checks::new();
    let reason = checks.text("reason", &order.reason, LINE_MAX);
    part::check(&mut checks, order.lines.as_deref());
    checks.finish()?;
    let settings = shop::settings(tx).await?;
    let original = store::get_invoice(tx, "invoiceId", order.invoice_id).await?;
    let told = ("issuedOn", on, settings.day_of(act.at));
    let earliest = store::open_since(tx, &original).await?;
    let issued_on = dated::day(tx, told, Some(earliest)).await?;
    let owed = to_credit(tx, &original).await?;
    let issue = Issue {
        settings: &settings,
        issued_on,
        staff_id,
        verb,
    };
    let given = part::given(tx, &original, order.lines.as_deref()).await?;
    let amounts = given.rows.document_amounts_of(original.payer)?;
    let gives_back = owed_in(&amounts)?;
    // What was written off and not paid must not become the customer's credit: it is owed again, and settled first.
    let comes_in = ComesIn {
        customer_id: original.customer_id,
        on: issued_on,
        what: "A credit note",
        amounts: vec![(original.id, gives_back)],
    };
    undoing::recover(tx, act, (verb, staff_id), comes_in).await?;
    let owed = store::receivable_of(tx, original.id).await?.unwrap_or(owed);
    if gives_back > Cents(owed.open_cents) {
        must_not_be_moved(tx, &original).await?;
    }
    let row = write(tx, act, &issue, (&original, given.rows, reason)).await?;
    let settled = settle(tx, act, &owed, &row).await?;
    if given.leaves_nothing {
        take_back(tx, act, (verb, &original)).await?;
    }
    let settled = Owed::by(store::debtor(original.payer), settled);
    let entry = events::credit_note_settling(&amounts, settled);
    let memo = format!("Credit note {} for {}", row.number, original.number);
    post_if_any(tx, act, &row, (memo, entry)).await?;
    let customer = customers::get_customer(tx, "", row.customer_id).await?;
    tell(tx, act, &row, &customer).await?;
    Ok(row)
}

/// Writes the credit note: what is given back, with the other sign.
async fn write(
    tx: &impl ConnectionTrait,
    act: &Act,
    issue: &Issue<'_>,
    (original, given, reason): (&invoice::Model, Rows, String),
) -> Result<invoice::Model> {
    let header = invoice::ActiveModel {
        kind: Set(ReceivableKind::CreditNote),
        number: Set(numbers::take(tx, Series::CreditNote).await?),
        call_id: Set(original.call_id),
        customer_id: Set(original.customer_id),
        payer: Set(original.payer),
        warranty_payer_id: Set(original.warranty_payer_id),
        moved_from_invoice_id: Set(original.moved_from_invoice_id),
        estimate_revision_id: Set(original.estimate_revision_id),
        credits_invoice_id: Set(Some(original.id)),
        tax_jurisdiction_id: Set(original.tax_jurisdiction_id),
        division_id: Set(original.division_id),
        service_address_id: Set(original.service_address_id),
        due_on: Set(issue.issued_on),
        reason: Set(Some(reason.clone())),
        ..Default::default()
    };
    let words = Content {
        kind: ReceivableKind::CreditNote,
        corrects: Some(original.number.clone()),
        reason: Some(reason),
        ..Content::of(original)?
    };
    let draft = Content {
        lines: given.lines.iter().map(content::line).collect(),
        tax_levels: writing::tax_levels(tx, &given.taxes).await?,
        ..words.clone()
    }
    .draft()?;
    let image = mirror(&draft).map_err(|refusal| Error::caused("mirror", refusal))?;
    let rows = given.mirrored(&image)?;
    writing::write(tx, act, issue, (header, rows, words)).await
}

/// What is open on the invoice, if there is something left of it to give back.
async fn to_credit(
    tx: &impl ConnectionTrait,
    original: &invoice::Model,
) -> Result<receivable::Model> {
    let refused = |message: String| Error::refused(ProblemCode::WrongState, "invoiceId", message);
    if original.kind == ReceivableKind::CreditNote {
        let message = format!("{} is a credit note itself.", original.number);
        return Err(refused(message));
    }
    if original.returned_payment_id.is_some() {
        return Err(refused(format!(
            "{} asks for money that was paid back; it is no sale to take back. Write it off if it is not expected.",
            original.number
        )));
    }
    if original.moved_from_invoice_id.is_some() {
        return Err(refused(format!(
            "{} asks for what a warranty payer left unpaid; it is no sale to take back. Undo that on the claim.",
            original.number
        )));
    }
    let owed = store::receivable_of(tx, original.id)
        .await?
        .ok_or_else(|| Error::internal("an invoice without its receivable"))?;
    if owed.taken_back {
        let credits = store::credits_of(tx, original.id).await?;
        let by: Vec<&str> = credits.iter().map(|row| row.number.as_str()).collect();
        return Err(refused(format!(
            "{} was taken back already by {}.",
            original.number,
            by.join(", ")
        )));
    }
    Ok(owed)
}

/// Refuses to give back of a warranty payer's invoice what the customer was asked for in its place.
async fn must_not_be_moved(tx: &impl ConnectionTrait, original: &invoice::Model) -> Result<()> {
    let moves = store::standing_moves(tx, original.id).await?;
    let Some(moved) = moves.first().and_then(|row| row.moved_to_invoice_id) else {
        return Ok(());
    };
    let moved = store::get_invoice(tx, "", moved).await?;
    Err(Error::refused(
        ProblemCode::WrongState,
        "invoiceId",
        format!(
            "{} asks the customer for a part of {}. Undo that on the claim first.",
            moved.number, original.number
        ),
    ))
}

fn owed_in(amounts: &DocumentAmounts) -> Result<Cents> {
    let owed = amounts.owed();
    owed.map_err(|refusal| Error::caused("sum of a credit note", refusal))
}

/// Takes back an invoice that asks a customer for what a warranty payer left unpaid, of which nothing is settled
/// any more: the payer owes it again.
///
/// # Errors
/// `PeriodClosed`; internal.
pub async fn take_back_moved(
    tx: &impl ConnectionTrait,
    act: &Act,
    issue: &Issue<'_>,
    (moved, reason): (&invoice::Model, String),
) -> Result<invoice::Model> {
    let owed = store::receivable_of(tx, moved.id).await?;
    let owed = owed.ok_or_else(|| Error::internal("an invoice without its receivable"))?;
    let given = part::given(tx, moved, None).await?;
    let row = write(tx, act, issue, (moved, given.rows, reason)).await?;
    let amount = settle(tx, act, &owed, &row).await?;
    take_back(tx, act, (issue.verb, moved)).await?;
    let entry = events::claim_short_paid(ShortfallBearer::Customer, amount);
    let memo = format!("Credit note {} for {}", row.number, moved.number);
    let entry = entry.map(|entry| Some(entry.reversed()));
    post_if_any(tx, act, &row, (memo, entry)).await?;
    let customer = customers::get_customer(tx, "", row.customer_id).await?;
    tell(tx, act, &row, &customer).await?;
    Ok(row)
}

/// Lays the credit note against what is open on the invoice; gives how much that was. The rest is kept as credit.
async fn settle(
    tx: &impl ConnectionTrait,
    act: &Act,
    owed: &receivable::Model,
    credit: &invoice::Model,
) -> Result<Cents> {
    let whole = Cents(credit.total_cents)
        .checked_neg()
        .ok_or_else(|| Error::internal("a credit note's sum is too large"))?;
    let left = credit_left::ActiveModel {
        credit_note_id: Set(credit.id),
        customer_id: Set(credit.customer_id),
        arose_on: Set(credit.issued_on),
        left_cents: Set(whole.0),
    };
    left.insert(tx).await?;
    let source = Source {
        payment_id: None,
        credit_note_id: Some(credit.id),
        on: credit.issued_on,
        left: whole,
        deposit_call_id: None,
    };
    let settled = whole.min(Cents(owed.open_cents));
    settling::lay(tx, act, owed, (&[source], settled, credit.issued_on)).await?;
    Ok(settled)
}

/// What is taken back in whole no longer stands: its certificate is given back, and its work can be billed again.
async fn take_back(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, original): (&'static str, &invoice::Model),
) -> Result<()> {
    receivable::ActiveModel {
        invoice_id: Set(original.id),
        taken_back: Set(true),
        ..Default::default()
    }
    .update(tx)
    .await?;
    certificates::give_back(tx, act, (verb, original)).await?;
    // Of a call that several payers share, the others' invoices may stand; then only this share can be billed again.
    if let Some(division) = original.division_id
        && store::stands(tx, division).await?
    {
        return Ok(());
    }
    match original.estimate_revision_id {
        Some(revision) => estimates::mark_billing(tx, act, verb, (revision, true)).await,
        None => Ok(()),
    }
}
