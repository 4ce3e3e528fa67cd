//! Machines by serial.

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
        create(manager, appliance_type()).await?;
        create(manager, component()).await?;
        create(manager, failure_mode()).await?;
        create(manager, appliance()).await?;
        create(manager, appliance_stay()).await?;
        unique(manager, "appliance_type", &["key"]).await?;
        unique(manager, "component", &["appliance_type_id", "name"]).await?;
        unique(manager, "failure_mode", &["key"]).await?;
        index(manager, "appliance", &["appliance_type_id"]).await?;
        index(manager, "appliance", &["customer_id"]).await?;
        index(manager, "appliance", &["service_address_id"]).await?;
        index(manager, "appliance", &["serial_key"]).await?;
        index(manager, "appliance", &["serial_fold"]).await?;
        unique(manager, "appliance", &["make_key", "serial_key"]).await?;
        unique(manager, "appliance", &["shop_tag"]).await?;
        index(manager, "appliance_stay", &["appliance_id"]).await?;
        index(manager, "appliance_stay", &["customer_id"]).await?;
        index(manager, "appliance_stay", &["service_address_id"]).await?;
        Ok(())
    }
}

/// Kinds of machine the shop works on.
fn appliance_type() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("appliance_type")
        .col(id())
        .col(text("key"))
        .col(text("name"));
    table
}

/// The parts of a machine that findings name.
fn component() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("component")
        .col(id())
        .col(number("appliance_type_id"))
        .foreign_key(&mut reference(
            "component",
            "appliance_type_id",
            "appliance_type",
        ))
        .col(text("name"));
    table
}

/// The ways a component fails.
fn failure_mode() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("failure_mode")
        .col(id())
        .col(text("key"))
        .col(text("name"))
        .col(text("hazard"))
        .check(one_of(
            "hazard",
            &["none", "heat", "arc", "gas", "water_on_electrics"],
        ));
    table
}

/// One machine, known by make and serial.
fn appliance() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("appliance")
        .col(id())
        .col(number("appliance_type_id"))
        .foreign_key(&mut reference(
            "appliance",
            "appliance_type_id",
            "appliance_type",
        ))
        .col(number("customer_id"))
        .foreign_key(&mut reference("appliance", "customer_id", "customer"))
        .col(number("service_address_id"))
        .foreign_key(&mut reference(
            "appliance",
            "service_address_id",
            "service_address",
        ))
        .col(text("make"))
        .col(text("make_key"))
        .col(text("model"))
        .col(text_null("serial"))
        .col(text_null("serial_key"))
        .col(text_null("serial_fold"))
        .col(text_null("shop_tag"))
        .col(text_null("unreadable_reason"))
        .col(text("fuel"))
        .col(exact_null("rated_volts"))
        .col(exact_null("rated_watts"))
        .col(exact_null("rated_amps"))
        .col(day_null("made_on"))
        .col(day_null("bought_on"))
        .col(day_null("installed_on"))
        .col(yes_no("built_in"))
        .col(whole("version"))
        .check(one_of(
            "fuel",
            &["electric", "natural_gas", "liquid_gas", "none"],
        ))
        .check(Expr::cust("serial_key IS NOT NULL OR shop_tag IS NOT NULL"));
    table
}

/// Whose a machine was, where it stood, and when.
fn appliance_stay() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("appliance_stay")
        .col(id())
        .col(number("appliance_id"))
        .foreign_key(&mut reference(
            "appliance_stay",
            "appliance_id",
            "appliance",
        ))
        .col(number("customer_id"))
        .foreign_key(&mut reference("appliance_stay", "customer_id", "customer"))
        .col(number("service_address_id"))
        .foreign_key(&mut reference(
            "appliance_stay",
            "service_address_id",
            "service_address",
        ))
        .col(day("from_on"))
        .col(day_null("until_on"));
    table
}
