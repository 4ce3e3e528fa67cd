//! Recalls name machines, and what was done about them could have been done.

use sea_orm::ConnectionTrait;

use crate::base::Result;

use super::Finding;
use super::statement::{Rule, ask};

pub async fn check(tx: &impl ConnectionTrait) -> Result<Vec<Finding>> {
    ask(tx, RULES).await
}

const RULES: &[Rule] = &[
    Rule {
        table: "recall",
        what: "a recall that names no product, so that no machine is told of it",
        sql: "SELECT r.id AS row_id, CAST(0 AS BIGINT) AS found, CAST(1 AS BIGINT) AS expected FROM recall r \
              WHERE NOT EXISTS (SELECT 1 FROM recall_product p WHERE p.recall_id = r.id) ORDER BY r.id",
    },
    Rule {
        table: "recall",
        what: "a recall taken back before it was published",
        sql: "SELECT id AS row_id, CAST(NULL AS BIGINT) AS found, CAST(NULL AS BIGINT) AS expected FROM recall \
              WHERE withdrawn_on < published_on ORDER BY id",
    },
    Rule {
        table: "recall_check",
        what: "told or done before the recall was published, or done on a machine that is not meant (recall expected)",
        sql: "SELECT c.id AS row_id, CAST(NULL AS BIGINT) AS found, r.id AS expected FROM recall_check c \
              JOIN recall r ON r.id = c.recall_id WHERE c.told_on < r.published_on \
              OR c.done_on < r.published_on OR (NOT c.is_meant AND c.done_on IS NOT NULL) ORDER BY c.id",
    },
];
