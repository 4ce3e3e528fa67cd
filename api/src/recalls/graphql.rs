//! Recalls in the graph.

use std::collections::HashMap;
use std::sync::Arc;

use async_graphql::connection::Connection;
use async_graphql::dataloader::Loader;
use async_graphql::{ComplexObject, Context, Enum, ID, InputObject, Object, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::{appliance, recall, recall_check, recall_product};
use nameplate_rules::recall::CAUTION;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter};

use crate::appliances::graphql::Appliance;
use crate::base::{Error, Result};
use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders::{self, RowLoader, Rows};
use crate::payload;
use crate::shop::graphql::Staff;

use super::store;
use super::{
    CheckRecall, Matched, NewProduct, SetRecallProducts, WithdrawRecall, about_each, check_recall,
    set_recall_products, withdraw_recall,
};

/// A safety recall.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct Recall {
    /// Who published it.
    source: String,
    /// The publisher's number.
    number: String,
    /// When it was published.
    published_on: NaiveDate,
    /// What it is about.
    title: String,
    /// What can happen.
    hazard: String,
    /// What is to be done; the maker's own notice comes first.
    remedy: String,
    /// Where the notice is.
    url: Option<String>,
    /// When it was taken back.
    withdrawn_on: Option<NaiveDate>,
    /// When it was taken in.
    imported_at: DateTime<Utc>,
    /// For changing it.
    version: i32,
    #[graphql(skip)]
    row: recall::Model,
}

impl From<recall::Model> for Recall {
    fn from(row: recall::Model) -> Self {
        Self {
            source: row.source.clone(),
            number: row.number.clone(),
            published_on: row.published_on,
            title: row.title.clone(),
            hazard: row.hazard.clone(),
            remedy: row.remedy.clone(),
            url: row.url.clone(),
            withdrawn_on: row.withdrawn_on,
            imported_at: row.imported_at,
            version: row.version,
            row,
        }
    }
}

impl Recall {
    /// The recall with this id.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = loaders::row::<recall::Entity>(ctx, id).await?;
        Ok(row.map(Self::from))
    }
}

#[ComplexObject]
impl Recall {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::Recall.id(self.row.id)
    }

    /// Which machines it is about.
    async fn products(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<RecalledProduct>> {
        let column = recall_product::Column::RecallId;
        let rows = loaders::children::<recall_product::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().map(RecalledProduct::from).collect())
    }

    /// Who took it in.
    async fn imported_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.imported_by).await
    }
}

/// Machines that a recall is about.
#[derive(SimpleObject)]
pub struct RecalledProduct {
    /// The make.
    make: String,
    /// The models; `*` stands for any letters, `?` for one; null for all of the make.
    model_pattern: Option<String>,
    /// First serial number meant.
    serial_from: Option<String>,
    /// Last serial number meant.
    serial_through: Option<String>,
    /// As the notice describes them.
    description: Option<String>,
}

impl From<recall_product::Model> for RecalledProduct {
    fn from(row: recall_product::Model) -> Self {
        Self {
            make: row.make,
            model_pattern: row.model_pattern,
            serial_from: row.serial_from,
            serial_through: row.serial_through,
            description: row.description,
        }
    }
}

/// Whether a recall is about a machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
pub enum RecallMeant {
    /// By the plate as it is on record.
    Yes,
    /// Make and model are meant; the serial number is not known or cannot be compared: look at the plate.
    LookAtPlate,
}

/// What was done about a recall on a machine.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct RecallCheck {
    /// Whether the plate says that the machine is meant.
    is_meant: bool,
    /// When the customer was told.
    told_on: Option<NaiveDate>,
    /// When the remedy was carried out.
    done_on: Option<NaiveDate>,
    /// What was written beside it.
    note: Option<String>,
    /// When it was written down.
    checked_at: DateTime<Utc>,
    #[graphql(skip)]
    row: recall_check::Model,
}

impl From<recall_check::Model> for RecallCheck {
    fn from(row: recall_check::Model) -> Self {
        Self {
            is_meant: row.is_meant,
            told_on: row.told_on,
            done_on: row.done_on,
            note: row.note.clone(),
            checked_at: row.checked_at,
            row,
        }
    }
}

