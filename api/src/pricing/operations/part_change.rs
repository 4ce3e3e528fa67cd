//! Everything about a part beside its cost, and which part took its place.

use nameplate_entities::kinds::PartCondition;
use nameplate_entities::part;
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};

use crate::base::audit;
use crate::base::check::LINE_MAX;
use crate::base::{Act, Change, Checks, ProblemCode, Result, Right, search};

use super::super::{SUPERSESSIONS_MAX, store};
use super::parts::{amount, subject};
use super::suppliers;

/// What to change.
#[derive(Clone, Debug, Default)]
pub struct PartChange {
    pub description: Option<String>,
    pub supplier: Change<String>,
    pub fixed_price: Change<Cents>,
    pub list_price: Change<Cents>,
    pub maker_warranty_months: Change<i32>,
    pub component_class: Change<String>,
    pub core_deposit: Change<Cents>,
    pub freight: Change<Cents>,
    pub condition: Change<PartCondition>,
    pub superseded_by: Change<i64>,
}

/// A correction of a part's record.
#[derive(Clone, Debug)]
pub struct ChangePart {
    pub part_id: i64,
    /// The version that was read; somebody else's change in between is not overwritten.
    pub version: i32,
    pub change: PartChange,
}

/// Changes a part beside its cost and number. Estimates keep what they were priced with.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict` when it was changed since it was read; `OutOfRange` for a chain of parts that
/// leads back to this one or is too long; refusals name the field.
pub async fn change_part(act: &Act, change: ChangePart) -> Result<part::Model> {
    act.staff_with(Right::ChangePart)?;
    let verb = Right::ChangePart.mutation();
    let mut checks = Checks::new();
    let tx = act.app.db.write().await?;
    let before = store::get_part(&tx, "partId", change.part_id).await?;
    if before.version != change.version {
        checks.refuse(
            ProblemCode::Conflict,
            "version",
            "Somebody changed this part since you read it. Read it again first.",
        );
    }
    let change = change.change;
    let supplier = change
        .supplier
        .clone()
        .map(|name| checks.text("supplier", &name, LINE_MAX));
    if let Change::To(target) = change.superseded_by {
        check_chain(&tx, &mut checks, &before, target).await?;
    }
    let mut row = changed(&mut checks, &before, change);
    checks.finish()?;
    match supplier {
        Change::Keep => {}
        Change::Clear => row.supplier_id = Set(None),
        Change::To(name) => {
            let named = suppliers::named(&tx, act, Right::ChangePart, name).await?;
            row.supplier_id = Set(Some(named.id));
        }
    }
    let after = row.update(&tx).await?;
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    let title = format!("{} {}", after.number, after.description);
    let parts = [after.number.as_str(), after.description.as_str()];
    search::index(&tx, subject(after.id), &title, &parts).await?;
    tx.commit().await?;
    Ok(after)
}

fn changed(checks: &mut Checks, before: &part::Model, change: PartChange) -> part::ActiveModel {
    let mut row = before.clone().into_active_model();
    row.version = Set(before.version + 1);
    if let Some(description) = change.description {
        row.description = Set(checks.text("description", &description, LINE_MAX));
    }
    let mut cents =
        |path: &str, change: Change<Cents>| change.map(|each| amount(checks, path, each));
    cents("fixedPrice", change.fixed_price).set(&mut row.fixed_price_cents);
    cents("listPrice", change.list_price).set(&mut row.list_price_cents);
    cents("coreDeposit", change.core_deposit).set(&mut row.core_deposit_cents);
    cents("freight", change.freight).set(&mut row.freight_cents);
    change
        .maker_warranty_months
        .map(|months| checks.between("makerWarrantyMonths", months, (0, 600)))
        .set(&mut row.maker_warranty_months);
    change
        .component_class
        .map(|class| checks.text("componentClass", &class, LINE_MAX))
        .set(&mut row.component_class);
    change.condition.set(&mut row.condition);
    change.superseded_by.set(&mut row.superseded_by_id);
    row
}

/// Follows the parts that took one another's place from `target` on.
async fn check_chain(
    tx: &impl ConnectionTrait,
    checks: &mut Checks,
    part: &part::Model,
    target: i64,
) -> Result<()> {
    let path = "supersededByPartId";
    let mut next = Some(target);
    for _ in 0..SUPERSESSIONS_MAX {
        let Some(id) = next else {
            return Ok(());
        };
        if id == part.id {
            let words = "That part leads back to this one; a part cannot take its own place.";
            checks.refuse(ProblemCode::OutOfRange, path, words);
            return Ok(());
        }
        next = store::get_part(tx, path, id).await?.superseded_by_id;
    }
    let words = format!("A chain has at most {SUPERSESSIONS_MAX} parts; name a later one.");
    checks.refuse(ProblemCode::OutOfRange, path, words);
    Ok(())
}
