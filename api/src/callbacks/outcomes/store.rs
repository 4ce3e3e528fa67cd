//! What is on record about a machine, and the rows that follow from it.

use std::collections::{BTreeMap, HashMap};

use nameplate_entities::kinds::{CallKind, CallState, Method};
use nameplate_entities::{
    appliance, callback, failure_mode, finding, outcome_due, part_used, rate_cell, remedy,
    repair_group, repair_outcome, service_call,
};
use sea_orm::sea_query::{Expr, ExprTrait, OnConflict, Order};
use sea_orm::{
    ActiveModelTrait,
    ActiveValue::{NotSet, Set},
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, IntoActiveModel, QueryFilter,
    QueryOrder, QuerySelect,
};

use crate::base::{Result, joined};

use super::Outcome;
use super::working::{Cell, Count, History};

/// Cells of one statement; each has seven values, and `SQLite` takes 32,766.
const CELLS_AT_ONCE: usize = 1_000;

/// A finding with its failure mode.
#[derive(FromQueryResult)]
struct Found {
    #[sea_orm(nested(prefix = "finding_"))]
    finding: finding::Model,
    #[sea_orm(nested(prefix = "failure_mode_"))]
    mode: failure_mode::Model,
}

/// Reads the unplanned calls of these machines with all that was found and done on them, one history a machine.
pub async fn histories(db: &impl ConnectionTrait, appliance_ids: &[i64]) -> Result<Vec<History>> {
    let machines = appliance::Entity::find()
        .filter(appliance::Column::Id.is_in(appliance_ids.iter().copied()))
        .order_by_asc(appliance::Column::Id)
        .all(db)
        .await?;
    let calls = service_call::Entity::find()
        .filter(service_call::Column::ApplianceId.is_in(appliance_ids.iter().copied()))
        .filter(service_call::Column::Kind.eq(CallKind::Repair))
        .filter(service_call::Column::State.ne(CallState::Cancelled))
        .order_by_asc(service_call::Column::OpenedAt)
        .order_by_asc(service_call::Column::Id)
        .all(db)
        .await?;
    let ids = calls.iter().map(|call| call.id).collect::<Vec<_>>();
    let mut query = joined::select::<finding::Entity>();
    joined::to::<failure_mode::Entity>(&mut query, ("finding", "failure_mode_id", "id"));
    query
        .and_where(finding::Column::CallId.is_in(ids.iter().copied()))
        .order_by((finding::Entity, finding::Column::Id), Order::Asc);
    let findings = joined::all::<Found>(db, &query).await?;
    let remedies = remedy::Entity::find()
        .filter(remedy::Column::FindingId.is_in(findings.iter().map(|row| row.finding.id)))
        .filter(remedy::Column::Method.ne(Method::None))
        .order_by_asc(remedy::Column::Id)
        .all(db)
        .await?;
    let parts = part_used::Entity::find()
        .filter(part_used::Column::RemedyId.is_in(remedies.iter().map(|row| row.id)))
        .order_by_asc(part_used::Column::Id)
        .all(db)
        .await?;
    let callbacks = callback::Entity::find()
        .filter(callback::Column::CallId.is_in(ids))
        .all(db)
        .await?;
    let read = Read {
        calls,
        findings,
        remedies,
        parts,
        callbacks,
    };
    Ok(read.by_machine(machines))
}

/// Rows of several machines, each kind in the order in which it was read.
struct Read {
    calls: Vec<service_call::Model>,
    findings: Vec<Found>,
    remedies: Vec<remedy::Model>,
    parts: Vec<part_used::Model>,
    callbacks: Vec<callback::Model>,
}

impl Read {
    fn by_machine(self, machines: Vec<appliance::Model>) -> Vec<History> {
        let mut calls = grouped(self.calls, |call| call.appliance_id);
        let mut findings = grouped(self.findings, |row| row.finding.call_id);
        let mut remedies = grouped(self.remedies, |row| row.finding_id);
        let mut parts = grouped(self.parts, |row| row.remedy_id);
        let mut callbacks = grouped(self.callbacks, |row| row.call_id);
        machines
            .into_iter()
            .map(|machine| {
                let calls = calls.remove(&machine.id).unwrap_or_default();
                let found = taken(&mut findings, calls.iter().map(|call| call.id));
                let done = taken(&mut remedies, found.iter().map(|row| row.finding.id));
                History {
                    parts: taken(&mut parts, done.iter().map(|row| row.id)),
                    callbacks: taken(&mut callbacks, calls.iter().map(|call| call.id)),
                    findings: found
                        .into_iter()
                        .map(|row| (row.finding, row.mode))
                        .collect(),
                    remedies: done,
                    calls,
                    machine,
                }
            })
            .collect()
    }
}

fn grouped<T>(rows: Vec<T>, key: impl Fn(&T) -> i64) -> HashMap<i64, Vec<T>> {
    let mut groups: HashMap<i64, Vec<T>> = HashMap::new();
    for row in rows {
        groups.entry(key(&row)).or_default().push(row);
    }
    groups
}

