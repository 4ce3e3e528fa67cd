//! Trips of a call, and which other calls on them pay.

use nameplate_entities::kinds::VisitState;
use sea_orm::{ConnectionTrait, FromQueryResult, Statement};

use crate::base::Result;

/// A visit of a call that was made, or is to be made.
#[derive(FromQueryResult)]
pub struct Trip {
    pub visit_id: i64,
    pub state: VisitState,
}

/// The visits of a call that were not missed, oldest first.
pub async fn trips_of(db: &impl ConnectionTrait, call_id: i64) -> Result<Vec<Trip>> {
    let sql = "SELECT v.id AS visit_id, v.state AS state FROM visit_call own JOIN visit v ON v.id = own.visit_id \
         AND v.state IN ('planned', 'done') WHERE own.call_id = $1 ORDER BY v.planned_on, v.id";
    let statement =
        Statement::from_sql_and_values(db.get_database_backend(), sql, [call_id.into()]);
    Ok(Trip::find_by_statement(statement).all(db).await?)
}

/// Another call that pays for a visit.
#[derive(Clone, Debug, FromQueryResult)]
pub struct PaidTrip {
    pub visit_id: i64,
    /// Number of the call.
    pub call: String,
    /// Number of its invoice, if it is billed.
    pub invoice: Option<String>,
}

/// A visit of `other`, which is the call `c`, that serves no further call: its trip is what that call pays for. Once the
/// work is done only visits that were made count, if any is said to have been.
const ALONE: &str = "SELECT 1 FROM visit_call alone JOIN visit v ON v.id = alone.visit_id \
     WHERE alone.call_id = other.call_id AND (v.state = 'done' OR (v.state = 'planned' AND (c.state <> 'completed' \
     OR NOT EXISTS (SELECT 1 FROM visit_call y JOIN visit w ON w.id = y.visit_id AND w.state = 'done' \
     WHERE y.call_id = other.call_id)))) AND NOT EXISTS (SELECT 1 FROM visit_call x \
     WHERE x.visit_id = alone.visit_id AND x.call_id <> alone.call_id)";

/// The other calls on this one's visits that were billed a trip, whatever their invoices bill; what credit notes took
/// back of a trip does not count, nor do calls that paid for a visit of their own.
pub async fn trips_billed_with(db: &impl ConnectionTrait, call_id: i64) -> Result<Vec<PaidTrip>> {
    let sql = format!(
        "SELECT own.visit_id AS visit_id, c.number AS call, i.number AS invoice FROM visit_call own \
         JOIN visit_call other ON other.visit_id = own.visit_id AND other.call_id <> own.call_id \
         JOIN service_call c ON c.id = other.call_id JOIN invoice i ON i.call_id = c.id AND i.kind = 'invoice' \
         JOIN invoice_line l ON l.invoice_id = i.id AND l.kind = 'trip' WHERE own.call_id = $1 AND l.net_cents \
         + COALESCE((SELECT SUM(back.net_cents) FROM invoice_line back WHERE back.credits_line_id = l.id), 0) > 0 \
         AND NOT EXISTS ({ALONE}) ORDER BY c.id, i.id"
    );
    let statement =
        Statement::from_sql_and_values(db.get_database_backend(), sql, [call_id.into()]);
    Ok(PaidTrip::find_by_statement(statement).all(db).await?)
}

/// The other calls on this one's visits that are still to be billed a trip by what was accepted for them, and have no visit
/// of their own.
pub async fn trips_accepted_with(db: &impl ConnectionTrait, call_id: i64) -> Result<Vec<PaidTrip>> {
    let sql = format!(
        "SELECT own.visit_id AS visit_id, c.number AS call, NULL AS invoice FROM visit_call own \
         JOIN visit_call other ON other.visit_id = own.visit_id AND other.call_id <> own.call_id \
         JOIN service_call c ON c.id = other.call_id AND c.state <> 'cancelled' \
         JOIN estimate e ON e.call_id = c.id JOIN estimate_revision r ON r.estimate_id = e.id \
         AND r.state IN ('accepted', 'invoiced') JOIN estimate_line l ON l.option_id = r.accepted_option_id \
         AND l.kind = 'trip' AND l.net_cents > 0 WHERE own.call_id = $1 AND NOT EXISTS (SELECT 1 FROM invoice i \
         WHERE i.call_id = c.id AND i.kind = 'invoice' AND NOT EXISTS (SELECT 1 FROM receivable t \
         WHERE t.invoice_id = i.id AND t.taken_back)) AND NOT EXISTS ({ALONE}) ORDER BY c.id"
    );
    let statement =
        Statement::from_sql_and_values(db.get_database_backend(), sql, [call_id.into()]);
    Ok(PaidTrip::find_by_statement(statement).all(db).await?)
}
