//! Callbacks and flags in the graph.

pub mod advice;
pub mod decision;
pub mod evidence;
pub mod flag;
pub mod joint;
pub mod live;
pub mod mutations;

use async_graphql::connection::Connection;
use async_graphql::{ComplexObject, Context, Enum, ID, Object, SimpleObject};
use chrono::{DateTime, Utc};
use nameplate_entities::{callback, flag as flag_row, repair_outcome};
use sea_orm::{ColumnTrait, QueryFilter};

use crate::calls::graphql::ServiceCall;
use crate::closeout::graphql::CallbackCost;
use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::shop::graphql::Staff;

use super::advice::{Asked, lists};
use super::store;

pub use advice::{CheckAdvice, SetCheckAdvicePayload};
pub use decision::CallbackStep;
pub use evidence::FlagEvidence;
pub use flag::{BaseRate, Flag, FlagLevel, FlagPattern, FlagPatternKind, FlagState, FlagStep};
pub use live::FlagsSubscription;
pub use mutations::{CallbacksMutation, OpenCallPayload, RecordFindingPayload};

/// What the office made of a proposed callback.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::CallbackState")]
pub enum CallbackState {
    /// The rule proposes it; nobody decided yet.
    Proposed,
    /// It is the return of the earlier call.
    Confirmed,
    /// It has nothing to do with the earlier call.
    Rejected,
}

/// Why a machine came back.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::CallbackClass")]
pub enum CallbackClass {
    /// The same component failed the same way again: workmanship or part.
    SameFailure,
    /// The earlier work or its component had a hand in it.
    Related,
    /// Nothing to do with the earlier work.
    Unrelated,
    /// How the machine was used, not the work.
    Use,
    /// Nothing was found wrong.
    NoFaultFound,
}

/// A new call that may be, or is, the return of an earlier one.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct Callback {
    /// What the office made of it; it may be decided otherwise later.
    state: CallbackState,
    /// What it turned out to be, as decided; null while open.
    class: Option<CallbackClass>,
    /// What the findings of both calls say it is; null until something is found. A person decides.
    suggested_class: Option<CallbackClass>,
    /// Days from the completion of the earlier call; a return on the same day counts 1.
    age_days: i32,
    /// When it was last decided.
    decided_at: Option<DateTime<Utc>>,
    /// What was noted last.
    note: Option<String>,
    #[graphql(skip)]
    row: callback::Model,
}

impl From<callback::Model> for Callback {
    fn from(row: callback::Model) -> Self {
        Self {
            state: row.state.into(),
            class: row.class.map(Into::into),
            suggested_class: row.suggested_class.map(Into::into),
            age_days: row.age_days,
            decided_at: row.decided_at,
            note: row.note.clone(),
            row,
        }
    }
}

impl Callback {
    /// The callback that a call the caller may see was proposed to be.
    pub async fn of_call(ctx: &Context<'_>, call_id: i64) -> async_graphql::Result<Option<Self>> {
        let column = callback::Column::CallId;
        let rows = loaders::children::<callback::Entity>(ctx, column, call_id).await?;
        Ok(rows.into_iter().next().map(Self::from))
    }

    /// The callback with this id, if the caller may see it.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = store::callbacks_visible_to(act(ctx)?)
            .filter(callback::Column::Id.eq(id))
            .one(reader(ctx)?)
            .await
            .map_err(|error| edge(error.into()))?;
        Ok(row.map(Self::from))
    }
}

