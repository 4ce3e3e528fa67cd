//! Write-offs and the sales tax they gave back.

use chrono::NaiveDate;
use nameplate_entities::{
    allocation, invoice, invoice_tax, write_off, write_off_return, write_off_return_tax,
    write_off_tax,
};
use nameplate_rules::money::Cents;
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder, Statement,
};

use crate::base::{Error, Result};

/// Write-offs of these invoices of which something still stands.
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

/// What still stands of a write-off.
pub struct Left {
    pub bad_debt: Cents,
    /// By level.
    pub taxes: Vec<(i64, Cents)>,
}

impl Left {
    /// All of it.
    ///
    /// # Errors
    /// Internal, for a sum that does not fit.
    pub fn sum(&self) -> Result<Cents> {
        let taxes = self.taxes.iter().map(|(_, amount)| *amount);
        Cents::sum(taxes.chain([self.bad_debt]))
            .map_err(|refusal| Error::caused("sum of a write-off", refusal))
    }
}

/// What still stands of a write-off, after what was undone of it.
///
/// # Errors
/// Internal only.
pub async fn left_of_write_off(db: &impl ConnectionTrait, row: &write_off::Model) -> Result<Left> {
    let returns = write_off_return::Entity::find()
        .filter(write_off_return::Column::WriteOffId.eq(row.id))
        .all(db)
        .await?;
    let ids = returns.iter().map(|back| back.id);
    let back = write_off_return_tax::Entity::find()
        .filter(write_off_return_tax::Column::WriteOffReturnId.is_in(ids))
        .all(db)
        .await?;
    let taxes = write_off_tax::Entity::find()
        .filter(write_off_tax::Column::WriteOffId.eq(row.id))
        .order_by_asc(write_off_tax::Column::Id)
        .all(db)
        .await?;
    let too_large = |refusal| Error::caused("what stands of a write-off", refusal);
    let less = |whole: i64, parts: Vec<i64>| {
        let negative = parts.into_iter().map(|part| Cents(-part));
        Cents::sum(negative.chain([Cents(whole)])).map_err(too_large)
    };
    let bad_debts = returns.iter().map(|back| back.bad_debt_cents).collect();
    Ok(Left {
        bad_debt: less(row.bad_debt_cents, bad_debts)?,
        taxes: taxes
            .into_iter()
            .map(|tax| {
                let of_level = back
                    .iter()
                    .filter(|back| back.tax_level_id == tax.tax_level_id);
                let parts = of_level.map(|back| back.amount_cents).collect();
                Ok((tax.tax_level_id, less(tax.amount_cents, parts)?))
            })
            .collect::<Result<_>>()?,
    })
}

/// What a write-off settles now, without what was undone.
///
/// # Errors
/// Internal only.
pub async fn laid_by_write_off(
    db: &impl ConnectionTrait,
    write_off_id: i64,
) -> Result<Vec<allocation::Model>> {
    let rows = allocation::Entity::find()
        .filter(allocation::Column::WriteOffId.eq(write_off_id))
        .order_by_asc(allocation::Column::Id)
        .all(db)
        .await?;
    Ok(super::credit::not_undone(rows))
}

/// Since when at least so much as now was open on an invoice, and why: it was issued, or opened again by something undone.
///
/// # Errors
/// Internal only.
pub async fn open_since(
    db: &impl ConnectionTrait,
    row: &invoice::Model,
) -> Result<(NaiveDate, String)> {
    let undone = allocation::Entity::find()
        .filter(allocation::Column::InvoiceId.eq(row.id))
        .filter(allocation::Column::AmountCents.lt(0))
        .order_by_desc(allocation::Column::AppliedOn)
        .one(db)
        .await?;
    let number = &row.number;
    if let Some(undone) = undone {
        let day = undone.applied_on;
        return Ok((day, format!("{number} was opened again on {day}.")));
    }
    let day = row.issued_on;
    Ok((day, format!("{number} was issued on {day}.")))
}

/// Numbers of a customer's invoices of which something is written off, each with its write-off; at most five.
///
/// # Errors
/// Internal only.
pub async fn written_off_of(
    db: &impl ConnectionTrait,
    customer_id: i64,
) -> Result<Vec<(String, String)>> {
    let sql = "SELECT i.number AS invoice, w.number AS write_off FROM write_off w JOIN invoice i ON i.id = w.invoice_id \
         WHERE i.customer_id = $1 AND w.reversed_on IS NULL ORDER BY w.id DESC LIMIT 5";
    let statement =
        Statement::from_sql_and_values(db.get_database_backend(), sql, [customer_id.into()]);
    let rows = WrittenOff::find_by_statement(statement).all(db).await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.invoice, row.write_off))
        .collect())
}

#[derive(FromQueryResult)]
struct WrittenOff {
    invoice: String,
    write_off: String,
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