#[ComplexObject]
impl RecallCheck {
    /// Who looked.
    async fn checked_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.checked_by).await
    }
}

/// A recall that is, or may be, about a machine.
#[derive(SimpleObject)]
pub struct ApplianceRecall {
    /// The recall.
    recall: Recall,
    /// Whether the machine is meant.
    meant: RecallMeant,
    /// The product of the notice that fits.
    product: RecalledProduct,
    /// What was done about it; null while nobody looked.
    check: Option<RecallCheck>,
    /// What to mind: the maker's own notice comes first.
    caution: &'static str,
}

impl From<Matched> for ApplianceRecall {
    fn from(matched: Matched) -> Self {
        Self {
            recall: matched.recall.into(),
            meant: if matched.meant == nameplate_rules::recall::Meant::Yes {
                RecallMeant::Yes
            } else {
                RecallMeant::LookAtPlate
            },
            product: matched.product.into(),
            check: matched.check.map(RecallCheck::from),
            caution: CAUTION,
        }
    }
}

/// A machine whose recalls are asked for.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
struct OnMachine(i64);

impl Loader<OnMachine> for Rows {
    type Value = Vec<Matched>;
    type Error = Arc<Error>;

    /// Three statements, however many machines a list has.
    async fn load(
        &self,
        keys: &[OnMachine],
    ) -> std::result::Result<HashMap<OnMachine, Vec<Matched>>, Self::Error> {
        let ids = keys.iter().map(|key| key.0);
        let machines = appliance::Entity::find()
            .filter(appliance::Column::Id.is_in(ids))
            .all(self.reader())
            .await
            .map_err(|error| Arc::new(Error::from(error)))?;
        let found = about_each(self.reader(), &machines).await?;
        Ok((found.into_iter())
            .map(|(id, matched)| (OnMachine(id), matched))
            .collect())
    }
}

impl ApplianceRecall {
    /// Those about a machine, the newest first; batched with the machines of the same level.
    pub async fn of(ctx: &Context<'_>, appliance_id: i64) -> async_graphql::Result<Vec<Self>> {
        let loader = ctx.data::<RowLoader>()?;
        let found = loader.load_one(OnMachine(appliance_id)).await;
        let found = found.map_err(|error| edge(Error::caused("loading recalls", error)))?;
        let found = found.unwrap_or_default();
        Ok(found.into_iter().map(Self::from).collect())
    }
}

/// Reads of recalls.
#[derive(Default)]
pub struct RecallsQuery;

#[Object]
impl RecallsQuery {
    /// Safety recalls on record, the last taken in first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn recalls(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, Recall>> {
        let page = Page {
            first,
            after,
            last,
            before,
        };
        let (db, id) = (reader(ctx)?, recall::Column::Id);
        let select = recall::Entity::find();
        connection::newest_first(db, select, id, page, (|row| row.id, Recall::from)).await
    }

    /// Machines of the makes that a recall names, or of a make that a name of it begins with, the newest first; `recalls` of
    /// each says whether it is meant. Where the publisher names companies only, say what plates say (`setRecallProducts`).
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn machines_of_recalled_makes(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The recall.")] recall_id: ID,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, Appliance>> {
        let db = reader(ctx)?;
        let makes = async {
            let id = Kind::Recall.row("recallId", &recall_id)?;
            let recall = store::get_recall(db, "recallId", id).await?;
            let products = store::products_of(db, recall.id).await?;
            Ok::<Vec<String>, Error>(products.into_iter().map(|row| row.make_key).collect())
        };
        let makes = makes.await.map_err(edge)?;
        let page = Page {
            first,
            after,
            last,
            before,
        };
        let (select, id) = (store::machines_of_makes(&makes), appliance::Column::Id);
        connection::newest_first(db, select, id, page, (|row| row.id, Appliance::from)).await
    }
}

/// Machines that a recall is about.
#[derive(InputObject)]
pub struct RecalledProductInput {
    /// The make.
    make: String,
    /// The models; `*` stands for any letters, `?` for one; left out for all of the make.
    model_pattern: Option<String>,
    /// First serial number meant.
    serial_from: Option<String>,
    /// Last serial number meant.
    serial_through: Option<String>,
    /// As the notice describes them.
    description: Option<String>,
}

