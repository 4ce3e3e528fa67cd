//! Customers, contacts and service addresses in the graph.

pub mod mutations;
pub mod placing;

use async_graphql::connection::Connection;
use async_graphql::{ComplexObject, Context, Enum, ID, Object, SimpleObject};
use chrono::{DateTime, Utc};
use nameplate_entities::{contact, customer, e_invoicing, service_address, tax_exemption};
use sea_orm::{ColumnTrait, QueryFilter};

use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::ExactDecimal;
use crate::invoices::graphql::EInvoicing;
use crate::pricing::graphql::{TaxExemption, TaxJurisdiction};
use crate::shop::graphql::Staff;

use super::store;

pub use mutations::CustomersMutation;
pub use placing::PlacingMutation;

/// Whom a customer record stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::CustomerKind")]
pub enum CustomerKind {
    /// People at home.
    Household,
    /// A landlord, property manager or business.
    Organisation,
}

/// A household or an organisation.
pub struct Customer {
    pub row: customer::Model,
}

impl From<customer::Model> for Customer {
    fn from(row: customer::Model) -> Self {
        Self { row }
    }
}

impl Customer {
    /// The customer behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<customer::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }

    /// The customer behind a column of a record whose reader may not see it: null then.
    pub async fn seen(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if loaders::is_seen(ctx, loaders::HeldIn::Customer, id).await? {
            Self::of(ctx, id).await
        } else {
            Ok(None)
        }
    }

    /// The customer with this id, if the caller may see it.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = store::visible_to(act(ctx)?)
            .filter(customer::Column::Id.eq(id))
            .one(reader(ctx)?)
            .await
            .map_err(|error| edge(error.into()))?;
        Ok(row.map(Self::from))
    }
}

