//! The shop, its staff and sessions in the graph.

pub mod sessions;
pub mod settings;

use async_graphql::{Context, Enum, ID, InputObject, Object};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::{shop, staff};

use crate::base;
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::payload;

use super::{operations, store};

pub use sessions::SessionsMutation;
pub use settings::ChangeShopInput;

/// What somebody on the staff may do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::Role")]
pub enum Role {
    /// Everything.
    Owner,
    /// Records, pricing use, documents and claims; no staff and no manual journals.
    Office,
    /// Own calls, briefs, findings, readings and parts used; no costs, margins or books.
    Technician,
}

/// A member of staff.
pub struct Staff {
    row: staff::Model,
}

impl From<staff::Model> for Staff {
    fn from(row: staff::Model) -> Self {
        Self { row }
    }
}

/// A member of staff.
#[Object]
impl Staff {
    /// Opaque id.
    async fn id(&self) -> ID {
        Kind::Staff.id(self.row.id)
    }

    /// Name as colleagues use it.
    async fn name(&self) -> &str {
        &self.row.name
    }

    /// Sign-in name.
    async fn email(&self) -> &str {
        &self.row.email
    }

    /// What this person may do.
    async fn role(&self) -> Role {
        self.row.role.into()
    }

    /// When this person stopped working here; null while they do.
    async fn left_at(&self) -> Option<DateTime<Utc>> {
        self.row.left_at
    }
}

impl Staff {
    /// The member of staff behind a column of another record.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<staff::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }
}

/// The shop and its settings.
pub struct Shop {
    row: shop::Model,
}

impl From<shop::Model> for Shop {
    fn from(row: shop::Model) -> Self {
        Self { row }
    }
}

/// The shop and its settings.
#[Object]
impl Shop {
    /// Name on documents.
    async fn name(&self) -> &str {
        &self.row.name
    }

    /// Telephone in E.164.
    async fn phone(&self) -> &str {
        &self.row.phone_e164
    }

    /// E-mail address on documents.
    async fn email(&self) -> &str {
        &self.row.email
    }

    /// Postal address, a line each.
    async fn address_lines(&self) -> Vec<String> {
        store::address_lines(&self.row)
    }

    /// Registration or licence line on documents.
    async fn licence(&self) -> Option<&str> {
        self.row.licence.as_deref()
    }

    /// Number under which the shop pays over sales tax, which e-invoices name.
    async fn tax_registration(&self) -> Option<&str> {
        self.row.tax_registration.as_deref()
    }

    /// How customers pay, as bills say it; null for the program's own words.
    async fn payment_instructions(&self) -> Option<&str> {
        self.row.payment_instructions.as_deref()
    }

    /// ISO 4217 code of every amount here.
    async fn currency(&self) -> &str {
        &self.row.currency
    }

    /// IANA time zone; decides what day it is.
    async fn time_zone(&self) -> &str {
        &self.row.time_zone
    }

    /// A new call within this many days of a completed one may be its callback.
    async fn callback_window_days(&self) -> i32 {
        self.row.callback_window_days
    }

    /// The shop's own warranty on labour, in days.
    async fn labour_warranty_days(&self) -> i32 {
        self.row.labour_warranty_days
    }

    /// The shop's own warranty on parts, in months.
    async fn parts_warranty_months(&self) -> i32 {
        self.row.parts_warranty_months
    }

    /// How long a sent estimate can be accepted, in days.
    async fn estimate_valid_days(&self) -> i32 {
        self.row.estimate_valid_days
    }

    /// Days from issue to due date, unless the customer has other terms.
    async fn payment_terms_days(&self) -> i32 {
        self.row.payment_terms_days
    }

    /// What an hour of a technician costs the shop, by which labor it bears itself is valued; null while nobody said.
    async fn labour_cost(&self) -> Option<Money> {
        self.row.labour_cost_cents.map(Money::cents)
    }

    /// What one trip costs the shop, by which trips it bears itself are valued; null while nobody said.
    async fn trip_cost(&self) -> Option<Money> {
        self.row.trip_cost_cents.map(Money::cents)
    }

    /// How far a reading may lie from its expected value, in percent.
    async fn reading_tolerance_percent(&self) -> ExactDecimal {
        self.row.reading_tolerance_percent.into()
    }

    /// Days after sending an estimate until a customer who has not answered is reminded; zero for never.
    async fn reminder_first_days(&self) -> i32 {
        self.row.reminder_first_days
    }

