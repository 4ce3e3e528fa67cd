//! The open flags that a month's mail names.

use nameplate_entities::kinds::{FlagLevel, FlagState};
use nameplate_entities::{appliance, customer, flag, service_call};
use nameplate_rules::plural::counted;
use sea_orm::sea_query::Order;
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, PaginatorTrait, QueryFilter,
};

use crate::base::{Result, joined};

/// Most flags that are named.
const NAMED_MAX: u64 = 4;

/// States of a flag that nobody answered.
const UNANSWERED: [FlagState; 2] = [FlagState::Open, FlagState::Acknowledged];

/// A flag with what names it.
#[derive(Clone, Debug, FromQueryResult)]
struct FlagRow {
    #[sea_orm(nested(prefix = "flag_"))]
    flag: flag::Model,
    #[sea_orm(nested(prefix = "appliance_"))]
    machine: appliance::Model,
    #[sea_orm(nested(prefix = "service_call_"))]
    call: service_call::Model,
    #[sea_orm(nested(prefix = "customer_"))]
    customer: customer::Model,
}

/// Flags that ask to act and that nobody answered, the newest raised first, in words; then how many more flags, also those
/// to watch, nobody answered. Two statements.
///
/// # Errors
/// Internal only.
pub async fn open(db: &impl ConnectionTrait) -> Result<Vec<String>> {
    let mut query = joined::select::<flag::Entity>();
    joined::to::<appliance::Entity>(&mut query, ("flag", "appliance_id", "id"));
    joined::to::<service_call::Entity>(&mut query, ("flag", "call_id", "id"));
    joined::to::<customer::Entity>(&mut query, ("service_call", "customer_id", "id"));
    query
        .and_where(flag::Column::Level.eq(FlagLevel::Act))
        .and_where(flag::Column::State.is_in(UNANSWERED))
        .order_by((flag::Entity, flag::Column::RaisedAt), Order::Desc)
        .order_by((flag::Entity, flag::Column::Id), Order::Desc)
        .limit(NAMED_MAX);
    let rows = joined::all::<FlagRow>(db, &query).await?;
    let unanswered = flag::Entity::find()
        .filter(flag::Column::State.is_in(UNANSWERED))
        .count(db)
        .await?;
    let more = more(rows.len(), unanswered);
    Ok(rows.iter().map(told).chain(more).collect())
}

/// A flag about several machines names them itself.
fn told(row: &FlagRow) -> String {
    if row.flag.pattern.is_some() {
        return row.flag.reason.clone();
    }
    let machine = &row.machine;
    let mark = machine.serial.as_deref().or(machine.shop_tag.as_deref());
    let machine = [Some(machine.make.as_str()), Some(&machine.model), mark]
        .into_iter()
        .flatten()
        .collect::<Vec<_>>()
        .join(" ");
    format!(
        "{machine}, {}, call {}: {}",
        row.customer.name, row.call.number, row.flag.reason
    )
}

/// How many flags are open beside those named, if some are named.
fn more(named: usize, unanswered: u64) -> Option<String> {
    let more = unanswered.saturating_sub(u64::try_from(named).unwrap_or(u64::MAX));
    let is_are = if more == 1 { "is" } else { "are" };
    (named > 0 && more > 0).then(|| {
        format!(
            "And {} {is_are} open.",
            counted(more, "more flag", "more flags")
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn flags_that_are_not_named_are_counted() {
        assert_eq!(more(4, 7).as_deref(), Some("And 3 more flags are open."));
        assert_eq!(more(4, 5).as_deref(), Some("And 1 more flag is open."));
        assert_eq!(more(3, 3), None);
        assert_eq!(more(0, 2), None);
    }
}
