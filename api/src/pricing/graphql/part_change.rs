//! Changing a part beside its cost.

use async_graphql::{Context, ID, InputObject, MaybeUndefined, Object};

use crate::base::{Change, Result};
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::Money;
use crate::payload;

use super::super::operations;
use super::{Part, PartCondition};

/// What to change about a part; what is left out stays, null takes it away.
#[derive(InputObject)]
pub struct ChangePartInput {
    /// The part.
    part_id: ID,
    /// The version that was read.
    version: i32,
    /// What it is; it cannot be taken away.
    description: Option<String>,
    /// Name of who supplies it; a name that is new is recorded.
    supplier: MaybeUndefined<String>,
    /// Sells at this price whatever it costs.
    fixed_price: MaybeUndefined<Money>,
    /// Never sells above this price.
    list_price: MaybeUndefined<Money>,
    /// How long its maker stands behind it.
    maker_warranty_months: MaybeUndefined<i32>,
    /// Class of component it is, as flags name it.
    component_class: MaybeUndefined<String>,
    /// What the supplier holds back until the old part is returned.
    core_deposit: MaybeUndefined<Money>,
    /// What it costs to have one sent.
    freight: MaybeUndefined<Money>,
    /// Whether it is new, used or rebuilt, as some places want it printed.
    condition: MaybeUndefined<PartCondition>,
    /// The part that took its place; it must not lead back to this one.
    superseded_by_part_id: MaybeUndefined<ID>,
}

impl ChangePartInput {
    fn command(self) -> Result<operations::ChangePart> {
        let path = "supersededByPartId";
        let superseded_by = Change::from(self.superseded_by_part_id)
            .map(|id| Kind::Part.row(path, &id))
            .transpose()?;
        Ok(operations::ChangePart {
            part_id: Kind::Part.row("partId", &self.part_id)?,
            version: self.version,
            change: operations::PartChange {
                description: self.description,
                supplier: self.supplier.into(),
                fixed_price: Change::from(self.fixed_price).map(|price| price.0),
                list_price: Change::from(self.list_price).map(|price| price.0),
                maker_warranty_months: self.maker_warranty_months.into(),
                component_class: self.component_class.into(),
                core_deposit: Change::from(self.core_deposit).map(|each| each.0),
                freight: Change::from(self.freight).map(|each| each.0),
                condition: Change::from(self.condition).map(Into::into),
                superseded_by,
            },
        })
    }
}

payload! {
    /// What changing a part gave.
    ChangePartPayload {
        /// The part as it is now.
        part: Part
    }
}

/// Changing parts.
#[derive(Default)]
pub struct PartChangeMutation;

#[Object]
impl PartChangeMutation {
    /// Changes a part beside its cost and number; estimates keep what they were priced with.
    async fn change_part(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What to change.")] input: ChangePartInput,
    ) -> async_graphql::Result<ChangePartPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::change_part(act, input.command()?).await }.await;
        ChangePartPayload::of(outcome.map(Part::from))
    }
}
