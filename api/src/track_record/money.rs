//! What repairs that came back cost, month by month.

use std::collections::{BTreeMap, HashSet};

use chrono::{Datelike, NaiveDate};
use nameplate_rules::money::Cents;
use sea_orm::ConnectionTrait;

use crate::base::{Error, Result};
use crate::callbacks::outcomes::Watch;

use super::store::lost::lost_by_call;

/// What the shop bore of calls by which repairs came back.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Borne {
    pub calls: i64,
    pub lost: Cents,
}

/// What was borne in one month.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MonthLost {
    pub month: NaiveDate,
    /// Of calls on which a component repaired before was found wrong again.
    pub same_component: Borne,
    /// Of the others.
    pub other: Borne,
}

/// What was borne of returns within the window in the months of a span, oldest first. Each call counts once, in the month in
/// which something of it was first borne in the span; what is settled of it later is money of its own month and no call.
///
/// # Errors
/// Internal only.
pub async fn by_month(db: &impl ConnectionTrait, watch: &Watch) -> Result<Vec<MonthLost>> {
    let mut months: BTreeMap<NaiveDate, MonthLost> = BTreeMap::new();
    let mut seen = HashSet::new();
    let mut rows = lost_by_call(db, watch).await?;
    rows.sort_by_key(|row| row.borne_on);
    for row in rows {
        let month = row.borne_on.with_day(1).unwrap_or(row.borne_on);
        let entry = months.entry(month).or_insert_with(|| MonthLost {
            month,
            same_component: Borne::default(),
            other: Borne::default(),
        });
        let borne = if row.same_component {
            &mut entry.same_component
        } else {
            &mut entry.other
        };
        borne.calls += i64::from(seen.insert(row.call_id));
        let sum = borne.lost.checked_add(Cents(row.lost_cents));
        borne.lost = sum.ok_or_else(|| Error::internal("what callbacks cost is too large"))?;
    }
    Ok(months.into_values().collect())
}
