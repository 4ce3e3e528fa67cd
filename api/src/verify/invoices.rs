//! Invoices, payments and what is open add up, and each has its one entry in the books.

use sea_orm::ConnectionTrait;

use crate::base::Result;

use super::Finding;
use super::statement::{Rule, ask};

pub async fn check(tx: &impl ConnectionTrait) -> Result<Vec<Finding>> {
    let mut findings = ask(tx, OPEN).await?;
    findings.extend(ask(tx, SUMS).await?);
    findings.extend(ask(tx, CREDITS).await?);
    findings.extend(ask(tx, ENTRIES).await?);
    findings.extend(ask(tx, CERTIFICATES).await?);
    Ok(findings)
}

const OPEN: &[Rule] = &[
    Rule {
        table: "receivable",
        what: "cents open against total less what settled it",
        sql: "SELECT i.id AS row_id, r.open_cents AS found, \
              CAST(i.total_cents - COALESCE(SUM(a.amount_cents), 0) AS BIGINT) AS expected \
              FROM invoice i LEFT JOIN receivable r ON r.invoice_id = i.id \
              LEFT JOIN allocation a ON a.invoice_id = i.id WHERE i.kind = 'invoice' \
              GROUP BY i.id, i.total_cents, r.open_cents \
              HAVING r.open_cents IS NULL OR r.open_cents <> i.total_cents - COALESCE(SUM(a.amount_cents), 0) \
              ORDER BY i.id",
    },
    Rule {
        table: "receivable",
        what: "a row for a credit note, or with another customer or due date than its invoice",
        sql: "SELECT r.invoice_id AS row_id, r.customer_id AS found, i.customer_id AS expected \
              FROM receivable r JOIN invoice i ON i.id = r.invoice_id \
              WHERE i.kind <> 'invoice' OR r.customer_id <> i.customer_id OR r.due_on <> i.due_on \
              ORDER BY r.invoice_id",
    },
    Rule {
        table: "payment",
        what: "cents allocated and left over against the amount",
        sql: "SELECT p.id AS row_id, \
              CAST(p.unallocated_cents + COALESCE(SUM(a.amount_cents), 0) AS BIGINT) AS found, \
              p.amount_cents AS expected FROM payment p LEFT JOIN allocation a ON a.payment_id = p.id \
              GROUP BY p.id, p.amount_cents, p.unallocated_cents \
              HAVING p.unallocated_cents + COALESCE(SUM(a.amount_cents), 0) <> p.amount_cents ORDER BY p.id",
    },
    Rule {
        table: "allocation",
        what: "customer of the invoice against customer of what settles it",
        sql: "SELECT a.id AS row_id, i.customer_id AS found, COALESCE(p.customer_id, c.customer_id) AS expected \
              FROM allocation a JOIN invoice i ON i.id = a.invoice_id \
              LEFT JOIN payment p ON p.id = a.payment_id LEFT JOIN invoice c ON c.id = a.credit_note_id \
              WHERE i.customer_id <> COALESCE(p.customer_id, c.customer_id) OR i.kind <> 'invoice' \
              OR COALESCE(c.kind, 'credit_note') <> 'credit_note' ORDER BY a.id",
    },
];

