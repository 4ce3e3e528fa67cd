//! Recording and correcting customers and addresses.

use async_graphql::{Context, ID, InputObject, MaybeUndefined, Object};

use crate::base::{Change, Result};
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::payload;

use super::super::operations;
use super::{Contact, Customer, CustomerKind, ServiceAddress};

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
    /// Household or organisation.
    kind: Option<CustomerKind>,
    /// Name as on documents.
    name: Option<String>,
    /// E-mail address for documents.
    email: Option<String>,
    /// Telephone, national or international.
    phone: Option<String>,
    /// Where bills go; null for the service address.
    billing: MaybeUndefined<AddressInput>,
    /// Days from invoice to due date; null for the shop's.
    terms_days: MaybeUndefined<i32>,
    /// Notes of the office.
    notes: Option<String>,
}

impl ChangeCustomerInput {
    fn command(self) -> Result<operations::ChangeCustomer> {
        Ok(operations::ChangeCustomer {
            customer_id: Kind::Customer.row("customerId", &self.customer_id)?,
            version: self.version,
            kind: self.kind.map(Into::into),
            name: self.name,
            email: self.email,
            phone: self.phone,
            billing: Change::from(self.billing).map(Into::into),
            terms_days: self.terms_days.into(),
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
    fn command(self) -> Result<operations::AddContact> {
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
    fn command(self) -> Result<operations::AddServiceAddress> {
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
    /// The address as it should read; stays when left out. Another region or postal code voids where it is taxed, which is
    /// confirmed anew then.
    address: Option<AddressInput>,
    /// How to get in, and what to watch for; stays when left out, null or empty clears it.
    access_notes: MaybeUndefined<String>,
}

impl ChangeServiceAddressInput {
    fn command(self) -> Result<operations::ChangeServiceAddress> {
        Ok(operations::ChangeServiceAddress {
            service_address_id: Kind::ServiceAddress
                .row("serviceAddressId", &self.service_address_id)?,
            version: self.version,
            address: self.address.map(Into::into),
            access_notes: self.access_notes.into(),
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
        let outcome =
            async { operations::change_service_address(act, input.command()?).await }.await;
        ChangeServiceAddressPayload::of(outcome.map(ServiceAddress::from))
    }

    /// Confirms where an address is taxed; who did so is kept.
    async fn confirm_jurisdiction(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The address and its jurisdiction.")] input: ConfirmJurisdictionInput,
    ) -> async_graphql::Result<ConfirmJurisdictionPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let address =
                Kind::ServiceAddress.row("serviceAddressId", &input.service_address_id)?;
            let jurisdiction =
                Kind::TaxJurisdiction.row("taxJurisdictionId", &input.tax_jurisdiction_id)?;
            operations::confirm_jurisdiction(act, address, jurisdiction).await
        }
        .await;
        ConfirmJurisdictionPayload::of(outcome.map(ServiceAddress::from))
    }
}
