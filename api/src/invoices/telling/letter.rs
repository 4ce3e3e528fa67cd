//! An issued invoice or credit note as a mail with its PDF.
//!
//! What it says is the frozen content; only what was paid by now is read afresh. A credit note is printed
//! with the amounts of what it takes back, as its heading says "credited".

use nameplate_documents as documents;
use nameplate_entities::kinds::{PaymentMethod, ReceivableKind};
use nameplate_entities::{allocation, invoice, payment};
use nameplate_rules::estimate::{Line, Rating, TaxLevel, Taxed};
use nameplate_rules::invoice::{InvoiceDraft, mirror};
use nameplate_rules::money::Cents;
use sea_orm::ConnectionTrait;

use crate::base::letter::{Attachment, InvoiceMail, InvoiceMailKind, MailShop, Outgoing};
use crate::base::{Error, Result, wording};
use crate::pricing;
use crate::shop::{self, Settings};

use crate::invoices::content::Content;
use crate::invoices::electronic::{self, WithMail};
use crate::invoices::store;

/// The mail of an issued document.
///
/// # Errors
/// `NotFound`; internal, when template or typesetter fail.
pub async fn letter(db: &impl ConnectionTrait, invoice_id: i64) -> Result<Outgoing> {
    made(db, invoice_id, None).await
}

/// The reminder of an invoice that is overdue, with the invoice as it stands now.
///
/// # Errors
/// As [`letter`].
pub async fn overdue_letter(
    db: &impl ConnectionTrait,
    invoice_id: i64,
    number: i32,
) -> Result<Outgoing> {
    made(db, invoice_id, Some(number)).await
}

async fn made(
    db: &impl ConnectionTrait,
    invoice_id: i64,
    reminder: Option<i32>,
) -> Result<Outgoing> {
    let row = store::get_invoice(db, "", invoice_id).await?;
    let content = Content::of(&row)?;
    let paid = Settled::of(db, &row).await?;
    let printed = printed(&content)?;
    let how = how_to_pay(&shop::settings(db).await?, &content, &paid);
    let mut mail = mail(&content, &printed, (&paid, &how));
    if let Some(number) = reminder {
        mail.kind = InvoiceMailKind::Reminder;
        mail.message = wording_of_reminder(&content, number, paid.open);
    }
    let rendered = mail
        .render()
        .map_err(|error| Error::caused("invoice mail", error))?;
    let mut attachments = vec![typeset(&row, (&content, &printed), (paid, how)).await?];
    let file = match reminder {
        Some(_) => WithMail::NotWanted,
        None => electronic::with_mail(db, (row.id, row.customer_id)).await?,
    };
    let without = match file {
        WithMail::NotWanted => None,
        WithMail::File(file) => {
            attachments.push(file);
            None
        }
        WithMail::Missing(why) => Some(format!(
            "The e-invoice of {} is not with it: {why}",
            row.number
        )),
    };
    Ok(Outgoing {
        rendered,
        attachments,
        without,
    })
}

/// The PDF of an issued document, as it stands now.
///
/// # Errors
/// `NotFound`; internal, when the typesetter fails.
pub async fn pdf(db: &impl ConnectionTrait, invoice_id: i64) -> Result<Attachment> {
    let row = store::get_invoice(db, "", invoice_id).await?;
    let content = Content::of(&row)?;
    let paid = Settled::of(db, &row).await?;
    let printed = printed(&content)?;
    let how = how_to_pay(&shop::settings(db).await?, &content, &paid);
    typeset(&row, (&content, &printed), (paid, how)).await
}

async fn typeset(
    row: &invoice::Model,
    (content, printed): (&Content, &InvoiceDraft),
    (paid, how): (Settled, String),
) -> Result<Attachment> {
    let document = document(content, printed, (paid, how))?;
    let word = match row.kind {
        ReceivableKind::Invoice => "invoice",
        ReceivableKind::CreditNote => "credit-note",
    };
    let bytes = tokio::task::spawn_blocking(move || documents::invoice_pdf(&document))
        .await
        .map_err(|error| Error::caused("invoice PDF", error))?
        .map_err(|error| Error::caused("invoice PDF", error))?;
    Ok(Attachment {
        file_name: format!("{word}-{}.pdf", row.number),
        content_type: "application/pdf".to_owned(),
        bytes,
    })
}

/// Lines, taxes and totals with the sign they are printed with.
fn printed(content: &Content) -> Result<InvoiceDraft> {
    let draft = content.draft()?;
    match content.kind {
        ReceivableKind::Invoice => Ok(draft),
        ReceivableKind::CreditNote => {
            mirror(&draft).map_err(|refusal| Error::caused("mirror", refusal))
        }
    }
}

/// What settled a document by now. Only money is paid: what was credited or written off stands apart from it.
struct Settled {
    lines: Vec<documents::PaymentLine>,
    paid: Cents,
    credited: Cents,
    written_off: Cents,
    open: Cents,
}

