//! What suppliers are owed, and what the stock is worth.

use chrono::NaiveDate;
use nameplate_entities::kinds::SupplierBillKind;
use nameplate_rules::invoice::{OpenItem, ageing};
use nameplate_rules::money::Cents;
use sea_orm::{ConnectionTrait, StreamTrait};

use crate::base::{Error, Result};
use crate::{payables, pricing, stock};

use super::file::{File, amount, text};

/// What suppliers are owed by how late it is, as it stood on the day; what is left of credits apart.
pub async fn payables_ageing(
    db: &impl ConnectionTrait,
    file: &mut File,
    on: NaiveDate,
) -> Result<()> {
    file.row([
        "supplier",
        "not_yet_due",
        "days_1_to_30",
        "days_31_to_60",
        "days_61_to_90",
        "over_90",
        "credit",
        "owed",
    ])?;
    let rows = payables::open_on(db, on).await?;
    let ids = rows.iter().map(|row| row.supplier_id);
    let names = payables::named(db, ids).await?;
    for of_one in rows.chunk_by(|a, b| a.supplier_id == b.supplier_id) {
        let Some(first) = of_one.first() else {
            continue;
        };
        let name = names.iter().find(|row| row.id == first.supplier_id);
        let is_bill = |row: &&payables::OpenBill| row.kind == SupplierBillKind::Bill;
        let items = of_one.iter().filter(is_bill).map(|row| OpenItem {
            due_on: row.due_on,
            open: Cents(row.open_cents),
        });
        let items: Vec<OpenItem> = items.collect();
        let aged = ageing(&items, on).map_err(|refusal| Error::caused("ageing", refusal))?;
        let credits = of_one.iter().filter(|row| !is_bill(row));
        let left = Cents::sum(credits.map(|row| Cents(row.open_cents)))
            .map_err(|error| Error::caused("payables ageing", error))?;
        let credit = left.checked_neg().unwrap_or_default();
        let owed = Cents::sum([aged.total, left])
            .map_err(|error| Error::caused("payables ageing", error))?;
        file.row([
            text(name.map_or("", |row| &row.name)),
            amount(aged.not_yet_due),
            amount(aged.days_1_to_30),
            amount(aged.days_31_to_60),
            amount(aged.days_61_to_90),
            amount(aged.over_90),
            amount(credit),
            amount(owed),
        ])?;
    }
    Ok(())
}

/// Parts that were there at the end of the day, and what they were worth; value of before without a part last.
pub async fn stock_value(
    db: &(impl ConnectionTrait + StreamTrait),
    file: &mut File,
    on: NaiveDate,
) -> Result<()> {
    file.row(["part", "description", "quantity", "value"])?;
    let day = stock::on_day(db, on).await?;
    for some in day.parts.chunks(1_000) {
        let ids: Vec<i64> = some.iter().map(|row| row.part_id).collect();
        let parts = pricing::parts_by_id(db, &ids).await?;
        for row in some {
            let part = parts.iter().find(|part| part.id == row.part_id);
            file.row([
                text(part.map_or("", |part| &part.number)),
                text(part.map_or("", |part| &part.description)),
                row.quantity.to_string(),
                amount(Cents(row.value_cents)),
            ])?;
        }
    }
    if day.unassigned_cents != 0 {
        let unassigned = amount(Cents(day.unassigned_cents));
        file.row(["", "not assigned to parts", "", &unassigned])?;
    }
    Ok(())
}
