//! Calls that several payers share, and calls billed without an estimate.
//!
//! Of a division the invoices count that nothing bills again: a share that was taken back and billed to somebody else
//! counts once. What the shop bears of a sale is on no invoice, so of such a sale the shares never exceed a line; what is
//! left of it is held against its decision.

use super::statement::Rule;

pub const RULES: &[Rule] = &[
    Rule {
        table: "invoice_division",
        what: "total cents of its invoices and of what the shop bears against the sale they share",
        sql: "SELECT d.id AS row_id, CAST(d.shop_cents + COALESCE(SUM(i.total_cents), 0) AS BIGINT) AS found, \
              d.total_cents AS expected FROM invoice_division d LEFT JOIN invoice i ON i.division_id = d.id \
              AND i.kind = 'invoice' AND NOT EXISTS (SELECT 1 FROM invoice a WHERE a.rebills_invoice_id = i.id) \
              GROUP BY d.id, d.net_cents, d.discount_cents, d.tax_cents, d.total_cents, d.shop_cents, d.shop_net_cents, \
              d.shop_discount_cents, d.shop_tax_cents \
              HAVING d.shop_cents + COALESCE(SUM(i.total_cents), 0) <> d.total_cents \
              OR d.shop_net_cents + COALESCE(SUM(i.net_cents), 0) <> d.net_cents \
              OR d.shop_discount_cents + COALESCE(SUM(i.discount_cents), 0) <> d.discount_cents \
              OR d.shop_tax_cents + COALESCE(SUM(i.tax_cents), 0) <> d.tax_cents ORDER BY d.id",
    },
    Rule {
        table: "invoice_division",
        what: "cents of its shares of one line against the line of the option billed",
        sql: "SELECT i.division_id AS row_id, CAST(SUM(l.net_cents) AS BIGINT) AS found, e.net_cents AS expected \
              FROM invoice i JOIN invoice_division d ON d.id = i.division_id JOIN invoice_line l ON l.invoice_id = i.id \
              JOIN estimate_revision r ON r.id = i.estimate_revision_id \
              JOIN estimate_line e ON e.option_id = COALESCE(i.billed_option_id, r.accepted_option_id) \
              AND e.position = l.sale_position WHERE i.division_id IS NOT NULL AND i.kind = 'invoice' \
              AND NOT EXISTS (SELECT 1 FROM invoice a WHERE a.rebills_invoice_id = i.id) \
              GROUP BY i.division_id, e.id, e.net_cents, e.discount_cents, e.taxable_cents, e.tax_cents, e.cost_cents, d.shop_cents \
              HAVING SUM(l.net_cents) > e.net_cents OR SUM(l.taxable_cents) > e.taxable_cents \
              OR SUM(l.tax_cents) > e.tax_cents OR SUM(l.cost_cents) > e.cost_cents OR (d.shop_cents = 0 \
              AND (SUM(l.net_cents) <> e.net_cents OR SUM(l.discount_cents) <> e.discount_cents \
              OR SUM(l.taxable_cents) <> e.taxable_cents OR SUM(l.tax_cents) <> e.tax_cents \
              OR SUM(l.cost_cents) <> e.cost_cents)) ORDER BY i.division_id",
    },
    Rule {
        table: "invoice_division",
        what: "cents of tax of its shares at one level against the option billed",
        sql: "SELECT i.division_id AS row_id, CAST(SUM(t.tax_cents) AS BIGINT) AS found, e.tax_cents AS expected \
              FROM invoice i JOIN invoice_division d ON d.id = i.division_id JOIN invoice_tax t ON t.invoice_id = i.id \
              JOIN estimate_revision r ON r.id = i.estimate_revision_id \
              JOIN estimate_tax e ON e.option_id = COALESCE(i.billed_option_id, r.accepted_option_id) \
              AND e.tax_level_id = t.tax_level_id WHERE i.division_id IS NOT NULL AND i.kind = 'invoice' \
              AND NOT EXISTS (SELECT 1 FROM invoice a WHERE a.rebills_invoice_id = i.id) \
              GROUP BY i.division_id, e.id, e.tax_cents, e.taxable_cents, d.shop_cents \
              HAVING (d.shop_cents = 0 AND (SUM(t.tax_cents) <> e.tax_cents OR SUM(t.taxable_cents) <> e.taxable_cents)) \
              OR (d.shop_cents <> 0 AND (SUM(t.tax_cents) > e.tax_cents OR SUM(t.taxable_cents) > e.taxable_cents)) \
              ORDER BY i.division_id",
    },
    Rule {
        table: "invoice",
        what: "an invoice that bills a share again which still stands, or which is of another sale",
        sql: "SELECT a.id AS row_id, a.rebills_invoice_id AS found, CAST(NULL AS BIGINT) AS expected FROM invoice a \
              LEFT JOIN invoice i ON i.id = a.rebills_invoice_id AND i.division_id = a.division_id \
              LEFT JOIN receivable t ON t.invoice_id = i.id \
              WHERE a.rebills_invoice_id IS NOT NULL AND (i.id IS NULL OR NOT t.taken_back \
              OR i.total_cents <> a.total_cents) ORDER BY a.id",
    },
    Rule {
        table: "service_call",
        what: "bills of one call that stand; the invoices of several payers are one",
        sql: "SELECT i.call_id AS row_id, \
              CAST(COUNT(DISTINCT CASE WHEN i.division_id IS NULL THEN i.id ELSE -i.division_id END) AS BIGINT) AS found, \
              CAST(1 AS BIGINT) AS expected FROM invoice i JOIN receivable t ON t.invoice_id = i.id \
              WHERE i.kind = 'invoice' AND i.call_id IS NOT NULL AND NOT t.taken_back GROUP BY i.call_id \
              HAVING COUNT(DISTINCT CASE WHEN i.division_id IS NULL THEN i.id ELSE -i.division_id END) > 1 \
              ORDER BY i.call_id",
    },
];
