//! Mail is sent, waiting or reported, and none is lost; receipts of requests can be read.

use futures_util::TryStreamExt;
use nameplate_entities::kinds::MailState;
use nameplate_entities::{idempotency_key, outbox_mail};
use sea_orm::{ConnectionTrait, EntityTrait, QueryOrder, StreamTrait};

use crate::base::Result;
use crate::base::outbox::Payload;

use super::statement::{Rule, ask};
use super::{FINDINGS_MAX, Finding};

pub async fn check(tx: &(impl ConnectionTrait + StreamTrait)) -> Result<Vec<Finding>> {
    let mut findings = ask(tx, RULES).await?;
    findings.extend(payloads(tx).await?);
    findings.extend(receipts(tx).await?);
    Ok(findings)
}

const RULES: &[Rule] = &[
    Rule {
        table: "outbox_mail",
        what: "a mail that is sent without a time, or has a time without being sent",
        sql: "SELECT id AS row_id, CAST(attempts AS BIGINT) AS found, CAST(NULL AS BIGINT) AS expected \
              FROM outbox_mail WHERE (state = 'sent') <> (sent_at IS NOT NULL) ORDER BY id",
    },
    Rule {
        table: "outbox_mail",
        what: "tries of a mail that is said to be sent, failed or waiting",
        sql: "SELECT id AS row_id, CAST(attempts AS BIGINT) AS found, CAST(1 AS BIGINT) AS expected \
              FROM outbox_mail WHERE state IN ('sent', 'failed', 'waiting') AND attempts < 1 ORDER BY id",
    },
    Rule {
        table: "outbox_mail",
        what: "a mail that failed or was dropped without a reason, or is being sent by nobody",
        sql: "SELECT id AS row_id, CAST(attempts AS BIGINT) AS found, CAST(NULL AS BIGINT) AS expected \
              FROM outbox_mail WHERE (state IN ('failed', 'waiting', 'dropped') AND last_error IS NULL) \
              OR (state = 'sending' AND claimed_until IS NULL) ORDER BY id",
    },
    Rule {
        table: "outbox_mail",
        what: "mails with one Message-ID",
        sql: "SELECT MIN(id) AS row_id, CAST(COUNT(*) AS BIGINT) AS found, CAST(1 AS BIGINT) AS expected \
              FROM outbox_mail GROUP BY message_id HAVING COUNT(*) > 1 ORDER BY MIN(id)",
    },
    Rule {
        table: "estimate",
        what: "mails of an estimate against revisions that were sent",
        sql: "SELECT e.id AS row_id, CAST((SELECT COUNT(*) FROM outbox_mail m WHERE m.kind = 'estimate' \
              AND m.subject_kind = 'estimate' AND m.subject_id = e.id) AS BIGINT) AS found, \
              CAST(COUNT(r.id) AS BIGINT) AS expected FROM estimate e \
              JOIN estimate_revision r ON r.estimate_id = e.id AND r.sent_at IS NOT NULL \
              AND COALESCE(r.delivery, 'mail') = 'mail' GROUP BY e.id \
              HAVING (SELECT COUNT(*) FROM outbox_mail m WHERE m.kind = 'estimate' \
              AND m.subject_kind = 'estimate' AND m.subject_id = e.id) < COUNT(r.id) ORDER BY e.id",
    },
];

/// Every payload can be read, and no secret outlives its sending.
async fn payloads(tx: &(impl ConnectionTrait + StreamTrait)) -> Result<Vec<Finding>> {
    let mut findings = Vec::new();
    let mut rows = outbox_mail::Entity::find()
        .order_by_asc(outbox_mail::Column::Id)
        .stream(tx)
        .await?;
    while let Some(row) = rows.try_next().await? {
        let what = match serde_json::from_str::<Payload>(&row.payload_json) {
            Err(_) => "its payload cannot be read",
            Ok(payload)
                if matches!(row.state, MailState::Sent | MailState::Dropped)
                    && payload.holds_secret() =>
            {
                "it was sent or dropped, but still holds the link's secret"
            }
            Ok(_) => continue,
        };
        findings.push(Finding {
            table: "outbox_mail",
            row: row.id.to_string(),
            what: what.to_owned(),
        });
        if findings.len() >= FINDINGS_MAX {
            break;
        }
    }
    Ok(findings)
}

async fn receipts(tx: &(impl ConnectionTrait + StreamTrait)) -> Result<Vec<Finding>> {
    let mut findings = Vec::new();
    let mut rows = idempotency_key::Entity::find()
        .order_by_asc(idempotency_key::Column::Id)
        .stream(tx)
        .await?;
    while let Some(row) = rows.try_next().await? {
        let readable = serde_json::from_str::<serde_json::Value>(&row.receipt_json).is_ok();
        if readable && row.request_hash.len() == 64 {
            continue;
        }
        findings.push(Finding {
            table: "idempotency_key",
            row: row.id.to_string(),
            what: "its receipt or request hash cannot be read".to_owned(),
        });
        if findings.len() >= FINDINGS_MAX {
            break;
        }
    }
    Ok(findings)
}