impl From<RecalledProductInput> for NewProduct {
    fn from(input: RecalledProductInput) -> Self {
        Self {
            make: input.make,
            model_pattern: input.model_pattern,
            serial_from: input.serial_from,
            serial_through: input.serial_through,
            description: input.description,
        }
    }
}

/// All machines that a recall is about.
#[derive(InputObject)]
pub struct SetRecallProductsInput {
    /// The recall.
    recall_id: ID,
    /// The version that was read.
    version: i32,
    /// The machines, in place of what was there; 1 to 200.
    products: Vec<RecalledProductInput>,
}

impl SetRecallProductsInput {
    fn command(self) -> Result<SetRecallProducts> {
        Ok(SetRecallProducts {
            recall_id: Kind::Recall.row("recallId", &self.recall_id)?,
            version: self.version,
            products: self.products.into_iter().map(Into::into).collect(),
        })
    }
}

payload! {
    /// What saying which machines are meant gave.
    SetRecallProductsPayload {
        /// The recall.
        recall: Recall
    }
}

/// That a recall was taken back.
#[derive(InputObject)]
pub struct WithdrawRecallInput {
    /// The recall.
    recall_id: ID,
    /// The version that was read.
    version: i32,
    /// When its publisher took it back; null where that was written down by mistake.
    withdrawn_on: Option<NaiveDate>,
}

payload! {
    /// What taking a recall back gave.
    WithdrawRecallPayload {
        /// The recall as it is now.
        recall: Recall
    }
}

/// What was done about a recall on a machine.
#[derive(InputObject)]
pub struct CheckRecallInput {
    /// The recall.
    recall_id: ID,
    /// The machine.
    appliance_id: ID,
    /// Whether the plate says that it is meant.
    is_meant: bool,
    /// When the customer was told.
    told_on: Option<NaiveDate>,
    /// When the remedy was carried out.
    done_on: Option<NaiveDate>,
    /// What to write beside it.
    note: Option<String>,
}

impl CheckRecallInput {
    fn command(self) -> Result<CheckRecall> {
        Ok(CheckRecall {
            recall_id: Kind::Recall.row("recallId", &self.recall_id)?,
            appliance_id: Kind::Appliance.row("applianceId", &self.appliance_id)?,
            is_meant: self.is_meant,
            told_on: self.told_on,
            done_on: self.done_on,
            note: self.note,
        })
    }
}

payload! {
    /// What looking at a machine gave.
    CheckRecallPayload {
        /// What was written down.
        check: RecallCheck
    }
}

/// Changes about recalls.
#[derive(Default)]
pub struct RecallsMutation;

#[Object]
impl RecallsMutation {
    /// Says which machines a recall is about, by what stands on their plates, in place of what was said before.
    async fn set_recall_products(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Recall and machines.")] input: SetRecallProductsInput,
    ) -> async_graphql::Result<SetRecallProductsPayload> {
        let act = act(ctx)?;
        let outcome = async { set_recall_products(act, input.command()?).await }.await;
        SetRecallProductsPayload::of(outcome.map(Recall::from))
    }

    /// Writes down that a recall was taken back by its publisher, and is told of no more; or that it was not.
    async fn withdraw_recall(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The recall.")] input: WithdrawRecallInput,
    ) -> async_graphql::Result<WithdrawRecallPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let withdraw = WithdrawRecall {
                recall_id: Kind::Recall.row("recallId", &input.recall_id)?,
                version: input.version,
                withdrawn_on: input.withdrawn_on,
            };
            withdraw_recall(act, withdraw).await
        };
        WithdrawRecallPayload::of(outcome.await.map(Recall::from))
    }

    /// Writes down that somebody looked at the plate, told the customer or saw the remedy carried out.
    async fn check_recall(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Recall, machine and what was seen.")] input: CheckRecallInput,
    ) -> async_graphql::Result<CheckRecallPayload> {
        let act = act(ctx)?;
        let outcome = async { check_recall(act, input.command()?).await }.await;
        CheckRecallPayload::of(outcome.map(RecallCheck::from))
    }
}
