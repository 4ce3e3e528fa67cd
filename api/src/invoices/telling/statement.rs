//! Statements of account: what a customer owed, what happened, what is owed then; read, mailed, and printed.
//!
//! What stays true: the closing balance is what the customer owes less the customer's credit at the end of the last day;
//! what is owed as a warranty payer stands apart from it, in its claims.

use chrono::NaiveDate;
use nameplate_documents as documents;
use nameplate_entities::kinds::Payer;
use nameplate_entities::{customer, outbox_mail, service_address};
use nameplate_rules::money::Cents;
use sea_orm::{ConnectionTrait, EntityTrait};
use serde::{Deserialize, Serialize};

use crate::base::audit::{self, Subject};
use crate::base::letter::{Attachment, CustomerMail, MailShop, Outgoing};
use crate::base::outbox::{self, Addressee, Payload};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency, wording};
use crate::customers;
use crate::estimates::parties;
use crate::invoices::store;
use crate::shop::{self, Settings};

/// The most days of one statement.
const DAYS_MAX: i64 = 366;
/// The most lines of one statement; a shorter time shows fewer.
const LINES_MAX: u64 = 1_000;

/// What happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    Invoice,
    CreditNote,
    Payment,
    PaymentUndone,
    Refund,
    WriteOff,
    WriteOffUndone,
    RefundUndone,
    ClaimsPaid,
}

/// One thing that happened, and what was owed after it.
#[derive(Clone, Debug)]
pub struct Line {
    pub on: NaiveDate,
    pub kind: Kind,
    pub number: String,
    pub amount: Cents,
    pub balance: Cents,
}

/// A customer's account over some days.
#[derive(Clone, Debug)]
pub struct Account {
    pub customer: customer::Model,
    pub from: NaiveDate,
    pub until: NaiveDate,
    pub opening: Cents,
    pub lines: Vec<Line>,
    pub closing: Cents,
}

/// Reads a customer's account from one day through another.
///
/// # Errors
/// `NotFound`; `OutOfRange` at `until` for more than 366 days or 1,000 lines; `ImpossibleDate` for days in wrong order.
pub async fn account(
    db: &impl ConnectionTrait,
    customer_id: i64,
    (from, until): (NaiveDate, NaiveDate),
) -> Result<Account> {
    let mut checks = Checks::new();
    checks.in_order(&[
        ("from", "the first day", Some(from)),
        ("until", "the last day", Some(until)),
    ]);
    if until.signed_duration_since(from).num_days() >= DAYS_MAX {
        let message = format!("A statement shows at most {DAYS_MAX} days.");
        checks.refuse(ProblemCode::OutOfRange, "until", message);
    }
    checks.finish()?;
    let customer = customers::get_customer(db, "customerId", customer_id).await?;
    let opening = Cents(store::balance_before(db, customer_id, from).await?);
    let moved = store::moves_between(db, customer_id, (from, until), LINES_MAX + 1).await?;
    if u64::try_from(moved.len()).is_ok_and(|count| count > LINES_MAX) {
        let message = format!("A statement shows at most {LINES_MAX} lines; ask for fewer days.");
        return Err(Error::refused(ProblemCode::OutOfRange, "until", message));
    }
    let mut closing = opening;
    let mut lines = Vec::with_capacity(moved.len());
    for row in moved {
        let kind = serde_json::from_value(row.kind.into())
            .map_err(|error| Error::caused("kind of a statement's line", error))?;
        closing = closing
            .checked_add(Cents(row.cents))
            .ok_or_else(|| Error::internal("a statement's balance is too large"))?;
        lines.push(Line {
            on: row.on_day,
            kind,
            number: row.number,
            amount: Cents(row.cents),
            balance: closing,
        });
    }
    Ok(Account {
        customer,
        from,
        until,
        opening,
        lines,
        closing,
    })
}

/// A statement to mail.
#[derive(Clone, Debug, Serialize)]
pub struct SendStatement {
    #[serde(skip)]
    pub idempotency_key: String,
    pub customer_id: i64,
    pub from: NaiveDate,
    pub until: NaiveDate,
    /// Where to; the customer's own address when left out.
    pub to: Option<String>,
}

