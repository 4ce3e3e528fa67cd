//! What groups are called.

use std::collections::HashMap;

use nameplate_entities::kinds::{Dimension, Method};
use nameplate_entities::{
    appliance, appliance_type, component, failure_mode, part, part_lot, repair_group, service_call,
    staff, supplier,
};
use sea_orm::sea_query::{Alias, Expr, ExprTrait, Order, Query, SelectStatement};
use sea_orm::{
    ActiveEnum, ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter,
};

use crate::base::{Result, joined};

/// Names by key; a key without a row is left out.
pub type Labels = HashMap<String, String>;

/// What these groups of a dimension are called, by one statement.
///
/// # Errors
/// Internal only.
pub async fn labels(
    db: &impl ConnectionTrait,
    dimension: Dimension,
    keys: &[String],
) -> Result<Labels> {
    let ids = || {
        keys.iter()
            .filter_map(|key| key.parse().ok())
            .collect::<Vec<i64>>()
    };
    match dimension {
        Dimension::Shop => Ok(Labels::from([(String::new(), "The whole shop".to_owned())])),
        Dimension::Technician => technicians(db, ids()).await,
        Dimension::TechnicianMethod => technicians_by_method(db, keys).await,
        Dimension::Component => components(db, ids()).await,
        Dimension::FailureMode => {
            let rows = failure_mode::Entity::find()
                .filter(failure_mode::Column::Id.is_in(ids()))
                .all(db)
                .await?;
            Ok(named(rows, |row| (row.id, row.name)))
        }
        Dimension::ApplianceType => {
            let rows = appliance_type::Entity::find()
                .filter(appliance_type::Column::Id.is_in(ids()))
                .all(db)
                .await?;
            Ok(named(rows, |row| (row.id, row.name)))
        }
        Dimension::Model => models(db, keys).await,
        Dimension::Part => {
            let rows = part::Entity::find()
                .filter(part::Column::Id.is_in(ids()))
                .all(db)
                .await?;
            Ok(named(rows, |row| (row.id, part_name(&row))))
        }
        Dimension::Lot => lots(db, ids()).await,
        Dimension::Method => Ok(keys
            .iter()
            .map(|key| (key.clone(), method_name(key).to_owned()))
            .collect()),
        Dimension::Supplier => {
            let rows = supplier::Entity::find()
                .filter(supplier::Column::Id.is_in(ids()))
                .all(db)
                .await?;
            Ok(named(rows, |row| (row.id, row.name)))
        }
    }
}

fn named<T>(rows: Vec<T>, name: impl Fn(T) -> (i64, String)) -> Labels {
    rows.into_iter()
        .map(|row| {
            let (id, name) = name(row);
            (id.to_string(), name)
        })
        .collect()
}

fn part_name(part: &part::Model) -> String {
    format!("{}, {}", part.number, part.description)
}

async fn technicians(db: &impl ConnectionTrait, ids: Vec<i64>) -> Result<Labels> {
    let rows = staff::Entity::find()
        .filter(staff::Column::Id.is_in(ids))
        .all(db)
        .await?;
    Ok(named(rows, |row| (row.id, row.name)))
}

async fn technicians_by_method(db: &impl ConnectionTrait, keys: &[String]) -> Result<Labels> {
    let halves = || {
        keys.iter()
            .filter_map(|key| Some((key, key.split_once('|')?)))
    };
    let ids = halves().filter_map(|(_, (id, _))| id.parse().ok());
    let names = technicians(db, ids.collect()).await?;
    Ok(halves()
        .filter_map(|(key, (id, method))| {
            let name = names.get(id)?;
            let how = method_name(method).to_lowercase();
            Some((key.clone(), format!("{name}, {how}")))
        })
        .collect())
}

/// A component with the type of machine it belongs to.
#[derive(FromQueryResult)]
pub struct ComponentNamed {
    pub id: i64,
    pub component: String,
    pub appliance_type: String,
}

