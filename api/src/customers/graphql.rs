//! Customers, contacts, service addresses and the search box in the graph.

use async_graphql::connection::Connection;
use async_graphql::{ComplexObject, Context, Enum, ID, InputObject, Object, SimpleObject};
use nameplate_entities::{contact, customer, service_address};
use sea_orm::{ColumnTrait, QueryFilter};

use crate::base::Act;
use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::payload;

use super::{operations, store};

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
        Ok(loaders::row::<customer::Entity>(ctx, id).await?.map(Self::from))
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
        Some(number.format().mode(phonenumber::Mode::National).to_string())
    }

    /// Days from invoice to due date, when other than the shop's.
    async fn terms_days(&self) -> Option<i32> {
        self.row.terms_days
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
            loaders::children::<contact::Entity>(ctx, contact::Column::CustomerId, self.row.id).await?;
        Ok(rows.into_iter().map(Contact::from).collect())
    }

    /// Where this customer's machines stand.
    async fn service_addresses(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<ServiceAddress>> {
        let rows = loaders::children::<service_address::Entity>(
            ctx,
            service_address::Column::CustomerId,
            self.row.id,
        )
        .await?;
        Ok(rows.into_iter().map(ServiceAddress::from).collect())
    }

    /// Others with the same name, telephone or e-mail; nothing is merged by the program.
    #[graphql(complexity = "20 + child_complexity")]
    async fn likely_duplicates(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Customer>> {
        let rows = store::likely_duplicates(reader(ctx)?, &self.row).await.map_err(edge)?;
        Ok(rows.into_iter().map(Customer::from).collect())
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
            version: row.version,
            row,
        }
    }
}

impl ServiceAddress {
    /// The address behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<service_address::Entity>(ctx, id).await?.map(Self::from))
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
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")] first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")] last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, Customer>> {
        connection::newest_first(
            reader(ctx)?,
            store::visible_to(act(ctx)?),
            customer::Column::Id,
            Page { first, after, last, before },
            (|row| row.id, Customer::from),
        )
        .await
    }
}

/// A postal address.
#[derive(InputObject)]
pub struct AddressInput {
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
    /// ISO 3166 country code; US when left out.
    country: Option<String>,
}

impl From<AddressInput> for operations::Address {
    fn from(input: AddressInput) -> Self {
        Self {
            line1: input.line1,
            line2: input.line2,
            city: input.city,
            region: input.region,
            postal_code: input.postal_code,
            country: input.country,
        }
    }
}

/// A customer to record.
#[derive(InputObject)]
pub struct AddCustomerInput {
    /// Household or organisation.
    kind: CustomerKind,
    /// Name as on documents.
    name: String,
    /// E-mail address for documents.
    email: Option<String>,
    /// Telephone, national or international.
    phone: Option<String>,
    /// Where bills go, if not to the service address.
    billing: Option<AddressInput>,
    /// Days from invoice to due date, when other than the shop's.
    terms_days: Option<i32>,
    /// Notes of the office.
    notes: Option<String>,
}

impl From<AddCustomerInput> for operations::AddCustomer {
    fn from(input: AddCustomerInput) -> Self {
        Self {
            kind: input.kind.into(),
            name: input.name,
            email: input.email,
            phone: input.phone,
            billing: input.billing.map(Into::into),
            terms_days: input.terms_days,
            notes: input.notes,
        }
    }
}

payload! {
    /// What recording a customer gave.
    AddCustomerPayload {
        /// The customer as recorded.
        customer: Customer
    }
}

/// What to correct; what is left out stays, an empty text clears.
#[derive(InputObject)]
pub struct ChangeCustomerInput {
    /// The customer.
    customer_id: ID,
    /// The version that was read.
    version: i32,
    /// Name as on documents.
    name: Option<String>,
    /// E-mail address for documents.
    email: Option<String>,
    /// Telephone, national or international.
    phone: Option<String>,
    /// Notes of the office.
    notes: Option<String>,
}

impl ChangeCustomerInput {
    fn command(self) -> crate::base::Result<operations::ChangeCustomer> {
        Ok(operations::ChangeCustomer {
            customer_id: Kind::Customer.row("customerId", &self.customer_id)?,
            version: self.version,
            name: self.name,
            email: self.email,
            phone: self.phone,
            notes: self.notes,
        })
    }
}

payload! {
    /// What correcting a customer gave.
    ChangeCustomerPayload {
        /// The customer as it is now.
        customer: Customer
    }
}

/// A contact to record.
#[derive(InputObject)]
pub struct AddContactInput {
    /// The customer.
    customer_id: ID,
    /// The person's name.
    name: String,
    /// What they are there, such as tenant or caretaker.
    role: Option<String>,
    /// Telephone, national or international.
    phone: Option<String>,
    /// E-mail address.
    email: Option<String>,
}