const SUMS: &[Rule] = &[
    Rule {
        table: "invoice",
        what: "net cents of the lines against the document",
        sql: "SELECT i.id AS row_id, CAST(COALESCE(SUM(l.net_cents), 0) AS BIGINT) AS found, \
              i.net_cents AS expected FROM invoice i LEFT JOIN invoice_line l ON l.invoice_id = i.id \
              GROUP BY i.id, i.net_cents HAVING COALESCE(SUM(l.net_cents), 0) <> i.net_cents ORDER BY i.id",
    },
    Rule {
        table: "invoice",
        what: "discount cents of the lines against the document",
        sql: "SELECT i.id AS row_id, CAST(COALESCE(SUM(l.discount_cents), 0) AS BIGINT) AS found, \
              i.discount_cents AS expected FROM invoice i LEFT JOIN invoice_line l ON l.invoice_id = i.id \
              GROUP BY i.id, i.discount_cents HAVING COALESCE(SUM(l.discount_cents), 0) <> i.discount_cents \
              ORDER BY i.id",
    },
    Rule {
        table: "invoice",
        what: "tax cents of the lines against the document",
        sql: "SELECT i.id AS row_id, CAST(COALESCE(SUM(l.tax_cents), 0) AS BIGINT) AS found, \
              i.tax_cents AS expected FROM invoice i LEFT JOIN invoice_line l ON l.invoice_id = i.id \
              GROUP BY i.id, i.tax_cents HAVING COALESCE(SUM(l.tax_cents), 0) <> i.tax_cents ORDER BY i.id",
    },
    Rule {
        table: "invoice",
        what: "tax cents of the levels against the document",
        sql: "SELECT i.id AS row_id, CAST(COALESCE(SUM(t.tax_cents), 0) AS BIGINT) AS found, \
              i.tax_cents AS expected FROM invoice i LEFT JOIN invoice_tax t ON t.invoice_id = i.id \
              GROUP BY i.id, i.tax_cents HAVING COALESCE(SUM(t.tax_cents), 0) <> i.tax_cents ORDER BY i.id",
    },
    Rule {
        table: "invoice",
        what: "total cents against net less discount plus tax",
        sql: "SELECT id AS row_id, total_cents AS found, net_cents - discount_cents + tax_cents AS expected \
              FROM invoice WHERE total_cents <> net_cents - discount_cents + tax_cents ORDER BY id",
    },
];

const CREDITS: &[Rule] = &[
    Rule {
        table: "invoice",
        what: "cents of a credit note against the invoice it takes back",
        sql: "SELECT c.id AS row_id, c.total_cents AS found, -i.total_cents AS expected FROM invoice c \
              LEFT JOIN invoice i ON i.id = c.credits_invoice_id WHERE c.kind = 'credit_note' \
              AND (i.id IS NULL OR i.kind <> 'invoice' OR i.customer_id <> c.customer_id \
              OR c.total_cents <> -i.total_cents OR c.net_cents <> -i.net_cents \
              OR c.discount_cents <> -i.discount_cents OR c.tax_cents <> -i.tax_cents) ORDER BY c.id",
    },
    Rule {
        table: "invoice",
        what: "credit notes of one invoice",
        sql: "SELECT credits_invoice_id AS row_id, CAST(COUNT(*) AS BIGINT) AS found, \
              CAST(1 AS BIGINT) AS expected FROM invoice WHERE credits_invoice_id IS NOT NULL \
              GROUP BY credits_invoice_id HAVING COUNT(*) > 1 ORDER BY credits_invoice_id",
    },
    Rule {
        table: "invoice",
        what: "lines of a credit note that mirror those of its invoice, against all of them",
        sql: "SELECT c.id AS row_id, CAST(COUNT(m.id) AS BIGINT) AS found, \
              CAST(COUNT(l.id) AS BIGINT) AS expected FROM invoice c \
              JOIN invoice_line l ON l.invoice_id = c.credits_invoice_id \
              LEFT JOIN invoice_line m ON m.invoice_id = c.id AND m.position = l.position \
              AND m.net_cents = -l.net_cents AND m.discount_cents = -l.discount_cents \
              AND m.taxable_cents = -l.taxable_cents AND m.tax_cents = -l.tax_cents AND m.kind = l.kind \
              WHERE c.kind = 'credit_note' GROUP BY c.id HAVING COUNT(m.id) <> COUNT(l.id) ORDER BY c.id",
    },
    Rule {
        table: "invoice",
        what: "cents a credit note settles against its total",
        sql: "SELECT c.id AS row_id, CAST(SUM(a.amount_cents) AS BIGINT) AS found, \
              -c.total_cents AS expected FROM invoice c JOIN allocation a ON a.credit_note_id = c.id \
              GROUP BY c.id, c.total_cents HAVING SUM(a.amount_cents) > -c.total_cents ORDER BY c.id",
    },
];

