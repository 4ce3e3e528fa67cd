//! Issuing invoices and taking them back.

use chrono::NaiveDate;
use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::{CallState, EstimateState, Payer, ReceivableKind};
use nameplate_entities::{allocation, customer, invoice, invoice_line, invoice_tax, receivable};
use nameplate_rules::books::events::{self, DocumentAmounts, RevenueAmount, TaxAmount};
use nameplate_rules::invoice::{InvoiceDraft, Totals, due_on, mirror};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait};
use serde::Serialize;

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::numbers::{self, Series};
use crate::base::outbox::{self, Addressee, Payload};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency, search};
use crate::books::{self, NewEntry};
use crate::estimates::{self, Accepted};
use crate::pricing;
use crate::shop::{self, Settings};
use crate::customers;

use super::content::{self, Content};
use super::parties;
use super::store::{self, Billed};

/// A call to bill.
#[derive(Clone, Debug, Serialize)]
pub struct IssueInvoice {
    #[serde(skip)]
    pub idempotency_key: String,
    pub call_id: i64,
}

/// Bills a call's accepted estimate, line for line.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a call that is cancelled, has no accepted estimate or is billed
/// already; `PeriodClosed`.
pub async fn issue_invoice(act: &Act, order: IssueInvoice) -> Result<invoice::Model> {
    let staff_id = act.staff_with(Right::IssueInvoice)?;
    let verb = Right::IssueInvoice.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_invoice(&tx, "", id).await;
    }
    let billed = store::billed(&tx, "callId", order.call_id).await?;
    let accepted = to_bill(&tx, &billed).await?;
    let settings = shop::settings(&tx).await?;
    let issued_on = settings.day_of(act.at);
    books::check_open(&tx, "", issued_on).await?;
    let issue = Issue {
        settings: &settings,
        issued_on,
        staff_id,
        verb,
    };
    let header = invoice::ActiveModel {
        kind: Set(ReceivableKind::Invoice),
        number: Set(numbers::take(&tx, Series::Invoice).await?),
        call_id: Set(Some(billed.call.id)),
        customer_id: Set(billed.customer.id),
        payer: Set(Payer::Customer),
        estimate_revision_id: Set(Some(accepted.revision.id)),
        tax_jurisdiction_id: Set(accepted.revision.tax_jurisdiction_id),
        due_on: Set(falls_due(&settings, &billed.customer, issued_on)?),
        ..Default::default()
    };
    let rows = Rows::of_estimate(&accepted);
    let words = parties::words(&settings, &billed, &accepted);
    let row = write(&tx, act, &issue, (header, rows, words)).await?;
    receivable::ActiveModel {
        invoice_id: Set(row.id),
        customer_id: Set(row.customer_id),
        due_on: Set(row.due_on),
        open_cents: Set(row.total_cents),
    }
    .insert(&tx)
    .await?;
    if accepted.revision.state != EstimateState::Invoiced {
        estimates::mark_invoiced(&tx, act, &accepted.revision).await?;
    }
    let entry = events::invoice_issued(&amounts_of(&tx, &row).await?);
    let memo = format!("Invoice {}", row.number);
    post_if_any(&tx, act, &row, (memo, entry)).await?;
    tell(&tx, act, &row, &billed.customer).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(row)
}

/// The accepted estimate of a call that may be billed now.
///
/// One whose invoice was taken back may be billed again.
async fn to_bill(tx: &impl ConnectionTrait, billed: &Billed) -> Result<Accepted> {
    let refused =
        |message: String| Error::refused(ProblemCode::WrongState, "callId", message);
    let number = &billed.call.number;
    if billed.call.state == CallState::Cancelled {
        return Err(refused(format!("Call {number} was cancelled.")));
    }
    let accepted = estimates::accepted_for_call(tx, billed.call.id)
        .await?
        .ok_or_else(|| {
            refused(format!("Call {number} has no accepted estimate; send one and have it accepted."))
        })?;
    if accepted.revision.state == EstimateState::Invoiced
        && let Some(standing) = store::standing_invoice(tx, accepted.revision.id).await?
    {
        return Err(refused(format!("Call {number} is billed already by {}.", standing.number)));
    }
    Ok(accepted)
}

