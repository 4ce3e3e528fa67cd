//! Parts on order in the graph, and the calls that wait for them.

use async_graphql::connection::Connection;
use async_graphql::{Context, Enum, ID, InputObject, MaybeUndefined, Object};
use chrono::NaiveDate;
use nameplate_entities::{part_order, service_call};

use crate::base::Result;
use crate::calls::graphql::ServiceCall;
use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::ExactDecimal;
use crate::payload;
use crate::pricing::graphql::{Part, Supplier};
use crate::shop::graphql::Staff;

use super::super::operations;
use super::super::store::orders as store;

/// Where an order of parts stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::PartOrderState")]
pub enum PartOrderState {
    /// Not all of it came yet.
    Ordered,
    /// All of it that will come is there.
    Received,
    /// Nothing of it came, and nothing will.
    Cancelled,
}

/// Parts ordered from a supplier.
pub struct PartOrder {
    row: part_order::Model,
}

impl From<part_order::Model> for PartOrder {
    fn from(row: part_order::Model) -> Self {
        Self { row }
    }
}

impl PartOrder {
    /// The order behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = loaders::row::<part_order::Entity>(ctx, id).await?;
        Ok(row.map(Self::from))
    }

    /// The order with this id; technicians see those of their calls, on the call.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if act(ctx)?.is_desk() {
            Self::of(ctx, id).await
        } else {
            Ok(None)
        }
    }

    /// What was ordered for a call the caller may see.
    pub async fn of_call(ctx: &Context<'_>, call_id: i64) -> async_graphql::Result<Vec<Self>> {
        let column = part_order::Column::CallId;
        let rows = loaders::children::<part_order::Entity>(ctx, column, call_id).await?;
        Ok(rows.into_iter().map(Self::from).collect())
    }
}

