//! Billing one payer's share of a call to somebody else, once its invoice was taken back in whole.
//!
//! What stays true: a share is billed as it was divided, to one payer at a time, and only while other shares of the call
//! stand; when none does, the call is billed anew. Its paper is one of today: the shop as it is now, and what the place
//! asks of a bill now.

use nameplate_entities::{customer, invoice, service_address, service_call};
use sea_orm::{ActiveValue::Set, ConnectionTrait};
use serde::Serialize;

use crate::base::{Act, Error, ProblemCode, Result, Right, idempotency};
use crate::estimates::parties;
use crate::invoices::content::Content;
use crate::invoices::store;
use crate::shop;
use crate::{books, calls, customers, warranty};

use super::sale::{self, Sale};
use super::writing::{Issue, Rows};
use super::{local, shares};

/// A share to bill to somebody else.
#[derive(Clone, Debug, Serialize)]
pub struct RebillInvoice {
    #[serde(skip)]
    pub idempotency_key: String,
    /// The invoice of the share, taken back in whole.
    pub invoice_id: i64,
    pub customer_id: i64,
}

/// Bills a share that was taken back to this customer, line for line.
///
/// # Errors
/// `Forbidden`; `NotFound` for invoice or customer; `WrongState` at `invoiceId` for what is no share, is not taken back
/// in whole or is billed again already, where no other share of the call stands, and for the share of a warranty payer whose
/// rest may not be billed; at `customerId` for a warranty payer; `SettingMissing` for what the local rules want on a bill by
/// now; `PeriodClosed`.
pub async fn rebill_invoice(act: &Act, order: RebillInvoice) -> Result<invoice::Model> {
    let staff_id = act.staff_with(Right::RebillInvoice)?;
    let verb = Right::RebillInvoice.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_invoice(&tx, "", id).await;
    }
    let before = store::get_invoice(&tx, "invoiceId", order.invoice_id).await?;
    may_be_rebilled(&tx, &before).await?;
    let payer = customers::get_customer(&tx, "customerId", order.customer_id).await?;
    may_be_asked(&tx, &before, &payer).await?;
    let settings = shop::settings(&tx).await?;
    let issued_on = settings.day_of(act.at);
    books::check_open(&tx, "", issued_on).await?;
    let issue = Issue {
        settings: &settings,
        issued_on,
        staff_id,
        verb,
    };
    let address = before
        .service_address_id
        .ok_or_else(|| Error::internal("a share of a call without an address"))?;
    let address = customers::get_address(&tx, "", address).await?;
    let sale = again(&tx, &issue, &before, (&payer, &address)).await?;
    let row = sale::bill(&tx, act, &issue, (sale, &payer)).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(row)
}

async fn may_be_rebilled(tx: &impl ConnectionTrait, before: &invoice::Model) -> Result<()> {
    let refused = |message: String| Error::refused(ProblemCode::WrongState, "invoiceId", message);
    let number = &before.number;
    let (Some(division_id), None) = (before.division_id, before.credits_invoice_id) else {
        return Err(refused(format!(
            "{number} is no invoice of one of several payers. Take it back, and bill the call anew."
        )));
    };
    let owed = store::receivable_of(tx, before.id).await?;
    if !owed.is_some_and(|owed| owed.taken_back) {
        return Err(refused(format!(
            "{number} stands. Take it back in whole first, by a credit note."
        )));
    }
    if let Some(again) = store::rebilled_by(tx, before.id).await? {
        return Err(refused(format!(
            "{number} was billed again already by {}.",
            again.number
        )));
    }
    if !store::stands(tx, division_id).await? {
        return Err(refused(
            "No other share of this call stands. Bill the call anew.".to_owned(),
        ));
    }
    Ok(())
}

/// What a warranty payer was billed goes to no other payer, and to a customer only where its terms let that be.
async fn may_be_asked(
    tx: &impl ConnectionTrait,
    before: &invoice::Model,
    to: &customer::Model,
) -> Result<()> {
    let refused =
        |path: &str, message: String| Err(Error::refused(ProblemCode::WrongState, path, message));
    if warranty::payer_of_customer(tx, to.id).await?.is_some() {
        return refused(
            "customerId",
            format!(
                "{} is a warranty payer. Decide who pays (decideCoverage), and bill the call by that.",
                to.name
            ),
        );
    }
    let Some(payer_id) = before.warranty_payer_id else {
        return Ok(());
    };
    let ways = warranty::get_payer(tx, "", payer_id).await?;
    if ways.may_bill_rest {
        return Ok(());
    }
    let payer = customers::get_customer(tx, "", ways.customer_id).await?;
    refused(
        "invoiceId",
        format!(
            "What {} does not pay may not be billed to the customer; the shop bears it.",
            payer.name
        ),
    )
}

/// The same share, to somebody else.
async fn again(
    tx: &impl ConnectionTrait,
    issue: &Issue<'_>,
    before: &invoice::Model,
    (payer, address): (&customer::Model, &service_address::Model),
) -> Result<Sale> {
    let call_id = before
        .call_id
        .ok_or_else(|| Error::internal("a share of no call"))?;
    let call = calls::get_call(tx, "", call_id).await?;
    Ok(Sale {
        header: invoice::ActiveModel {
            call_id: Set(before.call_id),
            estimate_revision_id: Set(before.estimate_revision_id),
            billed_option_id: Set(before.billed_option_id),
            tax_jurisdiction_id: Set(before.tax_jurisdiction_id),
            tax_exemption_id: Set(before.tax_exemption_id),
            price_book_id: Set(before.price_book_id),
            service_address_id: Set(before.service_address_id),
            division_id: Set(before.division_id),
            rebills_invoice_id: Set(Some(before.id)),
            ..Default::default()
        },
        rows: Rows {
            lines: store::lines_of(tx, before.id).await?,
            taxes: store::taxes_of(tx, before.id).await?,
        },
        words: words(tx, issue, before, (&call, payer, address)).await?,
    })
}

/// What its paper says. The place asks for what the whole sale says, so it is looked at with the lines of all shares;
/// those of this one are put in when it is written.
async fn words(
    tx: &impl ConnectionTrait,
    issue: &Issue<'_>,
    before: &invoice::Model,
    (call, payer, address): (
        &service_call::Model,
        &customer::Model,
        &service_address::Model,
    ),
) -> Result<Content> {
    let settings = issue.settings;
    let about = (call.id, before.estimate_revision_id);
    let consents = if payer.id == call.customer_id {
        shares::consents(tx, settings, about).await?
    } else {
        shares::consents_without_telephone(tx, settings, about).await?
    };
    let words = Content {
        issued_on: issue.issued_on,
        shop: parties::shop_block(settings),
        customer: parties::customer_block(payer, address),
        consents,
        ..local::of_whole_sale(tx, before).await?
    };
    let held = local::held(tx, (Some(call), address), &words, issue.staff_id).await?;
    Ok(Content {
        local_lines: held.must_hold("invoiceId")?,
        ..words
    })
}
