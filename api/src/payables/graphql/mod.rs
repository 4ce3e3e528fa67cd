//! Suppliers' bills, credits and payments in the graph, and how long bills are open.

pub mod mutations;
pub mod payments;
pub mod reports;
pub mod undoing;

use async_graphql::connection::Connection;
use async_graphql::{Context, Enum, ID, Object, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::kinds::{AccountKind, SupplierBillKind as KindOfBill};
use nameplate_entities::{
    account, part, payable, payable_allocation, supplier_bill, supplier_bill_line,
    supplier_bill_undoing, supplier_payment,
};
use sea_orm::sea_query::Query;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter};

use crate::books;
use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::pricing::graphql::{Part, Supplier};
use crate::shop::graphql::Staff;
use crate::stock::graphql::{PartOrder, StockMove, StockPlace};

use super::accounts_of_bills;
pub use mutations::PayablesMutation;
pub use payments::{PayableAllocation, SupplierPayment};
pub use reports::PayableReportsQuery;

/// A supplier's bill, or what a supplier gives back.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::SupplierBillKind")]
pub enum SupplierBillKind {
    /// The shop owes it.
    Bill,
    /// The supplier gives it back.
    Credit,
}

/// A supplier's bill, or what a supplier gives back; never changed.
pub struct SupplierBill {
    row: supplier_bill::Model,
}

impl From<supplier_bill::Model> for SupplierBill {
    fn from(row: supplier_bill::Model) -> Self {
        Self { row }
    }
}

impl SupplierBill {
    /// The bill behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = loaders::row::<supplier_bill::Entity>(ctx, id).await?;
        Ok(row.map(Self::from))
    }

    /// The bill with this id; technicians see none.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if act(ctx)?.is_desk() {
            Self::of(ctx, id).await
        } else {
            Ok(None)
        }
    }

    async fn undoing(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<supplier_bill_undoing::Model>> {
        loaders::row::<supplier_bill_undoing::Entity>(ctx, self.row.id).await
    }
}

