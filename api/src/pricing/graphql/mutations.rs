//! Keeping parts; price books are in `book_mutations`, tax in `tax_mutations`.

use async_graphql::{Context, ID, InputObject, Object};

use crate::base::Result;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::Money;
use crate::payload;

use super::super::operations;
use super::{Part, PartCondition};

/// A part to record.
#[derive(InputObject)]
pub struct AddPartInput {
    /// Number as its supplier prints it.
    number: String,
    /// What it is.
    description: String,
    /// Who supplies it.
    supplier: Option<String>,
    /// What it costs now.
    cost: Money,
    /// Sells at this price whatever it costs.
    fixed_price: Option<Money>,
    /// Never sells above this price.
    list_price: Option<Money>,
    /// How long its maker stands behind it.
    maker_warranty_months: Option<i32>,
    /// What the supplier holds back until the old part is returned; charged on a line of its own.
    core_deposit: Option<Money>,
    /// What it costs to have one sent; charged on a line of its own.
    freight: Option<Money>,
    /// Class of component it is, as flags name it.
    component_class: Option<String>,
    /// Whether it is new, used or rebuilt, as some places want it printed; left out where nobody says.
    condition: Option<PartCondition>,
}

impl From<AddPartInput> for operations::AddPart {
    fn from(input: AddPartInput) -> Self {
        Self {
            number: input.number,
            description: input.description,
            supplier: input.supplier,
            cost: input.cost.0,
            fixed_price: input.fixed_price.map(|price| price.0),
            list_price: input.list_price.map(|price| price.0),
            maker_warranty_months: input.maker_warranty_months,
            core_deposit: input.core_deposit.map(|each| each.0),
            freight: input.freight.map(|each| each.0),
            component_class: input.component_class,
            condition: input.condition.map(Into::into),
        }
    }
}

payload! {
    /// What recording a part gave.
    AddPartPayload {
        /// The part as recorded.
        part: Part
    }
}

/// What a part costs from now on.
#[derive(InputObject)]
pub struct ChangePartCostInput {
    /// The part.
    part_id: ID,
    /// The version that was read.
    version: i32,
    /// The new cost.
    cost: Money,
}

impl ChangePartCostInput {
    fn command(self) -> Result<operations::ChangePartCost> {
        Ok(operations::ChangePartCost {
            part_id: Kind::Part.row("partId", &self.part_id)?,
            version: self.version,
            cost: self.cost.0,
        })
    }
}

payload! {
    /// What recording a new cost gave.
    ChangePartCostPayload {
        /// The part as it is now.
        part: Part
    }
}

/// Keeping parts.
#[derive(Default)]
pub struct PricingMutation;

#[Object]
impl PricingMutation {
    /// Records a part the shop sells.
    async fn add_part(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The part.")] input: AddPartInput,
    ) -> async_graphql::Result<AddPartPayload> {
        let outcome = operations::add_part(act(ctx)?, input.into()).await;
        AddPartPayload::of(outcome.map(Part::from))
    }

    /// Records what a part costs from now on; estimates keep what they were priced with.
    async fn change_part_cost(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The new cost.")] input: ChangePartCostInput,
    ) -> async_graphql::Result<ChangePartCostPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::change_part_cost(act, input.command()?).await }.await;
        ChangePartCostPayload::of(outcome.map(Part::from))
    }
}
