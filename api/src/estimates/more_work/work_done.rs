//! What was done, where it is not just what was accepted: a drafted revision that is billed in its place.
//!
//! What stays true: the customer's acceptance stays as it was, and the bill is held against it.

use chrono::NaiveDate;
use nameplate_entities::estimate_revision;
use sea_orm::ConnectionTrait;
use serde::Serialize;

use crate::base::{Act, Error, ProblemCode, Result, Right};
use crate::estimates::priced::shared_trips;
use crate::estimates::sending::{self, in_force};
use crate::estimates::states;
use crate::estimates::store::{self, Accepted};

/// The drafted option that says what was done.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct WorkDone {
    pub revision_id: i64,
    pub option_id: i64,
}

/// The work to bill in place of what was accepted: an option of the estimate's latest draft.
///
/// # Errors
/// `NotFound`; `WrongState` for a revision of another estimate or one that is no draft; `Superseded` for one that
/// another was drafted after, whose prices or tax rules are no longer in force, or whose trip another call pays by now.
pub async fn work_done(
    tx: &impl ConnectionTrait,
    done: WorkDone,
    accepted: &Accepted,
    on: NaiveDate,
) -> Result<Accepted> {
    let path = "workDone.revisionId";
    let revision = store::get_revision(tx, path, done.revision_id).await?;
    if revision.estimate_id != accepted.estimate.id {
        return Err(Error::refused(
            ProblemCode::WrongState,
            path,
            format!(
                "This is no revision of {}, which was accepted.",
                accepted.estimate.number
            ),
        ));
    }
    states::of_row(revision.state)
        .edit()
        .map_err(|refusal| states::refused(path, refusal))?;
    sending::others(tx, path, &revision).await?;
    in_force::still(tx, path, (&accepted.estimate, &revision), on).await?;
    let option = store::options_of(tx, revision.id)
        .await?
        .into_iter()
        .find(|option| option.id == done.option_id)
        .ok_or_else(|| Error::not_found("workDone.optionId", "option"))?;
    let chosen = std::slice::from_ref(&option);
    shared_trips::must_hold(tx, path, accepted.estimate.call_id, (&revision, chosen)).await?;
    Ok(Accepted {
        estimate: accepted.estimate.clone(),
        lines: store::lines_of(tx, &[option.id]).await?,
        taxes: store::taxes_of(tx, &[option.id]).await?,
        revision,
        option,
    })
}

/// Closes the draft that was billed; it can no longer be sent.
///
/// # Errors
/// Internal only.
pub async fn close_work_done(
    tx: &impl ConnectionTrait,
    act: &Act,
    draft: &estimate_revision::Model,
) -> Result<()> {
    let state = states::of_row(draft.state)
        .supersede()
        .map_err(|refusal| Error::caused("closing a draft that was billed", refusal))?;
    states::moved(tx, act, Right::IssueInvoice.mutation(), draft, |row| {
        row.state = sea_orm::ActiveValue::Set(states::for_row(state));
    })
    .await?;
    Ok(())
}
