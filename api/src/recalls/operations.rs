//! Saying which machines a recall is about, and what was done about it.

use std::collections::HashSet;

use chrono::NaiveDate;
use nameplate_entities::{appliance, recall, recall_check, recall_product};
use nameplate_rules::recall::is_pattern;
use nameplate_rules::serial::SerialKey;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, IntoActiveModel,
    QueryFilter,
};

use super::store;
use crate::base::audit::{self, Subject};
use crate::base::check::{LINE_MAX, TEXT_MAX};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};
use crate::{appliances, shop};

/// Most products of one recall.
pub const PRODUCTS_MAX: usize = 200;
/// Products written in one statement.
const PIECE: usize = 100;

/// Which machines a recall is about.
#[derive(Clone, Debug)]
pub struct NewProduct {
    pub make: String,
    /// None for all models of the make; `*` and `?` as usual.
    pub model_pattern: Option<String>,
    pub serial_from: Option<String>,
    pub serial_through: Option<String>,
    pub description: Option<String>,
}

/// All products of a recall, in place of what was there.
#[derive(Clone, Debug)]
pub struct SetRecallProducts {
    pub recall_id: i64,
    pub version: i32,
    pub products: Vec<NewProduct>,
}

/// Says which machines a recall is about, in place of what was said before. What was checked stays.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict`; refusals name the field.
pub async fn set_recall_products(act: &Act, set: SetRecallProducts) -> Result<recall::Model> {
    act.staff_with(Right::SetRecallProducts)?;
    let mut checks = Checks::new();
    if set.products.is_empty() || set.products.len() > PRODUCTS_MAX {
        let message = format!("A recall is about 1 to {PRODUCTS_MAX} products.");
        checks.refuse(ProblemCode::OutOfRange, "products", message);
    }
    let rows: Vec<_> = (set.products.iter().take(PRODUCTS_MAX).enumerate())
        .map(|(at, product)| product.row(&mut checks, &format!("products.{at}.")))
        .collect();
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let before = store::get_recall(&tx, "recallId", set.recall_id).await?;
    same_version(before.version, set.version)?;
    let old = store::products_of(&tx, before.id).await?;
    recall_product::Entity::delete_many()
        .filter(recall_product::Column::RecallId.eq(before.id))
        .exec(&tx)
        .await?;
    let new = write_products(&tx, before.id, rows).await?;
    let mut row = before.clone().into_active_model();
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    let verb = Right::SetRecallProducts.mutation();
    let both = (Some(&old), Some(&new));
    audit::record(&tx, act, verb, of_recall(after.id), both).await?;
    tx.commit().await?;
    Ok(after)
}

/// Writes the products of a recall.
pub async fn write_products(
    tx: &impl ConnectionTrait,
    recall_id: i64,
    rows: Vec<recall_product::ActiveModel>,
) -> Result<Vec<recall_product::Model>> {
    let mut written = Vec::with_capacity(rows.len());
    for piece in rows.chunks(PIECE) {
        let rows = piece.iter().map(|row| recall_product::ActiveModel {
            recall_id: Set(recall_id),
            ..row.clone()
        });
        let rows = recall_product::Entity::insert_many(rows);
        written.extend(rows.exec_with_returning(tx).await?);
    }
    written.sort_by_key(|row| row.id);
    Ok(written)
}

impl NewProduct {
    /// The row, with every problem named below `path`.
    pub fn row(&self, checks: &mut Checks, path: &str) -> recall_product::ActiveModel {
        let at = |field: &str| format!("{path}{field}");
        let make = checks.text(&at("make"), &self.make, LINE_MAX);
        let make_key = key(checks, &at("make"), Some(&make)).unwrap_or_default();
        let pattern = self.model_pattern.as_deref().and_then(pattern);
        if pattern
            .as_deref()
            .is_some_and(|pattern| !is_pattern(pattern))
        {
            let message =
                "A pattern holds letters or digits, with * for any of them and ? for one.";
            checks.refuse(ProblemCode::Malformed, &at("modelPattern"), message);
        }
        let from = key(checks, &at("serialFrom"), self.serial_from.as_deref());
        let through = key(checks, &at("serialThrough"), self.serial_through.as_deref());
        let description = self.description.as_deref();
        recall_product::ActiveModel {
            make: Set(make),
            make_key: Set(make_key),
            model_pattern: Set(pattern),
            serial_from: Set(from),
            serial_through: Set(through),
            description: Set(checks.text_if_any(&at("description"), description, TEXT_MAX)),
            ..Default::default()
        }
    }
}

/// A pattern of models as it is kept; none for one of all models.
pub fn pattern(typed: &str) -> Option<String> {
    let kept: String = (typed.to_uppercase().chars())
        .filter(|letter| letter.is_alphanumeric() || matches!(letter, '*' | '?'))
        .collect();
    Some(kept).filter(|pattern| !pattern.is_empty() && pattern != "*")
}

fn key(checks: &mut Checks, path: &str, text: Option<&str>) -> Option<String> {
    let text = text.filter(|text| !text.trim().is_empty())?;
    match SerialKey::parse(text) {
        Ok(key) => Some(key.into()),
        Err(refusal) => {
            checks.refuse(ProblemCode::Malformed, path, format!("{refusal}."));
            None
        }
    }
}

/// Whether a publisher took a recall back.
#[derive(Clone, Debug)]
pub struct WithdrawRecall {
    pub recall_id: i64,
    pub version: i32,
    /// None where that was written down by mistake.
    pub withdrawn_on: Option<NaiveDate>,
}

