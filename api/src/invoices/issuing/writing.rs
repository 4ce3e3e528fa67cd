//! How a document is written once it is known what it says: rows, frozen content, entry, mail, search.

use chrono::NaiveDate;
use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::Payer;
use nameplate_entities::{customer, invoice, invoice_line, invoice_tax};
use nameplate_rules::books::events::{self, DocumentAmounts, RevenueAmount, TaxAmount};
use nameplate_rules::books::{BooksRefusal, Entry};
use nameplate_rules::estimate::TaxLevel;
use nameplate_rules::invoice::{InvoiceDraft, Totals};
use nameplate_rules::local_rules::Amounts;
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait};

use crate::base::audit::{self, Subject};
use crate::base::outbox::{self, Addressee, Payload};
use crate::base::{Act, Error, ProblemCode, Result, search};
use crate::books::{self, NewEntry};
use crate::estimates::Accepted;
use crate::pricing;
use crate::shop::Settings;

use crate::invoices::content::{self, Content};
use crate::invoices::store;

/// What is common to every document that is issued.
pub struct Issue<'a> {
    pub settings: &'a Settings,
    pub issued_on: NaiveDate,
    pub staff_id: i64,
    pub verb: &'static str,
}

/// Lines and taxes of a document before it has an id.
pub struct Rows {
    pub lines: Vec<invoice_line::Model>,
    pub taxes: Vec<invoice_tax::Model>,
}

