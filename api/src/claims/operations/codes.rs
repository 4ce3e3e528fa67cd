//! What the shop's own components and failures are called in an industry scheme.

use nameplate_entities::failure_code;
use nameplate_rules::claims::FailureCodes;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, EntityTrait, IntoActiveModel, ModelTrait};

use super::super::store;
use super::drafting::{codes_checked, codes_text};
use crate::appliances;
use crate::base::audit::{self, Subject};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};

/// The codes of one kind of failure.
#[derive(Clone, Debug)]
pub struct SetFailureCodes {
    /// None for every component.
    pub component_id: Option<i64>,
    pub failure_mode_id: i64,
    pub codes: FailureCodes,
}

/// Says what a failure, of one component or of any, is called in the scheme; in place of what was said before.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Missing` for codes that say nothing; `Malformed` for a code of the wrong shape.
pub async fn set_failure_codes(act: &Act, order: SetFailureCodes) -> Result<failure_code::Model> {
    let staff_id = act.staff_with(Right::SetFailureCodes)?;
    let verb = Right::SetFailureCodes.mutation();
    let mut checks = Checks::new();
    let codes = codes_checked(&mut checks, "codes", &order.codes);
    if order.codes == FailureCodes::default() {
        let message = "Give at least one code.";
        checks.refuse(ProblemCode::Missing, "codes", message);
    }
    checks.finish()?;
    let tx = act.app.db.write().await?;
    appliances::get_failure_mode(&tx, "failureModeId", order.failure_mode_id).await?;
    if let Some(id) = order.component_id {
        let found = appliances::components_by_ids(&tx, [id]).await?;
        if found.is_empty() {
            return Err(Error::not_found("componentId", "component"));
        }
    }
    let before = store::codes_of(&tx, (order.component_id, order.failure_mode_id)).await?;
    let codes_json = Set(codes_text(&codes)?);
    let after = if let Some(row) = before.clone() {
        let version = Set(row.version + 1);
        let mut row = row.into_active_model();
        (row.codes_json, row.version) = (codes_json, version);
        (row.changed_at, row.changed_by) = (Set(act.at), Set(staff_id));
        row.update(&tx).await?
    } else {
        let row = failure_code::ActiveModel {
            component_id: Set(order.component_id),
            failure_mode_id: Set(order.failure_mode_id),
            codes_json,
            changed_at: Set(act.at),
            changed_by: Set(staff_id),
            version: Set(1),
            ..Default::default()
        };
        row.insert(&tx).await?
    };
    let both = (before.as_ref(), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    tx.commit().await?;
    Ok(after)
}

/// Takes the codes of a failure away; claims keep what was written on them.
///
/// # Errors
/// `Forbidden`; `NotFound`.
pub async fn remove_failure_codes(act: &Act, id: i64) -> Result<failure_code::Model> {
    act.staff_with(Right::RemoveFailureCodes)?;
    let verb = Right::RemoveFailureCodes.mutation();
    let tx = act.app.db.write().await?;
    let before = failure_code::Entity::find_by_id(id)
        .one(&tx)
        .await?
        .ok_or_else(|| Error::not_found("failureCodesId", "failure codes"))?;
    let none = None::<&failure_code::Model>;
    audit::record(&tx, act, verb, subject(id), (Some(&before), none)).await?;
    before.clone().delete(&tx).await?;
    tx.commit().await?;
    Ok(before)
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "failure_code",
        id,
    }
}
