//! Tax rules of a place, and customers' certificates.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use nameplate_entities::kinds::{ChargeKind, LevelKind, TaxBasis};
use nameplate_entities::{tax_exemption, tax_jurisdiction, tax_level, taxability};
use nameplate_rules::percent::Percent;
use nameplate_rules::tax;
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, EntityTrait};

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, ProblemCode, Result, Right};
use crate::customers;

use super::super::kinds;

/// Authorities over one address; the United States have four ranks, districts may repeat.
const LEVELS_MAX: usize = 20;

/// Where and how sales are taxed, from a day on.
#[derive(Clone, Debug)]
pub struct AddTaxJurisdiction {
    pub name: String,
    pub basis: TaxBasis,
    pub effective_from: NaiveDate,
    /// In the order of reporting.
    pub levels: Vec<NewLevel>,
    /// One for each kind of charge.
    pub taxability: Vec<NewTaxability>,
}

/// One levying authority.
#[derive(Clone, Debug)]
pub struct NewLevel {
    pub name: String,
    pub kind: LevelKind,
    pub rate_percent: Decimal,
}

/// Whether a kind of charge is taxed there.
#[derive(Clone, Debug)]
pub struct NewTaxability {
    pub charge_kind: ChargeKind,
    pub taxable: bool,
    pub reason: String,
}

/// Records where and how sales are taxed. New rules of the same place are recorded beside the old ones.
///
/// # Errors
/// `Forbidden`; `Taken` when the place has rules from that day; refusals name the field.
pub async fn add_tax_jurisdiction(
    act: &Act,
    new: AddTaxJurisdiction,
) -> Result<tax_jurisdiction::Model> {
    act.staff_with(Right::AddTaxJurisdiction)?;
    let mut checks = Checks::new();
    let row = tax_jurisdiction::ActiveModel {
        name: Set(checks.text("name", &new.name, LINE_MAX)),
        basis: Set(new.basis),
        effective_from: Set(new.effective_from),
        ..Default::default()
    };
    let levels = checked_levels(&mut checks, &new.levels);
    let rules = checked_taxability(&mut checks, &new.taxability);
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let row = row.insert(&tx).await?;
    let levels = levels.into_iter().map(|level| tax_level::ActiveModel {
        tax_jurisdiction_id: Set(row.id),
        ..level
    });
    tax_level::Entity::insert_many(levels).exec(&tx).await?;
    let rules = rules.into_iter().map(|rule| taxability::ActiveModel {
        tax_jurisdiction_id: Set(row.id),
        ..rule
    });
    taxability::Entity::insert_many(rules).exec(&tx).await?;
    let subject = Subject {
        kind: "tax_jurisdiction",
        id: row.id,
    };
    audit::created(
        &tx,
        act,
        Right::AddTaxJurisdiction.mutation(),
        subject,
        &row,
    )
    .await?;
    tx.commit().await?;
    Ok(row)
}

fn checked_levels(checks: &mut Checks, levels: &[NewLevel]) -> Vec<tax_level::ActiveModel> {
    if levels.len() > LEVELS_MAX {
        checks.refuse(
            ProblemCode::TooLong,
            "levels",
            format!("A place takes at most {LEVELS_MAX} levels."),
        );
        return Vec::new();
    }
    let mut rates = Vec::with_capacity(levels.len());
    let mut names = BTreeSet::new();
    let mut rows = Vec::with_capacity(levels.len());
    for (position, (at, level)) in (0..).zip(levels.iter().enumerate()) {
        let path = format!("levels.{at}.ratePercent");
        match Percent::new(level.rate_percent) {
            Ok(rate) => rates.push(rate),
            Err(refusal) => {
                checks.refuse(ProblemCode::OutOfRange, &path, format!("{refusal}."));
            }
        }
        let path = format!("levels.{at}.name");
        let name = checks.text(&path, &level.name, LINE_MAX);
        if !names.insert(name.clone()) {
            checks.refuse(ProblemCode::Taken, &path, "Another level has this name.");
        }
        rows.push(tax_level::ActiveModel {
            position: Set(position),
            name: Set(name),
            kind: Set(level.kind),
            rate_percent: Set(level.rate_percent.into()),
            ..Default::default()
        });
    }
    if let Err(refusal) = Percent::sum(rates) {
        let words = format!("The levels together: {refusal}.");
        checks.refuse(ProblemCode::OutOfRange, "levels", words);
    }
    rows
}

fn checked_taxability(
    checks: &mut Checks,
    rules: &[NewTaxability],
) -> Vec<taxability::ActiveModel> {
    let mut known = BTreeSet::new();
    let mut rows = Vec::with_capacity(rules.len());
    for (at, rule) in rules.iter().enumerate() {
        if !known.insert(kinds::charge_of_row(rule.charge_kind)) {
            checks.refuse(
                ProblemCode::Taken,
                &format!("taxability.{at}.chargeKind"),
                "This kind of charge has a rule already.",
            );
            continue;
        }
        rows.push(taxability::ActiveModel {
            charge_kind: Set(rule.charge_kind),
            taxable: Set(rule.taxable),
            reason: Set(checks.text(&format!("taxability.{at}.reason"), &rule.reason, LINE_MAX)),
            ..Default::default()
        });
    }
    let missing = tax::ChargeKind::ALL
        .into_iter()
        .filter(|kind| !known.contains(kind))
        .map(|kind| kind.to_string())
        .collect::<Vec<_>>();
    if !missing.is_empty() {
        checks.refuse(
            ProblemCode::Missing,
            "taxability",
            format!(
                "Say whether these charges are taxed: {}.",
                missing.join(", ")
            ),
        );
    }
    rows
}

/// A certificate to record.
#[derive(Clone, Debug)]
pub struct AddTaxExemption {
    pub customer_id: i64,
    pub certificate: String,
    pub reason: String,
    pub valid_from: NaiveDate,
    pub valid_until: Option<NaiveDate>,
}

/// Records a customer's exemption certificate.
///
/// # Errors
/// `Forbidden`; `NotFound`; refusals name the field.
pub async fn add_tax_exemption(act: &Act, new: AddTaxExemption) -> Result<tax_exemption::Model> {
    act.staff_with(Right::AddTaxExemption)?;
    let mut checks = Checks::new();
    let row = tax_exemption::ActiveModel {
        customer_id: Set(new.customer_id),
        certificate: Set(checks.text("certificate", &new.certificate, LINE_MAX)),
        reason: Set(checks.text("reason", &new.reason, LINE_MAX)),
        valid_from: Set(new.valid_from),
        valid_until: Set(new.valid_until),
        ..Default::default()
    };
    checks.in_order(&[
        ("validFrom", "The first day", Some(new.valid_from)),
        ("validUntil", "The last day", new.valid_until),
    ]);
    checks.finish()?;
    let tx = act.app.db.write().await?;
    customers::get_customer(&tx, "customerId", new.customer_id).await?;
    let row = row.insert(&tx).await?;
    let subject = Subject {
        kind: "tax_exemption",
        id: row.id,
    };
    audit::created(&tx, act, Right::AddTaxExemption.mutation(), subject, &row).await?;
    tx.commit().await?;
    Ok(row)
}
