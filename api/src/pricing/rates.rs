//! Published tables of tax rates, kept row by row so that levels can follow them.

use chrono::NaiveDate;
use nameplate_entities::tax_rate;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder};

pub use nameplate_rules::tax::RateCode;

use crate::base::Result;

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
