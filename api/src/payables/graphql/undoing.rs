//! What undoing bills, credits and laid credit asks and gives.

use async_graphql::{ID, InputObject};

use crate::base::Result;
use crate::graphql::ids::Kind;
use crate::payload;

use super::super::{UndoAppliedSupplierCredit, UndoSupplierBill};
use super::SupplierBill;

/// Credit that was laid against the wrong bill.
#[derive(InputObject)]
pub struct UndoAppliedSupplierCreditInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The credit.
    credit_id: ID,
    /// The bill.
    bill_id: ID,
    /// Why.
    reason: String,
}

impl UndoAppliedSupplierCreditInput {
    pub fn command(self) -> Result<UndoAppliedSupplierCredit> {
        Ok(UndoAppliedSupplierCredit {
            idempotency_key: self.idempotency_key,
            credit_id: Kind::SupplierBill.row("creditId", &self.credit_id)?,
            bill_id: Kind::SupplierBill.row("billId", &self.bill_id)?,
            reason: self.reason,
        })
    }
}

payload! {
    /// What taking back laid credit gave.
    UndoAppliedSupplierCreditPayload {
        /// The bill.
        bill: SupplierBill
    }
}

/// A bill or credit that was recorded by mistake.
#[derive(InputObject)]
pub struct UndoSupplierBillInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The bill or credit.
    bill_id: ID,
    /// Why.
    reason: String,
}

impl UndoSupplierBillInput {
    pub fn command(self) -> Result<UndoSupplierBill> {
        Ok(UndoSupplierBill {
            idempotency_key: self.idempotency_key,
            bill_id: Kind::SupplierBill.row("billId", &self.bill_id)?,
            reason: self.reason,
        })
    }
}

payload! {
    /// What undoing a bill or credit gave.
    UndoSupplierBillPayload {
        /// The bill or credit.
        bill: SupplierBill
    }
}
