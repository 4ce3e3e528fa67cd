//! The shop's own components and failure modes.

use nameplate_entities::kinds::Hazard;
use nameplate_entities::{component, failure_mode};
use sea_orm::{ActiveModelTrait, ActiveValue::Set};

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, ProblemCode, Result, Right};

use super::store;

/// A part of a type of machine that findings may name.
#[derive(Clone, Debug)]
pub struct AddComponent {
    pub appliance_type_id: i64,
    pub name: String,
}

/// Extends the list of components of a type.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Taken` for a name the type has already, whatever its letter case.
pub async fn add_component(act: &Act, new: AddComponent) -> Result<component::Model> {
    act.staff_with(Right::AddComponent)?;
    let mut checks = Checks::new();
    let name = checks.text("name", &new.name, LINE_MAX);
    let tx = act.app.db.write().await?;
    let kind = store::get_type(&tx, "applianceTypeId", new.appliance_type_id).await?;
    let known = store::components_of(&tx, kind.id).await?;
    if known.iter().any(|row| same_words(&row.name, &name)) {
        checks.refuse(
            ProblemCode::Taken,
            "name",
            "This type of machine already has a component of this name.",
        );
    }
    checks.finish()?;
    let row = component::ActiveModel {
        appliance_type_id: Set(kind.id),
        name: Set(name),
        ..Default::default()
    }
    .insert(&tx)
    .await?;
    let subject = Subject {
        kind: "component",
        id: row.id,
    };
    audit::created(&tx, act, Right::AddComponent.mutation(), subject, &row).await?;
    tx.commit().await?;
    Ok(row)
}

/// A way in which components fail.
#[derive(Clone, Debug)]
pub struct AddFailureMode {
    pub name: String,
    pub hazard: Hazard,
}

/// Extends the list of failure modes.
///
/// # Errors
/// `Forbidden`; `Taken` for a name that is on the list already.
pub async fn add_failure_mode(act: &Act, new: AddFailureMode) -> Result<failure_mode::Model> {
    act.staff_with(Right::AddFailureMode)?;
    let mut checks = Checks::new();
    let name = checks.text("name", &new.name, LINE_MAX);
    let key = key_of(&name);
    if key.is_empty() && !name.is_empty() {
        checks.refuse(
            ProblemCode::Malformed,
            "name",
            "A name holds at least one letter or digit.",
        );
    }
    let tx = act.app.db.write().await?;
    let known = store::failure_modes(&tx).await?;
    if known
        .iter()
        .any(|row| row.key == key || same_words(&row.name, &name))
    {
        checks.refuse(
            ProblemCode::Taken,
            "name",
            "This failure mode is on the list already.",
        );
    }
    checks.finish()?;
    let row = failure_mode::ActiveModel {
        key: Set(key),
        name: Set(name),
        hazard: Set(new.hazard),
        ..Default::default()
    }
    .insert(&tx)
    .await?;
    let subject = Subject {
        kind: "failure_mode",
        id: row.id,
    };
    audit::created(&tx, act, Right::AddFailureMode.mutation(), subject, &row).await?;
    tx.commit().await?;
    Ok(row)
}

fn same_words(a: &str, b: &str) -> bool {
    a.to_lowercase() == b.to_lowercase()
}

/// Lower case, words joined by underscores: `Out of range` is `out_of_range`.
fn key_of(name: &str) -> String {
    name.to_lowercase()
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .collect::<Vec<_>>()
        .join("_")
}