/// Writes down that a recall was taken back, and is told of no more; or that it was not.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict`; `ImpossibleDate`.
pub async fn withdraw_recall(act: &Act, withdraw: WithdrawRecall) -> Result<recall::Model> {
    act.staff_with(Right::WithdrawRecall)?;
    let tx = act.app.db.write().await?;
    let today = shop::settings(&tx).await?.day_of(act.at);
    let before = store::get_recall(&tx, "recallId", withdraw.recall_id).await?;
    same_version(before.version, withdraw.version)?;
    let mut checks = Checks::new();
    if let Some(day) = withdraw.withdrawn_on {
        checks.not_after("withdrawnOn", day, today);
    }
    checks.in_order(&[
        (
            "withdrawnOn",
            "The day it was published",
            Some(before.published_on),
        ),
        (
            "withdrawnOn",
            "The day it was taken back",
            withdraw.withdrawn_on,
        ),
    ]);
    checks.finish()?;
    let mut row = before.clone().into_active_model();
    row.withdrawn_on = Set(withdraw.withdrawn_on);
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    let verb = Right::WithdrawRecall.mutation();
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, of_recall(after.id), both).await?;
    tx.commit().await?;
    Ok(after)
}

/// What was done about a recall on a machine.
#[derive(Clone, Debug)]
pub struct CheckRecall {
    pub recall_id: i64,
    pub appliance_id: i64,
    /// Whether the plate says that the machine is meant.
    pub is_meant: bool,
    pub told_on: Option<NaiveDate>,
    pub done_on: Option<NaiveDate>,
    pub note: Option<String>,
}

/// Writes down that somebody looked at the plate, told the customer or saw the remedy carried out.
///
/// # Errors
/// `Forbidden`; `NotFound`, for a technician also for a machine of no own call; `Malformed` for a remedy on a machine that
/// is not meant; `ImpossibleDate`; refusals name the field.
pub async fn check_recall(act: &Act, check: CheckRecall) -> Result<recall_check::Model> {
    let staff_id = act.staff_with(Right::CheckRecall)?;
    let tx = act.app.db.write().await?;
    let today = shop::settings(&tx).await?.day_of(act.at);
    let recall = store::get_recall(&tx, "recallId", check.recall_id).await?;
    let machine = appliances::get_own_appliance(&tx, act, "applianceId", check.appliance_id);
    let machine = machine.await?;
    let mut checks = Checks::new();
    for (path, day) in [("toldOn", check.told_on), ("doneOn", check.done_on)] {
        if let Some(day) = day {
            checks.not_after(path, day, today);
            checks.in_order(&[
                (
                    path,
                    "The day the recall was published",
                    Some(recall.published_on),
                ),
                (path, "This day", Some(day)),
            ]);
        }
    }
    if !check.is_meant && check.done_on.is_some() {
        let message = "A machine that is not meant has no remedy carried out.";
        checks.refuse(ProblemCode::Malformed, "doneOn", message);
    }
    let note = checks.text_if_any("note", check.note.as_deref(), TEXT_MAX);
    checks.finish()?;
    let before = store::check_of(&tx, (recall.id, machine.id)).await?;
    if before.is_none() && !is_about(&tx, &machine, recall.id).await? {
        let message = "This recall is not about this machine. If it is, mend what the recall names (setRecallProducts).";
        return Err(Error::refused(ProblemCode::WrongState, "recallId", message));
    }
    let row = recall_check::ActiveModel {
        recall_id: Set(recall.id),
        appliance_id: Set(machine.id),
        is_meant: Set(check.is_meant),
        note: Set(note),
        told_on: Set(check.told_on),
        done_on: Set(check.done_on),
        checked_at: Set(act.at),
        checked_by: Set(staff_id),
        version: Set(before.as_ref().map_or(1, |row| row.version + 1)),
        ..Default::default()
    };
    let after = match &before {
        Some(before) => {
            let row = recall_check::ActiveModel {
                id: Set(before.id),
                ..row
            };
            row.update(&tx).await?
        }
        None => row.insert(&tx).await?,
    };
    let of_check = Subject {
        kind: "recall_check",
        id: after.id,
    };
    let verb = Right::CheckRecall.mutation();
    audit::record(&tx, act, verb, of_check, (before.as_ref(), Some(&after))).await?;
    tx.commit().await?;
    Ok(after)
}

fn same_version(now: i32, read: i32) -> Result<()> {
    if now == read {
        return Ok(());
    }
    let message = "Somebody changed this in the meantime; read it again.";
    Err(Error::refused(ProblemCode::Conflict, "version", message))
}

/// Whether a recall is or may be about a machine.
async fn is_about(
    tx: &impl ConnectionTrait,
    machine: &appliance::Model,
    recall_id: i64,
) -> Result<bool> {
    let matched = store::about(tx, machine).await?;
    Ok(matched.iter().any(|matched| matched.recall.id == recall_id))
}

/// What an audit row is about.
pub fn of_recall(id: i64) -> Subject {
    Subject { kind: "recall", id }
}

/// Each product once.
pub fn distinct(products: Vec<NewProduct>) -> Vec<NewProduct> {
    let mut seen = HashSet::new();
    let key = |product: &NewProduct| {
        (
            product.make.to_uppercase(),
            product.model_pattern.clone(),
            product.serial_from.clone(),
            product.serial_through.clone(),
        )
    };
    (products.into_iter())
        .filter(|product| seen.insert(key(product)))
        .collect()
}