/// A supplier's bill, or what a supplier gives back; never changed.
#[Object]
impl SupplierBill {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::SupplierBill.id(self.row.id)
    }

    /// Whether the shop owes it, or gets it back.
    async fn kind(&self) -> SupplierBillKind {
        self.row.kind.into()
    }

    /// The shop's own number of it, without gaps.
    async fn number(&self) -> &str {
        &self.row.number
    }

    /// The supplier's number.
    async fn supplier_number(&self) -> &str {
        &self.row.supplier_number
    }

    /// Whose bill it is.
    async fn supplier(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Supplier>> {
        Supplier::of(ctx, self.row.supplier_id).await
    }

    /// The day on it.
    async fn billed_on(&self) -> NaiveDate {
        self.row.billed_on
    }

    /// The day it is due.
    async fn due_on(&self) -> NaiveDate {
        self.row.due_on
    }

    /// All of it.
    async fn total(&self) -> Money {
        Money::cents(self.row.total_cents)
    }

    /// What is still open on it, or left of it.
    async fn open(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Money>> {
        let row = loaders::row::<payable::Entity>(ctx, self.row.id).await?;
        Ok(row.map(|row| Money::cents(row.open_cents)))
    }

    /// What the desk adds.
    async fn note(&self) -> Option<&str> {
        self.row.note.as_deref()
    }

    /// The bill that a credit is about.
    async fn credits(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<SupplierBill>> {
        match self.row.credits_bill_id {
            Some(id) => Self::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// When it was recorded.
    async fn recorded_at(&self) -> DateTime<Utc> {
        self.row.recorded_at
    }

    /// Who recorded it.
    async fn recorded_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.recorded_by).await
    }

    /// The day from which it counts no more, as it was recorded by mistake; null while it stands.
    async fn undone_on(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<NaiveDate>> {
        Ok(self.undoing(ctx).await?.map(|row| row.undone_on))
    }

    /// Why it was undone.
    async fn undone_because(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<String>> {
        Ok(self.undoing(ctx).await?.map(|row| row.reason))
    }

    /// Its lines, in order.
    async fn lines(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<SupplierBillLine>> {
        let column = supplier_bill_line::Column::BillId;
        let rows =
            loaders::children::<supplier_bill_line::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().map(SupplierBillLine::from).collect())
    }

    /// What settled the bill, or what the credit was laid against, and what of that was undone.
    async fn allocations(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Vec<PayableAllocation>> {
        let column = match self.row.kind {
            KindOfBill::Bill => payable_allocation::Column::BillId,
            KindOfBill::Credit => payable_allocation::Column::CreditId,
        };
        let rows =
            loaders::children::<payable_allocation::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().map(PayableAllocation::from).collect())
    }
}

/// A line of a supplier's bill: parts, an amount for an account, or a charge spread over the parts.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct SupplierBillLine {
    /// Its place, from 1.
    position: i32,
    /// In words.
    description: Option<String>,
    /// How many parts.
    quantity: Option<ExactDecimal>,
    /// What one of them is billed at, or given back for.
    unit_cost: Option<Money>,
    /// What the supplier asks or gives for the line.
    amount: Money,
    /// What its parts cost in stock, with what was spread over them.
    cost: Money,
    #[graphql(skip)]
    row: supplier_bill_line::Model,
}

impl From<supplier_bill_line::Model> for SupplierBillLine {
    fn from(row: supplier_bill_line::Model) -> Self {
        Self {
            position: row.position,
            description: row.description.clone(),
            quantity: row.quantity.map(Into::into),
            unit_cost: row.unit_cost_cents.map(Money::cents),
            amount: Money::cents(row.amount_cents),
            cost: Money::cents(row.cost_cents),
            row,
        }
    }
}

#[async_graphql::ComplexObject]
impl SupplierBillLine {
    /// The part; null for other lines.
    async fn part(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Part>> {
        match self.row.part_id {
            Some(id) => Ok(loaders::row::<part::Entity>(ctx, id).await?.map(Part::from)),
            None => Ok(None),
        }
    }

    /// Where the parts were put, or taken from.
    async fn place(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<StockPlace>> {
        match self.row.place_id {
            Some(id) => StockPlace::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// Code of the account it went to; null for parts, and for what was spread over them.
    async fn account_code(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<String>> {
        match self.row.account_id {
            Some(id) => {
                let row = loaders::row::<account::Entity>(ctx, id).await?;
                Ok(row.map(|row| row.code))
            }
            None => Ok(None),
        }
    }

    /// The move by which its parts came or went.
    async fn stock_move(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<StockMove>> {
        match self.row.move_id.or(self.row.receipt_move_id) {
            Some(id) => StockMove::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The order its parts were sent for.
    async fn part_order(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<PartOrder>> {
        match self.row.part_order_id {
            Some(id) => PartOrder::of(ctx, id).await,
            None => Ok(None),
        }
    }
}

/// An account that a line of a supplier's bill or credit may name.
#[derive(SimpleObject)]
pub struct BillAccount {
    /// Its number in the chart.
    code: String,
    /// Its name.
    name: String,
    /// Whether it is something the shop keeps, such as tools, and no expense.
    is_kept: bool,
}

impl From<account::Model> for BillAccount {
    fn from(row: account::Model) -> Self {
        Self {
            is_kept: row.kind == AccountKind::Asset,
            code: row.code,
            name: row.name,
        }
    }
}

/// Suppliers' bills and payments.
#[derive(Default)]
pub struct PayablesQuery;

#[Object]
impl PayablesQuery {
    /// The accounts that lines of suppliers' bills and credits may name, by number: expenses, and what the shop keeps.
    #[graphql(complexity = "10 + 50 * child_complexity")]
    async fn bill_accounts(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<BillAccount>> {
        let chart = books::chart(reader(ctx)?).await.map_err(edge)?;
        let rows = accounts_of_bills(chart).into_iter();
        Ok(rows.map(BillAccount::from).collect())
    }

    /// Bills and credits of suppliers, the newest first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    #[expect(
        clippy::too_many_arguments,
        reason = "a page of a narrowed list has as many"
    )]
    async fn supplier_bills(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only this supplier's.")] supplier_id: Option<ID>,
        #[graphql(desc = "Only those on which something is open or left.", default)]
        open_only: bool,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, SupplierBill>> {
        let mut select = supplier_bill::Entity::find();
        if let Some(id) = supplier(supplier_id.as_ref())? {
            select = select.filter(supplier_bill::Column::SupplierId.eq(id));
        }
        if open_only {
            let open = Query::select()
                .column(payable::Column::BillId)
                .from(payable::Entity)
                .and_where(payable::Column::OpenCents.gt(0))
                .to_owned();
            select = select.filter(supplier_bill::Column::Id.in_subquery(open));
        }
        let page = Page {
            first,
            after,
            last,
            before,
        };
        let id = supplier_bill::Column::Id;
        let db = reader(ctx)?;
        connection::newest_first(db, select, id, page, (|row| row.id, SupplierBill::from)).await
    }

    /// Payments to suppliers, the newest first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn supplier_payments(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only this supplier's.")] supplier_id: Option<ID>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, SupplierPayment>> {
        let mut select = supplier_payment::Entity::find();
        if let Some(id) = supplier(supplier_id.as_ref())? {
            select = select.filter(supplier_payment::Column::SupplierId.eq(id));
        }
        connection::newest_first(
            reader(ctx)?,
            select,
            supplier_payment::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, SupplierPayment::from),
        )
        .await
    }
}

fn supplier(id: Option<&ID>) -> async_graphql::Result<Option<i64>> {
    Kind::Supplier.row_if_any("supplierId", id).map_err(edge)
}
