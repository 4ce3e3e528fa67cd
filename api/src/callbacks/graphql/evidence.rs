//! What a flag rests on, as it stands now.

use async_graphql::{ComplexObject, Context, SimpleObject};
use chrono::NaiveDate;
use nameplate_entities::kinds::Pattern;
use nameplate_entities::{flag_evidence, kinds, remedy, service_call};

use crate::base::Error;
use crate::calls::graphql::ServiceCall;
use crate::calls::graphql::work::Method;
use crate::graphql::error::edge;
use crate::graphql::loaders;

use super::super::flags::days_before;

/// A call that a flag rests on: a repair that came back, one by which it did, or, of an address, one on which such a failure
/// was found.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct FlagEvidence {
    /// The day that call was completed; null while it is not.
    completed_on: Option<NaiveDate>,
    /// Days from then to the opening of the flag's own call; from the opening of that call where it was not completed by
    /// then, and 0 where it was taken later.
    days_before: i32,
    /// What was done last about what was found then, of a method's flag that method; null while nothing was.
    method: Option<Method>,
    #[graphql(skip)]
    shown_on: NaiveDate,
    #[graphql(skip)]
    row: flag_evidence::Model,
}

impl FlagEvidence {
    /// What a flag keeps, with what became of the call since; `own_on` is the day on which the flag's own call was taken.
    pub async fn of(
        ctx: &Context<'_>,
        row: flag_evidence::Model,
        (pattern, own_on): (Option<Pattern>, NaiveDate),
    ) -> async_graphql::Result<Self> {
        let call = loaders::row::<service_call::Entity>(ctx, row.call_id).await?;
        let call = call.ok_or_else(|| edge(Error::internal("a flag rests on no call")))?;
        let column = remedy::Column::FindingId;
        let done = loaders::children::<remedy::Entity>(ctx, column, row.finding_id).await?;
        let mut done = done.iter().rev().map(|row| row.method);
        let last = done.find(|method| *method != kinds::Method::None);
        let kept = row.method;
        let method = if pattern == Some(Pattern::Method) {
            kept.or(last)
        } else {
            last.or(kept)
        };
        Ok(Self {
            completed_on: call.completed_on,
            days_before: days_before((call.opened_on, call.completed_on), own_on),
            method: method.map(Into::into),
            shown_on: call.completed_on.unwrap_or(call.opened_on),
            row,
        })
    }

    /// Evidence as it is told: oldest first.
    pub fn in_order(mut all: Vec<Self>) -> Vec<Self> {
        all.sort_by_key(|evidence| (evidence.shown_on, evidence.row.id));
        all
    }
}

#[ComplexObject]
impl FlagEvidence {
    /// That call; null for a technician without part in it.
    async fn call(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<ServiceCall>> {
        ServiceCall::seen(ctx, self.row.call_id).await
    }
}
