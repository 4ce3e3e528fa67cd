//! A call that a warranty payer owes as a whole, without a decision who pays.

use nameplate_entities::kinds::{Payer, ReceivableKind};
use nameplate_entities::{invoice, warranty_payer};
use nameplate_rules::books::events;
use sea_orm::ActiveValue::Set;

use crate::base::numbers::{self, Series};
use crate::base::{Act, Right};
use crate::invoices::store;
use crate::{customers, shop};

use super::writing::{self, Issue, post_if_any};
use super::{falls_due, offered, owe, sale_of};

/// Bills a call's accepted estimate to a payer, as of today.
///
/// # Panics
/// Where the call cannot be billed.
pub async fn bill_a_payer(
    act: &Act,
    call_id: i64,
    payer: &warranty_payer::Model,
) -> invoice::Model {
    let tx = act.app.db.write().await.unwrap();
    let billed = store::billed(&tx, "callId", call_id).await.unwrap();
    let settings = shop::settings(&tx).await.unwrap();
    let today = settings.day_of(act.at);
    let verb = Right::IssueInvoice.mutation();
    let issue = Issue {
        settings: &settings,
        issued_on: today,
        staff_id: act.staff_id().unwrap(),
        verb,
    };
    let made = Box::pin(sale_of(&tx, &issue, &billed, (None, None))).await;
    let (sale, offered) = made.unwrap();
    let customer = customers::get_customer(&tx, "", payer.customer_id).await;
    let customer = customer.unwrap();
    let header = invoice::ActiveModel {
        kind: Set(ReceivableKind::Invoice),
        number: Set(numbers::take(&tx, Series::Invoice).await.unwrap()),
        customer_id: Set(customer.id),
        payer: Set(Payer::WarrantyPayer),
        warranty_payer_id: Set(Some(payer.id)),
        due_on: Set(falls_due(&settings, &customer, today).unwrap()),
        ..sale.header
    };
    let amounts = sale.rows.document_amounts_of(Payer::WarrantyPayer).unwrap();
    let of = (header, sale.rows, sale.words);
    let written = Box::pin(writing::write(&tx, act, &issue, of)).await;
    let row = written.unwrap();
    owe(&tx, &row).await.unwrap();
    let memo = format!("Invoice {}", row.number);
    let entry = (memo, events::invoice_issued(&amounts));
    post_if_any(&tx, act, &row, entry).await.unwrap();
    writing::tell(&tx, act, &row, &customer).await.unwrap();
    let about = (verb, &offered.unwrap());
    offered::mark_billed(&tx, act, about).await.unwrap();
    tx.commit().await.unwrap();
    row
}
