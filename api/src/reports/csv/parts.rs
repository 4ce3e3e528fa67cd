//! What suppliers are owed, and what the stock is worth.

use chrono::NaiveDate;
use nameplate_rules::money::Cents;
use sea_orm::ConnectionTrait;

use crate::base::Result;
use crate::payables::{self, Aged};
use crate::{pricing, stock};

use super::file::{File, amount, text};

/// What suppliers are owed by how late it is, as it stood on the day; what is left of credits apart. What entries by hand
/// of before say is payable, of no supplier, stands last, so that the last column adds up to the account on any day.
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
    let aged = Aged::by_supplier(&rows, on)?;
    let names = payables::named(db, aged.iter().map(|(supplier_id, _)| *supplier_id)).await?;
    for (supplier_id, aged) in &aged {
        let name = names.iter().find(|row| row.id == *supplier_id);
        let brackets = &aged.brackets;
        file.row([
            text(name.map_or("", |row| &row.name)),
            amount(brackets.not_yet_due),
            amount(brackets.days_1_to_30),
            amount(brackets.days_31_to_60),
            amount(brackets.days_61_to_90),
            amount(brackets.over_90),
            amount(aged.credit),
            amount(aged.owed),
        ])?;
    }
    let by_hand = payables::by_hand_on(db, on).await?;
    if by_hand != 0 {
        let owed = amount(Cents(by_hand));
        file.row(["entries by hand of before", "", "", "", "", "", "", &owed])?;
    }
    Ok(())
}

/// Parts that were there at the end of the day, and what they were worth; value of before without a part last.
pub async fn stock_value(db: &impl ConnectionTrait, file: &mut File, on: NaiveDate) -> Result<()> {
    file.row(["part", "description", "quantity", "value"])?;
    let day = stock::on_day(db, on, None).await?;
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