/// Parts ordered from a supplier.
#[Object]
impl PartOrder {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::PartOrder.id(self.row.id)
    }

    /// Its number, without gaps.
    async fn number(&self) -> &str {
        &self.row.number
    }

    /// Where it stands.
    async fn state(&self) -> PartOrderState {
        self.row.state.into()
    }

    /// The part.
    async fn part(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Part>> {
        Part::of(ctx, self.row.part_id).await
    }

    /// How many were ordered.
    async fn quantity(&self) -> ExactDecimal {
        self.row.quantity.into()
    }

    /// How many came so far.
    async fn received_quantity(&self) -> ExactDecimal {
        self.row.received_quantity.into()
    }

    /// From whom.
    async fn supplier(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Supplier>> {
        Supplier::of(ctx, self.row.supplier_id).await
    }

    /// The supplier's own number of it.
    async fn reference(&self) -> Option<&str> {
        self.row.reference.as_deref()
    }

    /// The call that waits; null for parts for the shelf, and where the caller does not see the call.
    async fn call(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<ServiceCall>> {
        match self.row.call_id {
            Some(id) => ServiceCall::seen(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The day it was ordered.
    async fn ordered_on(&self) -> NaiveDate {
        self.row.ordered_on
    }

    /// Who ordered it.
    async fn ordered_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.ordered_by).await
    }

    /// The day it is expected.
    async fn expected_on(&self) -> Option<NaiveDate> {
        self.row.expected_on
    }

    /// The day its last piece came, or it was closed.
    async fn closed_on(&self) -> Option<NaiveDate> {
        self.row.closed_on
    }

    /// Why it was closed before all of it came.
    async fn closed_because(&self) -> Option<&str> {
        self.row.closed_because.as_deref()
    }

    /// Grows with each change; give it back when you change the order.
    async fn version(&self) -> i32 {
        self.row.version
    }
}

/// Parts to order.
#[derive(InputObject)]
pub struct OrderPartInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The part.
    part_id: ID,
    /// How many; above zero.
    quantity: ExactDecimal,
    /// From whom.
    supplier_id: ID,
    /// The open call that waits for them.
    call_id: Option<ID>,
    /// The day they are expected.
    expected_on: Option<NaiveDate>,
    /// The supplier's own number of the order.
    reference: Option<String>,
}

impl OrderPartInput {
    fn command(self) -> Result<operations::OrderPart> {
        Ok(operations::OrderPart {
            idempotency_key: self.idempotency_key,
            part_id: Kind::Part.row("partId", &self.part_id)?,
            quantity: self.quantity.0,
            supplier_id: Kind::Supplier.row("supplierId", &self.supplier_id)?,
            call_id: Kind::ServiceCall.row_if_any("callId", self.call_id.as_ref())?,
            expected_on: self.expected_on,
            reference: self.reference,
        })
    }
}

payload! {
    /// What ordering parts gave.
    OrderPartPayload {
        /// The order as recorded.
        part_order: PartOrder
    }
}

/// An order of which nothing more will come.
#[derive(InputObject)]
pub struct CancelPartOrderInput {
    /// The order.
    order_id: ID,
    /// Why.
    reason: String,
}

payload! {
    /// What closing an order gave.
    CancelPartOrderPayload {
        /// The order as it is now.
        part_order: PartOrder
    }
}

/// What is known anew of an order that is under way. What is left out stays; null takes it away.
#[derive(InputObject)]
pub struct ChangePartOrderInput {
    /// The order.
    order_id: ID,
    /// The version you read.
    version: i32,
    /// The day they are expected.
    expected_on: MaybeUndefined<NaiveDate>,
    /// The supplier's own number of the order.
    reference: MaybeUndefined<String>,
}

payload! {
    /// What changing an order gave.
    ChangePartOrderPayload {
        /// The order as it is now.
        part_order: PartOrder
    }
}

/// Parts on order.
#[derive(Default)]
pub struct PartOrdersQuery;

#[Object]
impl PartOrdersQuery {
    /// Orders of parts, the newest first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    #[expect(
        clippy::too_many_arguments,
        reason = "a page of a narrowed list has as many"
    )]
    async fn part_orders(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only those that stand so.")] state: Option<PartOrderState>,
        #[graphql(desc = "Only those from this supplier.")] supplier_id: Option<ID>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, PartOrder>> {
        let supplier_id = Kind::Supplier
            .row_if_any("supplierId", supplier_id.as_ref())
            .map_err(edge)?;
        connection::newest_first(
            reader(ctx)?,
            store::orders(state.map(Into::into), supplier_id),
            part_order::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, PartOrder::from),
        )
        .await
    }

    /// Open calls with parts to fit that have all come, and for which no visit is planned: ready to schedule, the newest first.
    /// Parts fitted since they came are off the list, and so are orders closed before all of them came.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn calls_with_parts_in(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, ServiceCall>> {
        connection::newest_first(
            reader(ctx)?,
            store::calls_with_all_parts_in(),
            service_call::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, ServiceCall::from),
        )
        .await
    }
}

/// Ordering parts.
#[derive(Default)]
pub struct PartOrdersMutation;

#[Object]
impl PartOrdersMutation {
    /// Writes down that parts were ordered, perhaps for a call that waits for them.
    async fn order_part(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What was ordered.")] input: OrderPartInput,
    ) -> async_graphql::Result<OrderPartPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::order_part(act, input.command()?).await }.await;
        OrderPartPayload::of(outcome.map(PartOrder::from))
    }

    /// Closes an order of which nothing more will come; one of which something came counts as received.
    async fn cancel_part_order(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The order and why.")] input: CancelPartOrderInput,
    ) -> async_graphql::Result<CancelPartOrderPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let cancel = operations::CancelPartOrder {
                order_id: Kind::PartOrder.row("orderId", &input.order_id)?,
                reason: input.reason,
            };
            operations::cancel_part_order(act, cancel).await
        }
        .await;
        CancelPartOrderPayload::of(outcome.map(PartOrder::from))
    }

    /// Changes when an order is expected, or the supplier's number of it.
    async fn change_part_order(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What changes.")] input: ChangePartOrderInput,
    ) -> async_graphql::Result<ChangePartOrderPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let change = operations::ChangePartOrder {
                order_id: Kind::PartOrder.row("orderId", &input.order_id)?,
                version: input.version,
                expected_on: input.expected_on.into(),
                reference: input.reference.into(),
            };
            operations::change_part_order(act, change).await
        }
        .await;
        ChangePartOrderPayload::of(outcome.map(PartOrder::from))
    }
}
