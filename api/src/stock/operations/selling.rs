//! Parts sold by an invoice without a call.

use chrono::NaiveDate;
use nameplate_entities::kinds::StockMoveKind;
use nameplate_rules::books::{AccountRef, Role};
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::ConnectionTrait;

use crate::base::audit;
use crate::base::{Act, Error, Result};
use crate::{books, pricing};

use super::super::ledger::{About, Ledger, Out, subject};
use super::super::store;

/// What an invoice without a call sells.
pub struct Sold<'a> {
    pub invoice_id: i64,
    pub number: &'a str,
    pub on: NaiveDate,
    /// Parts, and how many of each; one may be named again.
    pub parts: &'a [(i64, Decimal)],
}

/// Takes what was sold off the main shelf and posts what it cost to cost of sales. Pieces beyond what is on hand cost what the
/// catalogue says, until their receipt settles them.
///
/// # Errors
/// `OutOfRange` for more than can be counted.
pub async fn sell(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    sold: Sold<'_>,
) -> Result<()> {
    if sold.parts.is_empty() {
        return Ok(());
    }
    let ids: Vec<i64> = sold.parts.iter().map(|(id, _)| *id).collect();
    let parts = pricing::parts_by_id(tx, &ids).await?;
    let place = store::main_place(tx).await?;
    let cost_of_sales = AccountRef::Role(Role::PartsCostOfSales);
    let account_id = books::account_id(tx, &cost_of_sales).await?;
    let ledger = Ledger::open(tx, act, verb).await?;
    for (id, quantity) in sold.parts {
        let part = parts.iter().find(|part| part.id == *id);
        let part = part.ok_or_else(|| Error::internal("a part that was sold is not listed"))?;
        let out = Out {
            part,
            place_id: place.id,
            quantity: *quantity,
            assumed: Cents(part.cost_cents),
            kind: StockMoveKind::Used,
            on: sold.on,
            about: About {
                invoice_id: Some(sold.invoice_id),
                account_id: Some(account_id),
                ..About::default()
            },
        };
        let row = ledger.go_out(out).await?;
        let memo = format!("{} sold by {}", part.number, sold.number);
        ledger.post(&row, (memo, cost_of_sales.clone())).await?;
        audit::created(tx, act, verb, subject(row.id), &row).await?;
    }
    Ok(())
}
