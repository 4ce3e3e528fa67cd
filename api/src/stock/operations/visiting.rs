//! Planning a trip, and whether it is for parts that were ordered.

use nameplate_entities::kinds::VisitReason;
use nameplate_entities::visit;

use crate::base::{Act, Result, Right};
use crate::calls::{self, ScheduleVisit};

use super::super::store::orders;

/// Plans a trip for one or more calls at one address. A further visit of which nobody says why, while parts ordered for one
/// of the calls are to come or wait to be fitted, is for these parts.
///
/// # Errors
/// Those of `calls::plan_visit`.
pub async fn schedule_visit(act: &Act, new: ScheduleVisit) -> Result<visit::Model> {
    act.staff_with(Right::ScheduleVisit)?;
    let tx = act.app.db.write().await?;
    let waits = new.reason.is_none() && orders::is_any_waiting(&tx, &new.call_ids).await?;
    let proposed = waits.then_some(VisitReason::PartOrdered);
    let visit = calls::plan_visit(&tx, act, &new, proposed).await?;
    tx.commit().await?;
    Ok(visit)
}
