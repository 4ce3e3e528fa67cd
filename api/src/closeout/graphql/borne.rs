//! What the shop bore of a call, and what a callback cost it, in the graph.

use async_graphql::{ComplexObject, Context, SimpleObject};
use chrono::NaiveDate;
use nameplate_entities::kinds::StockMoveKind;
use nameplate_entities::{account, call_borne, stock_move};
use nameplate_rules::books::Role;
use nameplate_rules::books::events::Borne;
use nameplate_rules::money::Cents;

use crate::base::Error;
use crate::books;
use crate::coverage::graphql::CoverageDecision;
use crate::graphql::error::edge;
use crate::graphql::loaders;
use crate::graphql::scalars::Money;

/// What the shop came to bear of a call itself on a day, or bears no more; at what it costs.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct BorneByShop {
    /// The day it counts for in the books.
    borne_on: NaiveDate,
    /// Parts; below zero for what it bears no more.
    parts: Money,
    /// Labor; below zero for what it bears no more.
    labor: Money,
    /// Its part of the trips made for the call; below zero for what it bears no more.
    trip: Money,
    #[graphql(skip)]
    decision_id: Option<i64>,
}

impl From<call_borne::Model> for BorneByShop {
    fn from(row: call_borne::Model) -> Self {
        Self {
            borne_on: row.borne_on,
            parts: Money::cents(row.parts_cents),
            labor: Money::cents(row.labour_cents),
            trip: Money::cents(row.trip_cents),
            decision_id: row.decision_id,
        }
    }
}

impl BorneByShop {
    /// All of it for a call, oldest first.
    pub async fn of_call(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Vec<Self>> {
        let column = call_borne::Column::CallId;
        let rows = loaders::children::<call_borne::Entity>(ctx, column, id).await?;
        Ok(rows.into_iter().map(Self::from).collect())
    }
}

#[ComplexObject]
impl BorneByShop {
    /// The decision it follows; null for what follows from a callback.
    async fn decision(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<CoverageDecision>> {
        match self.decision_id {
            Some(id) => CoverageDecision::find(ctx, id).await,
            None => Ok(None),
        }
    }
}

/// What a callback cost the shop so far, as posted to the cost of callbacks; nothing before its call is completed.
#[derive(SimpleObject)]
pub struct CallbackCost {
    /// Parts at what left the stock for them, less what came back.
    parts: Money,
    /// Time on record at what an hour cost the shop then.
    labor: Money,
    /// Its part of the trips made for the call at what one cost the shop then.
    trip: Money,
    /// All of it.
    pub total: Money,
}

impl CallbackCost {
    /// What the callback that this call is cost the shop; batched.
    pub async fn of_call(ctx: &Context<'_>, call_id: i64) -> async_graphql::Result<Self> {
        let column = call_borne::Column::CallId;
        let rows = loaders::children::<call_borne::Entity>(ctx, column, call_id).await?;
        let sum = |of: fn(&call_borne::Model) -> i64| Cents::sum(rows.iter().map(of).map(Cents));
        let fault = |error| edge(Error::caused("what a callback cost", error));
        let kept = Borne {
            parts: sum(|row| row.parts_cents).map_err(fault)?,
            labour: sum(|row| row.labour_cents).map_err(fault)?,
            trip: sum(|row| row.trip_cents).map_err(fault)?,
        };
        let moved = Borne {
            parts: moved_since(ctx, call_id).await?,
            ..Borne::default()
        };
        let borne = kept.beyond(moved);
        let total = borne.and_then(|borne| borne.total().ok());
        let (Some(borne), Some(total)) = (borne, total) else {
            return Err(edge(Error::internal("what a callback cost is too large")));
        };
        Ok(Self {
            parts: borne.parts.into(),
            labor: borne.labour.into(),
            trip: borne.trip.into(),
            total: total.into(),
        })
    }
}

/// By how much the stock's value grew by parts of a call that came back, or were settled, against the cost of callbacks.
async fn moved_since(ctx: &Context<'_>, call_id: i64) -> async_graphql::Result<Cents> {
    let column = stock_move::Column::CallId;
    let mut grew = Vec::new();
    for row in loaders::children::<stock_move::Entity>(ctx, column, call_id).await? {
        let is_later = matches!(row.kind, StockMoveKind::TakenBack | StockMoveKind::Settled);
        let Some(account_id) = row.account_id.filter(|_| is_later) else {
            continue;
        };
        let account = loaders::row::<account::Entity>(ctx, account_id).await?;
        let role = account.and_then(|account| account.role);
        if role == Some(books::role_key(Role::CallbackCost)) {
            grew.push(Cents(row.value_cents));
        }
    }
    Cents::sum(grew).map_err(|error| edge(Error::caused("what a callback cost", error)))
}
