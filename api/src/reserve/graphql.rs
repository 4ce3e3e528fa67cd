//! Runs of the warranty reserve in the graph.

use async_graphql::connection::Connection;
use async_graphql::{ComplexObject, Context, ID, InputObject, Object, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::{reserve_run, reserve_stratum};
use sea_orm::EntityTrait;

use crate::appliances::graphql::{ApplianceType, Component};
use crate::base::Caller;
use crate::base::access::Least;
use crate::books::graphql::JournalEntry;
use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::payload;
use crate::shop::graphql::Staff;

use super::{RunWarrantyReserve, UndoWarrantyReserve, run_warranty_reserve, undo_warranty_reserve};

/// The warranty reserve as worked out for the end of a month: opening, used, new, earlier and closing add up.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct WarrantyReserveRun {
    /// Last day of the month.
    through: NaiveDate,
    /// What the month before closed with.
    opening: Money,
    /// What callbacks cost, taken out of the reserve; zero or below.
    used: Money,
    /// Set aside for promises made in the month: what they were expected to cost on their first day.
    for_new: Money,
    /// For earlier promises, changes of the estimate included.
    for_earlier: Money,
    /// What open promises are expected to cost; what the account of the reserve stands at.
    closing: Money,
    /// Days of free labor that the shop promised when this was worked out.
    promise_days: i32,
    /// When it was worked out.
    run_at: DateTime<Utc>,
    /// When it was undone; null while it stands.
    undone_at: Option<DateTime<Utc>>,
    /// Why; null while it stands.
    undone_because: Option<String>,
    #[graphql(skip)]
    row: reserve_run::Model,
}

impl From<reserve_run::Model> for WarrantyReserveRun {
    fn from(row: reserve_run::Model) -> Self {
        Self {
            through: row.through_on,
            opening: Money::cents(row.opening_cents),
            used: Money::cents(row.used_cents),
            for_new: Money::cents(row.new_cents),
            for_earlier: Money::cents(row.earlier_cents),
            closing: Money::cents(row.closing_cents),
            promise_days: row.promise_days,
            run_at: row.run_at,
            undone_at: row.undone_at,
            undone_because: row.undone_because.clone(),
            row,
        }
    }
}

impl WarrantyReserveRun {
    /// The run with this id; for the owner.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let role = match &act(ctx)?.caller {
            Caller::Staff { role, .. } => Some(*role),
            _ => None,
        };
        if !Least::Owner.admits(role) {
            return Ok(None);
        }
        let row = loaders::row::<reserve_run::Entity>(ctx, id).await?;
        Ok(row.map(Self::from))
    }
}

#[ComplexObject]
impl WarrantyReserveRun {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::WarrantyReserveRun.id(self.row.id)
    }

    /// What was worked out for each kind of machine and component that has open promises or new ones.
    #[graphql(complexity = "50 + 20 * child_complexity")]
    async fn strata(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Vec<WarrantyReserveStratum>> {
        let column = reserve_stratum::Column::RunId;
        let rows = loaders::children::<reserve_stratum::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().map(WarrantyReserveStratum::from).collect())
    }

    /// Its entry in the books; null where there was nothing to post.
    async fn entry(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<JournalEntry>> {
        match self.row.entry_id {
            Some(id) => JournalEntry::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// Who worked it out.
    async fn run_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.run_by).await
    }

    /// Who undid it; null while it stands.
    async fn undone_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        match self.row.undone_by {
            Some(id) => Staff::of(ctx, id).await,
            None => Ok(None),
        }
    }
}

/// A kind of machine and component: what came back of it, and what its open promises are expected to cost.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct WarrantyReserveStratum {
    /// Repairs of the last three years, each watched while its promise ran.
    repairs: i32,
    /// How many of them came back.
    returns: i32,
    /// Repairs on which the promise runs.
    open_repairs: i32,
    /// How many of those are expected back while it does.
    expected_returns: ExactDecimal,
    /// What a return costs on average, drawn to the shop's average.
    mean_cost: Money,
    /// Expected returns times mean cost.
    amount: Money,
    /// Repairs completed in the month.
    new_repairs: i32,
    /// What those were expected to cost on their first day.
    for_new: Money,
    #[graphql(skip)]
    row: reserve_stratum::Model,
}

