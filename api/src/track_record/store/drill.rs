//! The repairs behind a figure.

use nameplate_entities::kinds::Dimension;
use nameplate_entities::{repair_group, repair_outcome};
use sea_orm::sea_query::Query;
use sea_orm::{ColumnTrait, Condition, EntityTrait, QueryFilter, Select};

use crate::callbacks::outcomes::Watch;

/// The repairs of a group in the span, all of them or only those that came back within the window; those of today, which no
/// rate counts yet, are left out here too.
pub fn repairs(
    (dimension, group_key): (Dimension, &str),
    watch: &Watch,
    only_returned: bool,
) -> Select<repair_outcome::Entity> {
    let watch = watch.before_today();
    let mut select = repair_outcome::Entity::find()
        .filter(repair_outcome::Column::CompletedOn.between(watch.from, watch.through));
    if dimension != Dimension::Shop {
        let calls = Query::select()
            .column(repair_group::Column::CallId)
            .from(repair_group::Entity)
            .and_where(repair_group::Column::Dimension.eq(dimension))
            .and_where(repair_group::Column::GroupKey.eq(group_key))
            .and_where(repair_group::Column::CompletedOn.between(watch.from, watch.through))
            .to_owned();
        select = select.filter(repair_outcome::Column::CallId.in_subquery(calls));
    }
    if only_returned {
        let returned = Condition::all()
            .add(repair_outcome::Column::ReturnCallId.is_not_null())
            .add(repair_outcome::Column::ReturnAgeDays.lte(watch.window_days));
        select = select.filter(returned);
    }
    select
}
