//! Drafts that nobody will send are put away.

use nameplate_entities::estimate_revision;
use nameplate_entities::kinds::EstimateState;
use sea_orm::ActiveValue::Set;

use crate::base::{Act, Error, ProblemCode, Result, Right};
use crate::estimates::{states, store};

/// Puts a drafted revision away: it can be neither sent nor billed any more. It stays to be read, as replaced.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a revision that is no draft.
pub async fn discard_estimate(act: &Act, revision_id: i64) -> Result<estimate_revision::Model> {
    act.staff_with(Right::DiscardEstimate)?;
    let tx = act.app.db.write().await?;
    let before = store::get_revision(&tx, "revisionId", revision_id).await?;
    if before.state != EstimateState::Draft {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "revisionId",
            "Only a draft is put away. What was sent lapses by itself, or is replaced by its next revision.",
        ));
    }
    let state = states::of_row(before.state)
        .supersede()
        .map_err(|refusal| states::refused("revisionId", refusal))?;
    let verb = Right::DiscardEstimate.mutation();
    let after = states::moved(&tx, act, verb, &before, |row| {
        row.state = Set(states::for_row(state));
    })
    .await?;
    tx.commit().await?;
    Ok(after)
}
