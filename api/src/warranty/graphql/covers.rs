//! What machines hold, and kept parts, in the graph.

use async_graphql::{ComplexObject, Context, ID, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::{appliance_cover, kept_part};

use crate::appliances::graphql::{Appliance, Component};
use crate::calls::graphql::ServiceCall;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::pricing::graphql::Part;
use crate::shop::graphql::Staff;

use super::WarrantyProgramme;

/// A programme registered on one machine.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct ApplianceCover {
    /// False: the machine is kept out of a programme that comes with its make.
    held: bool,
    /// The number of the service contract.
    contract_number: Option<String>,
    /// First day of the service contract.
    begins_on: Option<NaiveDate>,
    /// What the desk adds.
    note: Option<String>,
    /// When it was registered.
    registered_at: DateTime<Utc>,
    /// Last day it counts; null while it was not ended.
    ended_on: Option<NaiveDate>,
    /// Why it was ended.
    ended_because: Option<String>,
    /// For ending it.
    version: i32,
    #[graphql(skip)]
    row: appliance_cover::Model,
}

impl From<appliance_cover::Model> for ApplianceCover {
    fn from(row: appliance_cover::Model) -> Self {
        Self {
            held: row.held,
            contract_number: row.contract_number.clone(),
            begins_on: row.begins_on,
            note: row.note.clone(),
            registered_at: row.registered_at,
            ended_on: row.ended_on,
            ended_because: row.ended_because.clone(),
            version: row.version,
            row,
        }
    }
}

impl ApplianceCover {
    /// The registration behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = loaders::row::<appliance_cover::Entity>(ctx, id).await?;
        Ok(row.map(Self::from))
    }

    /// All that was ever registered on a machine, oldest first.
    pub async fn of_appliance(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Vec<Self>> {
        let column = appliance_cover::Column::ApplianceId;
        let rows = loaders::children::<appliance_cover::Entity>(ctx, column, id).await?;
        Ok(rows.into_iter().map(Self::from).collect())
    }
}

#[ComplexObject]
impl ApplianceCover {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::ApplianceCover.id(self.row.id)
    }

    /// The machine.
    async fn appliance(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Appliance>> {
        Appliance::of(ctx, self.row.appliance_id).await
    }

    /// The programme.
    async fn programme(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<WarrantyProgramme>> {
        WarrantyProgramme::of(ctx, self.row.programme_id).await
    }

    /// For a part's own warranty: the call that fitted it.
    async fn repair_call(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<ServiceCall>> {
        match self.row.repair_call_id {
            Some(id) => ServiceCall::seen(ctx, id).await,
            None => Ok(None),
        }
    }

    /// For a part's own warranty: the component it is.
    async fn component(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Component>> {
        match self.row.component_id {
            Some(id) => Component::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// Who registered it.
    async fn registered_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.registered_by).await
    }
}

/// A part taken out and kept for a payer, under a tag.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct KeptPart {
    /// The tag on it.
    number: String,
    /// What it is.
    description: String,
    /// When it was kept.
    kept_at: DateTime<Utc>,
    /// By when the payer wants it back.
    return_by: Option<NaiveDate>,
    /// When it was sent back.
    sent_on: Option<NaiveDate>,
    /// Carrier and number of the parcel.
    sent_how: Option<String>,
    /// When it was scrapped.
    scrapped_on: Option<NaiveDate>,
    /// For changing it.
    version: i32,
    #[graphql(skip)]
    row: kept_part::Model,
}

impl From<kept_part::Model> for KeptPart {
    fn from(row: kept_part::Model) -> Self {
        Self {
            number: row.number.clone(),
            description: row.description.clone(),
            kept_at: row.kept_at,
            return_by: row.return_by,
            sent_on: row.sent_on,
            sent_how: row.sent_how.clone(),
            scrapped_on: row.scrapped_on,
            version: row.version,
            row,
        }
    }
}

impl KeptPart {
    /// What was kept of a call, oldest first.
    pub async fn of_call(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Vec<Self>> {
        let column = kept_part::Column::CallId;
        let rows = loaders::children::<kept_part::Entity>(ctx, column, id).await?;
        Ok(rows.into_iter().map(Self::from).collect())
    }

    /// The kept part with this id; technicians see none by id.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if !act(ctx)?.is_desk() {
            return Ok(None);
        }
        let row = loaders::row::<kept_part::Entity>(ctx, id).await?;
        Ok(row.map(Self::from))
    }
}

#[ComplexObject]
impl KeptPart {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::KeptPart.id(self.row.id)
    }

    /// The call it came out on.
    async fn call(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<ServiceCall>> {
        ServiceCall::seen(ctx, self.row.call_id).await
    }

    /// The part in the catalogue.
    async fn part(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Part>> {
        match self.row.part_id {
            Some(id) => Part::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// Who kept it.
    async fn kept_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.kept_by).await
    }
}
