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
              WHERE b.role = 'payables' AND j.document_kind <> 'manual') f, \
              (SELECT CAST(COALESCE(SUM(CASE WHEN kind = 'bill' THEN open_cents ELSE -open_cents END), 0) AS BIGINT) \
              AS expected FROM payable) e WHERE a.role = 'payables' AND found <> expected",
    },
    Rule {
        table: "payable",
        what: "cents open on a bill, or left of a credit, against its total and what settled it",
        sql: "SELECT bill_id AS row_id, CAST(SUM(open) AS BIGINT) AS found, CAST(SUM(left_over) AS BIGINT) AS expected \
              FROM (SELECT bill_id, open_cents AS open, 0 AS left_over FROM payable \
              UNION ALL SELECT id, 0, total_cents FROM supplier_bill \
              UNION ALL SELECT b.id, 0, -b.total_cents FROM supplier_bill b \
              JOIN supplier_bill_undoing u ON u.bill_id = b.id \
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
        what: "cents in a bill's entries against its total, nothing once it is undone",
        sql: "SELECT id AS row_id, found, expected FROM (SELECT b.id, CAST(COALESCE(e.owed, 0) AS BIGINT) AS found, \
              CASE WHEN u.bill_id IS NOT NULL THEN 0 WHEN b.kind = 'bill' THEN b.total_cents ELSE -b.total_cents END \
              AS expected FROM supplier_bill b LEFT JOIN supplier_bill_undoing u ON u.bill_id = b.id \
              LEFT JOIN (SELECT j.document_id, SUM(p.credit_cents - p.debit_cents) AS owed FROM journal_entry j \
              JOIN posting p ON p.entry_id = j.id JOIN account a ON a.id = p.account_id AND a.role = 'payables' \
              WHERE j.document_kind = 'supplier_bill' GROUP BY j.document_id) e ON e.document_id = b.id) t \
              WHERE found <> expected ORDER BY id",
    },
    Rule {
        table: "supplier_bill",
        what: "bills of one supplier that stand under one number of the supplier",
        sql: "SELECT MAX(b.id) AS row_id, CAST(COUNT(*) AS BIGINT) AS found, CAST(1 AS BIGINT) AS expected \
              FROM supplier_bill b LEFT JOIN supplier_bill_undoing u ON u.bill_id = b.id WHERE u.bill_id IS NULL \
              GROUP BY b.supplier_id, b.kind, b.supplier_number_key HAVING COUNT(*) > 1 ORDER BY row_id",
    },
    Rule {
        table: "supplier_bill_undoing",
        what: "a bill undone before its day, or settled later than that (bill found)",
        sql: "SELECT u.bill_id AS row_id, u.bill_id AS found, CAST(NULL AS BIGINT) AS expected \
              FROM supplier_bill_undoing u JOIN supplier_bill b ON b.id = u.bill_id \
              WHERE u.undone_on < b.billed_on OR EXISTS (SELECT 1 FROM payable_allocation l \
              WHERE (l.bill_id = b.id OR l.credit_id = b.id) AND l.applied_on > u.undone_on) ORDER BY u.bill_id",
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
        what: "cents of a receipt still without a bill against its cost less what bills took and what went back",
        sql: "SELECT r.move_id AS row_id, r.open_cents AS found, CAST(r.cost_cents - COALESCE(t.taken, 0) + COALESCE(b.back, 0) AS BIGINT) \
              AS expected FROM unbilled_receipt r LEFT JOIN (SELECT l.receipt_move_id, \
              SUM(COALESCE(l.awaited_cents, o.cost_cents)) AS taken FROM supplier_bill_line l \
              JOIN unbilled_receipt o ON o.move_id = l.receipt_move_id \
              LEFT JOIN supplier_bill_undoing u ON u.bill_id = l.bill_id WHERE u.bill_id IS NULL \
              GROUP BY l.receipt_move_id) t ON t.receipt_move_id = r.move_id \
              LEFT JOIN (SELECT undoes_move_id, SUM(value_cents) AS back FROM stock_move WHERE kind = 'sent_back' \
              GROUP BY undoes_move_id) b ON b.undoes_move_id = r.move_id \
              WHERE r.open_cents <> r.cost_cents - COALESCE(t.taken, 0) + COALESCE(b.back, 0) ORDER BY r.move_id",
    },
    Rule {
        table: "unbilled_receipt",
        what: "a receipt that waits for a bill against whether pieces of it are without one",
        sql: "SELECT move_id AS row_id, CASE WHEN is_open THEN CAST(1 AS BIGINT) ELSE CAST(0 AS BIGINT) END AS found, \
              CASE WHEN open_quantity = '0' THEN CAST(0 AS BIGINT) ELSE CAST(1 AS BIGINT) END AS expected \
              FROM unbilled_receipt WHERE is_open <> (open_quantity <> '0') ORDER BY move_id",
    },
    Rule {
        table: "payable_allocation",
        what: "a row that undoes another one of another bill, source or amount, or before it (cents found)",
        sql: "SELECT a.id AS row_id, a.amount_cents AS found, -o.amount_cents AS expected FROM payable_allocation a \
              JOIN payable_allocation o ON o.id = a.undoes_allocation_id WHERE a.bill_id <> o.bill_id \
              OR COALESCE(a.payment_id, 0) <> COALESCE(o.payment_id, 0) \
              OR COALESCE(a.credit_id, 0) <> COALESCE(o.credit_id, 0) \
              OR a.amount_cents <> -o.amount_cents OR a.applied_on < o.applied_on ORDER BY a.id",
    },
    Rule {
        table: "payable",
        what: "supplier, kind or due day of what is open against the bill's (supplier found)",
        sql: "SELECT p.bill_id AS row_id, p.supplier_id AS found, b.supplier_id AS expected FROM payable p \
              JOIN supplier_bill b ON b.id = p.bill_id \
              WHERE p.supplier_id <> b.supplier_id OR p.kind <> b.kind OR p.due_on <> b.due_on ORDER BY p.bill_id",
    },
    Rule {
        table: "supplier_bill_line",
        what: "a line's part and quantity against the move by which they came or went (part found)",
        sql: "SELECT l.id AS row_id, l.part_id AS found, m.part_id AS expected FROM supplier_bill_line l \
              JOIN supplier_bill b ON b.id = l.bill_id \
              LEFT JOIN stock_move m ON m.id = COALESCE(l.move_id, l.receipt_move_id) WHERE l.part_id IS NOT NULL \
              AND (m.id IS NULL OR m.part_id IS NULL OR m.part_id <> l.part_id OR l.quantity IS NULL \
              OR (l.move_id IS NOT NULL AND m.quantity <> CASE WHEN b.kind = 'bill' THEN l.quantity \
              ELSE '-' || l.quantity END)) ORDER BY l.id",
    },
];
