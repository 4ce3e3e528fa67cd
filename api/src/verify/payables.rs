//! Suppliers: what is open on their bills is what the books say is payable.

use sea_orm::ConnectionTrait;

use crate::base::Result;

use super::Finding;
use super::statement::{Rule, ask};

pub async fn check(tx: &impl ConnectionTrait) -> Result<Vec<Finding>> {
    ask(tx, RULES).await
}

const RULES: &[Rule] = &[
    Rule {
        table: "account",
        what: "cents payable to suppliers in the books against open bills less what is left of credits",
        sql: "SELECT a.id AS row_id, found, expected FROM account a, \
              (SELECT CAST(COALESCE(SUM(p.credit_cents - p.debit_cents), 0) AS BIGINT) AS found \
              FROM posting p JOIN account b ON b.id = p.account_id JOIN journal_entry j ON j.id = p.entry_id \
              WHERE b.role = 'payables' AND j.document_kind NOT IN ('manual', 'year_end')) f, \
              (SELECT CAST(COALESCE(SUM(CASE WHEN kind = 'bill' THEN open_cents ELSE -open_cents END), 0) AS BIGINT) \
              AS expected FROM payable) e WHERE a.role = 'payables' AND found <> expected",
    },
    Rule {
        table: "payable",
        what: "cents open on a bill, or left of a credit, against its total and what settled it",
        sql: "SELECT bill_id AS row_id, CAST(SUM(open) AS BIGINT) AS found, CAST(SUM(left_over) AS BIGINT) AS expected \
              FROM (SELECT bill_id, open_cents AS open, 0 AS left_over FROM payable \
              UNION ALL SELECT id, 0, total_cents FROM supplier_bill \
              UNION ALL SELECT bill_id, 0, -amount_cents FROM payable_allocation \
              UNION ALL SELECT credit_id, 0, -amount_cents FROM payable_allocation WHERE credit_id IS NOT NULL) t \
              GROUP BY bill_id HAVING SUM(open) <> SUM(left_over) ORDER BY bill_id",
    },
    Rule {
        table: "supplier_bill",
        what: "cents of a bill's lines against its total",
        sql: "SELECT id AS row_id, CAST(SUM(lines) AS BIGINT) AS found, CAST(SUM(total) AS BIGINT) AS expected FROM \
              (SELECT id, total_cents AS total, 0 AS lines FROM supplier_bill \
              UNION ALL SELECT bill_id, 0, amount_cents FROM supplier_bill_line) t \
              GROUP BY id HAVING SUM(lines) <> SUM(total) ORDER BY id",
    },
    Rule {
        table: "supplier_bill_line",
        what: "cents of a line's parts against the move by which they came or went",
        sql: "SELECT l.id AS row_id, CASE WHEN b.kind = 'bill' THEN l.cost_cents ELSE -l.cost_cents END AS found, \
              m.value_cents AS expected FROM supplier_bill_line l JOIN supplier_bill b ON b.id = l.bill_id \
              JOIN stock_move m ON m.id = l.move_id \
              WHERE m.value_cents <> CASE WHEN b.kind = 'bill' THEN l.cost_cents ELSE -l.cost_cents END ORDER BY l.id",
    },
    Rule {
        table: "supplier_bill",
        what: "cents in a bill's entry against its total",
        sql: "SELECT b.id AS row_id, CAST(COALESCE(e.owed, 0) AS BIGINT) AS found, \
              CASE WHEN b.kind = 'bill' THEN b.total_cents ELSE -b.total_cents END AS expected FROM supplier_bill b \
              LEFT JOIN (SELECT j.document_id, SUM(p.credit_cents - p.debit_cents) AS owed FROM journal_entry j \
              JOIN posting p ON p.entry_id = j.id JOIN account a ON a.id = p.account_id AND a.role = 'payables' \
              WHERE j.document_kind = 'supplier_bill' GROUP BY j.document_id) e ON e.document_id = b.id \
              WHERE COALESCE(e.owed, 0) <> CASE WHEN b.kind = 'bill' THEN b.total_cents ELSE -b.total_cents END \
              ORDER BY b.id",
    },
    Rule {
        table: "supplier_payment",
        what: "cents of a payment in the books against the payment while it stands",
        sql: "SELECT s.id AS row_id, CAST(COALESCE(e.paid, 0) AS BIGINT) AS found, \
              CASE WHEN s.undone_on IS NULL THEN s.amount_cents ELSE 0 END AS expected FROM supplier_payment s \
              LEFT JOIN (SELECT j.document_id, SUM(p.debit_cents - p.credit_cents) AS paid FROM journal_entry j \
              JOIN posting p ON p.entry_id = j.id JOIN account a ON a.id = p.account_id AND a.role = 'payables' \
              WHERE j.document_kind = 'supplier_payment' GROUP BY j.document_id) e ON e.document_id = s.id \
              WHERE COALESCE(e.paid, 0) <> CASE WHEN s.undone_on IS NULL THEN s.amount_cents ELSE 0 END ORDER BY s.id",
    },
    Rule {
        table: "supplier_payment",
        what: "cents that a payment settles against the payment while it stands",
        sql: "SELECT s.id AS row_id, CAST(COALESCE(SUM(l.amount_cents), 0) AS BIGINT) AS found, \
              CASE WHEN s.undone_on IS NULL THEN s.amount_cents ELSE 0 END AS expected FROM supplier_payment s \
              LEFT JOIN payable_allocation l ON l.payment_id = s.id GROUP BY s.id, s.undone_on, s.amount_cents \
              HAVING COALESCE(SUM(l.amount_cents), 0) <> CASE WHEN s.undone_on IS NULL THEN s.amount_cents ELSE 0 END \
              ORDER BY s.id",
    },
    Rule {
        table: "payable_allocation",
        what: "a bill, payment or credit of another supplier (bill found)",
        sql: "SELECT l.id AS row_id, l.bill_id AS found, CAST(NULL AS BIGINT) AS expected FROM payable_allocation l \
              JOIN supplier_bill b ON b.id = l.bill_id LEFT JOIN supplier_payment s ON s.id = l.payment_id \
              LEFT JOIN supplier_bill c ON c.id = l.credit_id \
              WHERE b.kind <> 'bill' OR COALESCE(s.supplier_id, c.supplier_id) <> b.supplier_id \
              OR (c.id IS NOT NULL AND c.kind <> 'credit') OR l.applied_on < b.billed_on ORDER BY l.id",
    },
    Rule {
        table: "payable_allocation",
        what: "cents open on a bill below zero on the day of a row that settles it",
        sql: "SELECT row_id, found, CAST(NULL AS BIGINT) AS expected FROM (SELECT l.id AS row_id, \
              CAST(b.total_cents - SUM(l.amount_cents) OVER (PARTITION BY l.bill_id ORDER BY l.applied_on) AS BIGINT) \
              AS found FROM payable_allocation l JOIN supplier_bill b ON b.id = l.bill_id) t \
              WHERE found < 0 ORDER BY row_id",
    },
    Rule {
        table: "supplier_bill_line",
        what: "an order, or a receipt for an order, of another supplier than the bill's (supplier found)",
        sql: "SELECT l.id AS row_id, b.supplier_id AS found, o.supplier_id AS expected FROM supplier_bill_line l \
              JOIN supplier_bill b ON b.id = l.bill_id LEFT JOIN stock_move m ON m.id = l.receipt_move_id \
              JOIN part_order o ON o.id = COALESCE(l.part_order_id, m.part_order_id) \
              WHERE o.supplier_id <> b.supplier_id ORDER BY l.id",
    },
    Rule {
        table: "unbilled_receipt",
        what: "receipts whose bill is there but that still wait for it, or the other way round (lines found)",
        sql: "SELECT u.move_id AS row_id, CAST(COUNT(l.id) AS BIGINT) AS found, \
              CASE WHEN u.is_open THEN CAST(0 AS BIGINT) ELSE CAST(1 AS BIGINT) END AS expected FROM unbilled_receipt u \
              LEFT JOIN supplier_bill_line l ON l.receipt_move_id = u.move_id GROUP BY u.move_id, u.is_open \
              HAVING COUNT(l.id) <> CASE WHEN u.is_open THEN 0 ELSE 1 END ORDER BY u.move_id",
    },
];
