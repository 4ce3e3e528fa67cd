//! How many repairs are done on the first visit, and why the others are not.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use nameplate_entities::kinds::VisitReason;
use nameplate_rules::rates::Interval;
use nameplate_rules::rates::interval::wilson;
use rust_decimal::{Decimal, RoundingStrategy};
use sea_orm::ConnectionTrait;

use crate::base::own_work::Sight;
use crate::base::{Act, Caller, Error, Result, Role};

use super::Span;
use super::store::visits::{self, OfMonth, OfReason};

/// Repair calls completed in some days.
pub struct FirstVisits {
    pub all: Completed,
    /// Completed without any visit on record: they say nothing, and are counted in no rate.
    pub without_visit: i64,
    /// Why calls took further visits, the most frequent reason first.
    pub reasons: Vec<Reason>,
    /// Why the first visit that was made had been planned again: the one before was missed.
    pub planned_again: Vec<Reason>,
    /// By who made the first visit; none for the office, as figures of people are the owner's and one's own.
    pub technicians: Vec<(Technician, Completed)>,
    /// By the first day of the month of completion; months without such a call are left out.
    pub months: Vec<(NaiveDate, Completed)>,
}

/// Why visits were planned, none where nobody said, and how many.
pub type Reason = (Option<VisitReason>, i64);

/// Who made a first visit.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Technician {
    pub name: String,
    pub id: i64,
}

/// Completed calls with a visit on record.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Completed {
    pub calls: i64,
    /// Those that took exactly one visit.
    pub first_visit: i64,
}

impl Completed {
    fn add(&mut self, row: &OfMonth) {
        self.calls += row.calls;
        self.first_visit += row.first_visit;
    }

    /// Percent of the calls that took one visit, to one decimal, half up; none of no call.
    pub fn percent(self) -> Option<Decimal> {
        let share = Decimal::from(self.first_visit).checked_mul(Decimal::ONE_HUNDRED)?;
        let percent = share.checked_div(Decimal::from(self.calls))?;
        Some(percent.round_dp_with_strategy(1, RoundingStrategy::MidpointAwayFromZero))
    }

    /// The 95 % limits of that share (Wilson); none of no call.
    pub fn limits(self) -> Option<Interval> {
        let count = |calls: i64| u32::try_from(calls).ok().map(f64::from);
        let (first, calls) = (count(self.first_visit)?, count(self.calls)?);
        wilson(first / calls, calls)
    }
}

/// Reads them; for a technician only the calls whose first visit was an own one. The caller bounds the days. Two statements.
///
/// # Errors
/// Internal only.
pub async fn first_visits(db: &impl ConnectionTrait, act: &Act, span: Span) -> Result<FirstVisits> {
    let sight = Sight::of(act);
    let is_seen = |technician_id: Option<i64>| match sight {
        Sight::All => true,
        Sight::Own(id) => technician_id == Some(id),
        Sight::Nothing => false,
    };
    let mut months = visits::of_months(db, span).await?;
    months.retain(|row| is_seen(row.technician_id));
    let mut reasons = visits::of_reasons(db, span).await?;
    reasons.retain(|row| is_seen(Some(row.technician_id)));
    let (further, again): (Vec<_>, Vec<_>) = reasons.iter().partition(|row| row.further == 1);
    let mut found = sums(&months, (by_reason(&further), by_reason(&again)))?;
    let is_office = matches!(
        act.caller,
        Caller::Staff {
            role: Role::Office,
            ..
        }
    );
    if is_office {
        found.technicians.clear();
    }
    Ok(found)
}

/// How many visits each reason has, the most frequent first.
fn by_reason(rows: &[&OfReason]) -> Vec<Reason> {
    let mut reasons: Vec<Reason> = Vec::new();
    for row in rows {
        match reasons.iter_mut().find(|(reason, _)| *reason == row.reason) {
            Some((_, count)) => *count += row.visits,
            None => reasons.push((row.reason, row.visits)),
        }
    }
    reasons.sort_by_key(|(_, visits)| std::cmp::Reverse(*visits));
    reasons
}

fn sums(
    rows: &[OfMonth],
    (reasons, planned_again): (Vec<Reason>, Vec<Reason>),
) -> Result<FirstVisits> {
    let mut all = Completed::default();
    let mut without_visit = 0;
    let mut technicians: BTreeMap<Technician, Completed> = BTreeMap::new();
    let mut months: BTreeMap<NaiveDate, Completed> = BTreeMap::new();
    for row in rows {
        let Some(id) = row.technician_id else {
            without_visit += row.calls;
            continue;
        };
        let first_day = format!("{}-01", row.month).parse();
        let first_day = first_day.map_err(|error| Error::caused("month of a call", error))?;
        let name = row.technician.clone().unwrap_or_default();
        all.add(row);
        technicians
            .entry(Technician { name, id })
            .or_default()
            .add(row);
        months.entry(first_day).or_default().add(row);
    }
    Ok(FirstVisits {
        all,
        without_visit,
        reasons,
        planned_again,
        technicians: technicians.into_iter().collect(),
        months: months.into_iter().collect(),
    })
}

#[cfg(test)]
mod tests;
