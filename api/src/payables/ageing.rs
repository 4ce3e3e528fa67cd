//! How late suppliers' bills are, by supplier and over all, as graph and file show it.

use chrono::NaiveDate;
use nameplate_entities::kinds::SupplierBillKind;
use nameplate_rules::invoice::{Ageing, OpenItem, ageing};
use nameplate_rules::money::Cents;

use crate::base::{Error, Result};

use super::store::OpenBill;

/// How late some bills are, and what is left of credits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Aged {
    /// What is open on bills.
    pub brackets: Ageing,
    /// What is left of credits.
    pub credit: Cents,
    /// Open less credit.
    pub owed: Cents,
}

impl Aged {
    /// Of these bills and credits, on a day.
    ///
    /// # Errors
    /// Internal, for sums that cannot be counted.
    pub fn of(rows: &[OpenBill], on: NaiveDate) -> Result<Self> {
        let too_large = |error| Error::caused("payables ageing", error);
        let is_bill = |row: &&OpenBill| row.kind == SupplierBillKind::Bill;
        let items = rows.iter().filter(is_bill).map(|row| OpenItem {
            due_on: row.due_on,
            open: Cents(row.open_cents),
        });
        let brackets = ageing(&items.collect::<Vec<_>>(), on).map_err(too_large)?;
        let credits = rows.iter().filter(|row| !is_bill(row));
        let left = Cents::sum(credits.map(|row| Cents(row.open_cents))).map_err(too_large)?;
        Ok(Self {
            brackets,
            credit: left.checked_neg().unwrap_or_default(),
            owed: Cents::sum([brackets.total, left]).map_err(too_large)?,
        })
    }

    /// The same supplier by supplier; rows of one supplier lie together.
    ///
    /// # Errors
    /// Internal, for sums that cannot be counted.
    pub fn by_supplier(rows: &[OpenBill], on: NaiveDate) -> Result<Vec<(i64, Self)>> {
        rows.chunk_by(|a, b| a.supplier_id == b.supplier_id)
            .filter_map(|of_one| Some((of_one.first()?.supplier_id, of_one)))
            .map(|(supplier_id, of_one)| Ok((supplier_id, Self::of(of_one, on)?)))
            .collect()
    }
}
