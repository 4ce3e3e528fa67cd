//! What the shop bore of a call, in the graph.

use async_graphql::{ComplexObject, Context, SimpleObject};
use chrono::NaiveDate;
use nameplate_entities::call_borne;

use crate::coverage::graphql::CoverageDecision;
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
    #[graphql(skip)]
    decision_id: Option<i64>,
}

impl From<call_borne::Model> for BorneByShop {
    fn from(row: call_borne::Model) -> Self {
        Self {
            borne_on: row.borne_on,
            parts: Money::cents(row.parts_cents),
            labor: Money::cents(row.labour_cents),
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
