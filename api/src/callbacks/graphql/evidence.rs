//! What a flag rests on, as it stands now.

use async_graphql::{ComplexObject, Context, SimpleObject};
use chrono::NaiveDate;
use nameplate_entities::{flag_evidence, kinds, remedy, service_call};

use crate::calls::graphql::ServiceCall;
use crate::calls::graphql::work::Method;
use crate::graphql::loaders;

use super::super::flags::days_before;

/// An earlier repair that a flag rests on; of an address, a failure that was found on another machine there.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct FlagEvidence {
    /// The day that call was completed; null while it is not.
    completed_on: Option<NaiveDate>,
    /// Days from then to the opening of the flag's own call; from the opening of that call where it was not completed by
    /// then.
    days_before: i32,
    /// What was done then; null while nothing was.
    method: Option<Method>,
    #[graphql(skip)]
    row: flag_evidence::Model,
}

impl FlagEvidence {
    /// What a flag keeps, with what became of the call since; `own_on` is the day on which the flag's own call was taken.
    pub async fn of(
        ctx: &Context<'_>,
        row: flag_evidence::Model,
        own_on: Option<NaiveDate>,
    ) -> async_graphql::Result<Self> {
        let call = loaders::row::<service_call::Entity>(ctx, row.call_id).await?;
        let column = remedy::Column::FindingId;
        let done = loaders::children::<remedy::Entity>(ctx, column, row.finding_id).await?;
        let mut done = done.iter().rev().map(|row| row.method);
        let last = done.find(|method| *method != kinds::Method::None);
        let days = (call.as_ref().zip(own_on))
            .map(|(call, own_on)| days_before((call.opened_on, call.completed_on), own_on));
        Ok(Self {
            completed_on: call.and_then(|call| call.completed_on),
            days_before: days.unwrap_or(row.days_before),
            method: row.method.or(last).map(Into::into),
            row,
        })
    }
}

#[ComplexObject]
impl FlagEvidence {
    /// The call of that repair; null for a technician without part in it.
    async fn call(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<ServiceCall>> {
        ServiceCall::seen(ctx, self.row.call_id).await
    }
}