fn taken<T>(groups: &mut HashMap<i64, Vec<T>>, keys: impl Iterator<Item = i64>) -> Vec<T> {
    keys.filter_map(|key| groups.remove(&key))
        .flatten()
        .collect()
}

/// The outcomes kept of these machines, with their groups.
pub async fn kept(db: &impl ConnectionTrait, appliance_ids: &[i64]) -> Result<Vec<Outcome>> {
    let rows = repair_outcome::Entity::find()
        .filter(repair_outcome::Column::ApplianceId.is_in(appliance_ids.iter().copied()))
        .all(db)
        .await?;
    let groups = repair_group::Entity::find()
        .filter(repair_group::Column::CallId.is_in(rows.iter().map(|row| row.call_id)))
        .all(db)
        .await?;
    let mut groups = grouped(groups, |group| group.call_id);
    Ok(rows
        .into_iter()
        .map(|row| {
            let mut own = (groups.remove(&row.call_id).unwrap_or_default().into_iter())
                .map(|group| (group.dimension, group.group_key))
                .collect::<Vec<_>>();
            own.sort();
            Outcome {
                row: repair_outcome::Model { id: 0, ..row },
                groups: own,
            }
        })
        .collect())
}

/// Takes away the outcome of a call and its groups.
pub async fn forget(tx: &impl ConnectionTrait, call_id: i64) -> Result<()> {
    repair_group::Entity::delete_many()
        .filter(repair_group::Column::CallId.eq(call_id))
        .exec(tx)
        .await?;
    repair_outcome::Entity::delete_many()
        .filter(repair_outcome::Column::CallId.eq(call_id))
        .exec(tx)
        .await?;
    Ok(())
}

/// Writes the outcome of a call and its groups.
pub async fn keep(tx: &impl ConnectionTrait, outcome: &Outcome) -> Result<()> {
    let mut row = outcome.row.clone().into_active_model().reset_all();
    row.id = NotSet;
    repair_outcome::Entity::insert(row)
        .exec_without_returning(tx)
        .await?;
    let groups = outcome
        .groups
        .iter()
        .map(|(dimension, key)| repair_group::ActiveModel {
            dimension: Set(*dimension),
            group_key: Set(key.clone()),
            completed_on: Set(outcome.row.completed_on),
            call_id: Set(outcome.row.call_id),
        });
    repair_group::Entity::insert_many(groups)
        .exec_without_returning(tx)
        .await?;
    Ok(())
}

/// Adds to the cells; a cell that comes to nothing stays and counts nothing.
pub async fn count(tx: &impl ConnectionTrait, changes: &BTreeMap<Cell, Count>) -> Result<()> {
    let changes = changes.iter().collect::<Vec<_>>();
    for some in changes.chunks(CELLS_AT_ONCE) {
        count_some(tx, some).await?;
    }
    Ok(())
}

async fn count_some(tx: &impl ConnectionTrait, changes: &[(&Cell, &Count)]) -> Result<()> {
    let rows = changes.iter().map(|(cell, count)| rate_cell::ActiveModel {
        dimension: Set(cell.group.0),
        group_key: Set(cell.group.1.clone()),
        month: Set(cell.month),
        component_id: Set(cell.component_id),
        age_days: Set(cell.age_days),
        repairs: Set(count.repairs),
        same_component: Set(count.same_component),
    });
    let sum = |column: rate_cell::Column, name: &str| {
        let added = Expr::cust(format!("excluded.{name}"));
        Expr::col((rate_cell::Entity, column)).add(added)
    };
    let mut known = OnConflict::columns([
        rate_cell::Column::Dimension,
        rate_cell::Column::GroupKey,
        rate_cell::Column::Month,
        rate_cell::Column::ComponentId,
        rate_cell::Column::AgeDays,
    ]);
    known
        .value(
            rate_cell::Column::Repairs,
            sum(rate_cell::Column::Repairs, "repairs"),
        )
        .value(
            rate_cell::Column::SameComponent,
            sum(rate_cell::Column::SameComponent, "same_component"),
        );
    rate_cell::Entity::insert_many(rows)
        .on_conflict(known)
        .exec_without_returning(tx)
        .await?;
    Ok(())
}

/// Some machines whose outcomes are still to be worked out.
pub async fn due(db: &impl ConnectionTrait, machines_max: u64) -> Result<Vec<i64>> {
    let rows = outcome_due::Entity::find()
        .order_by_asc(outcome_due::Column::ApplianceId)
        .limit(machines_max)
        .all(db)
        .await?;
    Ok(rows.into_iter().map(|row| row.appliance_id).collect())
}

/// These are worked out.
pub async fn done(tx: &impl ConnectionTrait, appliance_ids: &[i64]) -> Result<()> {
    outcome_due::Entity::delete_many()
        .filter(outcome_due::Column::ApplianceId.is_in(appliance_ids.iter().copied()))
        .exec(tx)
        .await?;
    Ok(())
}
