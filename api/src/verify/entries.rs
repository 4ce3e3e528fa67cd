//! Each document that moves money has its entry in the books, of its own amounts.

use super::statement::Rule;

pub const ENTRIES: &[Rule] = &[
    Rule {
        table: "invoice",
        what: "entries in the books",
        sql: "SELECT i.id AS row_id, CAST(COUNT(e.id) AS BIGINT) AS found, CAST(1 AS BIGINT) AS expected \
              FROM invoice i LEFT JOIN journal_entry e ON e.document_kind = 'invoice' AND e.document_id = i.id \
              GROUP BY i.id, i.total_cents \
              HAVING COUNT(e.id) > 1 OR (COUNT(e.id) = 0 AND i.total_cents <> 0) ORDER BY i.id",
    },
    Rule {
        table: "invoice",
        what: "cents its entry charges the customer against its total",
        sql: "SELECT i.id AS row_id, CAST(SUM(p.debit_cents - p.credit_cents) AS BIGINT) AS found, \
              i.total_cents AS expected FROM invoice i \
              JOIN journal_entry e ON e.document_kind = 'invoice' AND e.document_id = i.id \
              JOIN posting p ON p.entry_id = e.id JOIN account a ON a.id = p.account_id \
              WHERE a.role = 'receivable' OR (i.moved_from_invoice_id IS NULL AND (a.role = 'claims_receivable' \
              OR (a.role = 'customer_deposits' AND i.returned_payment_id IS NULL))) \
              GROUP BY i.id, i.total_cents \
              HAVING SUM(p.debit_cents - p.credit_cents) <> i.total_cents ORDER BY i.id",
    },
    Rule {
        table: "invoice",
        what: "cents of revenue in its entry against net less discount",
        sql: "SELECT i.id AS row_id, CAST(SUM(CASE WHEN a.kind = 'revenue' \
              THEN p.credit_cents - p.debit_cents ELSE 0 END) AS BIGINT) AS found, \
              i.net_cents - i.discount_cents AS expected FROM invoice i \
              JOIN journal_entry e ON e.document_kind = 'invoice' AND e.document_id = i.id \
              JOIN posting p ON p.entry_id = e.id JOIN account a ON a.id = p.account_id \
              WHERE i.returned_payment_id IS NULL AND i.moved_from_invoice_id IS NULL \
              GROUP BY i.id, i.net_cents, i.discount_cents \
              HAVING SUM(CASE WHEN a.kind = 'revenue' THEN p.credit_cents - p.debit_cents ELSE 0 END) \
              <> i.net_cents - i.discount_cents ORDER BY i.id",
    },
    Rule {
        table: "payment",
        what: "entries in the books",
        sql: "SELECT p.id AS row_id, CAST(COUNT(e.id) AS BIGINT) AS found, CAST(1 AS BIGINT) AS expected \
              FROM payment p LEFT JOIN journal_entry e ON e.document_kind = 'payment' AND e.document_id = p.id \
              AND e.reverses_entry_id IS NULL GROUP BY p.id HAVING COUNT(e.id) <> 1 ORDER BY p.id",
    },
    Rule {
        table: "payment",
        what: "entries that undo it",
        sql: "SELECT p.id AS row_id, CAST(COUNT(e.id) AS BIGINT) AS found, \
              CAST(CASE WHEN p.reversed_on IS NULL THEN 0 ELSE 1 END AS BIGINT) AS expected \
              FROM payment p LEFT JOIN journal_entry e ON e.document_kind = 'payment' AND e.document_id = p.id \
              AND e.reverses_entry_id IS NOT NULL GROUP BY p.id, p.reversed_on \
              HAVING COUNT(e.id) <> CASE WHEN p.reversed_on IS NULL THEN 0 ELSE 1 END ORDER BY p.id",
    },
    Rule {
        table: "payment",
        what: "cents of its entry against the amount",
        sql: "SELECT p.id AS row_id, e.debit_cents AS found, p.amount_cents AS expected FROM payment p \
              JOIN journal_entry e ON e.document_kind = 'payment' AND e.document_id = p.id \
              WHERE e.debit_cents <> p.amount_cents \
              OR e.entry_on <> CASE WHEN e.reverses_entry_id IS NULL THEN p.received_on ELSE p.reversed_on END \
              ORDER BY p.id",
    },
    Rule {
        table: "payment",
        what: "cents left over against what its entry keeps as the customer's credit, and what was taken off again",
        sql: "SELECT row_id, found, expected FROM (SELECT p.id AS row_id, p.unallocated_cents AS found, \
              CAST(SUM(CASE WHEN a.role = 'customer_deposits' THEN o.credit_cents ELSE 0 END) \
              - COALESCE((SELECT SUM(u.amount_cents) FROM allocation u WHERE u.payment_id = p.id \
              AND u.undoes_allocation_id IS NOT NULL), 0) AS BIGINT) AS expected \
              FROM payment p JOIN journal_entry e ON e.document_kind = 'payment' AND e.document_id = p.id \
              AND e.reverses_entry_id IS NULL JOIN posting o ON o.entry_id = e.id JOIN account a ON a.id = o.account_id \
              GROUP BY p.id, p.unallocated_cents) s WHERE expected < found ORDER BY row_id",
    },
    Rule {
        table: "refund",
        what: "cents of its one entry against the amount",
        sql: "SELECT r.id AS row_id, CAST(COALESCE(SUM(e.debit_cents), 0) AS BIGINT) AS found, \
              r.amount_cents AS expected FROM refund r \
              LEFT JOIN journal_entry e ON e.document_kind = 'refund' AND e.document_id = r.id \
              AND e.entry_on = r.refunded_on AND e.reverses_entry_id IS NULL GROUP BY r.id, r.amount_cents \
              HAVING COUNT(e.id) <> 1 OR SUM(e.debit_cents) <> r.amount_cents ORDER BY r.id",
    },
    Rule {
        table: "refund",
        what: "entries that undo it on the day it was undone",
        sql: "SELECT id AS row_id, found, expected FROM (SELECT r.id, \
              CAST((SELECT COUNT(*) FROM journal_entry e WHERE e.document_kind = 'refund' AND e.document_id = r.id \
              AND e.reverses_entry_id IS NOT NULL AND e.entry_on = r.reversed_on) AS BIGINT) AS found, \
              CAST(CASE WHEN r.reversed_on IS NULL THEN 0 ELSE 1 END AS BIGINT) AS expected FROM refund r) s \
              WHERE found <> expected ORDER BY id",
    },
    Rule {
        table: "estimate_revision",
        what: "standing bills of a billed revision; the invoices of several payers are one",
        sql: "SELECT id AS row_id, CAST(bills AS BIGINT) AS found, CAST(1 AS BIGINT) AS expected FROM (\
              SELECT r.id, r.state, COUNT(DISTINCT CASE WHEN i.division_id IS NULL THEN i.id ELSE -i.division_id END) \
              AS bills FROM estimate_revision r LEFT JOIN invoice i ON i.estimate_revision_id = r.id \
              AND i.kind = 'invoice' AND NOT EXISTS \
              (SELECT 1 FROM receivable t WHERE t.invoice_id = i.id AND t.taken_back) \
              GROUP BY r.id, r.state) s WHERE bills > 1 OR (bills = 1 AND state <> 'invoiced') ORDER BY id",
    },
    Rule {
        table: "estimate_revision",
        what: "invoices of a billed revision",
        sql: "SELECT r.id AS row_id, CAST(0 AS BIGINT) AS found, CAST(1 AS BIGINT) AS expected \
              FROM estimate_revision r WHERE r.state = 'invoiced' AND NOT EXISTS \
              (SELECT 1 FROM invoice i WHERE i.estimate_revision_id = r.id AND i.kind = 'invoice') \
              ORDER BY r.id",
    },
    Rule {
        table: "invoice",
        what: "total cents against the option billed",
        sql: "SELECT i.id AS row_id, i.total_cents AS found, o.total_cents AS expected FROM invoice i \
              JOIN estimate_revision r ON r.id = i.estimate_revision_id \
              JOIN estimate_option o ON o.id = COALESCE(i.billed_option_id, r.accepted_option_id) \
              WHERE i.kind = 'invoice' AND i.division_id IS NULL \
              AND (i.total_cents <> o.total_cents OR i.tax_cents <> o.tax_cents) ORDER BY i.id",
    },
];
