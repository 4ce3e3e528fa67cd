//! Repairs done on the first visit, in the graph.

use async_graphql::{ComplexObject, Context, Object, SimpleObject};
use chrono::{Months, NaiveDate};

use crate::calls::graphql::visit::VisitReason;
use crate::graphql::context::{act, reader};
use crate::graphql::error::{bad_input, edge};
use crate::graphql::scalars::ExactDecimal;
use crate::shop::graphql::Staff;

use super::super::first_visits::{self, Completed, FirstVisits, Reason, Technician};
use super::super::store::Span;

/// Most years in one answer.
const YEARS_MAX: u32 = 3;

/// Repair calls completed in some days, by the visits they took. Visits count that were made: those planned for days up to that
/// of completion, and those made before somebody said that the call was complete. On the first visit means on the first one that
/// was made: one that was missed before is none.
#[derive(SimpleObject)]
pub struct FirstVisitReport {
    /// First day.
    from: NaiveDate,
    /// Last day.
    through: NaiveDate,
    /// All of them that have a visit on record.
    all: FirstVisitFigures,
    /// Calls completed without any visit on record: they say nothing, and are in no rate.
    without_visit: i64,
    /// Why calls took further visits, the most frequent reason first.
    reasons: Vec<FurtherVisits>,
    /// Why the first visit that was made had been planned again, the one before having been missed; the most frequent first.
    planned_again: Vec<FurtherVisits>,
    /// By who made the first visit: all of them for the owner, a technician's own; empty for the office.
    technicians: Vec<TechnicianFirstVisits>,
    /// By month of completion; months without such a call are left out.
    months: Vec<MonthFirstVisits>,
}

/// How many of some repairs were done on the first visit.
#[derive(SimpleObject)]
pub struct FirstVisitFigures {
    /// Completed calls with a visit on record.
    calls: i64,
    /// Those that took exactly one.
    on_first_visit: i64,
    /// Percent of the calls that took one, to one decimal; null of none.
    percent: Option<ExactDecimal>,
    /// Lower limit of the 95 % interval in percent (Wilson); null of no call.
    low: Option<f64>,
    /// Upper limit in percent.
    high: Option<f64>,
}

impl From<Reason> for FurtherVisits {
    fn from((reason, visits): Reason) -> Self {
        Self {
            reason: reason.map(Into::into),
            visits,
        }
    }
}

impl From<Completed> for FirstVisitFigures {
    fn from(completed: Completed) -> Self {
        let limits = completed.limits();
        Self {
            calls: completed.calls,
            on_first_visit: completed.first_visit,
            percent: completed.percent().map(ExactDecimal),
            low: limits.map(|limits| limits.low * 100.0),
            high: limits.map(|limits| limits.high * 100.0),
        }
    }
}

/// Visits that were planned for one reason.
#[derive(SimpleObject)]
pub struct FurtherVisits {
    /// Why; null where nobody said.
    reason: Option<VisitReason>,
    /// How many visits.
    visits: i64,
}

/// The figures of a technician.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct TechnicianFirstVisits {
    /// The figures.
    figures: FirstVisitFigures,
    #[graphql(skip)]
    technician_id: i64,
}

impl From<(Technician, Completed)> for TechnicianFirstVisits {
    fn from((technician, completed): (Technician, Completed)) -> Self {
        Self {
            figures: completed.into(),
            technician_id: technician.id,
        }
    }
}

#[ComplexObject]
impl TechnicianFirstVisits {
    /// Who made the first visit.
    async fn technician(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.technician_id).await
    }
}

/// The figures of a month.
#[derive(SimpleObject)]
pub struct MonthFirstVisits {
    /// First day of the month.
    month: NaiveDate,
    /// The figures.
    figures: FirstVisitFigures,
}

impl From<(NaiveDate, Completed)> for MonthFirstVisits {
    fn from((month, completed): (NaiveDate, Completed)) -> Self {
        Self {
            month,
            figures: completed.into(),
        }
    }
}

/// Visits that calls took.
#[derive(Default)]
pub struct FirstVisitsQuery;

#[Object]
impl FirstVisitsQuery {
    /// How many repairs were done on the first visit, and why others took more; for a technician of own first visits.
    #[graphql(complexity = "50 + 30 * child_complexity")]
    async fn first_visits(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The first day on which calls were completed.")] from: NaiveDate,
        #[graphql(desc = "The last one; three years from the first at most.")] through: NaiveDate,
    ) -> async_graphql::Result<FirstVisitReport> {
        Span::new(from, from).map_err(|wrong| bad_input("from", wrong))?;
        let span = Span::new(from, through).map_err(|wrong| bad_input("through", wrong))?;
        let last = from.checked_add_months(Months::new(12 * YEARS_MAX));
        if last.is_some_and(|last| through >= last) {
            let words = format!("At most {YEARS_MAX} years lie in one answer.");
            return Err(bad_input("through", words));
        }
        let found = first_visits::first_visits(reader(ctx)?, act(ctx)?, span).await;
        let FirstVisits {
            all,
            without_visit,
            reasons,
            planned_again,
            technicians,
            months,
        } = found.map_err(edge)?;
        Ok(FirstVisitReport {
            from,
            through,
            all: all.into(),
            without_visit,
            reasons: reasons.into_iter().map(Into::into).collect(),
            planned_again: planned_again.into_iter().map(Into::into).collect(),
            technicians: technicians.into_iter().map(Into::into).collect(),
            months: months.into_iter().map(Into::into).collect(),
        })
    }
}
