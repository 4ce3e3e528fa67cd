//! Asking for certificates that end soon, and for what a postal code proposes.

use async_graphql::connection::Connection;
use async_graphql::{Context, ID, Object, OneofObject};
use chrono::{Days, NaiveDate};
use nameplate_entities::tax_exemption;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter};

use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::{bad_input, edge};
use crate::graphql::ids::Kind;
use crate::{customers, shop};

use super::super::rates;
use super::tax_tables::TaxRateChange;
use super::{TaxExemption, TaxJurisdiction};

/// The furthest end to look ahead for.
const DAYS_AHEAD_MAX: i32 = 3_660;

/// A place that a jurisdiction is proposed for.
#[derive(OneofObject)]
pub enum ProposalPlace {
    /// By its postal code.
    PostalCode(String),
    /// By the service address.
    ServiceAddressId(ID),
}

/// Certificates and proposals.
#[derive(Default)]
pub struct TaxQuery;

#[Object]
impl TaxQuery {
    /// Certificates that end from today until so many days ahead, the newest record first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn expiring_tax_exemptions(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "How many days ahead to look; 0 to 3660.")] within_days: i32,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, TaxExemption>> {
        let ahead = u64::try_from(within_days)
            .ok()
            .filter(|_| within_days <= DAYS_AHEAD_MAX)
            .ok_or_else(|| bad_input("withinDays", "This takes 0 to 3660."))?;
        let db = reader(ctx)?;
        let today = shop::settings(db).await.map_err(edge)?.day_of(act(ctx)?.at);
        let select = tax_exemption::Entity::find()
            .filter(tax_exemption::Column::ValidUntil.gte(today))
            .filter(tax_exemption::Column::ValidUntil.lte(today + Days::new(ahead)));
        connection::newest_first(
            db,
            select,
            tax_exemption::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, TaxExemption::from),
        )
        .await
    }

    /// The tax jurisdictions that a postal code may lie in. A proposal: a person confirms one for each address.
    #[graphql(complexity = "20 * child_complexity")]
    async fn proposed_jurisdictions(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Where the machine stands.")] place: ProposalPlace,
    ) -> async_graphql::Result<Vec<TaxJurisdiction>> {
        let db = reader(ctx)?;
        let code = match place {
            ProposalPlace::PostalCode(code) => code,
            ProposalPlace::ServiceAddressId(id) => {
                let path = "serviceAddressId";
                let row = Kind::ServiceAddress.row(path, &id).map_err(edge)?;
                let address = customers::get_address(db, path, row).await.map_err(edge)?;
                address.postal_code
            }
        };
        let rows = customers::jurisdictions_proposed(db, &code)
            .await
            .map_err(edge)?;
        Ok(rows.into_iter().map(TaxJurisdiction::from).collect())
    }

    /// Levels that follow the recorded rate table and differ from it on a day: what `adoptTaxRates` would change.
    #[graphql(complexity = "20 * child_complexity")]
    async fn tax_rate_changes(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The day.")] on: NaiveDate,
    ) -> async_graphql::Result<Vec<TaxRateChange>> {
        let changes = rates::changes_on(reader(ctx)?, on).await.map_err(edge)?;
        Ok(changes.into_iter().map(TaxRateChange::from).collect())
    }
}