impl Settled {
    async fn of(db: &impl ConnectionTrait, row: &invoice::Model) -> Result<Self> {
        if row.kind == ReceivableKind::CreditNote {
            let set_off = Cents(store::settled_with(db, row.id).await?);
            let whole = Cents(row.total_cents).checked_neg();
            let open = whole.and_then(|whole| whole.checked_sub(set_off));
            return Ok(Self {
                lines: Vec::new(),
                paid: set_off,
                credited: Cents::ZERO,
                written_off: Cents::ZERO,
                open: open.ok_or_else(|| Error::internal("a credit note's sum is too large"))?,
            });
        }
        let settled = store::settled_by(db, row.id).await?;
        let sum = |of: fn(&allocation::Model) -> bool| {
            let parts = settled.iter().filter(|(part, _)| of(part));
            Cents::sum(parts.map(|(part, _)| Cents(part.amount_cents)))
                .map_err(|refusal| Error::caused("what settled an invoice", refusal))
        };
        let open = Cents(row.total_cents).checked_sub(sum(|_| true)?);
        let lines = settled
            .iter()
            .filter_map(|(part, payment)| Some(payment_line(part, payment.as_ref()?)));
        Ok(Self {
            lines: lines.collect(),
            paid: sum(|part| part.payment_id.is_some())?,
            credited: sum(|part| part.credit_note_id.is_some())?,
            written_off: sum(|part| {
                part.write_off_id.is_some() || part.moved_to_invoice_id.is_some()
            })?,
            open: open.ok_or_else(|| Error::internal("an open amount is too large"))?,
        })
    }

    /// Whether something is still to be paid.
    fn is_open(&self) -> bool {
        self.open > Cents::ZERO
    }
}

fn payment_line(part: &allocation::Model, payment: &payment::Model) -> documents::PaymentLine {
    documents::PaymentLine {
        received_on: payment.received_on.to_string(),
        method: if payment.deposit_call_id.is_some() {
            format!("Deposit, {}", method(payment.method).to_lowercase())
        } else {
            method(payment.method).to_owned()
        },
        amount: Cents(part.amount_cents).to_string(),
    }
}

/// An amount, unless it is nothing.
fn unless_nothing(amount: Cents) -> Option<String> {
    (amount != Cents::ZERO).then(|| amount.to_string())
}

/// What a reminder says. It threatens nothing: what may follow is for local law to say.
fn wording_of_reminder(content: &Content, number: i32, open: Cents) -> String {
    let again = if number > 1 {
        "We wrote to you before. "
    } else {
        ""
    };
    format!(
        "{again}This invoice was due on {}, and {} {open} of it is still open. If your payment is on its way, please \
         take no notice. If something is wrong with the invoice, please tell us.",
        wording::day(content.due_on),
        content.currency,
    )
}

/// How money arrived, as papers say it.
pub fn method(method: PaymentMethod) -> &'static str {
    match method {
        PaymentMethod::Cash => "Cash",
        PaymentMethod::Check => "Check",
        PaymentMethod::Card => "Card",
        PaymentMethod::Transfer => "Transfer",
    }
}

/// How it is paid, while it is to be.
fn how_to_pay(settings: &Settings, content: &Content, paid: &Settled) -> String {
    match content.kind {
        ReceivableKind::Invoice if paid.is_open() => super::how_to_pay(settings, &content.number),
        ReceivableKind::Invoice | ReceivableKind::CreditNote => String::new(),
    }
}

fn mail(
    content: &Content,
    printed: &InvoiceDraft,
    (paid, how_to_pay): (&Settled, &str),
) -> InvoiceMail {
    let is_invoice = content.kind == ReceivableKind::Invoice;
    InvoiceMail {
        kind: if is_invoice {
            InvoiceMailKind::Invoice
        } else {
            InvoiceMailKind::CreditNote
        },
        shop: MailShop {
            name: content.shop.name.clone(),
            address_lines: content.shop.address.clone(),
            phone: content.shop.phone.clone(),
            email: content.shop.email.clone(),
        },
        customer_name: content.customer.name.clone(),
        number: content.number.clone(),
        corrects: content.corrects.clone().unwrap_or_default(),
        appliance_line: appliance_line(content),
        message: notes(content).join(" "),
        issued_on: wording::day(content.issued_on),
        due_on: if is_invoice && paid.is_open() {
            wording::day(content.due_on)
        } else {
            String::new()
        },
        currency: content.currency.clone(),
        total: printed.totals().total.to_string(),
        paid: paid.paid.to_string(),
        credited: unless_nothing(paid.credited).unwrap_or_default(),
        written_off: unless_nothing(paid.written_off).unwrap_or_default(),
        open: paid.open.to_string(),
        how_to_pay: how_to_pay.to_owned(),
    }
}