const ENTRIES: &[Rule] = &[
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
              WHERE a.role IN ('receivable', 'claims_receivable', 'customer_deposits') \
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
              GROUP BY i.id, i.net_cents, i.discount_cents \
              HAVING SUM(CASE WHEN a.kind = 'revenue' THEN p.credit_cents - p.debit_cents ELSE 0 END) \
              <> i.net_cents - i.discount_cents ORDER BY i.id",
    },
    Rule {
        table: "payment",
        what: "entries in the books",
        sql: "SELECT p.id AS row_id, CAST(COUNT(e.id) AS BIGINT) AS found, CAST(1 AS BIGINT) AS expected \
              FROM payment p LEFT JOIN journal_entry e ON e.document_kind = 'payment' AND e.document_id = p.id \
              GROUP BY p.id HAVING COUNT(e.id) <> 1 ORDER BY p.id",
    },
    Rule {
        table: "payment",
        what: "cents of its entry against the amount",
        sql: "SELECT p.id AS row_id, e.debit_cents AS found, p.amount_cents AS expected FROM payment p \
              JOIN journal_entry e ON e.document_kind = 'payment' AND e.document_id = p.id \
              WHERE e.debit_cents <> p.amount_cents OR e.entry_on <> p.received_on ORDER BY p.id",
    },
    Rule {
        table: "payment",
        what: "cents its entry keeps as the customer's credit against what is left over",
        sql: "SELECT p.id AS row_id, CAST(SUM(CASE WHEN a.role = 'customer_deposits' \
              THEN o.credit_cents ELSE 0 END) AS BIGINT) AS found, p.unallocated_cents AS expected \
              FROM payment p JOIN journal_entry e ON e.document_kind = 'payment' AND e.document_id = p.id \
              JOIN posting o ON o.entry_id = e.id JOIN account a ON a.id = o.account_id \
              GROUP BY p.id, p.unallocated_cents \
              HAVING SUM(CASE WHEN a.role = 'customer_deposits' THEN o.credit_cents ELSE 0 END) \
              <> p.unallocated_cents ORDER BY p.id",
    },
    Rule {
        table: "estimate_revision",
        what: "standing invoices of a billed revision",
        sql: "SELECT r.id AS row_id, CAST(COUNT(i.id) AS BIGINT) AS found, CAST(1 AS BIGINT) AS expected \
              FROM estimate_revision r LEFT JOIN invoice i ON i.estimate_revision_id = r.id \
              AND i.kind = 'invoice' AND NOT EXISTS \
              (SELECT 1 FROM invoice c WHERE c.credits_invoice_id = i.id) \
              GROUP BY r.id, r.state HAVING COUNT(i.id) > 1 OR (COUNT(i.id) = 1 AND r.state <> 'invoiced') \
              ORDER BY r.id",
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
              WHERE i.kind = 'invoice' AND (i.total_cents <> o.total_cents OR i.tax_cents <> o.tax_cents) \
              ORDER BY i.id",
    },
];

const CERTIFICATES: &[Rule] = &[Rule {
    table: "tax_exemption",
    what: "invoices that stand under a certificate for one purchase",
    sql: "SELECT e.id AS row_id, CAST(COUNT(*) AS BIGINT) AS found, CAST(1 AS BIGINT) AS expected \
          FROM invoice i LEFT JOIN estimate_revision r ON r.id = i.estimate_revision_id \
          JOIN estimate_option o ON o.id = COALESCE(i.billed_option_id, r.accepted_option_id) \
          JOIN tax_exemption e ON e.id = o.tax_exemption_id WHERE e.purchases = 'single' \
          AND i.kind = 'invoice' AND NOT EXISTS (SELECT 1 FROM invoice c WHERE c.credits_invoice_id = i.id) \
          GROUP BY e.id HAVING COUNT(*) > 1 ORDER BY e.id",
}];