/// A household or an organisation.
#[Object]
impl Customer {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::Customer.id(self.row.id)
    }

    /// Household or organisation.
    async fn kind(&self) -> CustomerKind {
        self.row.kind.into()
    }

    /// Name as on documents.
    async fn name(&self) -> &str {
        &self.row.name
    }

    /// E-mail address for documents.
    async fn email(&self) -> Option<&str> {
        self.row.email.as_deref()
    }

    /// Telephone in E.164.
    async fn phone(&self) -> Option<&str> {
        self.row.phone_e164.as_deref()
    }

    /// Telephone as people write it in its country.
    async fn phone_national(&self) -> Option<String> {
        let number = phonenumber::parse(None, self.row.phone_e164.as_deref()?).ok()?;
        Some(
            number
                .format()
                .mode(phonenumber::Mode::National)
                .to_string(),
        )
    }

    /// Days from invoice to due date, when other than the shop's.
    async fn terms_days(&self) -> Option<i32> {
        self.row.terms_days
    }

    /// Where bills go; null for the service address.
    async fn billing(&self) -> Option<BillingAddress> {
        BillingAddress::of(&self.row)
    }

    /// Whether this customer wants e-invoices, and what these say; null while nothing was said about it.
    async fn e_invoicing(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<EInvoicing>> {
        let row = loaders::row::<e_invoicing::Entity>(ctx, self.row.id).await?;
        Ok(row.map(EInvoicing::from))
    }

    /// Notes of the office.
    async fn notes(&self) -> Option<&str> {
        self.row.notes.as_deref()
    }

    /// Send it back when changing the record.
    async fn version(&self) -> i32 {
        self.row.version
    }

    /// Further people to reach.
    async fn contacts(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Contact>> {
        let rows =
            loaders::children::<contact::Entity>(ctx, contact::Column::CustomerId, self.row.id)
                .await?;
        Ok(rows.into_iter().map(Contact::from).collect())
    }

    /// Where this customer's machines stand.
    async fn service_addresses(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Vec<ServiceAddress>> {
        let rows = loaders::children::<service_address::Entity>(
            ctx,
            service_address::Column::CustomerId,
            self.row.id,
        )
        .await?;
        Ok(rows.into_iter().map(ServiceAddress::from).collect())
    }

    /// Exemption certificates on file.
    async fn tax_exemptions(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<TaxExemption>> {
        let column = tax_exemption::Column::CustomerId;
        let rows = loaders::children::<tax_exemption::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().map(TaxExemption::from).collect())
    }

    /// Others with the same name, telephone or e-mail; nothing is merged by the program.
    #[graphql(complexity = "20 + child_complexity")]
    async fn likely_duplicates(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Customer>> {
        let rows = store::likely_duplicates(reader(ctx)?, &self.row)
            .await
            .map_err(edge)?;
        Ok(rows.into_iter().map(Customer::from).collect())
    }
}

/// Where a customer's bills go.
#[derive(SimpleObject)]
pub struct BillingAddress {
    /// First line.
    line1: String,
    /// Second line.
    line2: Option<String>,
    /// Town.
    city: String,
    /// State or province.
    region: String,
    /// Postal code.
    postal_code: String,
    /// ISO 3166 country code.
    country: String,
}

impl BillingAddress {
    fn of(row: &customer::Model) -> Option<Self> {
        let text = |value: &Option<String>| value.clone().unwrap_or_default();
        Some(Self {
            line1: row.billing_line1.clone()?,
            line2: row.billing_line2.clone(),
            city: text(&row.billing_city),
            region: text(&row.billing_region),
            postal_code: text(&row.billing_postal_code),
            country: text(&row.billing_country),
        })
    }
}

/// A further person to reach at a customer.
#[derive(SimpleObject)]
pub struct Contact {
    /// Opaque id.
    id: ID,
    /// The person's name.
    name: String,
    /// What they are there, such as tenant or caretaker.
    role: Option<String>,
    /// Telephone in E.164.
    phone: Option<String>,
    /// E-mail address.
    email: Option<String>,
}

impl From<contact::Model> for Contact {
    fn from(row: contact::Model) -> Self {
        Self {
            id: Kind::Contact.id(row.id),
            name: row.name,
            role: row.role,
            phone: row.phone_e164,
            email: row.email,
        }
    }
}

/// Where machines stand.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct ServiceAddress {
    /// First line.
    line1: String,
    /// Second line.
    line2: Option<String>,
    /// Town.
    city: String,
    /// State or province.
    region: String,
    /// Postal code.
    postal_code: String,
    /// ISO 3166 country code.
    country: String,
    /// The whole address as one line.
    line: String,
    /// How to get in, and what to watch for.
    access_notes: Option<String>,
    /// Name of the trip zone somebody settled on; null to go by postal code or distance.
    trip_zone: Option<String>,
    /// Distance from the shop, in the unit of its price books.
    trip_distance: Option<ExactDecimal>,
    /// Send it back when changing the record.
    version: i32,
    #[graphql(skip)]
    pub row: service_address::Model,
}

impl From<service_address::Model> for ServiceAddress {
    fn from(row: service_address::Model) -> Self {
        Self {
            line: store::address_line(&row),
            line1: row.line1.clone(),
            line2: row.line2.clone(),
            city: row.city.clone(),
            region: row.region.clone(),
            postal_code: row.postal_code.clone(),
            country: row.country.clone(),
            access_notes: row.access_notes.clone(),
            trip_zone: row.trip_zone.clone(),
            trip_distance: row.trip_distance.map(Into::into),
            version: row.version,
            row,
        }
    }
}

impl ServiceAddress {
    /// The address behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<service_address::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }

    /// The address behind a column of a record whose reader may not see it: null then.
    pub async fn seen(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if loaders::is_seen(ctx, loaders::HeldIn::ServiceAddress, id).await? {
            Self::of(ctx, id).await
        } else {
            Ok(None)
        }
    }

    /// The address with this id, if the caller may see it.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = store::addresses_visible_to(act(ctx)?)
            .filter(service_address::Column::Id.eq(id))
            .one(reader(ctx)?)
            .await
            .map_err(|error| edge(error.into()))?;
        Ok(row.map(Self::from))
    }
}

#[ComplexObject]
impl ServiceAddress {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::ServiceAddress.id(self.row.id)
    }

    /// Where sales to this address are taxed, once somebody confirmed it.
    async fn tax_jurisdiction(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<TaxJurisdiction>> {
        match self.row.tax_jurisdiction_id {
            Some(id) => TaxJurisdiction::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// When that was confirmed.
    async fn jurisdiction_confirmed_at(&self) -> Option<DateTime<Utc>> {
        self.row.jurisdiction_confirmed_at
    }

    /// Who confirmed it.
    async fn jurisdiction_confirmed_by(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<Staff>> {
        match self.row.jurisdiction_confirmed_by {
            Some(id) => Staff::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// Names of the jurisdictions that the postal code proposed when one was confirmed.
    async fn jurisdictions_proposed(&self) -> Vec<String> {
        let proposed = self.row.jurisdictions_proposed.as_deref();
        proposed
            .map(|names| names.lines().map(str::to_owned).collect())
            .unwrap_or_default()
    }

    /// Whose address it is.
    async fn customer(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Customer>> {
        Customer::of(ctx, self.row.customer_id).await
    }
}

/// Customers and where their machines stand.
#[derive(Default)]
pub struct CustomersQuery;

#[Object]
impl CustomersQuery {
    /// Customers, newest record first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn customers(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, Customer>> {
        connection::newest_first(
            reader(ctx)?,
            store::visible_to(act(ctx)?),
            customer::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, Customer::from),
        )
        .await
    }
}
