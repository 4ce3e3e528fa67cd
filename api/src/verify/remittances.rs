//! Payers' advices add up, are paid as they say, and moved the claims they name.

use sea_orm::ConnectionTrait;

use crate::base::Result;

use super::Finding;
use super::statement::{Rule, ask};

pub async fn check(tx: &impl ConnectionTrait) -> Result<Vec<Finding>> {
    ask(tx, RULES).await
}

const RULES: &[Rule] = &[
    Rule {
        table: "payer_advice",
        what: "cents of its rows against its total",
        sql: "SELECT a.id AS row_id, CAST(COALESCE(SUM(r.paid_cents), 0) AS BIGINT) AS found, a.total_cents AS expected \
              FROM payer_advice a LEFT JOIN advice_row r ON r.advice_id = a.id GROUP BY a.id, a.total_cents \
              HAVING COALESCE(SUM(r.paid_cents), 0) <> a.total_cents ORDER BY a.id",
    },
    Rule {
        table: "payer_advice",
        what: "rows against how many it says",
        sql: "SELECT a.id AS row_id, CAST(COUNT(r.id) AS BIGINT) AS found, CAST(a.rows AS BIGINT) AS expected \
              FROM payer_advice a LEFT JOIN advice_row r ON r.advice_id = a.id GROUP BY a.id, a.rows \
              HAVING COUNT(r.id) <> a.rows ORDER BY a.id",
    },
    Rule {
        table: "payer_advice",
        what: "cents of its payment, which is the payer's and there once it is posted, against its total",
        sql: "SELECT a.id AS row_id, p.amount_cents AS found, a.total_cents AS expected FROM payer_advice a \
              JOIN warranty_payer w ON w.id = a.payer_id LEFT JOIN payment p ON p.id = a.payment_id \
              WHERE (a.posted_at IS NOT NULL AND a.total_cents > 0 \
              AND (p.id IS NULL OR p.amount_cents <> a.total_cents OR p.customer_id <> w.customer_id)) \
              OR (p.id IS NOT NULL AND (a.posted_at IS NULL OR a.total_cents = 0)) ORDER BY a.id",
    },
    Rule {
        table: "payer_advice",
        what: "its file, which is kept as standing while it is neither dropped before it was posted nor undone after its \
               payment was",
        sql: "SELECT a.id AS row_id, CAST(NULL AS BIGINT) AS found, CAST(NULL AS BIGINT) AS expected \
              FROM payer_advice a LEFT JOIN payment p ON p.id = a.payment_id \
              WHERE (a.dropped_at IS NULL AND a.undone_at IS NULL AND COALESCE(a.standing_sha256, '') <> a.sha256) \
              OR ((a.dropped_at IS NOT NULL OR a.undone_at IS NOT NULL) AND a.standing_sha256 IS NOT NULL) \
              OR (a.dropped_at IS NOT NULL AND a.posted_at IS NOT NULL) \
              OR (a.undone_at IS NOT NULL AND (a.posted_at IS NULL OR (a.total_cents > 0 AND p.reversed_on IS NULL))) \
              ORDER BY a.id",
    },
    Rule {
        table: "payment",
        what: "cents held back of what settles nothing against rows of its advice that wait for their claim",
        sql: "SELECT id AS row_id, found, expected FROM (SELECT p.id, p.held_cents AS found, p.unallocated_cents AS free, \
              CAST(CASE WHEN p.reversed_on IS NOT NULL THEN 0 ELSE COALESCE((SELECT SUM(r.paid_cents) FROM advice_row r \
              JOIN payer_advice a ON a.id = r.advice_id WHERE a.payment_id = p.id AND r.settled_at IS NULL \
              AND r.set_aside_because IS NULL), 0) END AS BIGINT) AS expected FROM payment p) s \
              WHERE found <> expected OR found > free ORDER BY id",
    },
    Rule {
        table: "advice_row",
        what: "the payer of its claim against that of its advice",
        sql: "SELECT r.id AS row_id, c.payer_id AS found, a.payer_id AS expected FROM advice_row r \
              JOIN payer_advice a ON a.id = r.advice_id JOIN claim c ON c.id = r.claim_id \
              WHERE c.payer_id <> a.payer_id ORDER BY r.id",
    },
    Rule {
        table: "advice_row",
        what: "cents laid of it, which are there once it is settled, of a posted advice and about a claim, against what it pays",
        sql: "SELECT r.id AS row_id, r.laid_cents AS found, r.paid_cents AS expected FROM advice_row r \
              JOIN payer_advice a ON a.id = r.advice_id \
              WHERE (r.settled_at IS NOT NULL AND (r.laid_cents IS NULL OR r.laid_cents < 0 \
              OR r.laid_cents > r.paid_cents OR r.claim_id IS NULL OR r.set_aside_because IS NOT NULL \
              OR a.posted_at IS NULL)) \
              OR (r.settled_at IS NULL AND (r.laid_cents IS NOT NULL OR r.outcome IS NOT NULL)) \
              OR (r.settled_at IS NULL AND r.claim_id IS NOT NULL AND a.posted_at IS NOT NULL) \
              OR (r.claim_id IS NOT NULL AND r.set_aside_because IS NOT NULL) ORDER BY r.id",
    },
    Rule {
        table: "claim",
        what: "cents that payments of advices settled of its invoice, whatever was undone since, against what the rows laid",
        sql: "SELECT claim_id AS row_id, CAST(SUM(found) AS BIGINT) AS found, CAST(SUM(laid) AS BIGINT) AS expected FROM (\
              SELECT r.claim_id, a.payment_id, SUM(r.laid_cents) AS laid, COALESCE((SELECT SUM(l.amount_cents) \
              FROM allocation l WHERE l.payment_id = a.payment_id AND l.undoes_allocation_id IS NULL \
              AND l.invoice_id = c.invoice_id), 0) AS found \
              FROM advice_row r JOIN payer_advice a ON a.id = r.advice_id JOIN claim c ON c.id = r.claim_id \
              WHERE r.settled_at IS NOT NULL AND a.payment_id IS NOT NULL \
              GROUP BY r.claim_id, a.payment_id, c.invoice_id) s \
              WHERE found < laid GROUP BY claim_id ORDER BY claim_id",
    },
    Rule {
        table: "claim",
        what: "steps by which it was paid against the rows of advices that paid it",
        sql: "SELECT c.id AS row_id, CAST((SELECT COUNT(*) FROM claim_step s WHERE s.claim_id = c.id AND s.step = 'pay') \
              AS BIGINT) AS found, CAST(COUNT(r.id) AS BIGINT) AS expected FROM claim c \
              JOIN advice_row r ON r.claim_id = c.id AND r.settled_at IS NOT NULL AND r.paid_cents > 0 \
              GROUP BY c.id HAVING COUNT(r.id) > (SELECT COUNT(*) FROM claim_step s \
              WHERE s.claim_id = c.id AND s.step = 'pay') ORDER BY c.id",
    },
];
