//! Where a sale is taxed and who is exempt, as values of the rules.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use nameplate_entities::{tax_exemption, tax_jurisdiction, tax_level, taxability};
use nameplate_rules::percent::Percent;
use nameplate_rules::tax;
use sea_orm::ConnectionTrait;

use crate::base::{Error, ProblemCode, Result};

use super::{kinds, store};

/// A jurisdiction ready to tax with.
#[derive(Clone, Debug)]
pub struct Jurisdiction {
    pub row: tax_jurisdiction::Model,
    /// Rows of the levels, in the order of `rules.levels` and so of a result's levels.
    pub levels: Vec<tax_level::Model>,
    pub rules: tax::Jurisdiction,
}

/// The rules in force on `day` for the jurisdiction of row `id`: those of its name that took effect last.
///
/// # Errors
/// `NotFound` at `taxJurisdictionId`; `SettingMissing` when none of its rules had taken effect by then.
pub async fn jurisdiction(
    db: &impl ConnectionTrait,
    id: i64,
    day: NaiveDate,
) -> Result<Jurisdiction> {
    let named = store::get_jurisdiction(db, id).await?;
    let Some(row) = store::jurisdiction_on(db, &named.name, day).await? else {
        return Err(Error::refused(
            ProblemCode::SettingMissing,
            "",
            format!(
                "The tax rules of {} begin after {day}. Record those in force on that day.",
                named.name
            ),
        ));
    };
    let levels = store::levels_of(db, row.id).await?;
    let taxable = store::taxability_of(db, row.id).await?;
    let rules = rules_of(&row, &levels, &taxable)?;
    Ok(Jurisdiction { row, levels, rules })
}

fn rules_of(
    row: &tax_jurisdiction::Model,
    levels: &[tax_level::Model],
    taxable: &[taxability::Model],
) -> Result<tax::Jurisdiction> {
    let levels = levels
        .iter()
        .map(|level| {
            Ok(tax::Level {
                name: level.name.clone(),
                kind: kinds::level_of_row(level.kind),
                rate: Percent::new(level.rate_percent.0)
                    .map_err(|refusal| Error::caused("rate of a tax level", refusal))?,
                from_on: None,
                until_on: None,
            })
        })
        .collect::<Result<Vec<_>>>()?;
    let taxable = taxable
        .iter()
        .map(|rule| {
            let decided = tax::Taxability {
                taxable: rule.taxable,
                reason: rule.reason.clone(),
            };
            (kinds::charge_of_row(rule.charge_kind), decided)
        })
        .collect::<BTreeMap<_, _>>();
    Ok(tax::Jurisdiction {
        name: row.name.clone(),
        levels,
        taxable,
        basis: kinds::basis_of_row(row.basis),
        methods: Vec::new(),
    })
}

/// The customer's certificate that counts on `day`, else the one nearest to it, which a line's reason names.
///
/// # Errors
/// Internal only.
pub async fn exemption_on(
    db: &impl ConnectionTrait,
    customer_id: i64,
    day: NaiveDate,
) -> Result<Option<tax::Exemption>> {
    let held = store::exemptions_of(db, customer_id)
        .await?
        .into_iter()
        .map(exemption)
        .collect::<Vec<_>>();
    let covering = held.iter().find(|exemption| exemption.covers(day));
    Ok(covering.or_else(|| held.first()).cloned())
}

fn exemption(row: tax_exemption::Model) -> tax::Exemption {
    tax::Exemption {
        certificate: row.certificate,
        reason: row.reason,
        from_on: row.valid_from,
        until_on: row.valid_until,
    }
}
