//! Beginning suppliers' price lists, taking them over and giving them up.

use async_graphql::{Context, Enum, ID, InputObject, Object};

use crate::base::{Error, Result};
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::payload;

use super::super::price_lists;
use super::{PartCondition, PriceList};

/// Which column of the list holds what, by the names in its first line, whatever their case.
#[derive(InputObject)]
pub struct PriceListColumnsInput {
    /// Number of the part.
    number: String,
    /// What it is.
    description: String,
    /// What it costs the shop, such as 1234.50; a comma in it is refused.
    cost: String,
    /// The price it never sells above; left out when the list has none.
    list_price: Option<String>,
}

/// A price list that is about to be sent.
#[derive(InputObject)]
pub struct BeginPriceListInput {
    /// A key of your own, such as a UUID; the same one when you try again.
    idempotency_key: String,
    /// Who sent it.
    supplier_id: ID,
    /// Name, such as the period it is for.
    name: String,
    /// Which column holds what.
    columns: PriceListColumnsInput,
    /// Whether the parts it records for the first time are new, used or rebuilt; left out where nobody says so of them.
    /// Parts on record keep what is said of them.
    part_condition: Option<PartCondition>,
}

impl BeginPriceListInput {
    fn command(self) -> Result<price_lists::BeginPriceList> {
        Ok(price_lists::BeginPriceList {
            idempotency_key: self.idempotency_key,
            supplier_id: Kind::Supplier.row("supplierId", &self.supplier_id)?,
            name: self.name,
            columns: price_lists::Columns {
                number: self.columns.number,
                description: self.columns.description,
                cost: self.columns.cost,
                list_price: self.columns.list_price,
            },
            part_condition: self.part_condition.map(Into::into),
        })
    }
}

payload! {
    /// What beginning a price list gave.
    BeginPriceListPayload {
        /// The list; send its rows to its upload path.
        price_list: PriceList
    }
}

/// What to do about bad rows of a price list.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "crate::pricing::price_lists::Take")]
pub enum PriceListTake {
    /// Take nothing over as long as there is one.
    AllOrNothing,
    /// Leave them out.
    KeepGood,
}

/// A staged price list to take over.
#[derive(InputObject)]
pub struct TakeOverPriceListInput {
    /// A key of your own, such as a UUID; the same one when you try again.
    idempotency_key: String,
    /// The list.
    price_list_id: ID,
    /// What to do about bad rows.
    take: PriceListTake,
}

impl TakeOverPriceListInput {
    fn command(self) -> Result<price_lists::TakeOverPriceList> {
        Ok(price_lists::TakeOverPriceList {
            idempotency_key: self.idempotency_key,
            price_list_id: Kind::PriceList.row("priceListId", &self.price_list_id)?,
            take: self.take.into(),
        })
    }
}

payload! {
    /// What taking a price list over gave.
    TakeOverPriceListPayload {
        /// The list; its counts say what was done.
        price_list: PriceList
    }
}

/// A price list to give up.
#[derive(InputObject)]
pub struct DiscardPriceListInput {
    /// The list.
    price_list_id: ID,
}

payload! {
    /// What giving a price list up gave.
    DiscardPriceListPayload {
        /// The list as it is now.
        price_list: PriceList
    }
}

/// Taking suppliers' price lists over.
#[derive(Default)]
pub struct PriceListsMutation;

#[Object]
impl PriceListsMutation {
    /// Names supplier and columns of a price list; its rows are sent to its upload path afterwards.
    async fn begin_price_list(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The list.")] input: BeginPriceListInput,
    ) -> async_graphql::Result<BeginPriceListPayload> {
        let act = act(ctx)?;
        let outcome = async { price_lists::begin_price_list(act, input.command()?).await }.await;
        BeginPriceListPayload::of(outcome.map(PriceList::from))
    }

    /// Makes parts and costs of a staged list, all at once; estimates keep what they were priced with.
    async fn take_over_price_list(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which list, and how.")] input: TakeOverPriceListInput,
    ) -> async_graphql::Result<TakeOverPriceListPayload> {
        let act = act(ctx)?.clone();
        // On its own: a request that is stopped for its length leaves the taking over to its end, and the same key
        // gives the answer afterwards.
        let taking =
            tokio::spawn(
                async move { price_lists::take_over_price_list(&act, input.command()?).await },
            );
        let outcome = taking
            .await
            .unwrap_or_else(|error| Err(Error::caused("taking a price list over", error)));
        TakeOverPriceListPayload::of(outcome.map(PriceList::from))
    }

    /// Gives up a price list that was not taken over.
    async fn discard_price_list(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which list.")] input: DiscardPriceListInput,
    ) -> async_graphql::Result<DiscardPriceListPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let list = Kind::PriceList.row("priceListId", &input.price_list_id)?;
            price_lists::discard_price_list(act, list).await
        }
        .await;
        DiscardPriceListPayload::of(outcome.map(PriceList::from))
    }
}