impl AddContactInput {
    fn command(self) -> crate::base::Result<operations::AddContact> {
        Ok(operations::AddContact {
            customer_id: Kind::Customer.row("customerId", &self.customer_id)?,
            name: self.name,
            role: self.role,
            phone: self.phone,
            email: self.email,
        })
    }
}

payload! {
    /// What recording a contact gave.
    AddContactPayload {
        /// The contact as recorded.
        contact: Contact
    }
}

/// A service address to record.
#[derive(InputObject)]
pub struct AddServiceAddressInput {
    /// The customer.
    customer_id: ID,
    /// Where it is.
    address: AddressInput,
    /// How to get in, and what to watch for.
    access_notes: Option<String>,
    /// Where it is taxed, if you confirm it now.
    tax_jurisdiction_id: Option<ID>,
}

impl AddServiceAddressInput {
    fn command(self) -> crate::base::Result<operations::AddServiceAddress> {
        Ok(operations::AddServiceAddress {
            customer_id: Kind::Customer.row("customerId", &self.customer_id)?,
            address: self.address.into(),
            access_notes: self.access_notes,
            tax_jurisdiction_id: Kind::TaxJurisdiction
                .row_if_any("taxJurisdictionId", self.tax_jurisdiction_id.as_ref())?,
        })
    }
}

payload! {
    /// What recording a service address gave.
    AddServiceAddressPayload {
        /// The address as recorded.
        service_address: ServiceAddress
    }
}

/// What to correct at an address.
#[derive(InputObject)]
pub struct ChangeServiceAddressInput {
    /// The address.
    service_address_id: ID,
    /// The version that was read.
    version: i32,
    /// How to get in, and what to watch for; left out or empty clears it.
    access_notes: Option<String>,
}

impl ChangeServiceAddressInput {
    fn command(self) -> crate::base::Result<operations::ChangeServiceAddress> {
        Ok(operations::ChangeServiceAddress {
            service_address_id: Kind::ServiceAddress
                .row("serviceAddressId", &self.service_address_id)?,
            version: self.version,
            access_notes: self.access_notes,
        })
    }
}

payload! {
    /// What correcting an address gave.
    ChangeServiceAddressPayload {
        /// The address as it is now.
        service_address: ServiceAddress
    }
}

/// Where an address is taxed.
#[derive(InputObject)]
pub struct ConfirmJurisdictionInput {
    /// The address.
    service_address_id: ID,
    /// The jurisdiction, looked up by a person.
    tax_jurisdiction_id: ID,
}

payload! {
    /// What confirming a jurisdiction gave.
    ConfirmJurisdictionPayload {
        /// The address as it is now.
        service_address: ServiceAddress
    }
}

/// Recording and correcting customers and addresses.
#[derive(Default)]
pub struct CustomersMutation;

#[Object]
impl CustomersMutation {
    /// Records a customer.
    async fn add_customer(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The customer.")] input: AddCustomerInput,
    ) -> async_graphql::Result<AddCustomerPayload> {
        let outcome = operations::add_customer(act(ctx)?, input.into()).await;
        AddCustomerPayload::of(outcome.map(Customer::from))
    }

    /// Corrects a customer's record.
    async fn change_customer(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What to correct.")] input: ChangeCustomerInput,
    ) -> async_graphql::Result<ChangeCustomerPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::change_customer(act, input.command()?).await }.await;
        ChangeCustomerPayload::of(outcome.map(Customer::from))
    }

    /// Records a further person to reach.
    async fn add_contact(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The contact.")] input: AddContactInput,
    ) -> async_graphql::Result<AddContactPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::add_contact(act, input.command()?).await }.await;
        AddContactPayload::of(outcome.map(Contact::from))
    }

    /// Records where machines stand.
    async fn add_service_address(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The address.")] input: AddServiceAddressInput,
    ) -> async_graphql::Result<AddServiceAddressPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::add_service_address(act, input.command()?).await }.await;
        AddServiceAddressPayload::of(outcome.map(ServiceAddress::from))
    }

    /// Corrects an address's access notes.
    async fn change_service_address(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What to correct.")] input: ChangeServiceAddressInput,
    ) -> async_graphql::Result<ChangeServiceAddressPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::change_service_address(act, input.command()?).await }.await;
        ChangeServiceAddressPayload::of(outcome.map(ServiceAddress::from))
    }

    /// Confirms where an address is taxed; who did so is kept.
    async fn confirm_jurisdiction(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The address and its jurisdiction.")] input: ConfirmJurisdictionInput,
    ) -> async_graphql::Result<ConfirmJurisdictionPayload> {
        let act: &Act = act(ctx)?;
        let outcome = async {
            let address = Kind::ServiceAddress.row("serviceAddressId", &input.service_address_id)?;
            let jurisdiction = Kind::TaxJurisdiction.row("taxJurisdictionId", &input.tax_jurisdiction_id)?;
            operations::confirm_jurisdiction(act, address, jurisdiction).await
        }
        .await;
        ConfirmJurisdictionPayload::of(outcome.map(ServiceAddress::from))
    }
}