/// All components of the shop's lists, or those with these ids.
///
/// # Errors
/// Internal only.
pub async fn components_named(
    db: &impl ConnectionTrait,
    ids: Option<Vec<i64>>,
) -> Result<Vec<ComponentNamed>> {
    let mut query = Query::select();
    query
        .column((component::Entity, component::Column::Id))
        .expr_as(
            Expr::col((component::Entity, component::Column::Name)),
            Alias::new("component"),
        )
        .expr_as(
            Expr::col((appliance_type::Entity, appliance_type::Column::Name)),
            Alias::new("appliance_type"),
        )
        .from(component::Entity)
        .inner_join(
            appliance_type::Entity,
            Expr::col((appliance_type::Entity, appliance_type::Column::Id))
                .equals((component::Entity, component::Column::ApplianceTypeId)),
        );
    if let Some(ids) = ids {
        query.and_where(Expr::col((component::Entity, component::Column::Id)).is_in(ids));
    }
    joined::all(db, &query).await
}

async fn components(db: &impl ConnectionTrait, ids: Vec<i64>) -> Result<Labels> {
    let rows = components_named(db, Some(ids)).await?;
    Ok(named(rows, |row| {
        (row.id, format!("{}: {}", row.appliance_type, row.component))
    }))
}

/// Make and model as printed on the machine of the model that was repaired last: one row is read for each key.
async fn models(db: &impl ConnectionTrait, keys: &[String]) -> Result<Labels> {
    let group = |column: repair_group::Column| Expr::col((repair_group::Entity, column));
    let of_call = |column: service_call::Column| Expr::col((service_call::Entity, column));
    let last = keys
        .iter()
        .map(|key| Expr::SubQuery(None, Box::new(last_repair(key).into())));
    let mut query = Query::select();
    query
        .column((repair_group::Entity, repair_group::Column::GroupKey))
        .columns([
            (appliance::Entity, appliance::Column::Make),
            (appliance::Entity, appliance::Column::Model),
        ])
        .from(repair_group::Entity)
        .inner_join(
            service_call::Entity,
            of_call(service_call::Column::Id)
                .equals((repair_group::Entity, repair_group::Column::CallId)),
        )
        .inner_join(
            appliance::Entity,
            Expr::col((appliance::Entity, appliance::Column::Id))
                .equals((service_call::Entity, service_call::Column::ApplianceId)),
        )
        .and_where(group(repair_group::Column::Dimension).eq(Dimension::Model))
        .and_where(group(repair_group::Column::CallId).is_in(last));
    let rows = joined::all::<ModelNamed>(db, &query).await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.group_key, format!("{} {}", row.make, row.model.trim())))
        .collect())
}

/// The call by which a machine of this model was repaired last.
fn last_repair(key: &str) -> SelectStatement {
    Query::select()
        .column(repair_group::Column::CallId)
        .from(repair_group::Entity)
        .and_where(repair_group::Column::Dimension.eq(Dimension::Model))
        .and_where(repair_group::Column::GroupKey.eq(key))
        .order_by(repair_group::Column::CompletedOn, Order::Desc)
        .order_by(repair_group::Column::CallId, Order::Desc)
        .limit(1)
        .to_owned()
}

#[derive(FromQueryResult)]
struct ModelNamed {
    group_key: String,
    make: String,
    model: String,
}

#[derive(FromQueryResult)]
struct LotNamed {
    #[sea_orm(nested(prefix = "part_lot_"))]
    lot: part_lot::Model,
    #[sea_orm(nested(prefix = "part_"))]
    part: part::Model,
}

async fn lots(db: &impl ConnectionTrait, ids: Vec<i64>) -> Result<Labels> {
    let mut query = joined::select::<part_lot::Entity>();
    joined::to::<part::Entity>(&mut query, ("part_lot", "part_id", "id"));
    query.and_where(part_lot::Column::Id.is_in(ids));
    let rows = joined::all::<LotNamed>(db, &query).await?;
    Ok(named(rows, |row| {
        (
            row.lot.id,
            format!("{}, batch {}", row.part.number, row.lot.lot),
        )
    }))
}

/// A method in words for a heading.
fn method_name(word: &str) -> &'static str {
    match Method::try_from_value(&word.to_owned()) {
        Ok(Method::Replaced) => "Replaced",
        Ok(Method::ReTerminated) => "Re-terminated",
        Ok(Method::Spliced) => "Spliced",
        Ok(Method::Cleaned) => "Cleaned",
        Ok(Method::Adjusted) => "Adjusted",
        Ok(Method::Tightened) => "Tightened",
        Ok(Method::Unblocked) => "Unblocked",
        Ok(Method::None) => "Nothing done",
        Ok(Method::Other) | Err(_) => "Other",
    }
}
