//! What repairs that came back cost the shop.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::kinds::Dimension;
use nameplate_entities::{call_borne, repair_group, repair_outcome};
use nameplate_rules::money::Cents;
use sea_orm::sea_query::{Alias, Expr, ExprTrait, Query, SelectStatement};
use sea_orm::{ColumnTrait, ConnectionTrait, FromQueryResult};

use crate::base::{Result, joined};
use crate::callbacks::outcomes::Watch;

#[derive(FromQueryResult)]
struct Lost {
    group_key: String,
    lost_cents: i64,
}

/// What the shop bore of the calls by which each group's repairs came back within the window, at cost.
pub async fn lost(
    db: &impl ConnectionTrait,
    dimension: Dimension,
    watch: &Watch,
) -> Result<HashMap<String, Cents>> {
    let mut query = returned(watch);
    if dimension == Dimension::Shop {
        query.expr_as(Expr::val(""), Alias::new("group_key"));
    } else {
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
            .and_where(repair_group::Column::Dimension.eq(dimension))
            .add_group_by([group(repair_group::Column::GroupKey)]);
    }
    let rows = joined::all::<Lost>(db, &query).await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.group_key, Cents(row.lost_cents)))
        .collect())
}

fn borne(column: call_borne::Column) -> Expr {
    Expr::col((call_borne::Entity, column))
}

/// What a row of what the shop bears comes to.
fn cost() -> Expr {
    borne(call_borne::Column::PartsCents)
        .add(borne(call_borne::Column::LabourCents))
        .add(borne(call_borne::Column::TripCents))
}

fn outcome(column: repair_outcome::Column) -> Expr {
    Expr::col((repair_outcome::Entity, column))
}

/// What was borne of the calls by which repairs of the span came back within the window, summed.
fn returned(watch: &Watch) -> SelectStatement {
    let mut query = Query::select();
    query
        .expr_as(
            cost().sum().if_null(0_i64).cast_as("BIGINT"),
            Alias::new("lost_cents"),
        )
        .from(repair_outcome::Entity)
        .inner_join(
            call_borne::Entity,
            borne(call_borne::Column::CallId)
                .equals((repair_outcome::Entity, repair_outcome::Column::ReturnCallId)),
        )
        .and_where(outcome(repair_outcome::Column::CompletedOn).between(watch.from, watch.through))
        .and_where(outcome(repair_outcome::Column::ReturnCallId).is_not_null())
        .and_where(outcome(repair_outcome::Column::ReturnAgeDays).lte(watch.window_days));
    query
}

/// What the shop bore on a day of a call that counted against a repair.
#[derive(Clone, Debug, PartialEq, Eq, FromQueryResult)]
pub struct CallLost {
    pub call_id: i64,
    pub borne_on: NaiveDate,
    pub same_component: bool,
    pub lost_cents: i64,
}

/// What the shop bore in a span of calls that counted against a repair, call by call and day by day.
pub async fn lost_by_call(
    db: &impl ConnectionTrait,
    (from, through): (NaiveDate, NaiveDate),
) -> Result<Vec<CallLost>> {
    let mut query = Query::select();
    query
        .column((call_borne::Entity, call_borne::Column::CallId))
        .column((call_borne::Entity, call_borne::Column::BorneOn))
        .column((
            repair_outcome::Entity,
            repair_outcome::Column::SameComponent,
        ))
        .expr_as(cost().cast_as("BIGINT"), Alias::new("lost_cents"))
        .from(call_borne::Entity)
        .inner_join(
            repair_outcome::Entity,
            outcome(repair_outcome::Column::ReturnCallId)
                .equals((call_borne::Entity, call_borne::Column::CallId)),
        )
        .and_where(borne(call_borne::Column::BorneOn).between(from, through));
    joined::all(db, &query).await
}
