//! Machines, their stays, and the lists of what can fail, in the graph.
//!
//! Any member of staff may read any machine, because its history is what a technician at the door needs.
//! Whose it is and was is shown only to those who may see that customer.

pub mod lists;
pub mod mutations;

use async_graphql::connection::Connection;
use async_graphql::{Context, Enum, ID, InputObject, Object, OneofObject, SimpleObject};
use chrono::NaiveDate;
use nameplate_entities::{appliance, appliance_stay, appliance_use};
use nameplate_rules::serial::{SerialKey, ShopTag};

use crate::attachments::On;
use crate::attachments::graphql::Attachment;
use crate::base::{Act, Error, ProblemCode, Result};
use crate::callbacks::graphql::Flag;
use crate::calls::graphql::history::{self, HistoryEntry};
use crate::customers::graphql::{Customer, ServiceAddress};
use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::ExactDecimal;
use crate::recalls::graphql::ApplianceRecall;
use crate::warranty::graphql::{ApplianceCover, ShopWarranty};

use super::{operations, store};

pub use lists::{ApplianceType, Component, FailureMode, Hazard};
pub use mutations::AppliancesMutation;

/// What feeds a machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::Fuel")]
pub enum Fuel {
    /// Electricity alone.
    Electric,
    /// Natural gas.
    NaturalGas,
    /// Liquefied petroleum gas.
    LiquidGas,
    /// Neither.
    None,
}

/// One machine, known by make and serial, or by a shop tag.
pub struct Appliance {
    pub row: appliance::Model,
}

impl From<appliance::Model> for Appliance {
    fn from(row: appliance::Model) -> Self {
        Self { row }
    }
}

impl Appliance {
    /// The machine behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<appliance::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }

    /// The machine with this id, for any member of staff.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        act(ctx)?.staff().map_err(edge)?;
        Self::of(ctx, id).await
    }
}

