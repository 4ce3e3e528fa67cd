//! Rows of recalls, and which of them are about a machine.

use std::collections::{BTreeSet, HashMap};

use nameplate_entities::{appliance, recall, recall_check, recall_product};
use nameplate_rules::recall::{Meant, Plate, Recalled};
use nameplate_rules::serial::SerialKey;
use sea_orm::sea_query::Order;
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder, Select,
};

use crate::base::{Error, Result, joined};

/// Most products of recalls that are weighed for one make; makers have fewer in force.
const OF_MAKE_MAX: u64 = 2_000;

/// The recall, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_recall(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<recall::Model> {
    recall::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "recall"))
}

/// The recalls of a publisher with these numbers.
///
/// # Errors
/// Internal only.
pub async fn numbered(
    db: &impl ConnectionTrait,
    source: &str,
    numbers: &[String],
) -> Result<HashMap<String, recall::Model>> {
    let rows = recall::Entity::find()
        .filter(recall::Column::Source.eq(source))
        .filter(recall::Column::Number.is_in(numbers.iter().map(String::as_str)))
        .all(db)
        .await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.number.clone(), row))
        .collect())
}

/// The products of a recall, oldest first.
///
/// # Errors
/// Internal only.
pub async fn products_of(
    db: &impl ConnectionTrait,
    recall_id: i64,
) -> Result<Vec<recall_product::Model>> {
    Ok(recall_product::Entity::find()
        .filter(recall_product::Column::RecallId.eq(recall_id))
        .order_by_asc(recall_product::Column::Id)
        .all(db)
        .await?)
}

/// What was done about a recall on a machine.
///
/// # Errors
/// Internal only.
pub async fn check_of(
    db: &impl ConnectionTrait,
    (recall_id, appliance_id): (i64, i64),
) -> Result<Option<recall_check::Model>> {
    Ok(recall_check::Entity::find()
        .filter(recall_check::Column::RecallId.eq(recall_id))
        .filter(recall_check::Column::ApplianceId.eq(appliance_id))
        .one(db)
        .await?)
}

/// A recall that is or may be about a machine.
#[derive(Clone, Debug)]
pub struct Matched {
    pub recall: recall::Model,
    /// The product that fits best.
    pub product: recall_product::Model,
    pub meant: Meant,
    /// What was done about it on this machine.
    pub check: Option<recall_check::Model>,
}

/// A product and the recall that names it.
#[derive(Clone, Debug, FromQueryResult)]
struct Named {
    #[sea_orm(nested(prefix = "recall_product_"))]
    product: recall_product::Model,
    #[sea_orm(nested(prefix = "recall_"))]
    recall: recall::Model,
}

/// The recalls that are or may be about a machine, the newest first, each by the product that fits best. At most two
/// statements.
///
/// # Errors
/// Internal only.
pub async fn about(db: &impl ConnectionTrait, machine: &appliance::Model) -> Result<Vec<Matched>> {
    let found = about_each(db, std::slice::from_ref(machine)).await?;
    Ok(found.into_values().next().unwrap_or_default())
}

/// The same for several machines, by their ids; those that no recall is about are left out. At most two statements.
///
/// # Errors
/// Internal only.
pub async fn about_each(
    db: &impl ConnectionTrait,
    machines: &[appliance::Model],
) -> Result<HashMap<i64, Vec<Matched>>> {
    let named = named(db, machines).await?;
    let mut found: HashMap<i64, Vec<Matched>> = (machines.iter())
        .map(|machine| (machine.id, meant(machine, &named)))
        .filter(|(_, matched)| !matched.is_empty())
        .collect();
    if found.is_empty() {
        return Ok(found);
    }
    let checks = recall_check::Entity::find()
        .filter(recall_check::Column::ApplianceId.is_in(found.keys().copied()))
        .all(db)
        .await?;
    for check in checks {
        let of_machine = found.get_mut(&check.appliance_id);
        let of_recall = of_machine.and_then(|all| {
            all.iter_mut()
                .find(|matched| matched.recall.id == check.recall_id)
        });
        if let Some(matched) = of_recall {
            matched.check = Some(check);
        }
    }
    Ok(found)
}

/// The products of these makes that recalls in force name, the newest first.
async fn named(db: &impl ConnectionTrait, machines: &[appliance::Model]) -> Result<Vec<Named>> {
    let makes: BTreeSet<&str> = (machines.iter())
        .map(|machine| machine.make_key.as_str())
        .collect();
    let most = OF_MAKE_MAX.saturating_mul(u64::try_from(makes.len()).unwrap_or(1));
    let mut query = joined::select::<recall_product::Entity>();
    joined::to::<recall::Entity>(&mut query, ("recall_product", "recall_id", "id"));
    query
        .and_where(recall_product::Column::MakeKey.is_in(makes))
        .and_where(recall::Column::WithdrawnOn.is_null())
        .order_by((recall::Entity, recall::Column::PublishedOn), Order::Desc)
        .order_by((recall::Entity, recall::Column::Id), Order::Desc)
        .order_by(
            (recall_product::Entity, recall_product::Column::Id),
            Order::Desc,
        )
        .limit(most);
    joined::all(db, &query).await
}

/// Those that mean a machine or may do so: of a recall's products one that certainly does, or else the last.
fn meant(machine: &appliance::Model, named: &[Named]) -> Vec<Matched> {
    let model_key = SerialKey::parse(&machine.model).map(String::from);
    let model_key = model_key.unwrap_or_default();
    let plate = Plate {
        make_key: &machine.make_key,
        model_key: &model_key,
        serial_key: machine.serial_key.as_deref(),
    };
    let of_recall = |rows: &[Named]| {
        let looked = rows
            .iter()
            .map(|row| (recalled(&row.product).means(plate), row));
        let looked: Vec<_> = looked.filter(|(meant, _)| *meant != Meant::No).collect();
        let sure = looked.iter().find(|(meant, _)| *meant == Meant::Yes);
        let (meant, row) = sure.or_else(|| looked.first())?;
        Some(Matched {
            recall: row.recall.clone(),
            product: row.product.clone(),
            meant: *meant,
            check: None,
        })
    };
    (named.chunk_by(|a, b| a.recall.id == b.recall.id))
        .filter_map(of_recall)
        .collect()
}

/// A product as the rules read it.
pub fn recalled(product: &recall_product::Model) -> Recalled {
    Recalled {
        make_key: product.make_key.clone(),
        model_pattern: product.model_pattern.clone(),
        serial_from: product.serial_from.clone(),
        serial_through: product.serial_through.clone(),
    }
}

/// The machines of the makes that a recall names; whether each is meant is for the rules.
pub fn machines_of_makes(make_keys: &[String]) -> Select<appliance::Entity> {
    appliance::Entity::find()
        .filter(appliance::Column::MakeKey.is_in(make_keys.iter().map(String::as_str)))
}