#[ComplexObject]
impl Callback {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::Callback.id(self.row.id)
    }

    /// The new call.
    async fn call(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<ServiceCall>> {
        ServiceCall::seen(ctx, self.row.call_id).await
    }

    /// The completed call it returns to; null for a technician without part in it.
    async fn earlier_call(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<ServiceCall>> {
        ServiceCall::seen(ctx, self.row.earlier_call_id).await
    }

    /// Whether the earlier call counts as returned by this callback, in rates of return too: by the first that is not rejected and
    /// is neither unrelated nor by use, as decided or else as the findings say. A proposed one counts until that is said of it.
    async fn counted(&self, ctx: &Context<'_>) -> async_graphql::Result<bool> {
        let column = repair_outcome::Column::ReturnCallId;
        let call_id = self.row.call_id;
        let returned = loaders::children::<repair_outcome::Entity>(ctx, column, call_id).await?;
        let earlier_id = self.row.earlier_call_id;
        Ok(returned.iter().any(|repair| repair.call_id == earlier_id))
    }

    /// What it cost the shop so far: parts, labor and trips that nobody pays. For the desk; null for a technician.
    async fn cost(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<CallbackCost>> {
        let cost = CallbackCost::of_call(ctx, self.row.call_id).await?;
        Ok(Some(cost))
    }

    /// What was decided on it so far, oldest first; the latest 50 decisions. A call that is canceled takes its callback back,
    /// which is told too.
    #[graphql(complexity = "10 * child_complexity + 1")]
    async fn decisions(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<CallbackStep>> {
        CallbackStep::of_callback(ctx, self.row.id).await
    }

    /// Who decided last.
    async fn decided_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        match self.row.decided_by {
            Some(id) => Staff::of(ctx, id).await,
            None => Ok(None),
        }
    }
}

/// What came back.
#[derive(Default)]
pub struct CallbacksQuery;

#[Object]
impl CallbacksQuery {
    /// Callbacks, newest first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn callbacks(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only those in this state.")] state: Option<CallbackState>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, Callback>> {
        let mut select = store::callbacks_visible_to(act(ctx)?);
        if let Some(state) = state {
            let state = nameplate_entities::kinds::CallbackState::from(state);
            select = select.filter(callback::Column::State.eq(state));
        }
        let page = Page {
            first,
            after,
            last,
            before,
        };
        connection::newest_first(
            reader(ctx)?,
            select,
            callback::Column::Id,
            page,
            (|row| row.id, Callback::from),
        )
        .await
    }

    /// The shop's own lists of what to check when a failure is back, by failure mode and kind of component.
    async fn check_advice(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only those for this failure mode.")] failure_mode_id: Option<ID>,
        #[graphql(
            desc = "Only those for this kind of component, such as `terminal`; `any` for kinds without a list of their own."
        )]
        component_class: Option<String>,
    ) -> async_graphql::Result<Vec<CheckAdvice>> {
        let id = failure_mode_id.as_ref();
        let Ok(failure_mode_id) = Kind::FailureMode.row_if_any("failureModeId", id) else {
            return Ok(Vec::new());
        };
        let asked = Asked {
            failure_mode_id,
            component_class: component_class.as_deref(),
        };
        let found = lists(reader(ctx)?, asked).await.map_err(edge)?;
        Ok(found.into_iter().map(CheckAdvice::from).collect())
    }

    /// Flags, newest first; for a technician those of machines on own calls.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    #[expect(
        clippy::too_many_arguments,
        reason = "two filters and the four of a page"
    )]
    async fn flags(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only those in this state.")] state: Option<FlagState>,
        #[graphql(desc = "Only those of this level.")] level: Option<FlagLevel>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, Flag>> {
        let mut select = store::flags_visible_to(act(ctx)?);
        if let Some(state) = state {
            let state = nameplate_entities::kinds::FlagState::from(state);
            select = select.filter(flag_row::Column::State.eq(state));
        }
        if let Some(level) = level {
            let level = nameplate_entities::kinds::FlagLevel::from(level);
            select = select.filter(flag_row::Column::Level.eq(level));
        }
        let page = Page {
            first,
            after,
            last,
            before,
        };
        connection::newest_first(
            reader(ctx)?,
            select,
            flag_row::Column::Id,
            page,
            (|row| row.id, Flag::from),
        )
        .await
    }
}
