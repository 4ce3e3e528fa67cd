//! The shop's warranty in the graph.

use async_graphql::{ComplexObject, Context, SimpleObject};
use chrono::NaiveDate;
use nameplate_entities::shop_warranty;

use crate::appliances::graphql::Component;
use crate::calls::graphql::ServiceCall;
use crate::graphql::loaders;
use crate::shop::graphql::today;

use super::super::promise_of;

/// What the shop stands behind on one component it repaired.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct ShopWarranty {
    /// The day the repair was completed; it is not counted.
    written_on: NaiveDate,
    /// Last day of free labour; null when none was promised.
    labour_through: Option<NaiveDate>,
    /// Last day of free parts; null when none was promised.
    parts_through: Option<NaiveDate>,
    #[graphql(skip)]
    row: shop_warranty::Model,
}

impl From<shop_warranty::Model> for ShopWarranty {
    fn from(row: shop_warranty::Model) -> Self {
        Self {
            written_on: row.written_on,
            labour_through: row.labour_through,
            parts_through: row.parts_through,
            row,
        }
    }
}

impl ShopWarranty {
    /// What a call gave.
    pub async fn of_call(ctx: &Context<'_>, call_id: i64) -> async_graphql::Result<Vec<Self>> {
        let column = shop_warranty::Column::CallId;
        let rows = loaders::children::<shop_warranty::Entity>(ctx, column, call_id).await?;
        Ok(rows.into_iter().map(Self::from).collect())
    }

    /// All that was ever given on a machine, oldest first.
    pub async fn of_appliance(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Vec<Self>> {
        let column = shop_warranty::Column::ApplianceId;
        let rows = loaders::children::<shop_warranty::Entity>(ctx, column, id).await?;
        Ok(rows.into_iter().map(Self::from).collect())
    }
}

#[ComplexObject]
impl ShopWarranty {
    /// The component repaired.
    async fn component(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Component>> {
        Component::of(ctx, self.row.component_id).await
    }

    /// The call that repaired it; null for a technician without part in it.
    async fn call(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<ServiceCall>> {
        ServiceCall::seen(ctx, self.row.call_id).await
    }

    /// Whether labour on it is free today.
    async fn labour_in_force(&self, ctx: &Context<'_>) -> async_graphql::Result<bool> {
        let status = promise_of(&self.row).status(today(ctx).await?);
        Ok(status.labour.holds())
    }

    /// Whether parts for it are free today.
    async fn parts_in_force(&self, ctx: &Context<'_>) -> async_graphql::Result<bool> {
        let status = promise_of(&self.row).status(today(ctx).await?);
        Ok(status.parts.holds())
    }
}
