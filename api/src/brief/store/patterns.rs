//! Flags about several machines that the machine at hand is one of: by its model, its address, what was fitted in it or is
//! ordered for it, or how it was repaired.

use std::collections::HashSet;

use nameplate_entities::kinds::{Dimension, FlagState, Pattern};
use nameplate_entities::{appliance, component, failure_mode, flag, repair_group, repair_outcome};
use sea_orm::sea_query::{Expr, ExprTrait, Order, Query};
use sea_orm::{ColumnTrait, ConnectionTrait, FromQueryResult};

use crate::base::{Result, joined};
use crate::callbacks::outcomes::model_key;

use super::{Flagged, Ordered};

/// Most flags about several machines that are looked at: the shop closes what it dealt with.
const PATTERNS_MAX: u64 = 200;

/// What machines may share, and what those at hand were repaired with.
pub struct Patterns {
    flags: Vec<Flagged>,
    groups: Vec<Grouped>,
}

/// A group that a machine was repaired in.
#[derive(Clone, Debug, FromQueryResult)]
struct Grouped {
    appliance_id: i64,
    dimension: Dimension,
    group_key: String,
}

impl Patterns {
    /// Two statements, one while no such flag is open.
    pub async fn read(db: &impl ConnectionTrait, machine_ids: &[i64]) -> Result<Self> {
        let flags = open(db).await?;
        let groups = if flags.is_empty() {
            Vec::new()
        } else {
            groups(db, machine_ids).await?
        };
        Ok(Self { flags, groups })
    }

    /// Those that are about this machine, where it stands now and with what is ordered for it.
    pub fn about<'a>(
        &'a self,
        machine: &'a appliance::Model,
        ordered: &[Ordered],
    ) -> impl Iterator<Item = &'a Flagged> {
        let own = self
            .groups
            .iter()
            .filter(|row| row.appliance_id == machine.id);
        let mut shared: HashSet<(Pattern, String)> = own
            .filter_map(|row| Some((pattern(row.dimension)?, row.group_key.clone())))
            .collect();
        shared.insert((Pattern::Model, model_key(machine)));
        shared.insert((Pattern::Address, machine.service_address_id.to_string()));
        shared.extend(
            ordered
                .iter()
                .map(|row| (Pattern::Part, row.part.id.to_string())),
        );
        self.flags.iter().filter(move |row| {
            let key = row.flag.pattern.zip(row.flag.pattern_key.clone());
            key.is_some_and(|key| shared.contains(&key))
        })
    }
}

fn pattern(dimension: Dimension) -> Option<Pattern> {
    match dimension {
        Dimension::Part => Some(Pattern::Part),
        Dimension::Lot => Some(Pattern::Lot),
        Dimension::Method => Some(Pattern::Method),
        _ => None,
    }
}

async fn open(db: &impl ConnectionTrait) -> Result<Vec<Flagged>> {
    let mut query = joined::select::<flag::Entity>();
    joined::to::<component::Entity>(&mut query, ("flag", "component_id", "id"));
    joined::to::<failure_mode::Entity>(&mut query, ("flag", "failure_mode_id", "id"));
    query
        .and_where(flag::Column::Pattern.is_not_null())
        .and_where(flag::Column::State.ne(FlagState::Closed))
        .order_by((flag::Entity, flag::Column::Id), Order::Desc)
        .limit(PATTERNS_MAX);
    joined::all(db, &query).await
}

async fn groups(db: &impl ConnectionTrait, machine_ids: &[i64]) -> Result<Vec<Grouped>> {
    let mut query = Query::select();
    query
        .distinct()
        .column((repair_outcome::Entity, repair_outcome::Column::ApplianceId))
        .column((repair_group::Entity, repair_group::Column::Dimension))
        .column((repair_group::Entity, repair_group::Column::GroupKey))
        .from(repair_outcome::Entity)
        .inner_join(
            repair_group::Entity,
            Expr::col((repair_group::Entity, repair_group::Column::CallId))
                .equals((repair_outcome::Entity, repair_outcome::Column::CallId)),
        )
        .and_where(repair_outcome::Column::ApplianceId.is_in(machine_ids.iter().copied()))
        .and_where(repair_group::Column::Dimension.is_in([
            Dimension::Part,
            Dimension::Lot,
            Dimension::Method,
        ]));
    joined::all(db, &query).await
}