/// One machine, known by make and serial, or by a shop tag.
#[Object]
impl Appliance {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::Appliance.id(self.row.id)
    }

    /// What kind of machine it is.
    async fn appliance_type(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<ApplianceType>> {
        ApplianceType::of(ctx, self.row.appliance_type_id).await
    }

    /// Maker's name on the plate.
    async fn make(&self) -> &str {
        &self.row.make
    }

    /// Model number on the plate.
    async fn model(&self) -> &str {
        &self.row.model
    }

    /// Serial number as printed; null where the plate cannot be read.
    async fn serial(&self) -> Option<&str> {
        self.row.serial.as_deref()
    }

    /// The shop's own tag on a machine whose plate could not be read.
    async fn shop_tag(&self) -> Option<&str> {
        self.row.shop_tag.as_deref()
    }

    /// Why the plate cannot be read.
    async fn unreadable_reason(&self) -> Option<&str> {
        self.row.unreadable_reason.as_deref()
    }

    /// What feeds it.
    async fn fuel(&self) -> Fuel {
        self.row.fuel.into()
    }

    /// Rated voltage, in volts.
    async fn rated_volts(&self) -> Option<ExactDecimal> {
        self.row.rated_volts.map(ExactDecimal::from)
    }

    /// Rated power, in watts.
    async fn rated_watts(&self) -> Option<ExactDecimal> {
        self.row.rated_watts.map(ExactDecimal::from)
    }

    /// Rated current, in amperes.
    async fn rated_amps(&self) -> Option<ExactDecimal> {
        self.row.rated_amps.map(ExactDecimal::from)
    }

    /// Day it was made.
    async fn made_on(&self) -> Option<NaiveDate> {
        self.row.made_on
    }

    /// Day it was bought.
    async fn bought_on(&self) -> Option<NaiveDate> {
        self.row.bought_on
    }

    /// Day it was installed.
    async fn installed_on(&self) -> Option<NaiveDate> {
        self.row.installed_on
    }

    /// Whether it is built in, which some places tax differently.
    async fn built_in(&self) -> bool {
        self.row.built_in
    }

    /// Send it back when changing the record.
    async fn version(&self) -> i32 {
        self.row.version
    }

    /// Whose it is; null for a technician without a call of that customer.
    async fn customer(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Customer>> {
        Customer::seen(ctx, self.row.customer_id).await
    }

    /// Where it stands; null for a technician without a call there.
    async fn service_address(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<ServiceAddress>> {
        ServiceAddress::seen(ctx, self.row.service_address_id).await
    }

    /// Whose it was and where it stood, oldest first.
    async fn stays(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<ApplianceStay>> {
        let rows = loaders::children::<appliance_stay::Entity>(
            ctx,
            appliance_stay::Column::ApplianceId,
            self.row.id,
        )
        .await?;
        Ok(rows.into_iter().map(ApplianceStay::from).collect())
    }

    /// What was found and done on it over all its owners, newest first. It names no customer.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn history(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, HistoryEntry>> {
        let page = Page {
            first,
            after,
            last,
            before,
        };
        history::page(ctx, self.row.id, page).await
    }

    /// What the shop stands behind on it or once did, oldest first.
    #[graphql(complexity = "10 * child_complexity")]
    async fn shop_warranties(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<ShopWarranty>> {
        ShopWarranty::of_appliance(ctx, self.row.id).await
    }

    /// Safety recalls that are or may be about it, the newest first.
    async fn recalls(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<ApplianceRecall>> {
        ApplianceRecall::of(ctx, self.row.id).await
    }

    /// Programmes registered on it, oldest first; those that come with its make need no registration.
    async fn covers(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<ApplianceCover>> {
        ApplianceCover::of_appliance(ctx, self.row.id).await
    }

    /// When it was delivered, where that was written down.
    async fn delivered_on(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<NaiveDate>> {
        let row = loaders::row::<appliance_use::Entity>(ctx, self.row.id).await?;
        Ok(row.and_then(|row| row.delivered_on))
    }

    /// Whether it is used in a business; null where nobody asked.
    async fn in_business(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<bool>> {
        let row = loaders::row::<appliance_use::Entity>(ctx, self.row.id).await?;
        Ok(row.and_then(|row| row.in_business))
    }

    /// Pictures and papers of the machine, such as its plate and its proof of purchase, oldest first.
    async fn attachments(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Attachment>> {
        Attachment::on(ctx, On::Appliance(self.row.id)).await
    }

    /// Flags ever raised on it, oldest first.
    #[graphql(complexity = "10 * child_complexity")]
    async fn flags(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Flag>> {
        Flag::of_appliance(ctx, self.row.id).await
    }

    /// Others whose serial differs only in characters that people misread, or that bear the same serial
    /// under another make. Nothing is merged by the program.
    #[graphql(complexity = "20 + child_complexity")]
    async fn near_matches(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Appliance>> {
        let rows = store::near_matches(reader(ctx)?, &self.row)
            .await
            .map_err(edge)?;
        Ok(rows.into_iter().map(Appliance::from).collect())
    }
}

/// A machine's time with one owner at one address.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct ApplianceStay {
    /// First day.
    from_on: NaiveDate,
    /// Last day; null while it stands there.
    until_on: Option<NaiveDate>,
    #[graphql(skip)]
    row: appliance_stay::Model,
}

impl From<appliance_stay::Model> for ApplianceStay {
    fn from(row: appliance_stay::Model) -> Self {
        Self {
            from_on: row.from_on,
            until_on: row.until_on,
            row,
        }
    }
}

#[async_graphql::ComplexObject]
impl ApplianceStay {
    /// Whose it was; null for a technician without a call of that customer.
    async fn customer(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Customer>> {
        Customer::seen(ctx, self.row.customer_id).await
    }

    /// Where it stood; null for a technician without a call there.
    async fn service_address(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<ServiceAddress>> {
        ServiceAddress::seen(ctx, self.row.service_address_id).await
    }
}

/// A serial number to look for.
#[derive(InputObject)]
pub struct SerialInput {
    /// Maker's name; needed only where two makers gave the same serial.
    make: Option<String>,
    /// The serial as printed or typed; letter case, spaces and punctuation do not matter.
    serial: String,
}

/// How to name one machine.
#[derive(OneofObject)]
pub enum ApplianceBy {
    /// By its id.
    Id(ID),
    /// By its serial number.
    Serial(SerialInput),
    /// By the shop's tag, such as NP-000123.
    ShopTag(String),
}

async fn named(act: &Act, by: ApplianceBy) -> Result<Option<appliance::Model>> {
    let db = act.app.db.read();
    match by {
        ApplianceBy::Id(id) => match Kind::Appliance.row("by.id", &id) {
            Ok(id) => store::by_id(db, id).await,
            Err(_) => Ok(None),
        },
        ApplianceBy::ShopTag(tag) => match ShopTag::parse(&tag) {
            Ok(tag) => store::by_shop_tag(db, &tag.to_string()).await,
            Err(refusal) => Err(malformed("by.shopTag", &refusal.to_string())),
        },
        ApplianceBy::Serial(SerialInput { make, serial }) => {
            let serial = SerialKey::parse(&serial)
                .map_err(|refusal| malformed("by.serial.serial", &refusal.to_string()))?;
            let make = make
                .map(|make| operations::make_key(&make))
                .transpose()
                .map_err(|_| malformed("by.serial.make", "this is no maker's name"))?;
            let mut rows = store::by_serial(db, make.as_deref(), serial.as_str()).await?;
            if rows.len() > 1 {
                return Err(malformed(
                    "by.serial.make",
                    "several makers gave this serial; give the make too",
                ));
            }
            Ok(rows.pop())
        }
    }
}

fn malformed(path: &str, message: &str) -> Error {
    Error::refused(ProblemCode::Malformed, path, operations::sentence(message))
}

/// Machines, and the lists of what can fail in them.
#[derive(Default)]
pub struct AppliancesQuery;

#[Object]
impl AppliancesQuery {
    /// One machine; null if none is known so. Any member of staff may look one up by its plate.
    async fn appliance(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "How it is named: by exactly one of these.")] by: ApplianceBy,
    ) -> async_graphql::Result<Option<Appliance>> {
        let row = named(act(ctx)?, by).await.map_err(edge)?;
        Ok(row.map(Appliance::from))
    }

    /// Machines, newest record first; for a technician those of own calls.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn appliances(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, Appliance>> {
        connection::newest_first(
            reader(ctx)?,
            store::visible_to(act(ctx)?),
            appliance::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, Appliance::from),
        )
        .await
    }

    /// Types of machine, by name.
    #[graphql(complexity = "20 * child_complexity")]
    async fn appliance_types(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Vec<ApplianceType>> {
        let rows = store::types(reader(ctx)?).await.map_err(edge)?;
        Ok(rows.into_iter().map(ApplianceType::from).collect())
    }

    /// Ways in which components fail.
    #[graphql(complexity = "20 * child_complexity")]
    async fn failure_modes(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<FailureMode>> {
        let rows = store::failure_modes(reader(ctx)?).await.map_err(edge)?;
        Ok(rows.into_iter().map(FailureMode::from).collect())
    }
}
