//! Which jurisdictions a postal code may lie in: a proposal for whoever confirms an address, never a decision.

use std::collections::BTreeSet;

use nameplate_entities::{postal_jurisdiction, tax_jurisdiction};
use sea_orm::{ActiveValue::Set, ColumnTrait, EntityTrait, QueryFilter};

use crate::base::audit::{self, Subject};
use crate::base::{Act, Checks, ProblemCode, Result, Right};

use super::super::store;

/// Postal codes of one request.
const CODES_MAX: usize = 1_000;
/// Longest postal code.
const CODE_CHARS_MAX: usize = 20;

/// Postal codes that a jurisdiction has, and those it no longer has.
#[derive(Clone, Debug)]
pub struct AssignPostalCodes {
    pub tax_jurisdiction_id: i64,
    pub postal_codes: Vec<String>,
    pub removed: Vec<String>,
}

/// Records which postal codes a jurisdiction has. A code may lie in several; those known already stay as they are.
///
/// # Errors
/// `Forbidden`; `NotFound`; refusals name the field.
pub async fn assign_postal_codes(
    act: &Act,
    new: AssignPostalCodes,
) -> Result<tax_jurisdiction::Model> {
    act.staff_with(Right::AssignPostalCodes)?;
    let mut checks = Checks::new();
    let added = checked(&mut checks, "postalCodes", &new.postal_codes);
    let removed = checked(&mut checks, "removed", &new.removed);
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let row = store::get_jurisdiction(&tx, new.tax_jurisdiction_id).await?;
    let of_it = postal_jurisdiction::Column::TaxJurisdictionId.eq(row.id);
    let column = postal_jurisdiction::Column::PostalCode;
    if !removed.is_empty() {
        postal_jurisdiction::Entity::delete_many()
            .filter(of_it.clone())
            .filter(column.is_in(removed.iter().cloned()))
            .exec(&tx)
            .await?;
    }
    let known = postal_jurisdiction::Entity::find()
        .filter(of_it)
        .filter(column.is_in(added.iter().cloned()))
        .all(&tx)
        .await?
        .into_iter()
        .map(|known| known.postal_code)
        .collect::<BTreeSet<_>>();
    let fresh = added.difference(&known).cloned().collect::<Vec<_>>();
    if !fresh.is_empty() {
        let rows = fresh.iter().map(|code| postal_jurisdiction::ActiveModel {
            postal_code: Set(code.clone()),
            tax_jurisdiction_id: Set(row.id),
            ..Default::default()
        });
        postal_jurisdiction::Entity::insert_many(rows)
            .exec(&tx)
            .await?;
    }
    let subject = Subject {
        kind: "tax_jurisdiction",
        id: row.id,
    };
    let verb = Right::AssignPostalCodes.mutation();
    audit::record(&tx, act, verb, subject, (Some(&removed), Some(&fresh))).await?;
    tx.commit().await?;
    Ok(row)
}

fn checked(checks: &mut Checks, path: &str, codes: &[String]) -> BTreeSet<String> {
    if codes.len() > CODES_MAX {
        let words = format!("This takes at most {CODES_MAX} at a time.");
        checks.refuse(ProblemCode::TooLong, path, words);
        return BTreeSet::new();
    }
    codes
        .iter()
        .enumerate()
        .map(|(at, code)| checks.text(&format!("{path}.{at}"), code, CODE_CHARS_MAX))
        .collect()
}
