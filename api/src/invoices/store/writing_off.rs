//! Write-offs and the sales tax they gave back.

use nameplate_entities::{invoice_tax, write_off};
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder, Statement,
};

use crate::base::Result;

/// Write-offs of these invoices that nothing came in on since.
pub async fn standing_write_offs(
    db: &impl ConnectionTrait,
    invoice_ids: impl IntoIterator<Item = i64>,
) -> Result<Vec<write_off::Model>> {
    Ok(write_off::Entity::find()
        .filter(write_off::Column::InvoiceId.is_in(invoice_ids))
        .filter(write_off::Column::ReversedOn.is_null())
        .order_by_asc(write_off::Column::Id)
        .all(db)
        .await?)
}

#[derive(FromQueryResult)]
struct Given {
    tax_level_id: i64,
    cents: i64,
}

/// The tax of an invoice that its credit notes leave, by level, in the order of the invoice.
///
/// # Errors
/// Internal only.
pub async fn taxes_left(db: &impl ConnectionTrait, invoice_id: i64) -> Result<Vec<(i64, i64)>> {
    let billed = invoice_tax::Entity::find()
        .filter(invoice_tax::Column::InvoiceId.eq(invoice_id))
        .order_by_asc(invoice_tax::Column::Position)
        .all(db)
        .await?;
    let sql = "SELECT t.tax_level_id, CAST(SUM(t.tax_cents) AS BIGINT) AS cents FROM invoice_tax t \
         JOIN invoice c ON c.id = t.invoice_id WHERE c.credits_invoice_id = $1 GROUP BY t.tax_level_id";
    let statement =
        Statement::from_sql_and_values(db.get_database_backend(), sql, [invoice_id.into()]);
    let given = Given::find_by_statement(statement).all(db).await?;
    Ok(billed
        .into_iter()
        .map(|tax| {
            let given = given
                .iter()
                .find(|given| given.tax_level_id == tax.tax_level_id);
            let left = tax
                .tax_cents
                .saturating_add(given.map_or(0, |given| given.cents));
            (tax.tax_level_id, left)
        })
        .collect())
}
