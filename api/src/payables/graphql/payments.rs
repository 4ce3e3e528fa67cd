//! Payments to suppliers, and what settles what.

use async_graphql::{ComplexObject, Context, ID, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::{account, payable_allocation, supplier_payment};

use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::Money;
use crate::invoices::graphql::PaymentMethod;
use crate::pricing::graphql::Supplier;
use crate::shop::graphql::Staff;

use super::SupplierBill;

/// Money paid to a supplier.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct SupplierPayment {
    /// Its number, without gaps.
    number: String,
    /// How it was paid.
    method: PaymentMethod,
    /// Such as the number of the check.
    reference: Option<String>,
    /// The day it was paid.
    paid_on: NaiveDate,
    /// How much.
    amount: Money,
    /// When it was recorded.
    recorded_at: DateTime<Utc>,
    /// The day from which it counts no more; null while it stands.
    undone_on: Option<NaiveDate>,
    /// Why it was undone.
    undone_because: Option<String>,
    #[graphql(skip)]
    row: supplier_payment::Model,
}

impl From<supplier_payment::Model> for SupplierPayment {
    fn from(row: supplier_payment::Model) -> Self {
        Self {
            number: row.number.clone(),
            method: row.method.into(),
            reference: row.reference.clone(),
            paid_on: row.paid_on,
            amount: Money::cents(row.amount_cents),
            recorded_at: row.recorded_at,
            undone_on: row.undone_on,
            undone_because: row.undone_because.clone(),
            row,
        }
    }
}

impl SupplierPayment {
    /// The payment behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = loaders::row::<supplier_payment::Entity>(ctx, id).await?;
        Ok(row.map(Self::from))
    }

    /// The payment with this id; technicians see none.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if act(ctx)?.is_desk() {
            Self::of(ctx, id).await
        } else {
            Ok(None)
        }
    }
}

#[ComplexObject]
impl SupplierPayment {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::SupplierPayment.id(self.row.id)
    }

    /// To whom.
    async fn supplier(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Supplier>> {
        Supplier::of(ctx, self.row.supplier_id).await
    }

    /// Code of the bank account it was paid from.
    async fn account_code(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<String>> {
        let row = loaders::row::<account::Entity>(ctx, self.row.account_id).await?;
        Ok(row.map(|row| row.code))
    }

    /// Who recorded it.
    async fn recorded_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.recorded_by).await
    }

    /// What it settled, and what of that was undone.
    async fn allocations(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Vec<PayableAllocation>> {
        let column = payable_allocation::Column::PaymentId;
        let rows =
            loaders::children::<payable_allocation::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().map(PayableAllocation::from).collect())
    }
}

/// What part of a payment or credit settles which bill.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct PayableAllocation {
    /// How much; below zero where it undoes another.
    amount: Money,
    /// The day it counts from.
    applied_on: NaiveDate,
    /// Whether it undoes another.
    undoes: bool,
    #[graphql(skip)]
    row: payable_allocation::Model,
}

impl From<payable_allocation::Model> for PayableAllocation {
    fn from(row: payable_allocation::Model) -> Self {
        Self {
            amount: Money::cents(row.amount_cents),
            applied_on: row.applied_on,
            undoes: row.undoes_allocation_id.is_some(),
            row,
        }
    }
}

#[ComplexObject]
impl PayableAllocation {
    /// The bill that is settled.
    async fn bill(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<SupplierBill>> {
        SupplierBill::of(ctx, self.row.bill_id).await
    }

    /// The payment that settles it; null if a credit does.
    async fn payment(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<SupplierPayment>> {
        match self.row.payment_id {
            Some(id) => SupplierPayment::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The credit that settles it; null if a payment does.
    async fn credit(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<SupplierBill>> {
        match self.row.credit_id {
            Some(id) => SupplierBill::of(ctx, id).await,
            None => Ok(None),
        }
    }
}
