//! Price books and parts in the graph; tax rules are in `taxes`.

pub mod book_inputs;
mod book_mutations;
mod book_queries;
mod books;
mod lists;
pub mod mutations;
pub mod part_change;
mod parts;
pub mod price_list_mutations;
pub mod price_lists;
pub mod suppliers;
pub mod tax_facts;
pub mod tax_mutations;
pub mod tax_queries;
pub mod tax_tables;
mod taxes;

use std::sync::Arc;

use async_graphql::connection::Connection;
use async_graphql::{Context, ID, Object};
use chrono::NaiveDate;
use nameplate_entities::{part, price_book, tax_jurisdiction};
use nameplate_rules::money::Cents;
use nameplate_rules::pricing::margin;
use rust_decimal::{Decimal, RoundingStrategy};
use sea_orm::EntityTrait;

use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::ExactDecimal;
use crate::shop;

use super::{book_on, price_part, store};

pub use book_mutations::PriceBooksMutation;
pub use book_queries::PriceBooksQuery;
pub use books::{BookState, MarkupBracket, MarkupInversion, MarkupKind, PriceBook, PriceEnding};
pub use lists::{DistanceUnit, FlatRateTask, LabourRate, TripZone};
pub use mutations::PricingMutation;
pub use part_change::PartChangeMutation;
pub use parts::{Part, PartCondition, PartCost, PartPrice, PriceBasis};
pub use price_list_mutations::PriceListsMutation;
pub use price_lists::{PriceList, PriceListsQuery};
pub use suppliers::{LabourGrade, Supplier, SuppliersMutation, SuppliersQuery};
pub use tax_mutations::TaxMutation;
pub use tax_queries::TaxQuery;
pub use tax_tables::TaxTablesMutation;
pub use taxes::{ChargeKind, LevelKind, TaxBasis, TaxExemption, TaxJurisdiction};

/// A figure per hundred as shown beside prices.
fn two_decimals(percent: Decimal) -> ExactDecimal {
    ExactDecimal(percent.round_dp_with_strategy(2, RoundingStrategy::MidpointAwayFromZero))
}

/// Margin on a price, per hundred with two decimals; null for something given away.
pub fn margin_percent(cost: Cents, price: Cents) -> Option<ExactDecimal> {
    margin::margin_between(cost, price).ok().map(two_decimals)
}

/// Price books, parts and tax rules.
#[derive(Default)]
pub struct PricingQuery;

#[Object]
impl PricingQuery {
    /// Price books, the newest record first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn price_books(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, PriceBook>> {
        connection::newest_first(
            reader(ctx)?,
            price_book::Entity::find(),
            price_book::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, PriceBook::from),
        )
        .await
    }

    /// One price book; null if there is none with this id.
    async fn price_book(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Its id.")] id: ID,
    ) -> async_graphql::Result<Option<PriceBook>> {
        match Kind::PriceBook.row("id", &id) {
            Ok(row) => PriceBook::find(ctx, row).await,
            Err(_) => Ok(None),
        }
    }

    /// Parts, the newest record first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn parts(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, Part>> {
        connection::newest_first(
            reader(ctx)?,
            part::Entity::find(),
            part::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, Part::from),
        )
        .await
    }

    /// The part with this number; null if there is none.
    async fn part(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Number as its supplier prints it.")] number: String,
    ) -> async_graphql::Result<Option<Part>> {
        let row = store::part_by_number(reader(ctx)?, number.trim())
            .await
            .map_err(edge)?;
        Ok(row.map(Part::from))
    }

    /// What a part sells for by the price book in force on a day.
    #[graphql(complexity = "10 + child_complexity")]
    async fn part_price(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The part.")] part_id: ID,
        #[graphql(desc = "The day; today when left out.")] on: Option<NaiveDate>,
    ) -> async_graphql::Result<PartPrice> {
        let db = reader(ctx)?;
        let row = Kind::Part.row("partId", &part_id).map_err(edge)?;
        let part = store::get_part(db, "partId", row).await.map_err(edge)?;
        let day = match on {
            Some(day) => day,
            None => shop::settings(db).await.map_err(edge)?.day_of(act(ctx)?.at),
        };
        let book = book_on(db, day).await.map_err(edge)?;
        let found = price_part(&book, &part, "partId").map_err(edge)?;
        let cost = Cents(part.cost_cents);
        Ok(PartPrice {
            price: found.price.into(),
            cost: cost.into(),
            basis: found.basis.into(),
            raised_by_floor: found.raised_by_floor_cents.into(),
            markup_percent: margin::markup_between(cost, found.price)
                .ok()
                .map(two_decimals),
            margin_percent: margin_percent(cost, found.price),
            book: Arc::new(book),
        })
    }

    /// Where and how sales are taxed, the newest record first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn tax_jurisdictions(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, TaxJurisdiction>> {
        connection::newest_first(
            reader(ctx)?,
            tax_jurisdiction::Entity::find(),
            tax_jurisdiction::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, TaxJurisdiction::from),
        )
        .await
    }
}
