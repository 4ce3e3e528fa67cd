//! What a revision offers: options, their lines and their tax.

use async_graphql::{ComplexObject, Context, ID, SimpleObject};
use nameplate_entities::{estimate_line, estimate_option, estimate_tax};
use nameplate_rules::money::Cents;

use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::pricing::graphql::{ChargeKind, Part, margin_percent};

/// One alternative of an estimate.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct EstimateOption {
    /// Place among the alternatives, from 1; what the customer's form sends back.
    position: i32,
    /// Short name.
    title: String,
    /// What it does for the customer.
    summary: Option<String>,
    /// Sum of the lines before discount and tax.
    net: Money,
    /// What is taken off, credited diagnosis included.
    discount: Money,
    /// Sum of the taxes.
    tax: Money,
    /// What the customer would pay.
    total: Money,
    /// Remarks below its lines.
    notes: Option<String>,
    /// What is wanted before the work begins; null if nothing is.
    deposit_wanted: Option<Money>,
    /// The same per hundred of the total, if it was agreed so.
    deposit_percent: Option<ExactDecimal>,
    #[graphql(skip)]
    row: estimate_option::Model,
}

impl From<estimate_option::Model> for EstimateOption {
    fn from(row: estimate_option::Model) -> Self {
        Self {
            position: row.position,
            title: row.title.clone(),
            summary: row.summary.clone(),
            net: Money::cents(row.net_cents),
            discount: Money::cents(row.discount_cents),
            tax: Money::cents(row.tax_cents),
            total: Money::cents(row.total_cents),
            notes: row.notes.clone(),
            deposit_wanted: row.deposit_cents.map(Money::cents),
            deposit_percent: row.deposit_percent.map(Into::into),
            row,
        }
    }
}

impl EstimateOption {
    /// The option behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<estimate_option::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }

    /// The option with this id; technicians see none.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if !act(ctx)?.is_desk() {
            return Ok(None);
        }
        Self::of(ctx, id).await
    }
}

#[ComplexObject]
impl EstimateOption {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::EstimateOption.id(self.row.id)
    }

    /// Its charges, in order.
    async fn lines(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<EstimateLine>> {
        let column = estimate_line::Column::OptionId;
        let mut rows = loaders::children::<estimate_line::Entity>(ctx, column, self.row.id).await?;
        rows.sort_by_key(|row| row.position);
        Ok(rows.into_iter().map(EstimateLine::from).collect())
    }

    /// Tax by level, in the order of reporting; the levels add up to the option's tax.
    async fn taxes(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<EstimateTax>> {
        let column = estimate_tax::Column::OptionId;
        let mut rows = loaders::children::<estimate_tax::Entity>(ctx, column, self.row.id).await?;
        rows.sort_by_key(|row| row.position);
        Ok(rows.into_iter().map(EstimateTax::from).collect())
    }
}

/// One charge of an option.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct EstimateLine {
    /// Place in the option, from 1.
    position: i32,
    /// What it charges for.
    kind: ChargeKind,
    /// Description as printed.
    description: String,
    /// How many; labour in billed hours.
    quantity: ExactDecimal,
    /// Price of one; labour by the hour.
    unit_price: Money,
    /// Price of the line before discount.
    net: Money,
    /// Its share of discounts.
    discount: Money,
    /// How much of it is taxed.
    taxable: Money,
    /// Its tax.
    tax: Money,
    /// Why it is or is not taxed.
    tax_reason: String,
    /// What the shop pays for it.
    cost: Money,
    /// What is left of its price after discount and cost, per hundred of that price.
    margin_percent: Option<ExactDecimal>,
    /// Minutes billed, after minimum and increment; null for other kinds.
    labour_minutes: Option<i32>,
    /// Heading it stands under; lines of one section follow one another.
    section: Option<String>,
    #[graphql(skip)]
    part_id: Option<i64>,
}

impl From<estimate_line::Model> for EstimateLine {
    fn from(row: estimate_line::Model) -> Self {
        let sold = row.net_cents.saturating_sub(row.discount_cents);
        Self {
            position: row.position,
            kind: row.kind.into(),
            description: row.description,
            quantity: row.quantity.into(),
            unit_price: Money::cents(row.unit_price_cents),
            net: Money::cents(row.net_cents),
            discount: Money::cents(row.discount_cents),
            taxable: Money::cents(row.taxable_cents),
            tax: Money::cents(row.tax_cents),
            tax_reason: row.tax_reason,
            cost: Money::cents(row.cost_cents),
            margin_percent: margin_percent(Cents(row.cost_cents), Cents(sold)),
            labour_minutes: row.labour_minutes,
            section: row.section,
            part_id: row.part_id,
        }
    }
}

#[ComplexObject]
impl EstimateLine {
    /// The part, for a line of one.
    async fn part(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Part>> {
        match self.part_id {
            Some(id) => Part::of(ctx, id).await,
            None => Ok(None),
        }
    }
}

/// Tax of an option by level.
#[derive(SimpleObject)]
pub struct EstimateTax {
    /// Name of the level.
    name: String,
    /// Its rate per hundred.
    rate_percent: ExactDecimal,
    /// What it is charged on.
    taxable: Money,
    /// The tax.
    tax: Money,
}

impl From<estimate_tax::Model> for EstimateTax {
    fn from(row: estimate_tax::Model) -> Self {
        Self {
            name: row.name,
            rate_percent: row.rate_percent.into(),
            taxable: Money::cents(row.taxable_cents),
            tax: Money::cents(row.tax_cents),
        }
    }
}
