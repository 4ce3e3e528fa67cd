//! Saying that a trip was made, which costs the shop something on calls that it bears.

use nameplate_entities::kinds::{CallState, VisitState};
use nameplate_entities::visit;

use crate::base::{Act, Result, Right};
use crate::calls::{self, FinishVisit};

use super::borne;

/// Says that a trip was made or missed. What a trip adds to what the shop bears of calls that are completed already is
/// posted today.
///
/// # Errors
/// Those of `calls::finish_visit`; `PeriodClosed` for today, where something is to be posted.
pub async fn finish_visit(act: &Act, finished: FinishVisit) -> Result<visit::Model> {
    act.staff_with(Right::FinishVisit)?;
    let verb = Right::FinishVisit.mutation();
    let tx = act.app.db.write().await?;
    let visit = calls::finish_visit(&tx, act, finished).await?;
    let served = match visit.state {
        VisitState::Done => calls::served_by(&tx, visit.id).await?,
        VisitState::Planned | VisitState::Missed => Vec::new(),
    };
    for call in served {
        if call.state == CallState::Completed {
            borne::settle(&tx, act, (verb, &call)).await?;
        }
    }
    tx.commit().await?;
    Ok(visit)
}