fn appliance_line(content: &Content) -> String {
    let machine = &content.appliance;
    let serial = if machine.serial.is_empty() {
        String::new()
    } else {
        format!("{} {}", machine.serial_label(), machine.serial)
    };
    [&machine.kind, &machine.make, &machine.model, &serial]
        .into_iter()
        .filter(|part| !part.is_empty())
        .cloned()
        .collect::<Vec<_>>()
        .join(", ")
}

fn document(
    content: &Content,
    printed: &InvoiceDraft,
    (paid, how_to_pay): (Settled, String),
) -> Result<documents::InvoiceDocument> {
    let total = printed.totals().total;
    let shown = content
        .printed_as
        .printed(printed.lines().to_vec(), printed.tax_levels().to_vec())
        .map_err(|refusal| Error::caused("printed lines of an invoice", refusal))?;
    let is_invoice = content.kind == ReceivableKind::Invoice;
    Ok(documents::InvoiceDocument {
        kind: if is_invoice {
            documents::InvoiceKind::Invoice
        } else {
            documents::InvoiceKind::CreditNote
        },
        shop: shop_block(content),
        customer: customer_block(content),
        appliance: appliance_block(content),
        number: content.number.clone(),
        corrects: content.corrects.clone(),
        estimate_number: Some(content.estimate.clone()).filter(|number| !number.is_empty()),
        issued_on: content.issued_on.to_string(),
        due_on: (is_invoice && paid.is_open()).then(|| content.due_on.to_string()),
        service_on: content.service_on.map(|day| day.to_string()),
        technician: None,
        currency: content.currency.clone(),
        problem_told: content.complaint.clone(),
        found: content.found.clone(),
        done: String::new(),
        lines: shown
            .lines
            .iter()
            .zip(shown.taxed)
            .map(document_line)
            .collect(),
        subtotal: shown.subtotal.to_string(),
        discount: (shown.discount != Cents::ZERO)
            .then(|| Cents(shown.discount.0.saturating_neg()).to_string()),
        tax_lines: shown.tax_levels.iter().map(tax_line).collect(),
        total: total.to_string(),
        how_to_pay,
        payments: paid.lines,
        paid: paid.paid.to_string(),
        credited: unless_nothing(paid.credited),
        written_off: unless_nothing(paid.written_off),
        open: paid.open.to_string(),
        consents: content.consents.clone(),
        local_lines: if is_invoice {
            content.local_lines.clone()
        } else {
            Vec::new()
        },
        notes: notes(content),
        warranty: if is_invoice {
            content.warranty.clone()
        } else {
            String::new()
        },
        terms: String::new(),
        cautions: Vec::new(),
    })
}

/// The machine; none on a bill that is about none.
fn appliance_block(content: &Content) -> Option<documents::ApplianceBlock> {
    (!content.appliance.kind.is_empty()).then(|| documents::ApplianceBlock {
        appliance_type: content.appliance.kind.clone(),
        make: content.appliance.make.clone(),
        model: content.appliance.model.clone(),
        serial: content.appliance.serial.clone(),
        is_shop_tag: content.appliance.is_shop_tag,
        ratings: content.ratings.iter().map(plate_entry).collect(),
    })
}

/// Why it was credited, and which payer's share it is.
fn notes(content: &Content) -> Vec<String> {
    let share = Some(&content.share).filter(|share| !share.is_empty());
    content.reason.iter().chain(share).cloned().collect()
}

fn shop_block(content: &Content) -> documents::ShopBlock {
    let licence = &content.shop.registration;
    documents::ShopBlock {
        name: content.shop.name.clone(),
        address_lines: content.shop.address.clone(),
        phone: content.shop.phone.clone(),
        email: content.shop.email.clone(),
        licence_line: (!licence.is_empty()).then(|| licence.clone()),
    }
}

fn customer_block(content: &Content) -> documents::CustomerBlock {
    let customer = &content.customer;
    documents::CustomerBlock {
        name: customer.name.clone(),
        address_lines: customer.billing_address.clone(),
        service_address_lines: if customer.service_address == customer.billing_address {
            Vec::new()
        } else {
            customer.service_address.clone()
        },
        phone: None,
        email: None,
    }
}

fn plate_entry(rating: &Rating) -> documents::PlateEntry {
    documents::PlateEntry {
        label: rating.label.clone(),
        value: rating.value.clone(),
    }
}

fn document_line((line, taxed): (&Line, Taxed)) -> documents::DocumentLine {
    documents::DocumentLine {
        kind: pricing::charge_printed(pricing::charge_for_row(line.kind)).to_owned(),
        description: line.description.clone(),
        note: line.note_with_tax(taxed),
        quantity: line.quantity.clone(),
        unit_price: line.unit_price.to_string(),
        amount: line.net.to_string(),
        taxed: taxed != Taxed::No,
        section: None,
    }
}

fn tax_line(level: &TaxLevel) -> documents::TaxLine {
    documents::TaxLine {
        level: pricing::level_printed(level.kind, &level.name),
        rate: format!("{} %", level.rate),
        amount: level.tax.to_string(),
    }
}
