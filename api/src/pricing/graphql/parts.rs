//! Parts, and what one sells for.

use std::sync::Arc;

use async_graphql::{ComplexObject, Context, Enum, ID, SimpleObject};
use chrono::{DateTime, Utc};
use nameplate_entities::{part, part_cost, part_lot};

use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::{ExactDecimal, Money};

use super::super::{Book, SUPERSESSIONS_MAX};
use super::{PriceBook, PriceList, Supplier};

/// What a part cost, from when.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct PartCost {
    /// The cost.
    cost: Money,
    /// From when on.
    from_at: DateTime<Utc>,
    #[graphql(skip)]
    price_list_id: Option<i64>,
}

#[ComplexObject]
impl PartCost {
    /// The supplier's price list it came from; null for one typed in.
    async fn price_list(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<PriceList>> {
        match self.price_list_id {
            Some(id) => PriceList::find(ctx, id).await,
            None => Ok(None),
        }
    }
}

/// A batch in which a part was made.
#[derive(SimpleObject)]
pub struct PartLot {
    /// The number printed on it.
    lot: String,
    /// When one of it was first fitted.
    first_seen_at: DateTime<Utc>,
}

/// How a part comes to the customer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::PartCondition")]
pub enum PartCondition {
    /// Never fitted before.
    New,
    /// Taken from another machine as it was.
    Used,
    /// Used, and put in order again; also called reconditioned or remanufactured.
    Rebuilt,
}

/// A part the shop sells.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct Part {
    /// Number as its supplier prints it.
    number: String,
    /// What it is.
    description: String,
    /// What it costs now.
    cost: Money,
    /// Sells at this price whatever it costs; null to price it by the book.
    fixed_price: Option<Money>,
    /// Never sells above this price; null for no cap.
    list_price: Option<Money>,
    /// How long its maker stands behind it.
    maker_warranty_months: Option<i32>,
    /// Class of component it is, as flags name it.
    component_class: Option<String>,
    /// What the supplier holds back until the old part is returned; charged on a line of its own.
    core_deposit: Option<Money>,
    /// What it costs to have one sent; charged on a line of its own.
    freight: Option<Money>,
    /// Whether it is new, used or rebuilt; null where nobody said.
    condition: Option<PartCondition>,
    /// Send it back when changing the record.
    version: i32,
    #[graphql(skip)]
    row: part::Model,
}

impl From<part::Model> for Part {
    fn from(row: part::Model) -> Self {
        Self {
            number: row.number.clone(),
            description: row.description.clone(),
            cost: Money::cents(row.cost_cents),
            fixed_price: row.fixed_price_cents.map(Money::cents),
            list_price: row.list_price_cents.map(Money::cents),
            maker_warranty_months: row.maker_warranty_months,
            component_class: row.component_class.clone(),
            core_deposit: row.core_deposit_cents.map(Money::cents),
            freight: row.freight_cents.map(Money::cents),
            condition: row.condition.map(Into::into),
            version: row.version,
            row,
        }
    }
}

impl Part {
    /// The part behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<part::Entity>(ctx, id).await?.map(Self::from))
    }

    /// The last of the chain of parts that took this one's place; none for a part that is current.
    pub async fn replacement_of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let mut last = None;
        let mut next = Some(id);
        // Chains are short and without cycles; the bound only keeps a request from running on.
        for _ in 0..SUPERSESSIONS_MAX {
            let Some(id) = next else {
                break;
            };
            let Some(part) = Self::of(ctx, id).await? else {
                break;
            };
            next = part.row.superseded_by_id;
            last = Some(part);
        }
        Ok(last.filter(|part| part.row.id != id))
    }

    /// The part with this id; all staff may see it, without what it costs.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if act(ctx)?.staff().is_err() {
            return Ok(None);
        }
        Self::of(ctx, id).await
    }
}

#[ComplexObject]
impl Part {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::Part.id(self.row.id)
    }

    /// The part that took its place; null for one that is current.
    async fn superseded_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Part>> {
        match self.row.superseded_by_id {
            Some(id) => Self::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The last of the chain of parts that took its place; null for one that is current.
    async fn replacement(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Part>> {
        match self.row.superseded_by_id {
            Some(_) => Self::replacement_of(ctx, self.row.id).await,
            None => Ok(None),
        }
    }

    /// Name of who supplies it.
    async fn supplier(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<String>> {
        Ok(self.supplied_by(ctx).await?.map(Supplier::into_name))
    }

    /// Who supplies it.
    async fn supplied_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Supplier>> {
        match self.row.supplier_id {
            Some(id) => Supplier::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// Batches of it that were fitted, the first seen first.
    #[graphql(complexity = "10 * child_complexity")]
    async fn lots(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<PartLot>> {
        let column = part_lot::Column::PartId;
        let rows = loaders::children::<part_lot::Entity>(ctx, column, self.row.id).await?;
        let shown = |row: part_lot::Model| PartLot {
            lot: row.lot,
            first_seen_at: row.first_seen_at,
        };
        Ok(rows.into_iter().map(shown).collect())
    }

    /// What it cost, the first cost first.
    async fn cost_history(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<PartCost>> {
        let rows =
            loaders::children::<part_cost::Entity>(ctx, part_cost::Column::PartId, self.row.id)
                .await?;
        let shown = |row: part_cost::Model| PartCost {
            cost: Money::cents(row.cost_cents),
            from_at: row.from_at,
            price_list_id: row.price_list_id,
        };
        Ok(rows.into_iter().map(shown).collect())
    }
}

/// What set a part's price.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_rules::pricing::markup::PriceBasis")]
pub enum PriceBasis {
    /// The book's markup schedule.
    Schedule,
    /// The most the book lets a part earn, which the schedule would have passed.
    MarkupCap,
    /// The part's own fixed price.
    Fixed,
    /// The list price, which the schedule would have passed.
    ListPriceCap,
}

/// What a part sells for on a day, before tax, and how that came about.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct PartPrice {
    /// The price.
    pub(super) price: Money,
    /// What the part costs.
    pub(super) cost: Money,
    /// What set the price.
    pub(super) basis: PriceBasis,
    /// What the floor added so that no cheaper part sells dearer.
    pub(super) raised_by_floor: Money,
    /// Markup on cost, per hundred; null for a part that costs nothing.
    pub(super) markup_percent: Option<ExactDecimal>,
    /// Margin on price, per hundred; null for a part that sells for nothing.
    pub(super) margin_percent: Option<ExactDecimal>,
    #[graphql(skip)]
    pub(super) book: Arc<Book>,
}

#[ComplexObject]
impl PartPrice {
    /// The price book used.
    async fn price_book(&self) -> PriceBook {
        self.book.row.clone().into()
    }
}