fn falls_due(
    settings: &Settings,
    customer: &customer::Model,
    issued_on: NaiveDate,
) -> Result<NaiveDate> {
    let days = customer.terms_days.unwrap_or(settings.row.payment_terms_days);
    let days = u32::try_from(days).map_err(|error| Error::caused("payment terms", error))?;
    due_on(issued_on, days).map_err(|refusal| Error::caused("payment terms", refusal))
}

/// What is common to every document that is issued.
struct Issue<'a> {
    settings: &'a Settings,
    issued_on: NaiveDate,
    staff_id: i64,
    verb: &'static str,
}

/// Lines and taxes of a document before it has an id.
struct Rows {
    lines: Vec<invoice_line::Model>,
    taxes: Vec<invoice_tax::Model>,
}

impl Rows {
    /// The accepted option, copied exactly.
    fn of_estimate(accepted: &Accepted) -> Self {
        let lines = accepted.lines.iter().map(|line| invoice_line::Model {
            id: 0,
            invoice_id: 0,
            position: line.position,
            kind: line.kind,
            description: line.description.clone(),
            part_id: line.part_id,
            quantity: line.quantity,
            unit_price_cents: line.unit_price_cents,
            net_cents: line.net_cents,
            discount_cents: line.discount_cents,
            taxable_cents: line.taxable_cents,
            tax_cents: line.tax_cents,
            tax_reason: line.tax_reason.clone(),
            cost_cents: line.cost_cents,
            labour_minutes: line.labour_minutes,
        });
        let taxes = accepted.taxes.iter().map(|tax| invoice_tax::Model {
            id: 0,
            invoice_id: 0,
            position: tax.position,
            tax_level_id: tax.tax_level_id,
            name: tax.name.clone(),
            rate_percent: tax.rate_percent,
            taxable_cents: tax.taxable_cents,
            tax_cents: tax.tax_cents,
        });
        Self {
            lines: lines.collect(),
            taxes: taxes.collect(),
        }
    }

    /// These rows with the amounts of their document's mirror image.
    fn mirrored(self, image: &InvoiceDraft) -> Result<Self> {
        let too_large = || Error::internal("an amount that has no negative");
        let lines = self.lines.into_iter().zip(image.lines()).map(|(row, line)| {
            Ok(invoice_line::Model {
                quantity: Exact(-row.quantity.0),
                net_cents: line.net.0,
                discount_cents: line.discount.0,
                taxable_cents: line.taxable.0,
                tax_cents: line.tax.0,
                cost_cents: row.cost_cents.checked_neg().ok_or_else(too_large)?,
                labour_minutes: row.labour_minutes.map(|minutes| -minutes),
                ..row
            })
        });
        let taxes = self.taxes.into_iter().zip(image.tax_levels()).map(|(row, level)| {
            invoice_tax::Model {
                taxable_cents: level.taxable.0,
                tax_cents: level.tax.0,
                ..row
            }
        });
        Ok(Self {
            lines: lines.collect::<Result<_>>()?,
            taxes: taxes.collect(),
        })
    }
}

/// Writes a document with its lines, taxes, frozen content and audit row. `words` holds what it says beside
/// the figures; the figures are put in here.
async fn write(
    tx: &impl ConnectionTrait,
    act: &Act,
    issue: &Issue<'_>,
    (header, rows, words): (invoice::ActiveModel, Rows, Content),
) -> Result<invoice::Model> {
    let levels = store::levels(tx, rows.taxes.iter().map(|tax| tax.tax_level_id)).await?;
    let tax_levels = rows.taxes.iter().map(|tax| {
        let level = levels.iter().find(|level| level.id == tax.tax_level_id);
        content::tax(tax, level.ok_or_else(|| Error::internal("a tax level is gone"))?)
    });
    let mut content = Content {
        number: header.number.clone().take().unwrap_or_default(),
        issued_on: issue.issued_on,
        due_on: header.due_on.clone().take().unwrap_or(issue.issued_on),
        currency: issue.settings.row.currency.clone(),
        lines: rows.lines.iter().map(content::line).collect(),
        tax_levels: tax_levels.collect::<Result<_>>()?,
        ..words
    };
    content.totals = content.draft()?.totals();
    let content_json = content.canonical_json()?;
    let Totals {
        subtotal,
        discount,
        tax,
        total,
    } = content.totals;
    let row = invoice::ActiveModel {
        issued_on: Set(issue.issued_on),
        issued_at: Set(act.at),
        issued_by: Set(issue.staff_id),
        net_cents: Set(subtotal.0),
        discount_cents: Set(discount.0),
        tax_cents: Set(tax.0),
        total_cents: Set(total.0),
        content_hash: Set(content::hash_of(&content_json)),
        content_json: Set(content_json),
        ..header
    }
    .insert(tx)
    .await?;
    insert_rows(tx, row.id, rows).await?;
    audit::created(tx, act, issue.verb, subject(row.id), &row).await?;
    Ok(row)
}

