//! Pictures and papers, what a customer asks and agrees to, and the local rules documents are held to.

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
        create(manager, attachment()).await?;
        create(manager, attachment_content()).await?;
        create(manager, estimate_picture()).await?;
        create(manager, estimate_question()).await?;
        create(manager, local_rules()).await?;
        create(manager, call_consent()).await?;
        for column in ["consent_text", "consent_hash"] {
            manager
                .alter_table(
                    Table::alter()
                        .table("estimate_revision")
                        .add_column(text_null(column))
                        .to_owned(),
                )
                .await?;
        }
        for column in [
            "appliance_id",
            "call_id",
            "finding_id",
            "added_by",
            "removed_by",
        ] {
            index(manager, "attachment", &[column]).await?;
        }
        unique(manager, "attachment_content", &["attachment_id", "size"]).await?;
        unique(manager, "estimate_picture", &["revision_id", "position"]).await?;
        index(manager, "estimate_picture", &["attachment_id"]).await?;
        for column in ["estimate_id", "revision_id", "answered_by"] {
            index(manager, "estimate_question", &[column]).await?;
        }
        let place = ["country", "region", "effective_from"];
        unique(manager, "local_rules", &place).await?;
        index(manager, "local_rules", &["created_by"]).await?;
        for column in ["call_id", "estimate_revision_id", "recorded_by"] {
            index(manager, "call_consent", &[column]).await?;
        }
        Ok(())
    }
}

/// A picture or paper on one record. Its bytes lie apart, so that lists never load them.
fn attachment() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("attachment")
        .col(id())
        .col(number_null("appliance_id"))
        .foreign_key(&mut reference("attachment", "appliance_id", "appliance"))
        .col(number_null("call_id"))
        .foreign_key(&mut reference("attachment", "call_id", "service_call"))
        .col(number_null("finding_id"))
        .foreign_key(&mut reference("attachment", "finding_id", "finding"))
        .col(text("kind"))
        .col(text_null("caption"))
        .col(text("media_type"))
        .col(whole_null("width"))
        .col(whole_null("height"))
        .col(number("byte_count"))
        .col(text("sha256"))
        .col(text("source_sha256"))
        .col(instant("added_at"))
        .col(number("added_by"))
        .foreign_key(&mut reference("attachment", "added_by", "staff"))
        .col(instant_null("removed_at"))
        .col(number_null("removed_by"))
        .foreign_key(&mut reference("attachment", "removed_by", "staff"))
        .col(text_null("removed_reason"))
        .check(one_of(
            "kind",
            &[
                "plate",
                "proof_of_purchase",
                "damage",
                "before",
                "after",
                "other",
            ],
        ))
        .check(Expr::cust(
            "(CASE WHEN appliance_id IS NULL THEN 0 ELSE 1 END) + (CASE WHEN call_id IS NULL THEN 0 ELSE 1 END) \
             + (CASE WHEN finding_id IS NULL THEN 0 ELSE 1 END) = 1",
        ));
    table
}

/// The bytes of an attachment, in full or as shown on a page.
fn attachment_content() -> TableCreateStatement {
    let mut table = Table::create();
    let mut bytes = ColumnDef::new("bytes");
    bytes.blob().not_null();
    table
        .table("attachment_content")
        .col(id())
        .col(number("attachment_id"))
        .foreign_key(&mut reference(
            "attachment_content",
            "attachment_id",
            "attachment",
        ))
        .col(text("size"))
        .col(bytes)
        .check(one_of("size", &["full", "small"]));
    table
}

/// A picture that a revision shows, known by the hash of what was shown.
fn estimate_picture() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("estimate_picture")
        .col(id())
        .col(number("revision_id"))
        .foreign_key(&mut reference(
            "estimate_picture",
            "revision_id",
            "estimate_revision",
        ))
        .col(whole("position"))
        .col(number("attachment_id"))
        .foreign_key(&mut reference(
            "estimate_picture",
            "attachment_id",
            "attachment",
        ))
        .col(text("words"))
        .col(text("sha256"));
    table
}

/// What a customer asked on the page of an estimate, and the desk's answer.
fn estimate_question() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("estimate_question")
        .col(id())
        .col(number("estimate_id"))
        .foreign_key(&mut reference(
            "estimate_question",
            "estimate_id",
            "estimate",
        ))
        .col(number("revision_id"))
        .foreign_key(&mut reference(
            "estimate_question",
            "revision_id",
            "estimate_revision",
        ))
        .col(instant("asked_at"))
        .col(text_null("asked_from"))
        .col(text("question"))
        .col(text_null("answer"))
        .col(instant_null("answered_at"))
        .col(number_null("answered_by"))
        .foreign_key(&mut reference("estimate_question", "answered_by", "staff"));
    table
}

/// What a place asks of documents and of bills above an estimate, from a day on. Never changed.
fn local_rules() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("local_rules")
        .col(id())
        .col(text("country"))
        .col(text("region"))
        .col(text("name"))
        .col(day("effective_from"))
        .col(text("estimate_elements"))
        .col(text("bill_elements"))
        .col(text("when_missing"))
        .col(exact_null("consent_percent"))
        .col(yes_no("consent_limit_inside"))
        .col(yes_no("consent_counts_tax"))
        .col(cents_null("written_over_cents"))
        .col(yes_no("note_oral_consent"))
        .col(yes_no("offer_removed_parts"))
        .col(whole_null("labour_warranty_days"))
        .col(text_null("wording"))
        .col(instant("created_at"))
        .col(number("created_by"))
        .foreign_key(&mut reference("local_rules", "created_by", "staff"))
        .check(one_of("when_missing", &["tell", "refuse"]));
    table
}

/// That the customer agreed to more than the accepted estimate, as a bill has to note it. Never changed.
fn call_consent() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("call_consent")
        .col(id())
        .col(number("call_id"))
        .foreign_key(&mut reference("call_consent", "call_id", "service_call"))
        .col(number("estimate_revision_id"))
        .foreign_key(&mut reference(
            "call_consent",
            "estimate_revision_id",
            "estimate_revision",
        ))
        .col(text("added_work"))
        .col(cents("added_total_cents"))
        .col(text("authorised_by"))
        .col(text("how"))
        .col(text_null("telephone"))
        .col(text_null("conditions"))
        .col(instant("given_at"))
        .col(instant("recorded_at"))
        .col(number("recorded_by"))
        .foreign_key(&mut reference("call_consent", "recorded_by", "staff"))
        .check(one_of("how", &["in_person", "by_telephone", "in_writing"]))
        .check(Expr::cust("added_total_cents > 0"));
    table
}
