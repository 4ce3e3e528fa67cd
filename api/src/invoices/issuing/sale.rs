//! A sale before it is known who pays what of it, and how each payer's invoice is written.

use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::{Payer, ReceivableKind};
use nameplate_entities::{
    customer, invoice, invoice_line, invoice_tax, receivable, warranty_payer,
};
use nameplate_rules::books::events::{self, DocumentAmounts};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveValue::Set, ConnectionTrait};

use crate::base::numbers::{self, Series};
use crate::base::{Act, Result};
use crate::estimates::FreeWork;
use crate::invoices::content::Content;
use crate::invoices::receiving::credit;

use super::writing::{self, Issue, Rows, post_if_any, tell};
use super::{falls_due, owe};

/// What is billed: what its invoice refers to, its figures, and what it says.
pub struct Sale {
    /// Without number, payer and days.
    pub header: invoice::ActiveModel,
    pub rows: Rows,
    /// Without figures, number and days.
    pub words: Content,
}

/// Writes one invoice, owed by this customer: number, rows, entry, credit laid against it, mail.
///
/// # Errors
/// `PeriodClosed`; internal.
pub async fn bill(
    tx: &impl ConnectionTrait,
    act: &Act,
    issue: &Issue<'_>,
    (sale, customer): (Sale, &customer::Model),
) -> Result<invoice::Model> {
    let due_on = falls_due(issue.settings, customer, issue.settings.day_of(act.at))?;
    let owed_by = invoice::ActiveModel {
        customer_id: Set(customer.id),
        payer: Set(Payer::Customer),
        due_on: Set(due_on),
        ..sale.header
    };
    let sale = Sale {
        header: owed_by,
        ..sale
    };
    let amounts = sale.rows.document_amounts()?;
    let (row, owed) = write(tx, act, issue, (sale, &amounts)).await?;
    Box::pin(credit::lay_by_itself(tx, act, &row, owed)).await?;
    tell(tx, act, &row, customer).await?;
    Ok(row)
}

/// Whom a claim is made on, and by which terms.
pub struct Claimed<'a> {
    pub payer: &'a warranty_payer::Model,
    /// Its record among the customers.
    pub customer: &'a customer::Model,
    pub terms_id: i64,
}

/// Writes the invoice of a warranty payer, which its claim tells it of: claims receivable, due as that payer pays, without
/// mail or reminders.
///
/// # Errors
/// `PeriodClosed`; internal.
pub async fn claim(
    tx: &impl ConnectionTrait,
    act: &Act,
    issue: &Issue<'_>,
    (sale, on): (Sale, Claimed<'_>),
) -> Result<invoice::Model> {
    let told_on = issue.settings.day_of(act.at);
    let payer = customer::Model {
        terms_days: on.payer.days_to_pay.or(on.customer.terms_days),
        ..on.customer.clone()
    };
    let owed_by = invoice::ActiveModel {
        customer_id: Set(payer.id),
        payer: Set(Payer::WarrantyPayer),
        warranty_payer_id: Set(Some(on.payer.id)),
        programme_terms_id: Set(Some(on.terms_id)),
        due_on: Set(falls_due(issue.settings, &payer, told_on)?),
        ..sale.header
    };
    let sale = Sale {
        header: owed_by,
        ..sale
    };
    let amounts = sale.rows.document_amounts()?;
    let amounts = DocumentAmounts {
        customer_owes: Cents::ZERO,
        payer_owes: amounts.customer_owes,
        ..amounts
    };
    let (row, _) = write(tx, act, issue, (sale, &amounts)).await?;
    writing::make_findable(tx, &row, on.customer).await?;
    Ok(row)
}

/// Number, rows, what is owed, entry.
async fn write(
    tx: &impl ConnectionTrait,
    act: &Act,
    issue: &Issue<'_>,
    (sale, amounts): (Sale, &DocumentAmounts),
) -> Result<(invoice::Model, receivable::Model)> {
    let Sale {
        header,
        rows,
        words,
    } = sale;
    let header = invoice::ActiveModel {
        kind: Set(ReceivableKind::Invoice),
        number: Set(numbers::take(tx, Series::Invoice).await?),
        ..header
    };
    let row = Box::pin(writing::write(tx, act, issue, (header, rows, words))).await?;
    let owed = owe(tx, &row).await?;
    let memo = format!("Invoice {}", row.number);
    let entry = events::invoice_issued(amounts);
    post_if_any(tx, act, &row, (memo, entry)).await?;
    Ok((row, owed))
}

impl Rows {
    /// The priced lines as an invoice keeps them.
    pub fn of_work(work: FreeWork) -> Self {
        let FreeWork {
            option,
            jurisdiction,
            ..
        } = work;
        let lines = (1..)
            .zip(option.lines)
            .map(|(position, line)| invoice_line::Model {
                id: 0,
                invoice_id: 0,
                position,
                kind: line.kind,
                description: line.description,
                part_id: line.part_id,
                quantity: Exact(line.quantity),
                unit_price_cents: line.unit_price.0,
                net_cents: line.net.0,
                discount_cents: line.discount.0,
                taxable_cents: line.tax.taxable_cents.0,
                tax_cents: line.tax.tax_cents.0,
                tax_reason: line.tax.reason,
                cost_cents: line.cost.0,
                labour_minutes: line.labour_minutes,
                part_condition: line.condition,
                own_discount_cents: line.own_discount.0,
                credits_line_id: None,
                corrects_price: false,
                sale_position: None,
                is_part: false,
            });
        let levels = option
            .tax
            .levels
            .into_iter()
            .filter_map(|tax| Some((jurisdiction.levels.get(tax.at)?.id, tax)));
        let taxes = (1..)
            .zip(levels)
            .map(|(position, (tax_level_id, tax))| invoice_tax::Model {
                id: 0,
                invoice_id: 0,
                position,
                tax_level_id,
                name: tax.name,
                rate_percent: tax.rate.per_hundred().into(),
                taxable_cents: tax.taxable_cents.0,
                tax_cents: tax.tax_cents.0,
            });
        Self {
            lines: lines.collect(),
            taxes: taxes.collect(),
        }
    }
}
