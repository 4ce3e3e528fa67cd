//! The journal balances, and control accounts equal their documents.

use sea_orm::ConnectionTrait;

use crate::base::Result;

use super::Finding;
use super::statement::{Rule, ask};

pub async fn check(tx: &impl ConnectionTrait) -> Result<Vec<Finding>> {
    ask(tx, RULES).await
}

const RULES: &[Rule] = &[
    Rule {
        table: "journal_entry",
        what: "cents of debit postings against the entry's own sum",
        sql: "SELECT e.id AS row_id, CAST(COALESCE(SUM(p.debit_cents), 0) AS BIGINT) AS found, \
              e.debit_cents AS expected FROM journal_entry e LEFT JOIN posting p ON p.entry_id = e.id \
              GROUP BY e.id, e.debit_cents HAVING COALESCE(SUM(p.debit_cents), 0) <> e.debit_cents \
              ORDER BY e.id",
    },
    Rule {
        table: "journal_entry",
        what: "cents of credit postings against the entry's own sum",
        sql: "SELECT e.id AS row_id, CAST(COALESCE(SUM(p.credit_cents), 0) AS BIGINT) AS found, \
              e.credit_cents AS expected FROM journal_entry e LEFT JOIN posting p ON p.entry_id = e.id \
              GROUP BY e.id, e.credit_cents HAVING COALESCE(SUM(p.credit_cents), 0) <> e.credit_cents \
              ORDER BY e.id",
    },
    Rule {
        table: "journal_entry",
        what: "cents of debits against cents of credits in one entry",
        sql: "SELECT e.id AS row_id, e.debit_cents AS found, e.credit_cents AS expected \
              FROM journal_entry e WHERE e.debit_cents <> e.credit_cents OR e.debit_cents <= 0 \
              ORDER BY e.id",
    },
    Rule {
        table: "journal_entry",
        what: "last position of a posting against their number",
        sql: "SELECT e.id AS row_id, CAST(COALESCE(MAX(p.position), 0) AS BIGINT) AS found, \
              CAST(COUNT(p.id) AS BIGINT) AS expected FROM journal_entry e \
              LEFT JOIN posting p ON p.entry_id = e.id GROUP BY e.id \
              HAVING COALESCE(MAX(p.position), 0) <> COUNT(p.id) OR COUNT(p.id) < 2 ORDER BY e.id",
    },
    Rule {
        table: "posting",
        what: "the entry of a posting that is not of its entry's day",
        sql: "SELECT p.id AS row_id, CAST(NULL AS BIGINT) AS found, p.entry_id AS expected FROM posting p \
              JOIN journal_entry e ON e.id = p.entry_id \
              WHERE p.entry_on IS NULL OR p.entry_on <> e.entry_on ORDER BY p.id",
    },
    Rule {
        table: "posting",
        what: "the trial balance in cents",
        sql: "SELECT CAST(NULL AS BIGINT) AS row_id, s AS found, CAST(0 AS BIGINT) AS expected FROM \
              (SELECT CAST(COALESCE(SUM(debit_cents) - SUM(credit_cents), 0) AS BIGINT) AS s FROM posting) t \
              WHERE s <> 0",
    },
    Rule {
        table: "posting",
        what: "tax level of a posting (sales tax payable names one, nothing else does)",
        sql: "SELECT p.id AS row_id, p.tax_level_id AS found, CAST(NULL AS BIGINT) AS expected \
              FROM posting p JOIN account a ON a.id = p.account_id \
              WHERE (p.tax_level_id IS NOT NULL) <> (COALESCE(a.role, '') = 'sales_tax_payable') \
              ORDER BY p.id",
    },
    Rule {
        table: "journal_entry",
        what: "cents left on an account by an entry and its reversal",
        sql: "SELECT r.id AS row_id, CAST(SUM(p.debit_cents - p.credit_cents) AS BIGINT) AS found, \
              CAST(0 AS BIGINT) AS expected FROM journal_entry r \
              JOIN posting p ON p.entry_id IN (r.id, r.reverses_entry_id) \
              WHERE r.reverses_entry_id IS NOT NULL GROUP BY r.id, p.account_id, p.tax_level_id \
              HAVING SUM(p.debit_cents - p.credit_cents) <> 0 ORDER BY r.id",
    },
    Rule {
        table: "account",
        what: "cents left on a retired account",
        sql: "SELECT a.id AS row_id, CAST(SUM(p.debit_cents - p.credit_cents) AS BIGINT) AS found, \
              CAST(0 AS BIGINT) AS expected FROM account a JOIN posting p ON p.account_id = a.id \
              WHERE a.retired_at IS NOT NULL GROUP BY a.id \
              HAVING SUM(p.debit_cents - p.credit_cents) <> 0 ORDER BY a.id",
    },
    Rule {
        table: "journal_entry",
        what: "cents left on a revenue, expense or drawings account through a closed year",
        sql: "SELECT c.id AS row_id, CAST(SUM(p.debit_cents - p.credit_cents) AS BIGINT) AS found, \
              CAST(0 AS BIGINT) AS expected FROM journal_entry c JOIN posting p ON p.entry_on <= c.entry_on \
              JOIN account a ON a.id = p.account_id \
              AND (a.kind IN ('revenue', 'expense') OR a.role = 'owners_drawings') \
              WHERE c.closes_year IS NOT NULL AND c.reverses_entry_id IS NULL \
              AND NOT EXISTS (SELECT 1 FROM journal_entry r WHERE r.reverses_entry_id = c.id) \
              GROUP BY c.id, p.account_id HAVING SUM(p.debit_cents - p.credit_cents) <> 0 ORDER BY c.id",
    },
    Rule {
        table: "account",
        what: "cents receivable in the books against what is open on invoices",
        sql: "SELECT a.id AS row_id, found, expected FROM account a, \
              (SELECT CAST(COALESCE(SUM(p.debit_cents - p.credit_cents), 0) AS BIGINT) AS found \
              FROM posting p JOIN account b ON b.id = p.account_id WHERE b.role = 'receivable') f, \
              (SELECT CAST(COALESCE(SUM(r.open_cents), 0) AS BIGINT) AS expected FROM receivable r \
              JOIN invoice i ON i.id = r.invoice_id WHERE i.payer = 'customer') e \
              WHERE a.role = 'receivable' AND found <> expected",
    },
    Rule {
        table: "account",
        what: "cents of claims receivable in the books against what is open on invoices to warranty payers",
        sql: "SELECT a.id AS row_id, found, expected FROM account a, \
              (SELECT CAST(COALESCE(SUM(p.debit_cents - p.credit_cents), 0) AS BIGINT) AS found \
              FROM posting p JOIN account b ON b.id = p.account_id WHERE b.role = 'claims_receivable') f, \
              (SELECT CAST(COALESCE(SUM(r.open_cents), 0) AS BIGINT) AS expected FROM receivable r \
              JOIN invoice i ON i.id = r.invoice_id WHERE i.payer = 'warranty_payer') e \
              WHERE a.role = 'claims_receivable' AND found <> expected",
    },
    Rule {
        table: "account",
        what: "cents of customer deposits in the books against customers' credit",
        sql: "SELECT a.id AS row_id, found, paid + credited AS expected FROM account a, \
              (SELECT CAST(COALESCE(SUM(p.credit_cents - p.debit_cents), 0) AS BIGINT) AS found \
              FROM posting p JOIN account b ON b.id = p.account_id WHERE b.role = 'customer_deposits') f, \
              (SELECT CAST(COALESCE(SUM(unallocated_cents), 0) AS BIGINT) AS paid FROM payment) d, \
              (SELECT CAST(COALESCE(SUM(left_cents), 0) AS BIGINT) AS credited FROM credit_left) c \
              WHERE a.role = 'customer_deposits' AND found <> paid + credited",
    },
    Rule {
        table: "tax_level",
        what: "cents of sales tax in the entries of invoices against the invoices' own tax",
        sql: "SELECT tax_level_id AS row_id, CAST(SUM(booked) AS BIGINT) AS found, \
              CAST(SUM(billed) AS BIGINT) AS expected FROM \
              (SELECT p.tax_level_id, p.credit_cents - p.debit_cents AS booked, 0 AS billed FROM posting p \
              JOIN journal_entry e ON e.id = p.entry_id \
              WHERE e.document_kind = 'invoice' AND p.tax_level_id IS NOT NULL \
              UNION ALL SELECT tax_level_id, 0, tax_cents FROM invoice_tax) t \
              GROUP BY tax_level_id HAVING SUM(booked) <> SUM(billed) ORDER BY tax_level_id",
    },
    Rule {
        table: "journal_entry",
        what: "the document an entry names",
        sql: "SELECT e.id AS row_id, CAST(NULL AS BIGINT) AS found, e.document_id AS expected \
              FROM journal_entry e \
              LEFT JOIN invoice i ON e.document_kind = 'invoice' AND i.id = e.document_id \
              LEFT JOIN payment p ON e.document_kind = 'payment' AND p.id = e.document_id \
              LEFT JOIN service_call c ON e.document_kind = 'service_call' AND c.id = e.document_id \
              LEFT JOIN stock_move m ON e.document_kind = 'stock_move' AND m.id = e.document_id \
              LEFT JOIN supplier_bill sb ON e.document_kind = 'supplier_bill' AND sb.id = e.document_id \
              LEFT JOIN supplier_payment sp ON e.document_kind = 'supplier_payment' AND sp.id = e.document_id \
              WHERE e.document_kind IN ('invoice', 'payment', 'service_call', 'stock_move', 'supplier_bill', 'supplier_payment') \
              AND i.id IS NULL AND p.id IS NULL AND c.id IS NULL AND m.id IS NULL \
              AND sb.id IS NULL AND sp.id IS NULL ORDER BY e.id",
    },
    Rule {
        table: "service_call",
        what: "cents of parts cost in a call's entries against the parts fitted on it, less what was settled since",
        sql: "SELECT call_id AS row_id, CAST(SUM(booked) AS BIGINT) AS found, \
              CAST(SUM(fitted) AS BIGINT) AS expected FROM \
              (SELECT e.document_id AS call_id, p.credit_cents - p.debit_cents AS booked, 0 AS fitted \
              FROM journal_entry e JOIN posting p ON p.entry_id = e.id \
              JOIN account a ON a.id = p.account_id AND a.role = 'parts_stock' \
              WHERE e.document_kind = 'service_call' \
              UNION ALL SELECT c.id, 0, u.cost_cents FROM part_used u JOIN remedy r ON r.id = u.remedy_id \
              JOIN finding f ON f.id = r.finding_id JOIN service_call c ON c.id = f.call_id \
              WHERE c.state = 'completed' \
              UNION ALL SELECT call_id, 0, value_cents FROM stock_move \
              WHERE kind = 'settled' AND part_used_id IS NOT NULL) t \
              GROUP BY call_id HAVING SUM(booked) <> SUM(fitted) ORDER BY call_id",
    },
];
