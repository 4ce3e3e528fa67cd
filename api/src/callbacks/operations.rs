//! Moving flags along.

use nameplate_entities::kinds::FlagState;
use nameplate_entities::{flag, flag_step};
use sea_orm::{ActiveModelTrait, ActiveValue::Set, IntoActiveModel};

use crate::base::audit::{self, Subject};
use crate::base::check::TEXT_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};

use super::store;

/// One step of a flag.
#[derive(Clone, Debug)]
pub struct MoveFlag {
    pub flag_id: i64,
    pub to: FlagState,
    /// What was seen, what was done about it, or why it is opened again.
    pub note: String,
}

/// Moves a flag one step on: acknowledged, answered, closed; or opens a closed one again, which is news as when its failure
/// comes back. Who did so and the note are kept.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Missing` without a note; `WrongState` for any other step.
pub async fn move_flag(act: &Act, command: MoveFlag) -> Result<flag::Model> {
    let staff_id = act.staff_with(Right::MoveFlag)?;
    let mut checks = Checks::new();
    let note = checks.text("note", &command.note, TEXT_MAX);
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let before = store::get_flag(&tx, "flagId", command.flag_id).await?;
    if step_after(before.state) != command.to {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "to",
            "A flag goes from open to acknowledged, to answered, to closed, one step at a time; a closed one may be \
             opened again.",
        ));
    }
    let mut row = before.clone().into_active_model();
    row.state = Set(command.to);
    row.version = Set(before.version + 1);
    if command.to == FlagState::Open {
        row.raised_at = Set(act.at);
    }
    let after = row.update(&tx).await?;
    flag_step::ActiveModel {
        flag_id: Set(after.id),
        at: Set(act.at),
        staff_id: Set(staff_id),
        state: Set(command.to),
        note: Set(note),
        ..Default::default()
    }
    .insert(&tx)
    .await?;
    let subject = Subject {
        kind: "flag",
        id: after.id,
    };
    let verb = Right::MoveFlag.mutation();
    audit::record(&tx, act, verb, subject, (Some(&before), Some(&after))).await?;
    tx.commit().await?;
    if command.to == FlagState::Open {
        act.app.flag_bell.send_replace(());
    }
    Ok(after)
}

fn step_after(state: FlagState) -> FlagState {
    match state {
        FlagState::Open => FlagState::Acknowledged,
        FlagState::Acknowledged => FlagState::Answered,
        FlagState::Answered => FlagState::Closed,
        FlagState::Closed => FlagState::Open,
    }
}
