//! Invoices, payments and what is open add up, and each has its one entry in the books.

use sea_orm::ConnectionTrait;

use crate::base::Result;

use super::Finding;
use super::statement::{Rule, ask};

pub async fn check(tx: &impl ConnectionTrait) -> Result<Vec<Finding>> {
    let mut findings = ask(tx, OPEN).await?;
    findings.extend(ask(tx, super::write_offs::RULES).await?);
    findings.extend(ask(tx, SUMS).await?);
    findings.extend(ask(tx, CREDITS).await?);
    findings.extend(ask(tx, super::entries::ENTRIES).await?);
    findings.extend(ask(tx, super::payers::RULES).await?);
    findings.extend(ask(tx, super::claims_receivable::RULES).await?);
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
        table: "receivable",
        what: "cents open against the total, which they never exceed",
        sql: "SELECT i.id AS row_id, r.open_cents AS found, i.total_cents AS expected FROM receivable r \
              JOIN invoice i ON i.id = r.invoice_id WHERE r.open_cents > i.total_cents OR r.open_cents < 0 \
              ORDER BY i.id",
    },
    Rule {
        table: "payment",
        what: "cents allocated, refunded and left over against the amount, or what is claimed back once it is undone",
        sql: "SELECT id AS row_id, found, expected FROM (SELECT p.id, CAST(p.unallocated_cents \
              + COALESCE((SELECT SUM(a.amount_cents) FROM allocation a WHERE a.payment_id = p.id), 0) \
              + COALESCE((SELECT SUM(r.amount_cents) FROM refund_part r WHERE r.payment_id = p.id), 0) AS BIGINT) AS found, \
              CAST(CASE WHEN p.reversed_on IS NULL THEN p.amount_cents ELSE 0 END \
              + COALESCE((SELECT SUM(i.total_cents) FROM invoice i WHERE i.returned_payment_id = p.id), 0) AS BIGINT) \
              AS expected FROM payment p) s \
              WHERE found <> expected ORDER BY id",
    },
    Rule {
        table: "credit_left",
        what: "cents left of a credit note against its total less what it settled and what was refunded",
        sql: "SELECT id AS row_id, found, expected FROM (SELECT c.id, l.left_cents AS found, CAST(-c.total_cents \
              - COALESCE((SELECT SUM(a.amount_cents) FROM allocation a WHERE a.credit_note_id = c.id), 0) \
              - COALESCE((SELECT SUM(r.amount_cents) FROM refund_part r WHERE r.credit_note_id = c.id), 0) AS BIGINT) AS expected \
              FROM invoice c LEFT JOIN credit_left l ON l.credit_note_id = c.id WHERE c.kind = 'credit_note') s \
              WHERE found IS NULL OR found <> expected ORDER BY id",
    },
    Rule {
        table: "refund",
        what: "cents of its parts against the amount, or nothing once it is undone",
        sql: "SELECT id AS row_id, found, expected FROM (SELECT r.id, \
              CAST(COALESCE((SELECT SUM(p.amount_cents) FROM refund_part p WHERE p.refund_id = r.id), 0) AS BIGINT) AS found, \
              CASE WHEN r.reversed_on IS NULL THEN r.amount_cents ELSE 0 END AS expected FROM refund r) s \
              WHERE found <> expected ORDER BY id",
    },
    Rule {
        table: "allocation",
        what: "customer of the invoice against customer of what settles it",
        sql: "SELECT a.id AS row_id, i.customer_id AS found, \
              COALESCE(p.customer_id, c.customer_id, i.customer_id) AS expected \
              FROM allocation a JOIN invoice i ON i.id = a.invoice_id \
              LEFT JOIN payment p ON p.id = a.payment_id LEFT JOIN invoice c ON c.id = a.credit_note_id \
              WHERE i.customer_id <> COALESCE(p.customer_id, c.customer_id, i.customer_id) OR i.kind <> 'invoice' \
              OR COALESCE(c.kind, 'credit_note') <> 'credit_note' ORDER BY a.id",
    },
    Rule {
        table: "allocation",
        what: "a day before its invoice was issued, or before the payment was received or the credit given",
        sql: "SELECT a.id AS row_id, CAST(NULL AS BIGINT) AS found, a.invoice_id AS expected FROM allocation a \
              JOIN invoice i ON i.id = a.invoice_id LEFT JOIN payment p ON p.id = a.payment_id \
              LEFT JOIN invoice c ON c.id = a.credit_note_id WHERE a.applied_on < i.issued_on \
              OR a.applied_on < p.received_on OR a.applied_on < c.issued_on ORDER BY a.id",
    },
    Rule {
        table: "allocation",
        what: "cents against those of the row it undoes",
        sql: "SELECT u.id AS row_id, u.amount_cents AS found, -a.amount_cents AS expected FROM allocation u \
              LEFT JOIN allocation a ON a.id = u.undoes_allocation_id WHERE u.undoes_allocation_id IS NOT NULL \
              AND (a.id IS NULL OR u.amount_cents <> -a.amount_cents OR u.invoice_id <> a.invoice_id \
              OR u.applied_on < a.applied_on OR COALESCE(u.payment_id, 0) <> COALESCE(a.payment_id, 0) \
              OR COALESCE(u.write_off_id, 0) <> COALESCE(a.write_off_id, 0) \
              OR COALESCE(u.moved_to_invoice_id, 0) <> COALESCE(a.moved_to_invoice_id, 0)) ORDER BY u.id",
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
        what: "the invoice of a credit note, which has the same customer",
        sql: "SELECT c.id AS row_id, c.credits_invoice_id AS found, CAST(NULL AS BIGINT) AS expected FROM invoice c \
              LEFT JOIN invoice i ON i.id = c.credits_invoice_id WHERE c.kind = 'credit_note' \
              AND (i.id IS NULL OR i.kind <> 'invoice' OR i.customer_id <> c.customer_id OR c.total_cents > 0) \
              ORDER BY c.id",
    },
    Rule {
        table: "invoice",
        what: "cents that credit notes give back against the total",
        sql: "SELECT i.id AS row_id, CAST(-SUM(c.total_cents) AS BIGINT) AS found, i.total_cents AS expected \
              FROM invoice i JOIN invoice c ON c.credits_invoice_id = i.id JOIN receivable r ON r.invoice_id = i.id \
              GROUP BY i.id, i.total_cents, r.taken_back HAVING -SUM(c.total_cents) > i.total_cents \
              OR (r.taken_back AND -SUM(c.total_cents) <> i.total_cents) ORDER BY i.id",
    },
    Rule {
        table: "invoice",
        what: "tax cents of a level that credit notes give back against the invoice's own",
        sql: "SELECT i.id AS row_id, CAST(-SUM(t.tax_cents) AS BIGINT) AS found, b.tax_cents AS expected \
              FROM invoice i JOIN invoice c ON c.credits_invoice_id = i.id JOIN invoice_tax t ON t.invoice_id = c.id \
              LEFT JOIN invoice_tax b ON b.invoice_id = i.id AND b.tax_level_id = t.tax_level_id \
              GROUP BY i.id, t.tax_level_id, b.tax_cents \
              HAVING b.tax_cents IS NULL OR -SUM(t.tax_cents) > b.tax_cents ORDER BY i.id",
    },
    Rule {
        table: "invoice_line",
        what: "cents that credit notes give back of a line, after discount, against its own",
        sql: "SELECT l.id AS row_id, CAST(-SUM(c.net_cents - c.discount_cents) AS BIGINT) AS found, \
              l.net_cents - l.discount_cents AS expected FROM invoice_line c \
              JOIN invoice_line l ON l.id = c.credits_line_id \
              GROUP BY l.id, l.net_cents, l.discount_cents, l.tax_cents \
              HAVING ABS(SUM(c.net_cents - c.discount_cents)) > ABS(l.net_cents - l.discount_cents) \
              OR ABS(SUM(c.tax_cents)) > ABS(l.tax_cents) ORDER BY l.id",
    },
    Rule {
        table: "invoice_line",
        what: "the line that a line of a credit note takes back, which is of its invoice",
        sql: "SELECT c.id AS row_id, c.credits_line_id AS found, CAST(NULL AS BIGINT) AS expected FROM invoice_line c \
              JOIN invoice d ON d.id = c.invoice_id LEFT JOIN invoice_line l ON l.id = c.credits_line_id \
              WHERE (d.kind = 'credit_note' AND (l.id IS NULL OR l.invoice_id <> d.credits_invoice_id \
              OR l.kind <> c.kind)) OR (d.kind = 'invoice' AND c.credits_line_id IS NOT NULL) ORDER BY c.id",
    },
    Rule {
        table: "invoice",
        what: "cents a credit note settles against its total",
        sql: "SELECT c.id AS row_id, CAST(SUM(a.amount_cents) AS BIGINT) AS found, \
              -c.total_cents AS expected FROM invoice c JOIN allocation a ON a.credit_note_id = c.id \
              GROUP BY c.id, c.total_cents HAVING SUM(a.amount_cents) > -c.total_cents ORDER BY c.id",
    },
];

const CERTIFICATES: &[Rule] = &[Rule {
    table: "tax_exemption",
    what: "sales that stand under a certificate for one purchase",
    sql: "SELECT e.id AS row_id, \
          CAST(COUNT(DISTINCT CASE WHEN i.division_id IS NULL THEN i.id ELSE -i.division_id END) AS BIGINT) AS found, \
          CAST(1 AS BIGINT) AS expected \
          FROM invoice i JOIN tax_exemption e ON e.id = i.tax_exemption_id WHERE e.purchases = 'single' \
          AND i.kind = 'invoice' AND NOT EXISTS (SELECT 1 FROM receivable t WHERE t.invoice_id = i.id AND t.taken_back) \
          GROUP BY e.id \
          HAVING COUNT(DISTINCT CASE WHEN i.division_id IS NULL THEN i.id ELSE -i.division_id END) > 1 ORDER BY e.id",
}];
