//! The accepted work of a period, page by page: four statements each, whatever is on it.

use std::collections::HashMap;

use chrono::{DateTime, Days, NaiveDate, NaiveTime, Utc};
use nameplate_entities::kinds::EstimateState;
use nameplate_entities::{
    estimate, estimate_line, estimate_revision, part, part_cost, service_address, service_call,
};
use nameplate_rules::money::Cents;
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder,
    QuerySelect,
};

use crate::base::{Result, joined};
use crate::estimates::store;
use crate::pricing;
use crate::shop::Settings;

/// Estimates read at once.
const PAGE: u64 = 200;

/// Lines of accepted options, and what they are priced by.
pub struct Work {
    pub last_id: i64,
    pub estimate_count: usize,
    pub lines: Vec<estimate_line::Model>,
    pub parts: HashMap<i64, part::Model>,
    /// What each part cost, the latest first.
    costs: HashMap<i64, Vec<part_cost::Model>>,
    /// Of each accepted option.
    offers: HashMap<i64, Offered>,
}

/// When an option was priced, and for where.
pub struct Offered {
    pub drafted_at: DateTime<Utc>,
    pub address: service_address::Model,
}

impl Work {
    /// The tasks that lines name.
    pub fn task_ids(&self) -> Vec<i64> {
        let mut ids = self
            .lines
            .iter()
            .filter_map(|line| line.task_id)
            .collect::<Vec<_>>();
        ids.sort_unstable();
        ids.dedup();
        ids
    }

    /// The offer that holds a line.
    pub fn offered(&self, line: &estimate_line::Model) -> Option<&Offered> {
        self.offers.get(&line.option_id)
    }

    /// A part as it was when the line was priced: at the cost then on record that makes the cost of the line.
    pub fn part_then(&self, line: &estimate_line::Model) -> Option<part::Model> {
        let part = self.parts.get(&line.part_id?)?;
        let drafted_at = self.offered(line)?.drafted_at;
        let costs = self.costs.get(&part.id)?;
        let mut known = costs.iter().filter(|cost| cost.from_at <= drafted_at);
        let made_it = |cost: &&part_cost::Model| {
            Cents(cost.cost_cents).times_half_up(line.quantity.0) == Ok(Cents(line.cost_cents))
        };
        let cost = known.clone().find(made_it).or_else(|| known.next())?;
        Some(part::Model {
            cost_cents: cost.cost_cents,
            ..part.clone()
        })
    }
}

#[derive(FromQueryResult)]
struct Place {
    #[sea_orm(nested(prefix = "estimate_"))]
    estimate: estimate::Model,
    #[sea_orm(nested(prefix = "service_address_"))]
    address: service_address::Model,
}

/// The next estimates that were accepted on these days, both inside; none when there are no more.
pub async fn page(
    db: &impl ConnectionTrait,
    settings: &Settings,
    (from, until): (NaiveDate, NaiveDate),
    after: i64,
) -> Result<Option<Work>> {
    // A day of the shop lies within a day of the same date in UTC and its neighbours.
    let start = at_midnight(from.checked_sub_days(Days::new(1)).unwrap_or(from));
    let end = at_midnight(until.checked_add_days(Days::new(2)).unwrap_or(until));
    let revisions = estimate_revision::Entity::find()
        .filter(
            estimate_revision::Column::State
                .is_in([EstimateState::Accepted, EstimateState::Invoiced]),
        )
        .filter(estimate_revision::Column::AnsweredAt.gte(start))
        .filter(estimate_revision::Column::AnsweredAt.lt(end))
        .filter(estimate_revision::Column::Id.gt(after))
        .order_by_asc(estimate_revision::Column::Id)
        .limit(PAGE)
        .all(db)
        .await?;
    let Some(last_id) = revisions.last().map(|revision| revision.id) else {
        return Ok(None);
    };
    let revisions = revisions
        .into_iter()
        .filter(|revision| {
            revision.answered_at.is_some_and(|at| {
                let day = settings.day_of(at);
                from <= day && day <= until
            })
        })
        .collect::<Vec<_>>();
    let estimate_ids = revisions.iter().map(|revision| revision.estimate_id);
    let places = places(db, estimate_ids.collect()).await?;
    let mut offers = HashMap::new();
    for revision in &revisions {
        let place = places.get(&revision.estimate_id);
        if let (Some(option_id), Some(address)) = (revision.accepted_option_id, place) {
            let offered = Offered {
                drafted_at: revision.drafted_at,
                address: address.clone(),
            };
            offers.insert(option_id, offered);
        }
    }
    let option_ids = offers.keys().copied().collect::<Vec<_>>();
    let lines = store::lines_of(db, &option_ids).await?;
    let mut part_ids = lines
        .iter()
        .filter_map(|line| line.part_id)
        .collect::<Vec<_>>();
    part_ids.sort_unstable();
    part_ids.dedup();
    let parts = pricing::parts_by_id(db, &part_ids).await?;
    Ok(Some(Work {
        last_id,
        estimate_count: offers.len(),
        lines,
        parts: parts.into_iter().map(|part| (part.id, part)).collect(),
        costs: costs(db, &part_ids).await?,
        offers,
    }))
}

fn at_midnight(day: NaiveDate) -> DateTime<Utc> {
    day.and_time(NaiveTime::MIN).and_utc()
}

/// Where each of these estimates is for.
async fn places(
    db: &impl ConnectionTrait,
    estimate_ids: Vec<i64>,
) -> Result<HashMap<i64, service_address::Model>> {
    if estimate_ids.is_empty() {
        return Ok(HashMap::new());
    }
    let mut query = joined::select::<estimate::Entity>();
    joined::to::<service_call::Entity>(&mut query, ("estimate", "call_id", "id"));
    joined::to::<service_address::Entity>(&mut query, ("service_call", "service_address_id", "id"));
    query.and_where(estimate::Column::Id.is_in(estimate_ids));
    let rows = joined::all::<Place>(db, &query).await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.estimate.id, row.address))
        .collect())
}

async fn costs(
    db: &impl ConnectionTrait,
    part_ids: &[i64],
) -> Result<HashMap<i64, Vec<part_cost::Model>>> {
    let mut costs: HashMap<i64, Vec<part_cost::Model>> = HashMap::new();
    if part_ids.is_empty() {
        return Ok(costs);
    }
    let rows = part_cost::Entity::find()
        .filter(part_cost::Column::PartId.is_in(part_ids.iter().copied()))
        .order_by_desc(part_cost::Column::FromAt)
        .order_by_desc(part_cost::Column::Id)
        .all(db)
        .await?;
    for row in rows {
        costs.entry(row.part_id).or_default().push(row);
    }
    Ok(costs)
}
