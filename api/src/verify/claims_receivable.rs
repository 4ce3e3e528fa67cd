//! What warranty payers owe lies on its own control account, and what they leave unpaid is borne or moved to the cent.

use super::statement::Rule;

pub const RULES: &[Rule] = &[
    Rule {
        table: "invoice",
        what: "the warranty payer it is on, whose customer owes it; only an invoice to a warranty payer has one",
        sql: "SELECT i.id AS row_id, i.warranty_payer_id AS found, w.customer_id AS expected FROM invoice i \
              LEFT JOIN warranty_payer w ON w.id = i.warranty_payer_id \
              WHERE (i.payer = 'warranty_payer') <> (w.id IS NOT NULL) OR w.customer_id <> i.customer_id ORDER BY i.id",
    },
    Rule {
        table: "invoice",
        what: "cents that its entry has on the control account of another debtor",
        sql: "SELECT i.id AS row_id, CAST(SUM(p.debit_cents + p.credit_cents) AS BIGINT) AS found, \
              CAST(0 AS BIGINT) AS expected FROM invoice i \
              JOIN journal_entry e ON e.document_kind = 'invoice' AND e.document_id = i.id \
              JOIN posting p ON p.entry_id = e.id JOIN account a ON a.id = p.account_id \
              WHERE a.role = CASE WHEN i.payer = 'warranty_payer' THEN 'receivable' ELSE 'claims_receivable' END \
              AND i.moved_from_invoice_id IS NULL GROUP BY i.id ORDER BY i.id",
    },
    Rule {
        table: "invoice",
        what: "cents of claims that its entry takes over from a warranty payer against its total",
        sql: "SELECT id AS row_id, found, expected FROM (SELECT i.id, i.total_cents AS expected, \
              CAST(COALESCE((SELECT SUM(p.credit_cents - p.debit_cents) FROM journal_entry e \
              JOIN posting p ON p.entry_id = e.id JOIN account a ON a.id = p.account_id AND a.role = 'claims_receivable' \
              WHERE e.document_kind = 'invoice' AND e.document_id = i.id), 0) AS BIGINT) AS found \
              FROM invoice i WHERE i.moved_from_invoice_id IS NOT NULL) s WHERE found <> expected ORDER BY id",
    },
    Rule {
        table: "invoice",
        what: "cents moved to it from a warranty payer's invoice against its total, or nothing once it is taken back",
        sql: "SELECT id AS row_id, found, expected FROM (SELECT i.id, \
              CASE WHEN r.taken_back THEN 0 ELSE i.total_cents END AS expected, \
              CAST(COALESCE((SELECT SUM(a.amount_cents) FROM allocation a WHERE a.moved_to_invoice_id = i.id \
              AND a.invoice_id = i.moved_from_invoice_id), 0) AS BIGINT) AS found \
              FROM invoice i JOIN receivable r ON r.invoice_id = i.id \
              WHERE i.moved_from_invoice_id IS NOT NULL) s WHERE found <> expected ORDER BY id",
    },
    Rule {
        table: "invoice",
        what: "the customer of a moved rest, who is that of the call which the warranty payer's invoice bills, and owes no tax on it",
        sql: "SELECT i.id AS row_id, i.customer_id AS found, c.customer_id AS expected FROM invoice i \
              LEFT JOIN invoice o ON o.id = i.moved_from_invoice_id AND o.payer = 'warranty_payer' \
              LEFT JOIN service_call c ON c.id = o.call_id WHERE i.moved_from_invoice_id IS NOT NULL \
              AND (c.id IS NULL OR c.customer_id <> i.customer_id OR i.payer <> 'customer' OR i.tax_cents <> 0 \
              OR i.call_id IS NOT NULL) ORDER BY i.id",
    },
    Rule {
        table: "allocation",
        what: "the invoice that a rest was moved to, which names the one it was moved from and is of the same day or earlier",
        sql: "SELECT a.id AS row_id, i.moved_from_invoice_id AS found, a.invoice_id AS expected FROM allocation a \
              LEFT JOIN invoice i ON i.id = a.moved_to_invoice_id AND i.kind = 'invoice' \
              WHERE a.moved_to_invoice_id IS NOT NULL AND (i.id IS NULL OR i.moved_from_invoice_id IS NULL \
              OR i.moved_from_invoice_id <> a.invoice_id OR a.applied_on < i.issued_on) ORDER BY a.id",
    },
    Rule {
        table: "write_off",
        what: "cents of loss in its entries on the account of its kind against what stands of it",
        sql: "SELECT id AS row_id, found, expected FROM (SELECT w.id, CAST(COALESCE((SELECT SUM(p.debit_cents - p.credit_cents) \
              FROM journal_entry e JOIN posting p ON p.entry_id = e.id JOIN account a ON a.id = p.account_id \
              WHERE ((e.document_kind = 'write_off' AND e.document_id = w.id) OR (e.document_kind = 'write_off_return' \
              AND e.document_id IN (SELECT b.id FROM write_off_return b WHERE b.write_off_id = w.id))) \
              AND a.role = CASE WHEN w.kind = 'claim_shortfall' THEN 'claim_shortfall' ELSE 'bad_debts' END), 0) AS BIGINT) \
              AS found, CAST(CASE WHEN w.reversed_on IS NOT NULL AND NOT EXISTS (SELECT 1 FROM write_off_return b \
              WHERE b.write_off_id = w.id) THEN 0 ELSE w.bad_debt_cents - COALESCE((SELECT \
              SUM(b.bad_debt_cents) FROM write_off_return b WHERE b.write_off_id = w.id), 0) END AS BIGINT) AS expected \
              FROM write_off w) s WHERE found <> expected ORDER BY id",
    },
    Rule {
        table: "write_off",
        what: "the invoice of a shortfall, which a warranty payer owes",
        sql: "SELECT w.id AS row_id, w.invoice_id AS found, CAST(NULL AS BIGINT) AS expected FROM write_off w \
              JOIN invoice i ON i.id = w.invoice_id WHERE w.kind = 'claim_shortfall' \
              AND i.payer <> 'warranty_payer' ORDER BY w.id",
    },
    Rule {
        table: "receivable",
        what: "reminders sent or to come of what a warranty payer owes",
        sql: "SELECT r.invoice_id AS row_id, CAST(r.reminders_sent AS BIGINT) AS found, CAST(0 AS BIGINT) AS expected \
              FROM receivable r JOIN invoice i ON i.id = r.invoice_id WHERE i.payer = 'warranty_payer' \
              AND (r.reminders_sent > 0 OR r.next_reminder_on IS NOT NULL) ORDER BY r.invoice_id",
    },
];
