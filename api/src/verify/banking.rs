//! Receipts that wait, deposits at banks and their entries; what is matched, and reconciliations.

use sea_orm::ConnectionTrait;

use crate::base::Result;

use super::Finding;
use super::statement::{Rule, ask};

pub async fn check(tx: &impl ConnectionTrait) -> Result<Vec<Finding>> {
    let mut findings = ask(tx, DEPOSITS).await?;
    findings.extend(ask(tx, MATCHES).await?);
    Ok(findings)
}

const DEPOSITS: &[Rule] = &[
    Rule {
        table: "account",
        what: "cents of receipts not yet banked in the books against payments that wait; what entries by hand took to a \
               bank is to be marked (markBankedBefore)",
        sql: "SELECT a.id AS row_id, found, expected FROM account a, \
              (SELECT CAST(COALESCE(SUM(p.debit_cents - p.credit_cents), 0) AS BIGINT) AS found \
              FROM posting p JOIN account b ON b.id = p.account_id WHERE b.role = 'undeposited_receipts') f, \
              (SELECT CAST(COALESCE(SUM(amount_cents), 0) AS BIGINT) AS expected FROM payment \
              WHERE bank_account_id IS NULL AND reversed_on IS NULL) w \
              WHERE a.role = 'undeposited_receipts' AND found <> expected",
    },
    Rule {
        table: "bank_deposit",
        what: "cents of its payments against its receipts",
        sql: "SELECT d.id AS row_id, CAST(COALESCE(SUM(l.amount_cents), 0) AS BIGINT) AS found, \
              d.receipts_cents AS expected FROM bank_deposit d \
              LEFT JOIN bank_deposit_line l ON l.deposit_id = d.id GROUP BY d.id, d.receipts_cents \
              HAVING COALESCE(SUM(l.amount_cents), 0) <> d.receipts_cents ORDER BY d.id",
    },
    Rule {
        table: "bank_deposit",
        what: "cents kept of its payments against its card fees",
        sql: "SELECT d.id AS row_id, CAST(COALESCE(SUM(l.fee_cents), 0) AS BIGINT) AS found, \
              d.fee_cents AS expected FROM bank_deposit d \
              LEFT JOIN bank_deposit_line l ON l.deposit_id = d.id GROUP BY d.id, d.fee_cents \
              HAVING COALESCE(SUM(l.fee_cents), 0) <> d.fee_cents ORDER BY d.id",
    },
    Rule {
        table: "bank_deposit",
        what: "cents that its entry brings to its account against receipts less fees",
        sql: "SELECT id AS row_id, found, expected FROM (SELECT d.id, d.receipts_cents - d.fee_cents AS expected, \
              CAST(COALESCE((SELECT SUM(p.debit_cents) FROM posting p JOIN journal_entry e ON e.id = p.entry_id \
              WHERE e.document_kind = 'bank_deposit' AND e.document_id = d.id AND e.reverses_entry_id IS NULL \
              AND e.entry_on = d.deposited_on AND p.account_id = d.account_id), 0) AS BIGINT) AS found \
              FROM bank_deposit d) s WHERE found <> expected ORDER BY id",
    },
    Rule {
        table: "bank_deposit",
        what: "entries in the books, one more once it is undone",
        sql: "SELECT d.id AS row_id, CAST(COUNT(e.id) AS BIGINT) AS found, \
              CAST(CASE WHEN d.undone_on IS NULL THEN 1 ELSE 2 END AS BIGINT) AS expected FROM bank_deposit d \
              LEFT JOIN journal_entry e ON e.document_kind = 'bank_deposit' AND e.document_id = d.id \
              GROUP BY d.id, d.undone_on \
              HAVING COUNT(e.id) <> CASE WHEN d.undone_on IS NULL THEN 1 ELSE 2 END ORDER BY d.id",
    },
    Rule {
        table: "payment",
        what: "the account it lies on against that of its standing deposit",
        sql: "SELECT p.id AS row_id, p.bank_account_id AS found, d.account_id AS expected FROM payment p \
              LEFT JOIN bank_deposit_line l ON l.standing_payment_id = p.id \
              LEFT JOIN bank_deposit d ON d.id = l.deposit_id \
              WHERE (p.banked_before_at IS NULL AND COALESCE(p.bank_account_id, 0) <> COALESCE(d.account_id, 0)) \
              OR (p.banked_before_at IS NOT NULL AND (d.id IS NOT NULL OR p.bank_account_id IS NULL \
              OR p.banked_on IS NULL OR p.banked_on < p.received_on)) \
              OR (d.id IS NOT NULL AND (p.banked_on IS NULL OR p.banked_on <> d.deposited_on \
              OR d.deposited_on < p.received_on OR d.undone_on IS NOT NULL OR l.amount_cents <> p.amount_cents)) \
              ORDER BY p.id",
    },
    Rule {
        table: "payment",
        what: "the day from which it waits again, which is the last on which a deposit of it was undone; it is not undone before that",
        sql: "SELECT id AS row_id, CAST(NULL AS BIGINT) AS found, CAST(NULL AS BIGINT) AS expected FROM \
              (SELECT p.id, p.waits_again_from AS said, p.reversed_on, (SELECT MAX(d.undone_on) FROM bank_deposit_line l \
              JOIN bank_deposit d ON d.id = l.deposit_id WHERE l.payment_id = p.id) AS undone FROM payment p) s \
              WHERE (undone IS NULL) <> (said IS NULL) OR said <> undone OR reversed_on < undone ORDER BY id",
    },
    Rule {
        table: "bank_deposit",
        what: "cents that its entry brings to card fees against those kept of it",
        sql: "SELECT id AS row_id, found, expected FROM (SELECT d.id, d.fee_cents AS expected, \
              CAST(COALESCE((SELECT SUM(p.debit_cents) FROM posting p JOIN journal_entry e ON e.id = p.entry_id \
              JOIN account a ON a.id = p.account_id WHERE e.document_kind = 'bank_deposit' AND e.document_id = d.id \
              AND e.reverses_entry_id IS NULL AND a.role = 'card_fees'), 0) AS BIGINT) AS found \
              FROM bank_deposit d) s WHERE found <> expected ORDER BY id",
    },
    Rule {
        table: "payment_reversal",
        what: "cents that its entries bring to other expense against what the bank kept",
        sql: "SELECT id AS row_id, found, expected FROM (SELECT r.id, r.bank_fee_cents AS expected, \
              CAST(COALESCE((SELECT SUM(o.debit_cents) FROM posting o JOIN journal_entry e ON e.id = o.entry_id \
              JOIN account a ON a.id = o.account_id WHERE e.document_kind = 'payment_reversal' AND e.document_id = r.id \
              AND a.role = 'other_expense'), 0) AS BIGINT) AS found \
              FROM payment_reversal r) s WHERE found <> expected ORDER BY id",
    },
    Rule {
        table: "refund",
        what: "cents that its entry takes from the account it was paid from against its amount",
        sql: "SELECT id AS row_id, found, expected FROM (SELECT f.id, f.amount_cents AS expected, \
              CAST(COALESCE((SELECT SUM(o.credit_cents) FROM posting o JOIN journal_entry e ON e.id = o.entry_id \
              WHERE e.document_kind = 'refund' AND e.document_id = f.id AND o.account_id = f.bank_account_id), 0) AS BIGINT) \
              AS found FROM refund f WHERE f.bank_account_id IS NOT NULL) s WHERE found <> expected ORDER BY id",
    },
    Rule {
        table: "payment_reversal",
        what: "cents that the bank took back with its fee against what its account was credited",
        sql: "SELECT id AS row_id, found, expected FROM (SELECT r.id, p.amount_cents + r.bank_fee_cents AS expected, \
              CAST(COALESCE((SELECT SUM(o.credit_cents) FROM posting o JOIN journal_entry e ON e.id = o.entry_id \
              WHERE e.document_kind = 'payment_reversal' AND e.document_id = r.id AND e.entry_on = r.reversed_on \
              AND o.account_id = r.bank_account_id), 0) AS BIGINT) AS found \
              FROM payment_reversal r JOIN payment p ON p.id = r.payment_id WHERE r.bank_account_id IS NOT NULL) s \
              WHERE found <> expected ORDER BY id",
    },
    Rule {
        table: "payment_reversal",
        what: "the account that took it back against the one the payment lay on",
        sql: "SELECT r.id AS row_id, r.bank_account_id AS found, p.bank_account_id AS expected \
              FROM payment_reversal r JOIN payment p ON p.id = r.payment_id \
              WHERE COALESCE(r.bank_account_id, 0) <> COALESCE(p.bank_account_id, 0) ORDER BY r.id",
    },
];

