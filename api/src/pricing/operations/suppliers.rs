//! Who sells parts to the shop.

use nameplate_entities::supplier;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Change, Checks, ProblemCode, Result, Right};

use super::super::store;

/// Days that terms may have.
const TERMS: (i32, i32) = (0, 365);

/// A supplier to record.
#[derive(Clone, Debug)]
pub struct AddSupplier {
    pub name: String,
    pub email: Option<String>,
    /// Days after which its bills are due; none for what is usual.
    pub terms_days: Option<i32>,
}

/// Records a supplier.
///
/// # Errors
/// `Forbidden`; `Taken` for a name on record; refusals name the field.
pub async fn add_supplier(act: &Act, new: AddSupplier) -> Result<supplier::Model> {
    act.staff_with(Right::AddSupplier)?;
    let mut checks = Checks::new();
    let name = checks.text("name", &new.name, LINE_MAX);
    let email = checks.email_if_any("email", new.email.as_deref());
    let terms_days = new
        .terms_days
        .map(|days| checks.between("termsDays", days, TERMS));
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let row = write(&tx, act, Right::AddSupplier, (name, email, terms_days)).await?;
    tx.commit().await?;
    Ok(row)
}

/// A correction of a supplier's record.
#[derive(Clone, Debug)]
pub struct ChangeSupplier {
    pub supplier_id: i64,
    /// The version that was read; somebody else's change in between is not overwritten.
    pub version: i32,
    pub name: Option<String>,
    pub email: Change<String>,
    pub terms_days: Change<i32>,
}

/// Corrects a supplier's record.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict` when it was changed since it was read; `Taken` for a name on record;
/// refusals name the field.
pub async fn change_supplier(act: &Act, change: ChangeSupplier) -> Result<supplier::Model> {
    act.staff_with(Right::ChangeSupplier)?;
    let mut checks = Checks::new();
    let tx = act.app.db.write().await?;
    let before = store::get_supplier(&tx, "supplierId", change.supplier_id).await?;
    if before.version != change.version {
        checks.refuse(
            ProblemCode::Conflict,
            "version",
            "Somebody changed this supplier since you read it. Read it again first.",
        );
    }
    let mut row = before.clone().into_active_model();
    if let Some(name) = change.name {
        let name = checks.text("name", &name, LINE_MAX);
        row.name_key = Set(name.to_lowercase());
        row.name = Set(name);
    }
    match change.email {
        Change::Keep => {}
        Change::Clear => row.email = Set(None),
        Change::To(email) => row.email = Set(checks.email_if_any("email", Some(&email))),
    }
    match change.terms_days {
        Change::Keep => {}
        Change::Clear => row.terms_days = Set(None),
        Change::To(days) => row.terms_days = Set(Some(checks.between("termsDays", days, TERMS))),
    }
    row.version = Set(before.version + 1);
    checks.finish()?;
    let after = row.update(&tx).await?;
    let verb = Right::ChangeSupplier.mutation();
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    tx.commit().await?;
    Ok(after)
}

/// The supplier of this name, recorded if it is new. `name` has passed the door.
pub(super) async fn named(
    tx: &impl ConnectionTrait,
    act: &Act,
    right: Right,
    name: String,
) -> Result<supplier::Model> {
    match store::supplier_by_name(tx, &name).await? {
        Some(row) => Ok(row),
        None => write(tx, act, right, (name, None, None)).await,
    }
}

async fn write(
    tx: &impl ConnectionTrait,
    act: &Act,
    right: Right,
    (name, email, terms_days): (String, Option<String>, Option<i32>),
) -> Result<supplier::Model> {
    let row = supplier::ActiveModel {
        name_key: Set(name.to_lowercase()),
        name: Set(name),
        email: Set(email),
        terms_days: Set(terms_days),
        version: Set(1),
        ..Default::default()
    }
    .insert(tx)
    .await?;
    audit::created(tx, act, right.mutation(), subject(row.id), &row).await?;
    Ok(row)
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "supplier",
        id,
    }
}
