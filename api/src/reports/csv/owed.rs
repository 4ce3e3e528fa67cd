//! What is owed by how late it is: by customers, and by warranty payers.

use chrono::NaiveDate;
use nameplate_rules::books::events::Debtor;
use nameplate_rules::invoice::{OpenItem, ageing};
use nameplate_rules::money::Cents;
use sea_orm::ConnectionTrait;

use crate::base::{Error, Result, wording};
use crate::{invoices, warranty};

use super::super::store;
use super::file::{File, amount, text};

/// Columns of the amounts, the not yet due first.
const BRACKETS: [&str; 6] = [
    "not_yet_due",
    "days_1_to_30",
    "days_31_to_60",
    "days_61_to_90",
    "over_90",
    "total",
];

/// What customers owe by how late it is, as it stood on the day.
pub async fn by_customers(db: &impl ConnectionTrait, file: &mut File, on: NaiveDate) -> Result<()> {
    let columns = ["customer", "customer_row", "phone", "email"];
    file.row(columns.into_iter().chain(BRACKETS))?;
    let rows = invoices::open_on(db, (Debtor::Customer, on)).await?;
    let debtors = store::debtors(db).await?;
    for of_one in rows.chunk_by(|a, b| a.customer_id == b.customer_id) {
        let Some(first) = of_one.first() else {
            continue;
        };
        let debtor = debtors.get(&first.customer_id);
        let phone = debtor.and_then(|row| row.phone_e164.as_deref());
        let email = debtor.and_then(|row| row.email.as_deref());
        let about = [
            text(debtor.map_or("", |row| row.name.as_str())),
            first.customer_id.to_string(),
            text(&phone.map_or_else(String::new, wording::phone)),
            text(email.unwrap_or_default()),
        ];
        file.row(about.into_iter().chain(aged(of_one, on)?))?;
    }
    Ok(())
}

/// What warranty payers owe by how late it is, as it stood on the day.
pub async fn by_payers(db: &impl ConnectionTrait, file: &mut File, on: NaiveDate) -> Result<()> {
    file.row(
        ["payer", "payer_row", "claim_mail"]
            .into_iter()
            .chain(BRACKETS),
    )?;
    let rows = invoices::open_on(db, (Debtor::WarrantyPayer, on)).await?;
    let ids: Vec<i64> = rows.iter().map(|row| row.customer_id).collect();
    let payers = warranty::payers_of_customers(db, &ids).await?;
    let debtors = store::debtors(db).await?;
    for of_one in rows.chunk_by(|a, b| a.customer_id == b.customer_id) {
        let Some(first) = of_one.first() else {
            continue;
        };
        let payer = payers
            .iter()
            .find(|row| row.customer_id == first.customer_id);
        let name = debtors.get(&first.customer_id).map(|row| row.name.as_str());
        let about = [
            text(name.unwrap_or_default()),
            payer.map_or_else(String::new, |row| row.id.to_string()),
            text(
                payer
                    .and_then(|row| row.claim_mail.as_deref())
                    .unwrap_or_default(),
            ),
        ];
        file.row(about.into_iter().chain(aged(of_one, on)?))?;
    }
    Ok(())
}

fn aged(rows: &[invoices::OpenRow], on: NaiveDate) -> Result<[String; 6]> {
    let items = rows.iter().map(|row| OpenItem {
        due_on: row.due_on,
        open: Cents(row.open_cents),
    });
    let aged = ageing(&items.collect::<Vec<_>>(), on)
        .map_err(|refusal| Error::caused("ageing", refusal))?;
    Ok([
        amount(aged.not_yet_due),
        amount(aged.days_1_to_30),
        amount(aged.days_31_to_60),
        amount(aged.days_61_to_90),
        amount(aged.over_90),
        amount(aged.total),
    ])
}