async fn insert_rows(tx: &impl ConnectionTrait, invoice_id: i64, rows: Rows) -> Result<()> {
    let lines = rows.lines.into_iter().map(|line| {
        let mut row = invoice_line::ActiveModel::from(line);
        row.id = sea_orm::ActiveValue::NotSet;
        row.invoice_id = Set(invoice_id);
        row
    });
    invoice_line::Entity::insert_many(lines)
        .exec_without_returning(tx)
        .await?;
    if rows.taxes.is_empty() {
        return Ok(());
    }
    let taxes = rows.taxes.into_iter().map(|tax| {
        let mut row = invoice_tax::ActiveModel::from(tax);
        row.id = sea_orm::ActiveValue::NotSet;
        row.invoice_id = Set(invoice_id);
        row
    });
    invoice_tax::Entity::insert_many(taxes)
        .exec_without_returning(tx)
        .await?;
    Ok(())
}

/// What an invoice adds up to, as the books want it.
async fn amounts_of(tx: &impl ConnectionTrait, row: &invoice::Model) -> Result<DocumentAmounts> {
    let mut revenue: Vec<RevenueAmount> = Vec::new();
    for line in store::lines_of(tx, row.id).await? {
        let role = events::revenue_of(pricing::charge_of_row(line.kind));
        match revenue.iter_mut().find(|known| known.role == role) {
            Some(known) => {
                known.amount = known
                    .amount
                    .checked_add(Cents(line.net_cents))
                    .ok_or_else(|| Error::internal("an invoice's revenue is too large"))?;
            }
            None => revenue.push(RevenueAmount {
                role,
                amount: Cents(line.net_cents),
            }),
        }
    }
    let taxes = store::taxes_of(tx, row.id).await?;
    Ok(DocumentAmounts {
        customer_owes: Cents(row.total_cents),
        payer_owes: Cents::ZERO,
        revenue,
        discounts: Cents(row.discount_cents),
        tax: taxes
            .into_iter()
            .map(|tax| TaxAmount {
                level: tax.tax_level_id.to_string(),
                amount: Cents(tax.tax_cents),
            })
            .collect(),
    })
}

type Made = std::result::Result<
    Option<nameplate_rules::books::Entry>,
    nameplate_rules::books::BooksRefusal,
>;

/// Posts a document's entry, unless the document is of nothing.
async fn post_if_any(
    tx: &impl ConnectionTrait,
    act: &Act,
    row: &invoice::Model,
    (memo, entry): (String, Made),
) -> Result<()> {
    let entry = entry.map_err(|refusal| {
        let message = format!("{memo} cannot be posted: {refusal}.");
        Error::refused(ProblemCode::WrongState, "", message)
    })?;
    let Some(entry) = entry else {
        return Ok(());
    };
    let new = NewEntry {
        on: row.issued_on,
        memo,
        document: Some(subject(row.id)),
        entry,
    };
    books::post(tx, act, new).await?;
    Ok(())
}

/// Mails the document, if there is an address, and makes it findable.
async fn tell(
    tx: &impl ConnectionTrait,
    act: &Act,
    row: &invoice::Model,
    customer: &customer::Model,
) -> Result<()> {
    if let Some(email) = &customer.email {
        let to = Addressee {
            email: email.clone(),
            name: customer.name.clone(),
        };
        let payload = Payload::Invoice { invoice_id: row.id };
        outbox::enqueue(tx, act, &to, subject(row.id), &payload).await?;
    }
    let title = format!("{}, {}", row.number, customer.name);
    search::index(tx, subject(row.id), &title, &[&row.number, &customer.name]).await
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "invoice",
        id,
    }
}

