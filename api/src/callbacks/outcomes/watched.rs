//! Repairs counted by group, component and fate, over a span of completion days.
//!
//! Months that are over for the window are read as cells; the days around them, and those whose window still runs, repair
//! by repair. So what is read grows with the span and the window, never with what lies before.

use std::collections::BTreeMap;

use chrono::{Datelike, Days, Months, NaiveDate};
use nameplate_entities::kinds::Dimension;
use nameplate_entities::{rate_cell, repair_group, repair_outcome};
use nameplate_rules::dates::whole_days_between;
use sea_orm::sea_query::{Alias, Expr, ExprTrait, Query, SelectStatement};
use sea_orm::{ColumnTrait, ConnectionTrait, FromQueryResult};

use crate::base::{Result, joined};

/// Repairs completed in a span of days, each watched for a window, as of today.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Watch {
    pub from: NaiveDate,
    pub through: NaiveDate,
    pub window_days: u32,
    pub today: NaiveDate,
}

impl Watch {
    /// The same through yesterday at the latest: of a repair completed today nothing can be said yet, not even when it is back.
    #[must_use]
    pub fn before_today(self) -> Self {
        let yesterday = self.today.pred_opt().unwrap_or(self.today);
        Self {
            through: std::cmp::min(self.through, yesterday),
            ..self
        }
    }
}

/// Which repairs are counted.
#[derive(Clone, Copy, Debug)]
pub struct Of<'a> {
    pub dimension: Dimension,
    /// Only this group.
    pub group_key: Option<&'a str>,
    /// Only repairs of these components.
    pub component_ids: Option<&'a [i64]>,
}

impl Of<'_> {
    /// All repairs, by a dimension.
    #[must_use]
    pub fn all(dimension: Dimension) -> Self {
        Self {
            dimension,
            group_key: None,
            component_ids: None,
        }
    }
}

/// Repairs of one group and component with the same fate so far.
#[derive(Clone, Debug, PartialEq, Eq, FromQueryResult)]
pub struct Watched {
    pub group_key: String,
    pub component_id: i64,
    /// Days from completion to today; for months read as cells the window.
    pub followed_days: i32,
    /// Age of the return within the window; 0 for none.
    pub age_days: i32,
    pub repairs: i64,
    /// Of these, how many came back for a component repaired then.
    pub same_component: i64,
}

/// The repairs of each group.
///
/// # Errors
/// Internal only.
pub async fn watched(db: &impl ConnectionTrait, of: Of<'_>, watch: &Watch) -> Result<Vec<Watched>> {
    let mut rows = Vec::new();
    let cells = whole_months(watch);
    if let Some((first, end)) = cells {
        let query = of_cells(of, (first, end), watch.window_days);
        rows.extend(joined::all::<Watched>(db, &query).await?);
    }
    for (from, through) in days_beside(watch, cells) {
        let query = of_days(of, (from, through));
        let days = joined::all::<Daily>(db, &query).await?;
        rows.extend(days.into_iter().map(|day| day.watched(watch)));
    }
    Ok(rows)
}

/// What became of the shop's repairs in one month.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Monthly {
    pub month: NaiveDate,
    /// Whether the month lies whole in the span and the window of all its repairs is over.
    pub is_over: bool,
    pub repairs: Vec<Watched>,
}

/// The months of the span, oldest first; those without repairs are left out.
///
/// # Errors
/// Internal only.
pub async fn by_month(db: &impl ConnectionTrait, watch: &Watch) -> Result<Vec<Monthly>> {
    let mut months: BTreeMap<(NaiveDate, bool), Vec<Watched>> = BTreeMap::new();
    let cells = whole_months(watch);
    if let Some((first, end)) = cells {
        let mut query = of_cells(Of::all(Dimension::Shop), (first, end), watch.window_days);
        query.column("month");
        query.group_by_col("month");
        for row in joined::all::<OfMonth>(db, &query).await? {
            months
                .entry((row.month, true))
                .or_default()
                .push(row.watched);
        }
    }
    for (from, through) in days_beside(watch, cells) {
        let query = of_days(Of::all(Dimension::Shop), (from, through));
        for day in joined::all::<Daily>(db, &query).await? {
            let month = day.completed_on.with_day(1).unwrap_or(day.completed_on);
            let rows = months.entry((month, false)).or_default();
            rows.push(day.watched(watch));
        }
    }
    Ok(months
        .into_iter()
        .map(|((month, is_over), repairs)| Monthly {
            month,
            is_over,
            repairs,
        })
        .collect())
}

#[derive(FromQueryResult)]
struct OfMonth {
    month: NaiveDate,
    #[sea_orm(nested)]
    watched: Watched,
}

/// The months that lie in the span and are over for the window: the first, and the one after the last.
fn whole_months(watch: &Watch) -> Option<(NaiveDate, NaiveDate)> {
    let first = match watch.from.day() {
        1 => watch.from,
        _ => next_month(watch.from)?,
    };
    // The last day that has its whole window behind it, and with it its month.
    let over = (watch.today).checked_sub_days(Days::new(u64::from(watch.window_days)))?;
    let last = std::cmp::min(over, watch.through).checked_add_days(Days::new(1))?;
    let end = last.with_day(1)?;
    (first < end).then_some((first, end))
}

fn next_month(day: NaiveDate) -> Option<NaiveDate> {
    day.with_day(1)?.checked_add_months(Months::new(1))
}

