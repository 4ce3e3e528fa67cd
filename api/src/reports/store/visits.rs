//! Completed repair calls by the number of visits they took.
//!
//! A call counts for who made its first visit, in the month in which it was completed. Visits count that were made for it: those
//! planned for no later day than that on which it was completed, and those made before somebody said that it was. A missed
//! visit is none; why the next one was planned is told apart.

use nameplate_entities::kinds::VisitReason;
use sea_orm::{ConnectionTrait, FromQueryResult};

use crate::base::Result;

use super::{Span, rows};

/// Calls of one technician and month.
#[derive(Clone, Debug, FromQueryResult)]
pub struct OfMonth {
    /// None where no visit is on record.
    pub technician_id: Option<i64>,
    pub technician: Option<String>,
    /// Year and month, such as `2026-11`.
    pub month: String,
    pub calls: i64,
    /// Those that took one visit.
    pub first_visit: i64,
}

/// Visits of these calls that were planned for one reason.
#[derive(Clone, Debug, FromQueryResult)]
pub struct OfReason {
    /// Who made the first visit.
    pub technician_id: i64,
    /// 1 for further visits; 0 for first ones, which have a reason only after one that was missed.
    pub further: i64,
    /// None where nobody said.
    pub reason: Option<VisitReason>,
    pub visits: i64,
}

/// Visits made for the calls, the first of each with the place 1.
const MADE: &str = "(SELECT c.id AS call_id, c.completed_on, v.id AS visit_id, v.technician_id, v.reason, \
     COUNT(v.id) OVER (PARTITION BY c.id) AS visits, \
     ROW_NUMBER() OVER (PARTITION BY c.id ORDER BY v.planned_on, v.id) AS place \
     FROM service_call c \
     LEFT JOIN visit_call s ON s.call_id = c.id AND EXISTS (SELECT 1 FROM visit d WHERE d.id = s.visit_id \
     AND d.state = 'done' AND (d.planned_on <= c.completed_on OR d.done_at <= c.completed_at)) \
     LEFT JOIN visit v ON v.id = s.visit_id \
     WHERE c.completed_on >= $1 AND c.completed_on <= $2 AND c.state = 'completed' AND c.kind = 'repair') m";

/// Calls completed in these days. The caller bounds them.
///
/// # Errors
/// Internal only.
pub async fn of_months(db: &impl ConnectionTrait, span: Span) -> Result<Vec<OfMonth>> {
    let sql = format!(
        "SELECT t.technician_id, p.name AS technician, t.month, CAST(COUNT(*) AS BIGINT) AS calls, \
         CAST(SUM(CASE WHEN t.visits = 1 THEN 1 ELSE 0 END) AS BIGINT) AS first_visit \
         FROM (SELECT m.technician_id, m.visits, SUBSTR(CAST(m.completed_on AS TEXT), 1, 7) AS month \
         FROM {MADE} WHERE m.place = 1) t \
         LEFT JOIN staff p ON p.id = t.technician_id \
         GROUP BY t.technician_id, p.name, t.month ORDER BY t.month, p.name, t.technician_id"
    );
    rows(db, &sql, span.values()).await
}

/// Why these calls took further visits, and why a first visit had been planned again.
///
/// # Errors
/// Internal only.
pub async fn of_reasons(db: &impl ConnectionTrait, span: Span) -> Result<Vec<OfReason>> {
    let sql = format!(
        "SELECT f.technician_id, f.further, f.reason, CAST(COUNT(*) AS BIGINT) AS visits FROM (\
         SELECT CAST(CASE WHEN m.place > 1 THEN 1 ELSE 0 END AS BIGINT) AS further, m.reason, \
         FIRST_VALUE(m.technician_id) OVER (PARTITION BY m.call_id ORDER BY m.place) AS technician_id \
         FROM {MADE} WHERE m.visit_id IS NOT NULL) f \
         WHERE f.further = 1 OR f.reason IS NOT NULL \
         GROUP BY f.technician_id, f.further, f.reason ORDER BY f.technician_id, f.further, f.reason"
    );
    rows(db, &sql, span.values()).await
}