    /// The same until the second reminder.
    async fn reminder_second_days(&self) -> i32 {
        self.row.reminder_second_days
    }

    /// Whether the customer is reminded on the day before the last.
    async fn reminder_last_day(&self) -> bool {
        self.row.reminder_last_day
    }

    /// Whether each owner gets one mail in the morning when flags were raised or callbacks wait to be decided.
    async fn flag_digest(&self) -> bool {
        self.row.flag_digest
    }

    /// The month whose last day ends the fiscal year, 1 to 12.
    async fn fiscal_year_end_month(&self) -> i32 {
        self.row.fiscal_year_end_month
    }

    /// Last closed day of the books; nothing posts on or before it.
    async fn books_closed_through(&self) -> Option<NaiveDate> {
        self.row.books_closed_through
    }
}

/// The calendar day of this request where the shop is; one statement a level, however many records ask.
///
/// # Errors
/// Internal, when the shop was never opened.
pub async fn today(ctx: &Context<'_>) -> async_graphql::Result<NaiveDate> {
    let row = loaders::row::<shop::Entity>(ctx, 1).await?;
    let settings = row.ok_or_else(|| base::Error::internal("the shop's settings are missing"));
    let settings = settings.and_then(store::Settings::of).map_err(edge)?;
    Ok(settings.day_of(act(ctx)?.at))
}

/// Who asks, and the shop.
#[derive(Default)]
pub struct ShopQuery;

#[Object]
impl ShopQuery {
    /// The signed-in member of staff; null when nobody is.
    async fn me(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        match act(ctx)?.staff_id() {
            Some(id) => Staff::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The shop and its settings.
    async fn shop(&self, ctx: &Context<'_>) -> async_graphql::Result<Shop> {
        let settings = store::settings(reader(ctx)?).await.map_err(edge)?;
        Ok(Shop { row: settings.row })
    }

    /// Everybody who works or worked here, by name.
    async fn staff(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Staff>> {
        let rows = store::all_staff(reader(ctx)?).await.map_err(edge)?;
        Ok(rows.into_iter().map(Staff::from).collect())
    }
}

/// Somebody who is to sign in.
#[derive(InputObject)]
pub struct AddStaffInput {
    /// Name as colleagues use it.
    name: String,
    /// The address to sign in with.
    email: String,
    /// What this person may do.
    role: Role,
    /// A first password of ten characters or more.
    #[graphql(secret)]
    password: String,
}

impl From<AddStaffInput> for operations::AddStaff {
    fn from(input: AddStaffInput) -> Self {
        Self {
            name: input.name,
            email: input.email,
            role: input.role.into(),
            password: input.password,
        }
    }
}

payload! {
    /// What letting somebody sign in gave.
    AddStaffPayload {
        /// The new member of staff.
        staff: Staff
    }
}

/// Whose access ends.
#[derive(InputObject)]
pub struct EndStaffInput {
    /// The member of staff.
    staff_id: ID,
}

payload! {
    /// What ending somebody's access gave.
    EndStaffPayload {
        /// The member of staff, who can no longer sign in.
        staff: Staff
    }
}

payload! {
    /// What changing the settings gave.
    ChangeShopPayload {
        /// The shop with its new settings.
        shop: Shop
    }
}

/// Staff and settings.
#[derive(Default)]
pub struct ShopMutation;

#[Object]
impl ShopMutation {
    /// Lets somebody sign in.
    async fn add_staff(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Who, and what they may do.")] input: AddStaffInput,
    ) -> async_graphql::Result<AddStaffPayload> {
        AddStaffPayload::of(
            operations::add_staff(act(ctx)?, input.into())
                .await
                .map(Staff::from),
        )
    }

    /// Ends somebody's access at once; what they did stays.
    async fn end_staff(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Whose access ends.")] input: EndStaffInput,
    ) -> async_graphql::Result<EndStaffPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let staff_id = Kind::Staff.row("staffId", &input.staff_id)?;
            operations::end_staff(act, staff_id).await
        };
        EndStaffPayload::of(outcome.await.map(Staff::from))
    }

    /// Changes the shop's settings.
    async fn change_shop(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What to change; what is left out stays.")] input: ChangeShopInput,
    ) -> async_graphql::Result<ChangeShopPayload> {
        ChangeShopPayload::of(
            operations::change_shop(act(ctx)?, input.into())
                .await
                .map(|row| Shop { row }),
        )
    }
}
