//! Write-offs and what was undone of them add up, settle their invoices, and have their entries.
//!
//! One that was undone before parts could be has no part: its own entry is reversed.

use super::statement::Rule;

pub const RULES: &[Rule] = &[
    Rule {
        table: "write_off",
        what: "cents that settle its invoice against its amount less what was undone",
        sql: "SELECT id AS row_id, found, CASE WHEN reversed_on IS NOT NULL AND parts IS NULL THEN 0 \
              ELSE amount_cents - COALESCE(parts, 0) END AS expected FROM (\
              SELECT w.id, w.amount_cents, w.reversed_on, CAST(COALESCE((SELECT SUM(a.amount_cents) \
              FROM allocation a WHERE a.write_off_id = w.id), 0) AS BIGINT) AS found, \
              CAST((SELECT SUM(b.amount_cents) FROM write_off_return b WHERE b.write_off_id = w.id) AS BIGINT) AS parts \
              FROM write_off w) s WHERE found <> CASE WHEN reversed_on IS NOT NULL AND parts IS NULL THEN 0 \
              ELSE amount_cents - COALESCE(parts, 0) END ORDER BY id",
    },
    Rule {
        table: "write_off",
        what: "cents undone of it against its amount, which they reach once it is undone and never exceed",
        sql: "SELECT w.id AS row_id, CAST(SUM(b.amount_cents) AS BIGINT) AS found, w.amount_cents AS expected \
              FROM write_off w JOIN write_off_return b ON b.write_off_id = w.id \
              GROUP BY w.id, w.amount_cents, w.bad_debt_cents, w.reversed_on \
              HAVING SUM(b.amount_cents) > w.amount_cents OR SUM(b.bad_debt_cents) > w.bad_debt_cents \
              OR (SUM(b.amount_cents) = w.amount_cents) <> (w.reversed_on IS NOT NULL) ORDER BY w.id",
    },
    Rule {
        table: "write_off",
        what: "cents of tax by level and bad debt against its amount",
        sql: "SELECT w.id AS row_id, CAST(w.bad_debt_cents + COALESCE(SUM(t.amount_cents), 0) AS BIGINT) AS found, \
              w.amount_cents AS expected FROM write_off w LEFT JOIN write_off_tax t ON t.write_off_id = w.id \
              GROUP BY w.id, w.amount_cents, w.bad_debt_cents \
              HAVING w.bad_debt_cents + COALESCE(SUM(t.amount_cents), 0) <> w.amount_cents ORDER BY w.id",
    },
    Rule {
        table: "write_off_return",
        what: "cents of tax by level and bad debt against its amount",
        sql: "SELECT b.id AS row_id, CAST(b.bad_debt_cents + COALESCE(SUM(t.amount_cents), 0) AS BIGINT) AS found, \
              b.amount_cents AS expected FROM write_off_return b \
              LEFT JOIN write_off_return_tax t ON t.write_off_return_id = b.id \
              GROUP BY b.id, b.amount_cents, b.bad_debt_cents \
              HAVING b.bad_debt_cents + COALESCE(SUM(t.amount_cents), 0) <> b.amount_cents ORDER BY b.id",
    },
    Rule {
        table: "write_off",
        what: "cents of tax that were taken back on a level against those given on it",
        sql: "SELECT b.write_off_id AS row_id, CAST(SUM(x.amount_cents) AS BIGINT) AS found, t.amount_cents AS expected \
              FROM write_off_return_tax x JOIN write_off_return b ON b.id = x.write_off_return_id \
              LEFT JOIN write_off_tax t ON t.write_off_id = b.write_off_id AND t.tax_level_id = x.tax_level_id \
              GROUP BY b.write_off_id, x.tax_level_id, t.amount_cents \
              HAVING t.amount_cents IS NULL OR SUM(x.amount_cents) > t.amount_cents ORDER BY b.write_off_id",
    },
    Rule {
        table: "write_off",
        what: "cents of its entry, and of the one that undoes it as a whole, against the amount",
        sql: "SELECT id AS row_id, found, expected FROM (SELECT w.id, \
              CAST(COALESCE((SELECT SUM(e.debit_cents) FROM journal_entry e \
              WHERE e.document_kind = 'write_off' AND e.document_id = w.id), 0) AS BIGINT) AS found, \
              CASE WHEN w.reversed_on IS NOT NULL AND NOT EXISTS \
              (SELECT 1 FROM write_off_return b WHERE b.write_off_id = w.id) \
              THEN 2 * w.amount_cents ELSE w.amount_cents END AS expected FROM write_off w) s \
              WHERE found <> expected ORDER BY id",
    },
    Rule {
        table: "write_off_return",
        what: "cents of its one entry against the amount",
        sql: "SELECT b.id AS row_id, CAST(COALESCE(SUM(e.debit_cents), 0) AS BIGINT) AS found, \
              b.amount_cents AS expected FROM write_off_return b \
              LEFT JOIN journal_entry e ON e.document_kind = 'write_off_return' AND e.document_id = b.id \
              AND e.entry_on = b.returned_on GROUP BY b.id, b.amount_cents \
              HAVING COUNT(e.id) <> 1 OR COALESCE(SUM(e.debit_cents), 0) <> b.amount_cents ORDER BY b.id",
    },
];
