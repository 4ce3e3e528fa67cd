//! What was billed less what it cost.
//!
//! What parts cost is what left the stock for them: for a call with its first invoice, once it is completed, for an invoice
//! without a call with itself. So all margins together take from sales what the books have as cost of those parts; what came
//! back, or was settled by a later receipt, counts with them. A line's cost is what it was offered at until its call is
//! completed; without a call where nothing left the stock for it, as for parts that are typed in, and on invoices of before
//! parts were kept in stock; and for all other charges. What the shop bears of a call is on no invoice: its parts are among
//! those that left the stock, and its labor and its trips count beside them, so a call that the shop half pays itself shows
//! it.

use nameplate_entities::kinds::ChargeKind;
use sea_orm::{ConnectionTrait, FromQueryResult};

use crate::base::Result;

use super::{Span, rows};

/// Sales before tax, and what they cost the shop, of one call.
#[derive(Clone, Debug, FromQueryResult)]
pub struct OfCall {
    pub call_id: i64,
    pub number: String,
    pub sale_cents: i64,
    pub cost_cents: i64,
}

/// The same of one kind of charge.
#[derive(Clone, Debug, FromQueryResult)]
pub struct OfKind {
    pub kind: ChargeKind,
    pub sale_cents: i64,
    pub cost_cents: i64,
}

/// The same of one technician; none where nobody was at the machine yet.
#[derive(Clone, Debug, FromQueryResult)]
pub struct OfTechnician {
    pub technician_id: Option<i64>,
    pub name: Option<String>,
    pub sale_cents: i64,
    pub cost_cents: i64,
}

/// Sums over [`LINES`].
const SUMS: &str =
    "CAST(SUM(l.sale) AS BIGINT) AS sale_cents, CAST(SUM(l.cost) AS BIGINT) AS cost_cents";

/// What was billed in these days by line, and what parts cost that were billed then.
const LINES: &str = "(SELECT i.call_id, l.kind, l.net_cents - l.discount_cents AS sale, \
     CASE WHEN l.kind = 'part' AND (c.state = 'completed' OR (c.id IS NULL AND EXISTS (SELECT 1 FROM stock_move m \
     WHERE m.invoice_id = COALESCE(i.credits_invoice_id, i.id) AND m.part_id = l.part_id))) THEN 0 ELSE l.cost_cents END AS cost \
     FROM invoice i JOIN invoice_line l ON l.invoice_id = i.id LEFT JOIN service_call c ON c.id = i.call_id \
     WHERE i.issued_on >= $1 AND i.issued_on <= $2 AND i.returned_payment_id IS NULL \
     AND i.moved_from_invoice_id IS NULL \
     UNION ALL SELECT i.call_id, 'part', 0, -m.value_cents FROM invoice i \
     JOIN service_call c ON c.id = i.call_id AND c.state = 'completed' \
     JOIN stock_move m ON m.call_id = i.call_id AND m.part_used_id IS NOT NULL \
     WHERE i.issued_on >= $1 AND i.issued_on <= $2 AND i.kind = 'invoice' \
     AND NOT EXISTS (SELECT 1 FROM invoice e WHERE e.call_id = i.call_id AND e.id < i.id) \
     UNION ALL SELECT i.call_id, 'labour', 0, b.labour_cents FROM invoice i JOIN call_borne b ON b.call_id = i.call_id \
     WHERE i.issued_on >= $1 AND i.issued_on <= $2 AND i.kind = 'invoice' \
     AND NOT EXISTS (SELECT 1 FROM invoice e WHERE e.call_id = i.call_id AND e.id < i.id) \
     UNION ALL SELECT i.call_id, 'trip', 0, b.trip_cents FROM invoice i \
     JOIN call_borne b ON b.call_id = i.call_id AND b.trip_cents <> 0 \
     WHERE i.issued_on >= $1 AND i.issued_on <= $2 AND i.kind = 'invoice' \
     AND NOT EXISTS (SELECT 1 FROM invoice e WHERE e.call_id = i.call_id AND e.id < i.id) \
     UNION ALL SELECT NULL, 'part', 0, -m.value_cents FROM invoice i JOIN stock_move m ON m.invoice_id = i.id \
     WHERE i.issued_on >= $1 AND i.issued_on <= $2) l";

/// Calls billed in these days, the lowest margin first or the highest; at most `count`.
pub async fn by_call(
    db: &impl ConnectionTrait,
    span: Span,
    (lowest_first, count): (bool, u64),
) -> Result<Vec<OfCall>> {
    let order = if lowest_first { "ASC" } else { "DESC" };
    let sql = format!(
        "SELECT m.*, c.number FROM (SELECT l.call_id, {SUMS} FROM {LINES} WHERE l.call_id IS NOT NULL \
         GROUP BY l.call_id) m JOIN service_call c ON c.id = m.call_id \
         ORDER BY m.sale_cents - m.cost_cents {order}, m.call_id LIMIT {count}"
    );
    rows(db, &sql, span.values()).await
}

/// By kind of charge; there are six.
pub async fn by_kind(db: &impl ConnectionTrait, span: Span) -> Result<Vec<OfKind>> {
    let sql = format!("SELECT l.kind, {SUMS} FROM {LINES} GROUP BY l.kind ORDER BY l.kind");
    rows(db, &sql, span.values()).await
}

/// By the technician of the last visit made for the call.
pub async fn by_technician(db: &impl ConnectionTrait, span: Span) -> Result<Vec<OfTechnician>> {
    let sql = format!(
        "SELECT t.technician_id, s.name, CAST(SUM(sale_cents) AS BIGINT) AS sale_cents, \
         CAST(SUM(cost_cents) AS BIGINT) AS cost_cents FROM (\
         SELECT (SELECT v.technician_id FROM visit_call x JOIN visit v ON v.id = x.visit_id \
         WHERE x.call_id = c.call_id AND v.state = 'done' ORDER BY v.done_at DESC, v.id DESC LIMIT 1) AS technician_id, \
         c.sale_cents, c.cost_cents FROM (SELECT l.call_id, {SUMS} FROM {LINES} GROUP BY l.call_id) c) t \
         LEFT JOIN staff s ON s.id = t.technician_id GROUP BY t.technician_id, s.name ORDER BY t.technician_id"
    );
    rows(db, &sql, span.values()).await
}