/// An invoice to take back.
#[derive(Clone, Debug, Serialize)]
pub struct CreditInvoice {
    #[serde(skip)]
    pub idempotency_key: String,
    pub invoice_id: i64,
    pub reason: String,
}

/// Takes a whole invoice back by its mirror image.
///
/// What is open on it is settled; what was paid on it becomes the customer's credit.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a credit note or an invoice taken back already; `PeriodClosed`.
pub async fn credit_invoice(act: &Act, order: CreditInvoice) -> Result<invoice::Model> {
    let staff_id = act.staff_with(Right::CreditInvoice)?;
    let verb = Right::CreditInvoice.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_invoice(&tx, "", id).await;
    }
    let mut checks = Checks::new();
    let reason = checks.text("reason", &order.reason, LINE_MAX);
    checks.finish()?;
    let original = to_credit(&tx, order.invoice_id).await?;
    let settings = shop::settings(&tx).await?;
    let issued_on = settings.day_of(act.at);
    books::check_open(&tx, "", issued_on).await?;
    let issue = Issue {
        settings: &settings,
        issued_on,
        staff_id,
        verb,
    };
    let said = Content::of(&original)?;
    let image = mirror(&said.draft()?).map_err(|refusal| Error::caused("mirror", refusal))?;
    let rows = Rows {
        lines: store::lines_of(&tx, original.id).await?,
        taxes: store::taxes_of(&tx, original.id).await?,
    };
    let header = invoice::ActiveModel {
        kind: Set(ReceivableKind::CreditNote),
        number: Set(numbers::take(&tx, Series::CreditNote).await?),
        call_id: Set(original.call_id),
        customer_id: Set(original.customer_id),
        payer: Set(original.payer),
        estimate_revision_id: Set(original.estimate_revision_id),
        credits_invoice_id: Set(Some(original.id)),
        tax_jurisdiction_id: Set(original.tax_jurisdiction_id),
        due_on: Set(issued_on),
        reason: Set(Some(reason.clone())),
        ..Default::default()
    };
    let words = Content {
        kind: ReceivableKind::CreditNote,
        corrects: Some(original.number.clone()),
        reason: Some(reason),
        ..said
    };
    let row = write(&tx, act, &issue, (header, rows.mirrored(&image)?, words)).await?;
    let open_cents = settle(&tx, act, &original, &row).await?;
    let amounts = amounts_of(&tx, &original).await?;
    let entry = events::credit_note_settling(&amounts, Cents(open_cents));
    let memo = format!("Credit note {} for {}", row.number, original.number);
    post_if_any(&tx, act, &row, (memo, entry)).await?;
    let customer = customers::get_customer(&tx, "", row.customer_id).await?;
    tell(&tx, act, &row, &customer).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(row)
}

/// The invoice, if it stands.
async fn to_credit(tx: &impl ConnectionTrait, invoice_id: i64) -> Result<invoice::Model> {
    let path = "invoiceId";
    let original = store::get_invoice(tx, path, invoice_id).await?;
    let refused = |message: String| Error::refused(ProblemCode::WrongState, path, message);
    if original.kind == ReceivableKind::CreditNote {
        let message = format!("{} is a credit note itself.", original.number);
        return Err(refused(message));
    }
    match store::credit_of(tx, original.id).await? {
        Some(credit) => Err(refused(format!(
            "{} was taken back already by {}.",
            original.number, credit.number
        ))),
        None => Ok(original),
    }
}

/// Lays the credit note against what is open on the invoice; gives how much that was.
async fn settle(
    tx: &impl ConnectionTrait,
    act: &Act,
    original: &invoice::Model,
    credit: &invoice::Model,
) -> Result<i64> {
    let open_cents = store::receivable_of(tx, original.id)
        .await?
        .ok_or_else(|| Error::internal("an invoice without its receivable"))?
        .open_cents;
    if open_cents == 0 {
        return Ok(0);
    }
    allocation::ActiveModel {
        credit_note_id: Set(Some(credit.id)),
        invoice_id: Set(original.id),
        amount_cents: Set(open_cents),
        allocated_at: Set(act.at),
        ..Default::default()
    }
    .insert(tx)
    .await?;
    receivable::ActiveModel {
        invoice_id: Set(original.id),
        open_cents: Set(0),
        ..Default::default()
    }
    .update(tx)
    .await?;
    Ok(open_cents)
}
