//! Customers, their addresses, and the search box.

use sea_orm_migration::prelude::*;

use crate::columns::*;

#[derive(DeriveMigrationName)]
pub struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        create(manager, customer()).await?;
        create(manager, contact()).await?;
        create(manager, service_address()).await?;
        create(manager, search_entry()).await?;
        create(manager, tax_exemption()).await?;
        index(manager, "customer", &["phone_e164"]).await?;
        index(manager, "customer", &["email"]).await?;
        index(manager, "customer", &["name"]).await?;
        index(manager, "contact", &["customer_id"]).await?;
        index(manager, "service_address", &["customer_id"]).await?;
        index(manager, "service_address", &["tax_jurisdiction_id"]).await?;
        index(manager, "service_address", &["jurisdiction_confirmed_by"]).await?;
        unique(manager, "search_entry", &["subject_kind", "subject_id"]).await?;
        index(manager, "tax_exemption", &["customer_id"]).await?;
        Ok(())
    }
}

/// A household or an organisation.
fn customer() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("customer")
        .col(id())
        .col(text("kind"))
        .col(text("name"))
        .col(text_null("email"))
        .col(text_null("phone_e164"))
        .col(text_null("billing_line1"))
        .col(text_null("billing_line2"))
        .col(text_null("billing_city"))
        .col(text_null("billing_region"))
        .col(text_null("billing_postal_code"))
        .col(text_null("billing_country"))
        .col(whole_null("terms_days"))
        .col(text_null("notes"))
        .col(instant("created_at"))
        .col(whole("version"))
        .check(one_of("kind", &["household", "organisation"]));
    table
}

/// A further person to reach at a customer.
fn contact() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("contact")
        .col(id())
        .col(number("customer_id"))
        .foreign_key(&mut reference("contact", "customer_id", "customer"))
        .col(text("name"))
        .col(text_null("role"))
        .col(text_null("phone_e164"))
        .col(text_null("email"));
    table
}

/// Where machines stand. Decides the tax jurisdiction.
fn service_address() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("service_address")
        .col(id())
        .col(number("customer_id"))
        .foreign_key(&mut reference("service_address", "customer_id", "customer"))
        .col(text("line1"))
        .col(text_null("line2"))
        .col(text("city"))
        .col(text("region"))
        .col(text("postal_code"))
        .col(text("country"))
        .col(text_null("access_notes"))
        .col(number_null("tax_jurisdiction_id"))
        .foreign_key(&mut reference(
            "service_address",
            "tax_jurisdiction_id",
            "tax_jurisdiction",
        ))
        .col(number_null("jurisdiction_confirmed_by"))
        .foreign_key(&mut reference(
            "service_address",
            "jurisdiction_confirmed_by",
            "staff",
        ))
        .col(instant_null("jurisdiction_confirmed_at"))
        .col(whole("version"));
    table
}

/// What the one search box looks through, in words lower-cased and stripped of punctuation.
fn search_entry() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("search_entry")
        .col(id())
        .col(text("subject_kind"))
        .col(number("subject_id"))
        .col(text("title"))
        .col(text("body"));
    table
}

/// A customer's exemption certificate.
fn tax_exemption() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("tax_exemption")
        .col(id())
        .col(number("customer_id"))
        .foreign_key(&mut reference("tax_exemption", "customer_id", "customer"))
        .col(text("certificate"))
        .col(text("reason"))
        .col(day("valid_from"))
        .col(day_null("valid_until"));
    table
}
