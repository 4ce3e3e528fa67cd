//! Where a sale is taxed and who is exempt, as values of the rules.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use nameplate_entities::exact::Exact;
use nameplate_entities::{tax_exemption, tax_jurisdiction, tax_level, tax_method, taxability};
use nameplate_rules::percent::Percent;
use nameplate_rules::tax;
use sea_orm::ConnectionTrait;

use crate::base::{Error, ProblemCode, Result};

use super::{kinds, store};

/// A jurisdiction ready to tax with.
#[derive(Clone, Debug)]
pub struct Jurisdiction {
    pub row: tax_jurisdiction::Model,
    /// Rows of the levels, in the order of `rules.levels`; a result's levels say which they are.
    pub levels: Vec<tax_level::Model>,
    pub rules: tax::Jurisdiction,
}

/// A certificate ready to be held against a sale.
#[derive(Clone, Debug)]
pub struct Certificate {
    /// Its row.
    pub id: i64,
    pub rules: tax::Certificate,
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
    let methods = store::methods_of(db, row.id).await?;
    let rules = tax::Jurisdiction {
        name: row.name.clone(),
        levels: levels.iter().map(level).collect::<Result<Vec<_>>>()?,
        rules: rules_of(taxable)?,
        basis: kinds::basis_of_row(row.basis),
        methods: methods.iter().map(method).collect::<Result<Vec<_>>>()?,
        prices: kinds::prices_of_row(row.prices),
    };
    Ok(Jurisdiction { row, levels, rules })
}

/// A level as the rules know it.
pub fn level(row: &tax_level::Model) -> Result<tax::Level> {
    Ok(tax::Level {
        name: row.name.clone(),
        kind: kinds::level_of_row(row.kind),
        rate: percent(row.rate_percent)?,
        from_on: row.from_on,
        until_on: row.until_on,
        exempts: read_json("kinds a level exempts", &row.exempts_json)?,
    })
}

fn percent(rate: Exact) -> Result<Percent> {
    Percent::new(rate.0).map_err(|refusal| Error::caused("rate of a tax level", refusal))
}

/// The rules by kind of charge, each list in the order of its places.
fn rules_of(mut rows: Vec<taxability::Model>) -> Result<BTreeMap<tax::ChargeKind, Vec<tax::Rule>>> {
    rows.sort_by_key(|row| row.position);
    let mut rules = BTreeMap::<_, Vec<_>>::new();
    for row in rows {
        let rule = rule(&row)?;
        rules
            .entry(kinds::charge_of_row(row.charge_kind))
            .or_default()
            .push(rule);
    }
    Ok(rules)
}

/// A rule as the rules know it.
pub fn rule(row: &taxability::Model) -> Result<tax::Rule> {
    Ok(tax::Rule {
        when: read_json("conditions of a tax rule", &row.when_json)?,
        treatment: kinds::treatment_of_row(row.treatment),
        reason: row.reason.clone(),
        from_on: row.from_on,
        until_on: row.until_on,
        parts_apart: row.parts_apart,
    })
}

/// A method as the rules know it.
pub fn method(row: &tax_method::Model) -> Result<tax::DatedMethod> {
    let method = match &row.brackets_json {
        None => tax::Method::Section324,
        Some(json) => tax::Method::Brackets(read_json("a bracket table", json)?),
    };
    Ok(tax::DatedMethod {
        from_on: row.from_on,
        method,
    })
}

/// Reads what was checked before it was kept.
pub(super) fn read_json<T: serde::de::DeserializeOwned>(
    what: &'static str,
    json: &str,
) -> Result<T> {
    serde_json::from_str(json).map_err(|error| Error::caused(what, error))
}

/// Writes what the database keeps as JSON.
pub(super) fn json_of<T: serde::Serialize>(what: &'static str, value: &T) -> Result<String> {
    serde_json::to_string(value).map_err(|error| Error::caused(what, error))
}

/// The customer's certificate that counts on `day`, else the latest one, which a line's reason names.
///
/// # Errors
/// Internal only.
pub async fn certificate_on(
    db: &impl ConnectionTrait,
    customer_id: i64,
    day: NaiveDate,
) -> Result<Option<Certificate>> {
    let held = store::exemptions_of(db, customer_id)
        .await?
        .into_iter()
        .map(certificate)
        .collect::<Vec<_>>();
    let counting = held
        .iter()
        .find(|held| held.rules.standing(day) == tax::Standing::Counts);
    Ok(counting.or_else(|| held.first()).cloned())
}

/// A certificate as the rules know it.
pub fn certificate(row: tax_exemption::Model) -> Certificate {
    Certificate {
        id: row.id,
        rules: tax::Certificate {
            number: row.certificate,
            reason: row.reason,
            buyer: tax::Buyer {
                name: row.buyer_name.unwrap_or_default(),
                address: row.business_address.unwrap_or_default(),
                tax_id: row.tax_id.unwrap_or_default(),
                business_type: row.business_type.unwrap_or_default(),
            },
            received_on: row.received_on,
            purchases: kinds::purchases_of_row(row.purchases),
            from_on: row.valid_from,
            until_on: row.valid_until,
            last_purchase_on: row.last_purchase_on,
        },
    }
}