impl Rows {
    /// The accepted option, copied exactly.
    pub fn of_estimate(accepted: &Accepted) -> Self {
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
            part_condition: line.part_condition,
            own_discount_cents: line.own_discount_cents,
            credits_line_id: None,
            corrects_price: false,
            sale_position: None,
            is_part: false,
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

    /// What they add up to, before tax and with it.
    ///
    /// # Errors
    /// Internal, for sums that do not fit.
    pub fn amounts(&self) -> Result<Amounts> {
        let too_large = |refusal| Error::caused("sum of an invoice", refusal);
        let sum = |of: fn(&invoice_line::Model) -> i64| {
            Cents::sum(self.lines.iter().map(|line| Cents(of(line)))).map_err(too_large)
        };
        let before_tax = sum(|line| line.net_cents)?
            .checked_sub(sum(|line| line.discount_cents)?)
            .ok_or_else(|| Error::internal("sum of an invoice"))?;
        let with_tax = before_tax
            .checked_add(sum(|line| line.tax_cents)?)
            .ok_or_else(|| Error::internal("sum of an invoice"))?;
        Ok(Amounts {
            before_tax,
            with_tax,
        })
    }

    /// What they add up to, as the books want it; amounts as printed, not negative on a credit note.
    ///
    /// # Errors
    /// Internal, for sums that do not fit.
    pub fn document_amounts(&self) -> Result<DocumentAmounts> {
        let mut revenue: Vec<RevenueAmount> = Vec::new();
        for line in &self.lines {
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
        let discounts = Cents::sum(self.lines.iter().map(|line| Cents(line.discount_cents)))
            .map_err(|refusal| Error::caused("discounts of an invoice", refusal))?;
        let tax = self.taxes.iter().map(|tax| TaxAmount {
            level: tax.tax_level_id.to_string(),
            amount: Cents(tax.tax_cents),
        });
        Ok(DocumentAmounts {
            customer_owes: self.amounts()?.with_tax,
            payer_owes: Cents::ZERO,
            revenue,
            discounts,
            tax: tax.collect(),
        })
    }

    /// What they add up to on a document that this payer owes.
    ///
    /// # Errors
    /// Internal, for sums that do not fit.
    pub fn document_amounts_of(&self, payer: Payer) -> Result<DocumentAmounts> {
        let amounts = self.document_amounts()?.owed_by(store::debtor(payer));
        amounts.map_err(|refusal| Error::caused("sum of an invoice", refusal))
    }

    /// These rows with the amounts of their document's mirror image.
    pub fn mirrored(self, image: &InvoiceDraft) -> Result<Self> {
        let too_large = || Error::internal("an amount that has no negative");
        let lines = self
            .lines
            .into_iter()
            .zip(image.lines())
            .map(|(row, line)| {
                Ok(invoice_line::Model {
                    quantity: Exact(-row.quantity.0),
                    net_cents: line.net.0,
                    discount_cents: line.discount.0,
                    taxable_cents: line.taxable.0,
                    tax_cents: line.tax.0,
                    own_discount_cents: row
                        .own_discount_cents
                        .checked_neg()
                        .ok_or_else(too_large)?,
                    cost_cents: row.cost_cents.checked_neg().ok_or_else(too_large)?,
                    labour_minutes: row.labour_minutes.map(|minutes| -minutes),
                    ..row
                })
            });
        let taxes = self
            .taxes
            .into_iter()
            .zip(image.tax_levels())
            .map(|(row, level)| invoice_tax::Model {
                taxable_cents: level.taxable.0,
                tax_cents: level.tax.0,
                ..row
            });
        Ok(Self {
            lines: lines.collect::<Result<_>>()?,
            taxes: taxes.collect(),
        })
    }
}

/// Writes a document with its lines, taxes, frozen content and audit row. `words` holds what it says beside
/// the figures; the figures are put in here.
pub async fn write(
    tx: &impl ConnectionTrait,
    act: &Act,
    issue: &Issue<'_>,
    (header, rows, words): (invoice::ActiveModel, Rows, Content),
) -> Result<invoice::Model> {
    let tax_levels = tax_levels(tx, &rows.taxes).await?;
    let mut content = Content {
        number: header.number.clone().take().unwrap_or_default(),
        issued_on: issue.issued_on,
        due_on: header.due_on.clone().take().unwrap_or(issue.issued_on),
        currency: issue.settings.row.currency.clone(),
        lines: rows.lines.iter().map(content::line).collect(),
        tax_levels,
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

/// Taxes as a document says them.
///
/// # Errors
/// Internal only.
pub async fn tax_levels(
    tx: &impl ConnectionTrait,
    taxes: &[invoice_tax::Model],
) -> Result<Vec<TaxLevel>> {
    let levels = store::levels(tx, taxes.iter().map(|tax| tax.tax_level_id)).await?;
    taxes
        .iter()
        .map(|tax| {
            let level = levels.iter().find(|level| level.id == tax.tax_level_id);
            content::tax(
                tax,
                level.ok_or_else(|| Error::internal("a tax level is gone"))?,
            )
        })
        .collect()
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

type Made = std::result::Result<Option<Entry>, BooksRefusal>;

/// Posts a document's entry, unless the document is of nothing.
pub async fn post_if_any(
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

/// Mails the document, if there is an address, and makes it findable. A warranty payer is told by its claim instead.
pub async fn tell(
    tx: &impl ConnectionTrait,
    act: &Act,
    row: &invoice::Model,
    customer: &customer::Model,
) -> Result<()> {
    let email = customer.email.as_ref();
    if let Some(email) = email.filter(|_| row.payer != Payer::WarrantyPayer) {
        let to = Addressee {
            email: email.clone(),
            name: customer.name.clone(),
        };
        let payload = Payload::Invoice { invoice_id: row.id };
        outbox::enqueue(tx, act, &to, subject(row.id), &payload).await?;
    }
    make_findable(tx, row, customer).await
}

/// Makes the document findable by its number and whoever owes it.
///
/// # Errors
/// Internal only.
pub async fn make_findable(
    tx: &impl ConnectionTrait,
    row: &invoice::Model,
    customer: &customer::Model,
) -> Result<()> {
    let title = format!("{}, {}", row.number, customer.name);
    search::index(tx, subject(row.id), &title, &[&row.number, &customer.name]).await
}

pub fn subject(id: i64) -> Subject {
    Subject {
        kind: "invoice",
        id,
    }
}