/// What of the span no whole month holds.
fn days_beside(
    watch: &Watch,
    cells: Option<(NaiveDate, NaiveDate)>,
) -> Vec<(NaiveDate, NaiveDate)> {
    let Some((first, end)) = cells else {
        return vec![(watch.from, watch.through)];
    };
    let before = first.pred_opt().map(|day| (watch.from, day));
    [before, Some((end, watch.through))]
        .into_iter()
        .flatten()
        .filter(|(from, through)| from <= through)
        .collect()
}

/// Cells with the age of a return within the window, and 0 for the others.
///
/// Ages are sorted into the window below the sum: a bound value that stands both in what is selected and in what is grouped
/// by is two values for `PostgreSQL`.
fn of_cells(of: Of<'_>, (first, end): (NaiveDate, NaiveDate), window_days: u32) -> SelectStatement {
    let within = || Expr::col(rate_cell::Column::AgeDays).between(1, window_days);
    let age = Expr::case(within(), Expr::col(rate_cell::Column::AgeDays)).finally(0);
    let same = Expr::case(within(), Expr::col(rate_cell::Column::SameComponent)).finally(0);
    let mut cells = Query::select();
    cells
        .columns([
            rate_cell::Column::GroupKey,
            rate_cell::Column::ComponentId,
            rate_cell::Column::Month,
            rate_cell::Column::Repairs,
        ])
        .expr_as(age, "age")
        .expr_as(same, "same")
        .from(rate_cell::Entity)
        .and_where(rate_cell::Column::Dimension.eq(of.dimension))
        .and_where(rate_cell::Column::Month.gte(first))
        .and_where(rate_cell::Column::Month.lt(end))
        .and_where(rate_cell::Column::Repairs.ne(0));
    if let Some(key) = of.group_key {
        cells.and_where(rate_cell::Column::GroupKey.eq(key));
    }
    if let Some(ids) = of.component_ids {
        cells.and_where(rate_cell::Column::ComponentId.is_in(ids.iter().copied()));
    }
    let whole = |expr: Expr, sort: &'static str| expr.cast_as(sort);
    let mut query = Query::select();
    query
        .columns(["group_key", "component_id"])
        .expr_as(whole(Expr::val(window_days), "INTEGER"), "followed_days")
        .expr_as(whole(Expr::col("age"), "INTEGER"), "age_days")
        .expr_as(whole(Expr::col("repairs").sum(), "BIGINT"), "repairs")
        .expr_as(whole(Expr::col("same").sum(), "BIGINT"), "same_component")
        .from_subquery(cells, "cells")
        .group_by_columns(["group_key", "component_id", "age"]);
    query
}

/// Repairs of one day, group, component and fate.
#[derive(FromQueryResult)]
struct Daily {
    group_key: String,
    component_id: i64,
    completed_on: NaiveDate,
    return_age_days: Option<i32>,
    repairs: i64,
    same_component: i64,
}

impl Daily {
    fn watched(self, watch: &Watch) -> Watched {
        let window_days = i32::try_from(watch.window_days).unwrap_or(i32::MAX);
        let passed =
            whole_days_between(self.completed_on, watch.today).clamp(0, i64::from(i32::MAX));
        // A repair of today says nothing yet, not even when it is back.
        let age_days = self
            .return_age_days
            .filter(|age| passed > 0 && *age <= window_days);
        Watched {
            group_key: self.group_key,
            component_id: self.component_id,
            followed_days: i32::try_from(passed).unwrap_or(0),
            age_days: age_days.unwrap_or(0),
            repairs: self.repairs,
            same_component: age_days.map_or(0, |_| self.same_component),
        }
    }
}

fn of_days(of: Of<'_>, (from, through): (NaiveDate, NaiveDate)) -> SelectStatement {
    let outcome = |column: repair_outcome::Column| Expr::col((repair_outcome::Entity, column));
    let same = Expr::case(
        outcome(repair_outcome::Column::SameComponent).eq(true),
        1_i64,
    )
    .finally(0_i64);
    let mut query = Query::select();
    query
        .expr_as(
            outcome(repair_outcome::Column::ComponentId),
            Alias::new("component_id"),
        )
        .expr_as(
            outcome(repair_outcome::Column::CompletedOn),
            Alias::new("completed_on"),
        )
        .expr_as(
            outcome(repair_outcome::Column::ReturnAgeDays),
            Alias::new("return_age_days"),
        )
        .expr_as(Expr::val(1_i64).count(), Alias::new("repairs"))
        .expr_as(same.sum().cast_as("BIGINT"), Alias::new("same_component"))
        .from(repair_outcome::Entity)
        .and_where(outcome(repair_outcome::Column::CompletedOn).between(from, through))
        .add_group_by([
            outcome(repair_outcome::Column::ComponentId),
            outcome(repair_outcome::Column::CompletedOn),
            outcome(repair_outcome::Column::ReturnAgeDays),
        ]);
    if let Some(ids) = of.component_ids {
        query.and_where(outcome(repair_outcome::Column::ComponentId).is_in(ids.iter().copied()));
    }
    if of.dimension == Dimension::Shop {
        query.expr_as(Expr::val(""), Alias::new("group_key"));
        return query;
    }
    let group = |column: repair_group::Column| Expr::col((repair_group::Entity, column));
    query
        .expr_as(
            group(repair_group::Column::GroupKey),
            Alias::new("group_key"),
        )
        .inner_join(
            repair_group::Entity,
            group(repair_group::Column::CallId)
                .equals((repair_outcome::Entity, repair_outcome::Column::CallId)),
        )
        .and_where(repair_group::Column::Dimension.eq(of.dimension))
        .add_group_by([group(repair_group::Column::GroupKey)]);
    if let Some(key) = of.group_key {
        query.and_where(repair_group::Column::GroupKey.eq(key));
    }
    query
}