/// Mails a statement of account with its PDF, as the account is when the mail is made.
///
/// # Errors
/// `Forbidden`; those of [`account`]; `ImpossibleDate` for a day to come; `Missing` at `to` for a customer without an
/// e-mail address.
pub async fn send_statement(act: &Act, order: SendStatement) -> Result<outbox_mail::Model> {
    act.staff_with(Right::SendStatement)?;
    let verb = Right::SendStatement.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    let find = async |id: i64| {
        let row = outbox_mail::Entity::find_by_id(id).one(&tx).await?;
        row.ok_or_else(|| Error::internal("a mail that was asked for is gone"))
    };
    if let Some(id) = once.receipt::<i64>()? {
        return find(id).await;
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let mut checks = Checks::new();
    checks.not_after("until", order.until, today);
    let to = checks.email_if_any("to", order.to.as_deref());
    checks.finish()?;
    let account = account(&tx, order.customer_id, (order.from, order.until)).await?;
    let Some(email) = to.or(account.customer.email) else {
        let message = "This customer has no e-mail address; say where to send it.";
        return Err(Error::refused(ProblemCode::Missing, "to", message));
    };
    let to = Addressee {
        email,
        name: account.customer.name,
    };
    let subject = Subject {
        kind: "customer",
        id: account.customer.id,
    };
    let payload = Payload::Statement {
        customer_id: order.customer_id,
        from: order.from,
        until: order.until,
    };
    let id = outbox::enqueue(&tx, act, &to, subject, &payload).await?;
    let mail = find(id).await?;
    audit::created(&tx, act, verb, subject, &mail).await?;
    once.keep(&tx, act, &id).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(mail)
}

/// The mail of a statement.
///
/// # Errors
/// Those of [`account`]; internal, when template or typesetter fail.
pub async fn statement_letter(
    db: &impl ConnectionTrait,
    settings: &Settings,
    customer_id: i64,
    days: (NaiveDate, NaiveDate),
) -> Result<Outgoing> {
    let account = account(db, customer_id, days).await?;
    let block = parties::shop_block(settings);
    let currency = &settings.row.currency;
    let meaning = meaning(&account, currency);
    let open = open_bills(db, customer_id, currency).await?;
    let mail = CustomerMail {
        shop: MailShop {
            name: block.name,
            address_lines: block.address,
            phone: block.phone,
            email: block.email,
        },
        customer_name: account.customer.name.clone(),
        headline: format!("Statement of account, {}", wording::day(account.until)),
        sentences: vec![
            format!(
                "Here is your account from {} until {}. Before that it stood at {currency} {}.",
                wording::day(account.from),
                wording::day(account.until),
                account.opening
            ),
            meaning.clone(),
        ]
        .into_iter()
        .chain(open.iter().cloned())
        .chain(["Every document and payment is in the attached PDF.".to_owned()])
        .collect(),
        ..CustomerMail::default()
    };
    let rendered = mail
        .render()
        .map_err(|error| Error::caused("statement mail", error))?;
    let address = store::first_address(db, customer_id).await?;
    let file_name = format!("statement-{}.pdf", account.until);
    let document = document(settings, account, address.as_ref(), (meaning, open));
    let bytes = tokio::task::spawn_blocking(move || documents::statement_pdf(&document))
        .await
        .map_err(|error| Error::caused("statement PDF", error))?
        .map_err(|error| Error::caused("statement PDF", error))?;
    Ok(Outgoing {
        without: None,
        rendered,
        attachments: vec![Attachment {
            file_name,
            content_type: "application/pdf".to_owned(),
            bytes,
        }],
    })
}

/// Who owes whom at the end of the last day.
fn meaning(account: &Account, currency: &str) -> String {
    let until = wording::day(account.until);
    let closing = Cents(account.closing.0.saturating_abs());
    match account.closing.0.signum() {
        0 => format!("Nothing was owed at the end of {until}."),
        1 => format!("At the end of {until}, {currency} {closing} was to be paid to us."),
        _ => format!("At the end of {until}, you had a credit of {currency} {closing} with us."),
    }
}

/// The bills that are open now and when each is due, the first due first.
async fn open_bills(
    db: &impl ConnectionTrait,
    customer_id: i64,
    currency: &str,
) -> Result<Vec<String>> {
    let mut sentences = Vec::new();
    let bills = store::open_invoices(db, customer_id).await?;
    let bills = bills
        .into_iter()
        .filter(|bill| bill.payer != Payer::WarrantyPayer);
    for (bill, owed) in store::with_open(db, bills.collect()).await? {
        sentences.push(format!(
            "Invoice {}: {currency} {} is open, due on {}.",
            bill.number,
            Cents(owed.open_cents),
            wording::day(bill.due_on)
        ));
    }
    Ok(sentences)
}

fn document(
    settings: &Settings,
    account: Account,
    address: Option<&service_address::Model>,
    (meaning, open_bills): (String, Vec<String>),
) -> documents::StatementDocument {
    let shop = parties::shop_block(settings);
    let billing = address.map(|address| parties::customer_block(&account.customer, address));
    let lines = account.lines.iter().map(|line| documents::StatementLine {
        on: line.on.to_string(),
        what: format!("{} {}", words(line.kind), line.number),
        amount: line.amount.to_string(),
        balance: line.balance.to_string(),
    });
    documents::StatementDocument {
        lines: lines.collect(),
        shop: documents::ShopBlock {
            licence_line: (!shop.registration.is_empty()).then_some(shop.registration),
            name: shop.name,
            address_lines: shop.address,
            phone: shop.phone,
            email: shop.email,
        },
        customer: documents::CustomerBlock {
            name: account.customer.name,
            address_lines: billing.map_or_else(Vec::new, |block| block.billing_address),
            service_address_lines: Vec::new(),
            phone: None,
            email: None,
        },
        from: account.from.to_string(),
        until: account.until.to_string(),
        currency: settings.row.currency.clone(),
        opening: account.opening.to_string(),
        closing: account.closing.to_string(),
        meaning,
        open_bills,
    }
}

fn words(kind: Kind) -> &'static str {
    match kind {
        Kind::Invoice => "Invoice",
        Kind::CreditNote => "Credit note",
        Kind::Payment => "Payment",
        Kind::PaymentUndone => "Returned payment",
        Kind::Refund => "Paid back,",
        Kind::WriteOff => "Written off,",
        Kind::WriteOffUndone => "No longer written off,",
        Kind::RefundUndone => "No longer paid back,",
        Kind::ClaimsPaid => "Laid against warranty claims,",
    }
}
