//! Rows of local rules, and the values the rules work with.

use chrono::NaiveDate;
use nameplate_entities::local_rules;
use nameplate_rules::estimate::Tolerance;
use nameplate_rules::local_rules::{Element, LocalRules};
use nameplate_rules::money::Cents;
use nameplate_rules::percent::Percent;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, Select};

use crate::base::{Error, Result};

/// The rules of a place on a day.
pub struct Found {
    pub row: local_rules::Model,
    pub rules: LocalRules,
}

/// What holds at a place on a day: the region's own rules, or else the country's.
///
/// # Errors
/// Internal only.
pub async fn in_force(
    db: &impl ConnectionTrait,
    (country, region): (&str, &str),
    on: NaiveDate,
) -> Result<Option<Found>> {
    use local_rules::Column;
    let region = region.trim().to_uppercase();
    // An empty region sorts last, and the latest day first.
    let row = local_rules::Entity::find()
        .filter(Column::Country.eq(country.trim().to_uppercase()))
        .filter(Column::Region.is_in([region.as_str(), ""]))
        .filter(Column::EffectiveFrom.lte(on))
        .order_by_desc(Column::Region)
        .order_by_desc(Column::EffectiveFrom)
        .one(db)
        .await?;
    row.map(|row| {
        let rules = rules_of(&row)?;
        Ok(Found { row, rules })
    })
    .transpose()
}

/// # Errors
/// `NotFound` at `localRulesId`.
pub async fn get(db: &impl ConnectionTrait, id: i64) -> Result<local_rules::Model> {
    local_rules::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found("localRulesId", "set of local rules"))
}

/// The rules of the same place that take the place of these.
///
/// # Errors
/// Internal only.
pub async fn next_after(
    db: &impl ConnectionTrait,
    row: &local_rules::Model,
) -> Result<Option<local_rules::Model>> {
    use local_rules::Column;
    Ok(local_rules::Entity::find()
        .filter(Column::Country.eq(&row.country))
        .filter(Column::Region.eq(&row.region))
        .filter(Column::EffectiveFrom.gt(row.effective_from))
        .order_by_asc(Column::EffectiveFrom)
        .one(db)
        .await?)
}

/// Rules of one place, or of all.
pub fn listed(country: Option<&str>, region: Option<&str>) -> Select<local_rules::Entity> {
    let mut select = local_rules::Entity::find();
    if let Some(country) = country {
        select = select.filter(local_rules::Column::Country.eq(country.to_uppercase()));
    }
    if let Some(region) = region {
        select = select.filter(local_rules::Column::Region.eq(region.to_uppercase()));
    }
    select
}

/// Keys parted by blanks, as elements.
///
/// # Errors
/// Internal, for a key that is none.
pub fn elements(keys: &str) -> Result<Vec<Element>> {
    keys.split_whitespace()
        .map(|key| {
            Element::from_key(key)
                .ok_or_else(|| Error::internal("a local rule asks for nothing known"))
        })
        .collect()
}

fn rules_of(row: &local_rules::Model) -> Result<LocalRules> {
    let percent = row
        .consent_percent
        .map(|percent| Percent::new(percent.0))
        .transpose()
        .map_err(|refusal| Error::caused("tolerance of a place", refusal))?;
    let days = row
        .labour_warranty_days
        .map(u32::try_from)
        .transpose()
        .map_err(|error| Error::caused("warranty of a place", error))?;
    Ok(LocalRules {
        estimate: elements(&row.estimate_elements)?,
        bill: elements(&row.bill_elements)?,
        tolerance: percent.map(|percent| Tolerance {
            percent,
            limit_inside: row.consent_limit_inside,
        }),
        counts_tax: row.consent_counts_tax,
        written_over: row.written_over_cents.map(Cents),
        offers_removed_parts: row.offer_removed_parts,
        labour_warranty_days: days,
        wording: row.wording.clone(),
    })
}
