//! Calls billed by who was decided to pay, and what the shop bore of a call.

use sea_orm_migration::prelude::*;

use crate::columns::*;
use crate::m20261128_20_stock::{add, keep};

#[derive(DeriveMigrationName)]
pub struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        add(manager, "invoice", number_null("programme_terms_id")).await?;
        for name in ["shop_net_cents", "shop_discount_cents", "shop_tax_cents"] {
            let mut none = cents(name);
            none.default(0);
            add(manager, "invoice_division", none).await?;
        }
        add(manager, "invoice_division", text_null("coverage_split")).await?;
        index(manager, "invoice", &["warranty_payer_id"]).await?;
        index(manager, "invoice", &["programme_terms_id"]).await?;
        index(manager, "invoice_division", &["coverage_decision_id"]).await?;
        create(manager, call_borne()).await?;
        index(manager, "call_borne", &["call_id", "id"]).await?;
        index(manager, "call_borne", &["borne_on"]).await?;
        index(manager, "call_borne", &["decision_id"]).await?;
        index(manager, "call_borne", &["settled_by"]).await?;
        unique(manager, "call_borne", &["entry_id"]).await?;
        manager.get_connection().execute_unprepared(BORNE).await?;
        keep(manager, "call_borne").await
    }
}

/// What callbacks cost the shop so far stands in the entries of their completion; what came back unused of them credits
/// the account and is told apart by that.
const BORNE: &str = "INSERT INTO call_borne \
     (call_id, borne_on, parts_cents, labour_cents, entry_id, settled_at, settled_by) \
     SELECT e.document_id, e.entry_on, SUM(p.debit_cents), 0, e.id, e.posted_at, e.posted_by \
     FROM journal_entry e JOIN posting p ON p.entry_id = e.id \
     JOIN account a ON a.id = p.account_id AND a.role = 'callback_cost' \
     JOIN service_call c ON c.id = e.document_id \
     WHERE e.document_kind = 'service_call' AND p.debit_cents > 0 \
     GROUP BY e.document_id, e.entry_on, e.id, e.posted_at, e.posted_by ORDER BY e.id";

/// What the shop came to bear of a call, or bears no more, each time that was settled. It never changes.
fn call_borne() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("call_borne")
        .col(id())
        .col(number("call_id"))
        .foreign_key(&mut reference("call_borne", "call_id", "service_call"))
        .col(day("borne_on"))
        .col(cents("parts_cents"))
        .col(cents("labour_cents"))
        .col(number_null("decision_id"))
        .foreign_key(&mut reference(
            "call_borne",
            "decision_id",
            "coverage_decision",
        ))
        .col(number("entry_id"))
        .foreign_key(&mut reference("call_borne", "entry_id", "journal_entry"))
        .col(instant("settled_at"))
        .col(number_null("settled_by"))
        .foreign_key(&mut reference("call_borne", "settled_by", "staff"))
        .check(Expr::cust("parts_cents <> 0 OR labour_cents <> 0"));
    table
}
