//! Changing a part beside its cost.

use async_graphql::{Context, ID, InputObject, MaybeUndefined, Object};

use crate::base::Result;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::Money;
use crate::payload;

use super::super::operations;
use super::Part;

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
    /// The part that took its place; it must not lead back to this one.
    superseded_by_part_id: MaybeUndefined<ID>,
}

fn given<T, U>(field: MaybeUndefined<T>, of: impl FnOnce(T) -> U) -> Option<Option<U>> {
    match field {
        MaybeUndefined::Undefined => None,
        MaybeUndefined::Null => Some(None),
        MaybeUndefined::Value(value) => Some(Some(of(value))),
    }
}

impl ChangePartInput {
    fn command(self) -> Result<operations::ChangePart> {
        let path = "supersededByPartId";
        let superseded_by = given(self.superseded_by_part_id, |id| Kind::Part.row(path, &id));
        Ok(operations::ChangePart {
            part_id: Kind::Part.row("partId", &self.part_id)?,
            version: self.version,
            change: operations::PartChange {
                description: self.description,
                supplier: given(self.supplier, |name| name),
                fixed_price: given(self.fixed_price, |price| price.0),
                list_price: given(self.list_price, |price| price.0),
                maker_warranty_months: given(self.maker_warranty_months, |months| months),
                component_class: given(self.component_class, |class| class),
                core_deposit: given(self.core_deposit, |each| each.0),
                freight: given(self.freight, |each| each.0),
                superseded_by: superseded_by.map(Option::transpose).transpose()?,
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
