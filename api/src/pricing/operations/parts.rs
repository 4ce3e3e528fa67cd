//! Parts and what they cost.

use nameplate_entities::kinds::PartCondition;
use nameplate_entities::{part, part_cost};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, ProblemCode, Result, Right, search};

use super::super::store;
use super::suppliers;

/// A part to record.
#[derive(Clone, Debug, Default)]
pub struct AddPart {
    pub number: String,
    pub description: String,
    pub supplier: Option<String>,
    pub cost: Cents,
    pub fixed_price: Option<Cents>,
    pub list_price: Option<Cents>,
    pub maker_warranty_months: Option<i32>,
    /// What the supplier holds back until the old part is returned.
    pub core_deposit: Option<Cents>,
    /// What it costs to have one sent.
    pub freight: Option<Cents>,
    /// The class of component it is, as flags name it.
    pub component_class: Option<String>,
    /// New, used or rebuilt; none for a part of which nobody says.
    pub condition: Option<PartCondition>,
}

/// The dearest part the shop keeps; beyond it products of prices would not fit.
const AMOUNT_MAX: Cents = Cents(100_000_000);

pub(super) fn amount(checks: &mut Checks, path: &str, amount: Cents) -> i64 {
    checks.not_negative(path, amount);
    if amount > AMOUNT_MAX {
        checks.refuse(
            ProblemCode::OutOfRange,
            path,
            format!("{amount} is above {AMOUNT_MAX}, the most a part may cost."),
        );
    }
    amount.0
}

/// Records a part with its first cost.
///
/// # Errors
/// `Forbidden`; `Taken` for a number on record; refusals name the field.
pub async fn add_part(act: &Act, new: AddPart) -> Result<part::Model> {
    act.staff_with(Right::AddPart)?;
    let mut checks = Checks::new();
    let supplier = checks.text_if_any("supplier", new.supplier.as_deref(), LINE_MAX);
    let mut row = part::ActiveModel {
        number: Set(checks.text("number", &new.number, LINE_MAX)),
        description: Set(checks.text("description", &new.description, LINE_MAX)),
        cost_cents: Set(amount(&mut checks, "cost", new.cost)),
        fixed_price_cents: Set(new
            .fixed_price
            .map(|price| amount(&mut checks, "fixedPrice", price))),
        list_price_cents: Set(new
            .list_price
            .map(|price| amount(&mut checks, "listPrice", price))),
        maker_warranty_months: Set(new
            .maker_warranty_months
            .map(|months| checks.between("makerWarrantyMonths", months, (0, 600)))),
        core_deposit_cents: Set(new
            .core_deposit
            .map(|each| amount(&mut checks, "coreDeposit", each))),
        freight_cents: Set(new.freight.map(|each| amount(&mut checks, "freight", each))),
        component_class: Set(checks.text_if_any(
            "componentClass",
            new.component_class.as_deref(),
            LINE_MAX,
        )),
        condition: Set(new.condition),
        version: Set(1),
        ..Default::default()
    };
    checks.finish()?;
    let tx = act.app.db.write().await?;
    if let Some(name) = supplier {
        let supplier = suppliers::named(&tx, act, Right::AddPart, name).await?;
        row.supplier_id = Set(Some(supplier.id));
    }
    let row = row.insert(&tx).await?;
    cost_from_now(&tx, act, &row).await?;
    audit::created(&tx, act, Right::AddPart.mutation(), subject(row.id), &row).await?;
    search::index(
        &tx,
        subject(row.id),
        &format!("{} {}", row.number, row.description),
        &[&row.number, &row.description],
    )
    .await?;
    tx.commit().await?;
    Ok(row)
}

/// What a part costs from now on.
#[derive(Clone, Debug)]
pub struct ChangePartCost {
    pub part_id: i64,
    /// The version that was read; somebody else's change in between is not overwritten.
    pub version: i32,
    pub cost: Cents,
}

/// Records a new cost beside the old ones. Estimates keep what they were priced with.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict` when it was changed since it was read; refusals name the field.
pub async fn change_part_cost(act: &Act, change: ChangePartCost) -> Result<part::Model> {
    act.staff_with(Right::ChangePartCost)?;
    let mut checks = Checks::new();
    let cost_cents = amount(&mut checks, "cost", change.cost);
    let tx = act.app.db.write().await?;
    let before = store::get_part(&tx, "partId", change.part_id).await?;
    if before.version != change.version {
        checks.refuse(
            ProblemCode::Conflict,
            "version",
            "Somebody changed this part since you read it. Read it again first.",
        );
    }
    checks.finish()?;
    let mut row = before.clone().into_active_model();
    row.cost_cents = Set(cost_cents);
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    cost_from_now(&tx, act, &after).await?;
    audit::record(
        &tx,
        act,
        Right::ChangePartCost.mutation(),
        subject(after.id),
        (Some(&before), Some(&after)),
    )
    .await?;
    tx.commit().await?;
    Ok(after)
}

async fn cost_from_now(tx: &impl ConnectionTrait, act: &Act, row: &part::Model) -> Result<()> {
    part_cost::ActiveModel {
        part_id: Set(row.id),
        cost_cents: Set(row.cost_cents),
        from_at: Set(act.at),
        ..Default::default()
    }
    .insert(tx)
    .await?;
    Ok(())
}

pub(super) fn subject(id: i64) -> Subject {
    Subject { kind: "part", id }
}
