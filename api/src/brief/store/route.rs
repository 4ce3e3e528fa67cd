//! A technician's visits of one day, each with the briefs of its calls.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::kinds::VisitState;
use nameplate_entities::{visit, visit_call};
use nameplate_rules::arrival::begins_at;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect};

use super::{Brief, load_all};
use crate::base::{Act, Result};

/// Most visits of a day that are told with their briefs.
const VISITS_MAX: usize = 20;
/// Most calls of these.
const CALLS_MAX: usize = 40;
/// Most visits of one technician on one day that are counted at all.
const COUNTED_MAX: u64 = 200;

/// The visits of a day.
pub struct Route {
    /// In the order of their windows.
    pub stops: Vec<Stop>,
    /// How many more there are that day.
    pub left_out: usize,
}

/// One visit and its calls.
pub struct Stop {
    pub visit: visit::Model,
    pub briefs: Vec<Brief>,
}

/// Reads the visits of a technician on a day that are planned or made. The caller says whose may be read.
///
/// # Errors
/// Internal only.
pub async fn day_route(
    db: &impl ConnectionTrait,
    act: &Act,
    (technician_id, on): (i64, NaiveDate),
) -> Result<Route> {
    let mut visits = visit::Entity::find()
        .filter(visit::Column::TechnicianId.eq(technician_id))
        .filter(visit::Column::PlannedOn.eq(on))
        .filter(visit::Column::State.ne(VisitState::Missed))
        .order_by_asc(visit::Column::Id)
        .limit(COUNTED_MAX)
        .all(db)
        .await?;
    visits.sort_by_key(|visit| {
        let begins = visit.window.as_deref().and_then(begins_at);
        (begins.is_none(), begins, visit.id)
    });
    let ids = visits.iter().map(|visit| visit.id);
    let served = visit_call::Entity::find()
        .filter(visit_call::Column::VisitId.is_in(ids))
        .order_by_asc(visit_call::Column::Id)
        .all(db)
        .await?;
    let mut call_ids: HashMap<i64, Vec<i64>> = HashMap::new();
    for row in served {
        call_ids.entry(row.visit_id).or_default().push(row.call_id);
    }
    let fit = fitting(&visits, &call_ids);
    let left_out = visits.len() - fit;
    visits.truncate(fit);
    let wanted = visits.iter().filter_map(|visit| call_ids.get(&visit.id));
    let wanted: Vec<i64> = wanted.flatten().copied().collect();
    let briefs = load_all(db, act, &wanted).await?.into_iter();
    let briefs: HashMap<i64, Brief> = briefs.map(|brief| (brief.ticket.call.id, brief)).collect();
    let stops = visits.into_iter().map(|visit| {
        let its = call_ids.get(&visit.id).into_iter().flatten();
        // A call with two visits that day stands at both.
        let briefs = its.filter_map(|id| briefs.get(id).cloned());
        Stop {
            briefs: briefs.collect(),
            visit,
        }
    });
    Ok(Route {
        stops: stops.collect(),
        left_out,
    })
}

/// How many visits fit, whole, from the first on.
fn fitting(visits: &[visit::Model], call_ids: &HashMap<i64, Vec<i64>>) -> usize {
    let counts = visits.iter().scan(0, |calls, visit| {
        *calls += call_ids.get(&visit.id).map_or(0, Vec::len);
        Some(*calls)
    });
    let fit = counts
        .take(VISITS_MAX)
        .take_while(|calls| *calls <= CALLS_MAX);
    fit.count()
}
