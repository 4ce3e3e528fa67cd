//! Published tables of tax rates, kept row by row so that levels can follow them.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use nameplate_entities::{tax_jurisdiction, tax_level, tax_rate};
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder};

pub use nameplate_rules::tax::RateCode;

use crate::base::Result;

/// A level whose rate is not the published one of a day.
#[derive(Clone, Debug)]
pub struct RateChange {
    /// The rules in force.
    pub place: tax_jurisdiction::Model,
    pub level: tax_level::Model,
    /// The published row; none when the rate ended.
    pub to: Option<tax_rate::Model>,
}

/// The published rate of a code on a day: the row that began last and has not ended.
pub async fn rate_on(
    db: &impl ConnectionTrait,
    code: &RateCode,
    day: NaiveDate,
) -> Result<Option<tax_rate::Model>> {
    let row = tax_rate::Entity::find()
        .filter(tax_rate::Column::StateCode.eq(&code.state))
        .filter(tax_rate::Column::JurisdictionType.eq(&code.kind))
        .filter(tax_rate::Column::JurisdictionCode.eq(&code.jurisdiction))
        .filter(tax_rate::Column::BeginsOn.lte(day))
        .order_by_desc(tax_rate::Column::BeginsOn)
        .one(db)
        .await?;
    Ok(row.filter(|row| row.ends_on.is_none_or(|last| last >= day)))
}

/// The code of a published row.
pub fn code_of(row: &tax_rate::Model) -> RateCode {
    RateCode {
        state: row.state_code.clone(),
        kind: row.jurisdiction_type.clone(),
        jurisdiction: row.jurisdiction_code.clone(),
    }
}

/// Levels of the rules in force on `day` that follow the rate table and differ from it, in the order of their
/// places' names. Three statements, whatever there is.
pub async fn changes_on(db: &impl ConnectionTrait, day: NaiveDate) -> Result<Vec<RateChange>> {
    let places = tax_jurisdiction::Entity::find()
        .filter(tax_jurisdiction::Column::EffectiveFrom.lte(day))
        .order_by_asc(tax_jurisdiction::Column::EffectiveFrom)
        .all(db)
        .await?
        .into_iter()
        .map(|row| (row.name.clone(), row))
        .collect::<BTreeMap<_, _>>();
    let levels = tax_level::Entity::find()
        .filter(tax_level::Column::RateCode.is_not_null())
        .filter(tax_level::Column::TaxJurisdictionId.is_in(places.values().map(|row| row.id)))
        .order_by_asc(tax_level::Column::Position)
        .all(db)
        .await?;
    let published = published_on(db, &levels, day).await?;
    let mut changes = Vec::new();
    for place in places.into_values() {
        for level in levels
            .iter()
            .filter(|level| level.tax_jurisdiction_id == place.id && is_in_force(level, day))
        {
            let to = level
                .rate_code
                .as_deref()
                .and_then(|code| published.get(code));
            if to.is_none_or(|to| to.intrastate_percent.0 != level.rate_percent.0) {
                changes.push(RateChange {
                    place: place.clone(),
                    level: level.clone(),
                    to: to.cloned(),
                });
            }
        }
    }
    Ok(changes)
}

/// A level that ended or is still to come keeps its own rate.
fn is_in_force(level: &tax_level::Model, day: NaiveDate) -> bool {
    level.from_on.is_none_or(|from| from <= day) && level.until_on.is_none_or(|until| day <= until)
}

/// The published rows of a day for the codes of these levels.
async fn published_on(
    db: &impl ConnectionTrait,
    levels: &[tax_level::Model],
    day: NaiveDate,
) -> Result<BTreeMap<String, tax_rate::Model>> {
    let codes = levels
        .iter()
        .filter_map(|level| RateCode::parse(level.rate_code.as_deref()?).ok())
        .map(|code| code.jurisdiction)
        .collect::<std::collections::BTreeSet<_>>();
    let rows = tax_rate::Entity::find()
        .filter(tax_rate::Column::JurisdictionCode.is_in(codes))
        .filter(tax_rate::Column::BeginsOn.lte(day))
        .order_by_asc(tax_rate::Column::BeginsOn)
        .all(db)
        .await?;
    let mut latest = BTreeMap::new();
    for row in rows {
        latest.insert(code_of(&row).to_string(), row);
    }
    latest.retain(|_, row| row.ends_on.is_none_or(|last| last >= day));
    Ok(latest)
}