impl From<reserve_stratum::Model> for WarrantyReserveStratum {
    fn from(row: reserve_stratum::Model) -> Self {
        let mean_cost = nameplate_rules::money::Cents::from_decimal_half_up(row.mean_cost.0);
        Self {
            repairs: row.repairs,
            returns: row.returns,
            open_repairs: row.open_repairs,
            expected_returns: row.expected_returns.into(),
            mean_cost: mean_cost.unwrap_or_default().into(),
            amount: Money::cents(row.cents),
            new_repairs: row.new_repairs,
            for_new: Money::cents(row.new_cents),
            row,
        }
    }
}

#[ComplexObject]
impl WarrantyReserveStratum {
    /// The kind of machine.
    async fn appliance_type(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<ApplianceType>> {
        ApplianceType::of(ctx, self.row.appliance_type_id).await
    }

    /// The component.
    async fn component(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Component>> {
        Component::of(ctx, self.row.component_id).await
    }
}

/// Reads of the warranty reserve.
#[derive(Default)]
pub struct ReserveQuery;

#[Object]
impl ReserveQuery {
    /// Runs of the warranty reserve, newest first, those undone among them.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn warranty_reserve_runs(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, WarrantyReserveRun>> {
        let page = Page {
            first,
            after,
            last,
            before,
        };
        let (db, id) = (reader(ctx)?, reserve_run::Column::Id);
        let select = reserve_run::Entity::find();
        connection::newest_first(
            db,
            select,
            id,
            page,
            (|row| row.id, WarrantyReserveRun::from),
        )
        .await
    }

    /// One run of the warranty reserve; null if there is none with this id.
    async fn warranty_reserve_run(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The run.")] id: ID,
    ) -> async_graphql::Result<Option<WarrantyReserveRun>> {
        match Kind::WarrantyReserveRun.row("id", &id) {
            Ok(row) => WarrantyReserveRun::find(ctx, row).await,
            Err(_) => Ok(None),
        }
    }
}

/// The month to work out.
#[derive(InputObject)]
pub struct RunWarrantyReserveInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// Last day of the month; the one after the month that was run last.
    through: NaiveDate,
}

payload! {
    /// What working the warranty reserve out gave.
    RunWarrantyReservePayload {
        /// The run.
        run: WarrantyReserveRun
    }
}

/// A run to undo.
#[derive(InputObject)]
pub struct UndoWarrantyReserveInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The last one that stands.
    run_id: ID,
    /// Why.
    reason: String,
}

payload! {
    /// What undoing a run gave.
    UndoWarrantyReservePayload {
        /// The run, undone.
        run: WarrantyReserveRun
    }
}

/// Changes of the warranty reserve.
#[derive(Default)]
pub struct ReserveMutation;

#[Object]
impl ReserveMutation {
    /// Works the warranty reserve out for the end of a month and posts it: what callbacks cost is taken out of the reserve,
    /// and the reserve is brought to what open promises are expected to cost.
    async fn run_warranty_reserve(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The month.")] input: RunWarrantyReserveInput,
    ) -> async_graphql::Result<RunWarrantyReservePayload> {
        let order = RunWarrantyReserve {
            idempotency_key: input.idempotency_key,
            through: input.through,
        };
        let outcome = run_warranty_reserve(act(ctx)?, order).await;
        RunWarrantyReservePayload::of(outcome.map(WarrantyReserveRun::from))
    }

    /// Undoes the last run of the warranty reserve: its entry is reversed on its own day.
    async fn undo_warranty_reserve(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which, and why.")] input: UndoWarrantyReserveInput,
    ) -> async_graphql::Result<UndoWarrantyReservePayload> {
        let act = act(ctx)?;
        let outcome = async {
            let order = UndoWarrantyReserve {
                idempotency_key: input.idempotency_key,
                run_id: Kind::WarrantyReserveRun.row("runId", &input.run_id)?,
                reason: input.reason,
            };
            undo_warranty_reserve(act, order).await
        };
        UndoWarrantyReservePayload::of(outcome.await.map(WarrantyReserveRun::from))
    }
}
