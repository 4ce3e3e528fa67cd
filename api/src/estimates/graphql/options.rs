//! What a revision offers: options, their lines and their tax.

use async_graphql::{ComplexObject, Context, ID, SimpleObject};
use nameplate_entities::{estimate_line, estimate_option, estimate_tax};

use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::{ExactDecimal, Money};

use super::EstimateLine;

use super::tax_facts::OptionTaxFacts;

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

    /// What is known about it that tax rules turn on.
    async fn tax_facts(&self) -> OptionTaxFacts {
        OptionTaxFacts::of(&self.row)
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
