//! Warranty payers in the graph.

use async_graphql::{ComplexObject, Context, ID, SimpleObject};
use chrono::{DateTime, Utc};
use nameplate_entities::{warranty_payer, warranty_programme};

use crate::customers::graphql::Customer;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;

use super::WarrantyProgramme;

/// An organisation that pays for work under warranties.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct WarrantyPayer {
    /// Where claims are sent.
    claim_mail: Option<String>,
    /// Whether a last day to file on a weekend moves to the next working day.
    claim_days_move_on: bool,
    /// Whether what it does not pay may be billed to the customer.
    may_bill_rest: bool,
    /// Within how many days it is to pay.
    days_to_pay: Option<i32>,
    /// Since when it takes no new programmes and claims.
    retired_at: Option<DateTime<Utc>>,
    /// For changing it.
    version: i32,
    #[graphql(skip)]
    row: warranty_payer::Model,
}

impl From<warranty_payer::Model> for WarrantyPayer {
    fn from(row: warranty_payer::Model) -> Self {
        Self {
            claim_mail: row.claim_mail.clone(),
            claim_days_move_on: row.claim_days_move_on,
            may_bill_rest: row.may_bill_rest,
            days_to_pay: row.days_to_pay,
            retired_at: row.retired_at,
            version: row.version,
            row,
        }
    }
}

impl WarrantyPayer {
    /// The payer behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = loaders::row::<warranty_payer::Entity>(ctx, id).await?;
        Ok(row.map(Self::from))
    }

    /// The payer with this id; technicians see none.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if act(ctx)?.is_desk() {
            Self::of(ctx, id).await
        } else {
            Ok(None)
        }
    }
}

#[ComplexObject]
impl WarrantyPayer {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::WarrantyPayer.id(self.row.id)
    }

    /// The organisation; its invoices and money are those of any customer.
    async fn customer(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Customer>> {
        Customer::of(ctx, self.row.customer_id).await
    }

    /// Its programmes, oldest first.
    async fn programmes(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<WarrantyProgramme>> {
        let column = warranty_programme::Column::PayerId;
        let rows =
            loaders::children::<warranty_programme::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().map(WarrantyProgramme::from).collect())
    }
}
