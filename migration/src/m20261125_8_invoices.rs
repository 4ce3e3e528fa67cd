//! Invoices, payments and what is open.

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
        create(manager, invoice()).await?;
        create(manager, invoice_line()).await?;
        create(manager, invoice_tax()).await?;
        create(manager, receivable()).await?;
        create(manager, payment()).await?;
        create(manager, allocation()).await?;
        index(manager, "invoice", &["call_id"]).await?;
        index(manager, "invoice", &["estimate_revision_id"]).await?;
        unique(manager, "invoice", &["credits_invoice_id"]).await?;
        index(manager, "invoice", &["tax_jurisdiction_id"]).await?;
        index(manager, "invoice", &["issued_by"]).await?;
        index(manager, "invoice", &["customer_id", "due_on"]).await?;
        unique(manager, "invoice", &["number"]).await?;
        index(manager, "invoice_line", &["part_id"]).await?;
        unique(manager, "invoice_line", &["invoice_id", "position"]).await?;
        index(manager, "invoice_tax", &["tax_level_id"]).await?;
        unique(manager, "invoice_tax", &["invoice_id", "position"]).await?;
        index(manager, "receivable", &["open_cents", "due_on"]).await?;
        index(
            manager,
            "receivable",
            &["customer_id", "open_cents", "due_on"],
        )
        .await?;
        index(manager, "payment", &["customer_id"]).await?;
        index(manager, "payment", &["recorded_by"]).await?;
        unique(manager, "payment", &["number"]).await?;
        index(manager, "allocation", &["payment_id"]).await?;
        index(manager, "allocation", &["credit_note_id"]).await?;
        index(manager, "allocation", &["invoice_id"]).await?;
        Ok(())
    }
}

/// An issued invoice or credit note. It never changes.
fn invoice() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("invoice")
        .col(id())
        .col(text("kind"))
        .col(text("number"))
        .col(number_null("call_id"))
        .foreign_key(&mut reference("invoice", "call_id", "service_call"))
        .col(number("customer_id"))
        .foreign_key(&mut reference("invoice", "customer_id", "customer"))
        .col(text("payer"))
        .col(number_null("estimate_revision_id"))
        .foreign_key(&mut reference(
            "invoice",
            "estimate_revision_id",
            "estimate_revision",
        ))
        .col(number_null("credits_invoice_id"))
        .foreign_key(&mut reference("invoice", "credits_invoice_id", "invoice"))
        .col(number("tax_jurisdiction_id"))
        .foreign_key(&mut reference(
            "invoice",
            "tax_jurisdiction_id",
            "tax_jurisdiction",
        ))
        .col(day("issued_on"))
        .col(day("due_on"))
        .col(instant("issued_at"))
        .col(number("issued_by"))
        .foreign_key(&mut reference("invoice", "issued_by", "staff"))
        .col(text_null("reason"))
        .col(cents("net_cents"))
        .col(cents("discount_cents"))
        .col(cents("tax_cents"))
        .col(cents("total_cents"))
        .col(text("content_json"))
        .col(text("content_hash"))
        .check(one_of("kind", &["invoice", "credit_note"]))
        .check(one_of("payer", &["customer", "warranty_payer", "shop"]))
        .check(Expr::cust(
            "total_cents = net_cents - discount_cents + tax_cents",
        ));
    table
}

/// One charge of an invoice; negative on a credit note.
fn invoice_line() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("invoice_line")
        .col(id())
        .col(number("invoice_id"))
        .foreign_key(&mut reference("invoice_line", "invoice_id", "invoice"))
        .col(whole("position"))
        .col(text("kind"))
        .col(text("description"))
        .col(number_null("part_id"))
        .foreign_key(&mut reference("invoice_line", "part_id", "part"))
        .col(exact("quantity"))
        .col(cents("unit_price_cents"))
        .col(cents("net_cents"))
        .col(cents("discount_cents"))
        .col(cents("taxable_cents"))
        .col(cents("tax_cents"))
        .col(text("tax_reason"))
        .col(cents("cost_cents"))
        .col(whole_null("labour_minutes"))
        .check(one_of(
            "kind",
            &["part", "labour", "trip", "diagnostic", "freight", "fee"],
        ));
    table
}

/// Tax of an invoice by level.
fn invoice_tax() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("invoice_tax")
        .col(id())
        .col(number("invoice_id"))
        .foreign_key(&mut reference("invoice_tax", "invoice_id", "invoice"))
        .col(whole("position"))
        .col(number("tax_level_id"))
        .foreign_key(&mut reference("invoice_tax", "tax_level_id", "tax_level"))
        .col(text("name"))
        .col(exact("rate_percent"))
        .col(cents("taxable_cents"))
        .col(cents("tax_cents"));
    table
}

/// What is still open on an invoice, kept beside the document that never changes.
fn receivable() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("receivable")
        .col(number("invoice_id").primary_key())
        .foreign_key(&mut reference("receivable", "invoice_id", "invoice"))
        .col(number("customer_id"))
        .foreign_key(&mut reference("receivable", "customer_id", "customer"))
        .col(day("due_on"))
        .col(cents("open_cents"))
        .check(Expr::cust("open_cents >= 0"));
    table
}

/// Money received from a customer.
fn payment() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("payment")
        .col(id())
        .col(text("number"))
        .col(number("customer_id"))
        .foreign_key(&mut reference("payment", "customer_id", "customer"))
        .col(text("method"))
        .col(text_null("reference"))
        .col(day("received_on"))
        .col(instant("recorded_at"))
        .col(number("recorded_by"))
        .foreign_key(&mut reference("payment", "recorded_by", "staff"))
        .col(cents("amount_cents"))
        .col(cents("unallocated_cents"))
        .check(one_of("method", &["cash", "check", "card", "transfer"]))
        .check(Expr::cust("amount_cents > 0"))
        .check(Expr::cust("unallocated_cents >= 0"))
        .check(Expr::cust("unallocated_cents <= amount_cents"));
    table
}

/// What part of a payment or credit note settles which invoice.
fn allocation() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("allocation")
        .col(id())
        .col(number_null("payment_id"))
        .foreign_key(&mut reference("allocation", "payment_id", "payment"))
        .col(number_null("credit_note_id"))
        .foreign_key(&mut reference("allocation", "credit_note_id", "invoice"))
        .col(number("invoice_id"))
        .foreign_key(&mut reference("allocation", "invoice_id", "invoice"))
        .col(cents("amount_cents"))
        .col(instant("allocated_at"))
        .check(Expr::cust("amount_cents > 0"))
        .check(Expr::cust(
            "(payment_id IS NULL) <> (credit_note_id IS NULL)",
        ));
    table
}
