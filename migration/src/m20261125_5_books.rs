//! Accounts and the journal.

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
        create(manager, account()).await?;
        create(manager, journal_entry()).await?;
        create(manager, posting()).await?;
        unique(manager, "account", &["code"]).await?;
        unique(manager, "account", &["role"]).await?;
        index(manager, "journal_entry", &["posted_by"]).await?;
        index(manager, "journal_entry", &["document_kind", "document_id"]).await?;
        index(manager, "journal_entry", &["entry_on"]).await?;
        unique(manager, "journal_entry", &["number"]).await?;
        unique(manager, "journal_entry", &["reverses_entry_id"]).await?;
        index(manager, "posting", &["account_id"]).await?;
        index(manager, "posting", &["tax_level_id"]).await?;
        unique(manager, "posting", &["entry_id", "position"]).await?;
        Ok(())
    }
}

/// The chart of accounts.
fn account() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("account")
        .col(id())
        .col(text("code"))
        .col(text("name"))
        .col(text("kind"))
        .col(text_null("role"))
        .check(one_of(
            "kind",
            &["asset", "liability", "equity", "revenue", "expense"],
        ));
    table
}

/// One balanced entry, never edited, only reversed.
fn journal_entry() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("journal_entry")
        .col(id())
        .col(text("number"))
        .col(day("entry_on"))
        .col(instant("posted_at"))
        .col(number_null("posted_by"))
        .foreign_key(&mut reference("journal_entry", "posted_by", "staff"))
        .col(text("memo"))
        .col(text("document_kind"))
        .col(number_null("document_id"))
        .col(cents("debit_cents"))
        .col(cents("credit_cents"))
        .col(number_null("reverses_entry_id"))
        .foreign_key(&mut reference(
            "journal_entry",
            "reverses_entry_id",
            "journal_entry",
        ))
        .check(Expr::cust("debit_cents = credit_cents"))
        .check(Expr::cust("debit_cents > 0"));
    table
}

/// One side of an entry on one account.
fn posting() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("posting")
        .col(id())
        .col(number("entry_id"))
        .foreign_key(&mut reference("posting", "entry_id", "journal_entry"))
        .col(whole("position"))
        .col(number("account_id"))
        .foreign_key(&mut reference("posting", "account_id", "account"))
        .col(cents("debit_cents"))
        .col(cents("credit_cents"))
        .col(number_null("tax_level_id"))
        .foreign_key(&mut reference("posting", "tax_level_id", "tax_level"))
        .check(Expr::cust(
            "(debit_cents > 0 AND credit_cents = 0) OR (credit_cents > 0 AND debit_cents = 0)",
        ));
    table
}
