//! What can be told of cover before a visit: by programme what it covers through which day, what it waits for and what is
//! to be brought for it. No amount is read out but the deductible,
//! which the customer pays, so a technician may see it.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::{appliance, customer, service_call, warranty_payer};
use nameplate_rules::coverage::{self as rules, Ahead, CoverageRefusal, Exclusion, Rank};
use nameplate_rules::money::Cents;
use sea_orm::sea_query::{Expr, ExprTrait, Query};
use sea_orm::{ColumnTrait, ConnectionTrait, FromQueryResult};

use super::facts::{self, Findings, Said};
use super::holdings::{self, Failure, Holding};
use crate::base::{Error, Result, joined};

/// One programme of a machine, before the visit.
#[derive(Clone, Debug)]
pub struct CoverAhead {
    pub programme: String,
    /// Whose it is; none for the shop itself.
    pub payer: Option<String>,
    /// The component it is on; none for the whole machine.
    pub component: Option<String>,
    /// What it does not pay for.
    pub exclusions: Vec<Exclusion>,
    /// What the customer pays of each call first.
    pub deductible: Cents,
    /// For the failure as the customer told of it: on the day the call was taken.
    pub told: Ahead,
    /// On the day of the visit.
    pub on_visit: Ahead,
}

/// What a call's machine is covered by, in the order in which programmes are asked.
///
/// A failure counts by the day it was told of, so that is what decides; how the programmes stand on the day of the visit
/// is told beside it, for what is found further. A fixed number of statements.
///
/// # Errors
/// Internal only.
pub async fn before_visit(
    db: &impl ConnectionTrait,
    (call, machine): (&service_call::Model, &appliance::Model),
    visit_on: NaiveDate,
) -> Result<Vec<CoverAhead>> {
    let found = Findings::on_call(db, call.id, None).await?;
    let said = Said::default();
    let of_call = (call, machine);
    let case = facts::of_call(db, of_call, (call.opened_on, &found, &said)).await?;
    let mut on_visit = case.clone();
    on_visit.failed_on = std::cmp::max(visit_on, call.opened_on);
    let failure = Failure {
        on: call.opened_on,
        call_id: Some(call.id),
    };
    let mut holdings = holdings::of_machine(db, machine, failure).await?;
    holdings.sort_by_key(|holding| holding.registration.programme.rank);
    let payers = payer_names(db, &holdings).await?;
    let mut covers = Vec::with_capacity(holdings.len());
    for holding in holdings {
        let held = &holding.registration;
        let others = case.also_found.iter();
        let failed = case
            .finding
            .iter()
            .chain(others)
            .map(|found| &*found.component);
        if is_elsewhere(&holding, &failed.collect::<Vec<_>>()) {
            continue;
        }
        covers.push(CoverAhead {
            told: rules::ahead(&case, held).map_err(beyond)?,
            on_visit: rules::ahead(&on_visit, held).map_err(beyond)?,
            programme: held.programme.name.clone(),
            payer: (holding.payer_id).and_then(|id| payers.get(&id).cloned()),
            component: held.component.clone(),
            exclusions: held.programme.exclusions.iter().copied().collect(),
            deductible: held.programme.deductible,
        });
    }
    Ok(covers)
}

/// Whether the shop's own work was on another component than those found to fail.
fn is_elsewhere(holding: &Holding, found: &[&str]) -> bool {
    let held = &holding.registration;
    held.programme.rank == Rank::Workmanship
        && !found.is_empty()
        && (held.component.as_deref()).is_some_and(|component| !found.contains(&component))
}

fn beyond(refusal: CoverageRefusal) -> Error {
    Error::caused("cover before a visit", refusal)
}

#[derive(FromQueryResult)]
struct PayerName {
    id: i64,
    name: String,
}

/// What payers are called, as their customers' records say.
async fn payer_names(
    db: &impl ConnectionTrait,
    holdings: &[Holding],
) -> Result<HashMap<i64, String>> {
    let ids: Vec<i64> = holdings.iter().filter_map(|row| row.payer_id).collect();
    if ids.is_empty() {
        return Ok(HashMap::new());
    }
    let of = |column| Expr::col((warranty_payer::Entity, column));
    let mut query = Query::select();
    query
        .expr_as(of(warranty_payer::Column::Id), "id")
        .expr_as(
            Expr::col((customer::Entity, customer::Column::Name)),
            "name",
        )
        .from(warranty_payer::Entity)
        .inner_join(
            customer::Entity,
            of(warranty_payer::Column::CustomerId).equals((customer::Entity, customer::Column::Id)),
        )
        .and_where(warranty_payer::Column::Id.is_in(ids));
    let rows: Vec<PayerName> = joined::all(db, &query).await?;
    Ok(rows.into_iter().map(|row| (row.id, row.name)).collect())
}