const MATCHES: &[Rule] = &[
    Rule {
        table: "bank_match",
        what: "cents of its lines against those of its postings",
        sql: "SELECT id AS row_id, found, expected FROM (SELECT m.id, \
              CAST(COALESCE((SELECT SUM(l.amount_cents) FROM bank_line l WHERE l.match_id = m.id), 0) AS BIGINT) AS found, \
              CAST((SELECT SUM(p.debit_cents - p.credit_cents) FROM bank_match_posting b \
              JOIN posting p ON p.id = b.posting_id WHERE b.match_id = m.id) AS BIGINT) AS expected \
              FROM bank_match m) s WHERE expected IS NULL OR found <> expected ORDER BY id",
    },
    Rule {
        table: "bank_match",
        what: "the account of its postings and lines, which is its own",
        sql: "SELECT m.id AS row_id, p.account_id AS found, m.account_id AS expected FROM bank_match m \
              JOIN bank_match_posting b ON b.match_id = m.id JOIN posting p ON p.id = b.posting_id \
              WHERE p.account_id <> m.account_id OR EXISTS \
              (SELECT 1 FROM bank_line l WHERE l.match_id = m.id AND l.account_id <> m.account_id) ORDER BY m.id",
    },
    Rule {
        table: "bank_reconciliation",
        what: "cents of its lines against what it says they add up to",
        sql: "SELECT id AS row_id, found, expected FROM (SELECT r.id, r.lines_cents AS expected, \
              CAST(COALESCE((SELECT SUM(l.amount_cents) FROM bank_line l WHERE l.reconciliation_id = r.id), 0) AS BIGINT) \
              AS found FROM bank_reconciliation r WHERE r.reopened_at IS NULL) s WHERE found <> expected ORDER BY id",
    },
    Rule {
        table: "bank_reconciliation",
        what: "cents of the postings matched through its day against the balance it closes with",
        sql: "SELECT id AS row_id, found, expected FROM (SELECT r.id, r.closing_cents AS expected, \
              CAST(COALESCE((SELECT SUM(p.debit_cents - p.credit_cents) FROM posting p WHERE p.id IN \
              (SELECT b.posting_id FROM bank_match_posting b JOIN bank_line l ON l.match_id = b.match_id \
              JOIN bank_reconciliation o ON o.id = l.reconciliation_id \
              WHERE o.account_id = r.account_id AND o.through_on <= r.through_on)), 0) AS BIGINT) AS found \
              FROM bank_reconciliation r WHERE r.reopened_at IS NULL) s WHERE found <> expected ORDER BY id",
    },
    Rule {
        table: "bank_reconciliation",
        what: "the balance it opens with against that of the one before",
        sql: "SELECT id AS row_id, found, expected FROM (SELECT r.id, r.opening_cents AS found, \
              COALESCE((SELECT b.closing_cents FROM bank_reconciliation b WHERE b.account_id = r.account_id \
              AND b.reopened_at IS NULL AND b.through_on < r.through_on ORDER BY b.through_on DESC LIMIT 1), 0) AS expected \
              FROM bank_reconciliation r WHERE r.reopened_at IS NULL) s WHERE found <> expected ORDER BY id",
    },
    Rule {
        table: "bank_line",
        what: "the reconciliation of a line that lies outside its days",
        sql: "SELECT l.id AS row_id, l.reconciliation_id AS found, CAST(NULL AS BIGINT) AS expected FROM bank_line l \
              JOIN bank_reconciliation r ON r.id = l.reconciliation_id \
              WHERE l.booked_on > r.through_on OR l.account_id <> r.account_id OR r.reopened_at IS NOT NULL ORDER BY l.id",
    },
    Rule {
        table: "bank_line",
        what: "lines of reconciled days that no reconciliation holds",
        sql: "SELECT l.id AS row_id, CAST(NULL AS BIGINT) AS found, r.id AS expected FROM bank_line l \
              JOIN bank_reconciliation r ON r.account_id = l.account_id AND r.reopened_at IS NULL \
              AND r.through_on >= l.booked_on WHERE l.reconciliation_id IS NULL ORDER BY l.id",
    },
    Rule {
        table: "bank_statement",
        what: "lines on record against those it brought",
        sql: "SELECT s.id AS row_id, CAST(COUNT(l.id) AS BIGINT) AS found, CAST(s.line_count AS BIGINT) AS expected \
              FROM bank_statement s LEFT JOIN bank_line l ON l.statement_id = s.id \
              GROUP BY s.id, s.line_count HAVING COUNT(l.id) <> s.line_count ORDER BY s.id",
    },
];
