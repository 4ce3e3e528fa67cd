//! Invoices by who owes them, and what of a warranty payer's invoice was given up or moved to the customer.

use std::collections::HashMap;

use nameplate_entities::kinds::Payer;
use nameplate_entities::{allocation, invoice, receivable};
use nameplate_rules::books::events::Debtor;
use sea_orm::sea_query::{Expr, ExprTrait, Query};
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder,
};

use crate::base::Result;

/// Who owes an invoice, as the books know it.
pub fn debtor(payer: Payer) -> Debtor {
    match payer {
        Payer::WarrantyPayer => Debtor::WarrantyPayer,
        Payer::Customer | Payer::Shop => Debtor::Customer,
    }
}

#[derive(FromQueryResult)]
struct Owes {
    id: i64,
    payer: Payer,
}

/// Who owes each of these invoices.
pub async fn debtors(
    db: &impl ConnectionTrait,
    invoice_ids: impl IntoIterator<Item = i64>,
) -> Result<HashMap<i64, Debtor>> {
    let select = Query::select()
        .columns([invoice::Column::Id, invoice::Column::Payer])
        .from(invoice::Entity)
        .and_where(invoice::Column::Id.is_in(invoice_ids))
        .to_owned();
    let statement = db.get_database_backend().build(&select);
    let rows = Owes::find_by_statement(statement).all(db).await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.id, debtor(row.payer)))
        .collect())
}

/// Whether a customer owes what is open, and no warranty payer: a condition on rows of `receivable`.
pub fn is_of_customer() -> Expr {
    let of = (receivable::Entity, receivable::Column::InvoiceId);
    let mut invoices = Query::select();
    invoices
        .expr(Expr::val(1))
        .from(invoice::Entity)
        .and_where(Expr::col((invoice::Entity, invoice::Column::Id)).equals(of))
        .and_where(invoice::Column::Payer.ne(Payer::WarrantyPayer));
    Expr::exists(invoices)
}

/// What of an invoice another one asks for now, without what was undone.
pub async fn standing_moves(
    db: &impl ConnectionTrait,
    invoice_id: i64,
) -> Result<Vec<allocation::Model>> {
    let rows = allocation::Entity::find()
        .filter(allocation::Column::InvoiceId.eq(invoice_id))
        .filter(allocation::Column::MovedToInvoiceId.is_not_null())
        .order_by_asc(allocation::Column::Id)
        .all(db)
        .await?;
    Ok(super::credit::not_undone(rows))
}

/// Ids of the invoices that ever asked for a part of this one, and its own.
pub async fn with_moved(db: &impl ConnectionTrait, invoice_id: i64) -> Result<Vec<i64>> {
    let rows = invoice::Entity::find()
        .filter(invoice::Column::MovedFromInvoiceId.eq(invoice_id))
        .all(db)
        .await?;
    let moved = rows.into_iter().map(|row| row.id);
    Ok(moved.chain([invoice_id]).collect())
}
