//! Rows of recalls, and which of them are about a machine.

use std::collections::HashMap;

use nameplate_entities::{appliance, recall, recall_check, recall_product};
use nameplate_rules::recall::{Meant, Plate, Recalled};
use nameplate_rules::serial::SerialKey;
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect, Select,
};

use crate::base::{Error, Result};

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

/// A recall that is, or may be, about a machine.
#[derive(Clone, Debug)]
pub struct Matched {
    pub recall: recall::Model,
    pub product: recall_product::Model,
    pub meant: Meant,
    pub check: Option<recall_check::Model>,
}

/// The recalls that are or may be about a machine, the newest first, each by the product that fits best.
///
/// # Errors
/// Internal only.
pub async fn about(db: &impl ConnectionTrait, machine: &appliance::Model) -> Result<Vec<Matched>> {
    let products = recall_product::Entity::find()
        .filter(recall_product::Column::MakeKey.eq(machine.make_key.as_str()))
        .order_by_desc(recall_product::Column::Id)
        .limit(OF_MAKE_MAX)
        .all(db)
        .await?;
    let model_key = SerialKey::parse(&machine.model).map(String::from);
    let model_key = model_key.unwrap_or_default();
    let plate = Plate {
        make_key: &machine.make_key,
        model_key: &model_key,
        serial_key: machine.serial_key.as_deref(),
    };
    let mut best: HashMap<i64, (Meant, recall_product::Model)> = HashMap::new();
    for product in products {
        let meant = recalled(&product).means(plate);
        let better = |held: &(Meant, recall_product::Model)| {
            held.0 == Meant::LookAtPlate && meant == Meant::Yes
        };
        if meant != Meant::No && best.get(&product.recall_id).is_none_or(better) {
            best.insert(product.recall_id, (meant, product));
        }
    }
    if best.is_empty() {
        return Ok(Vec::new());
    }
    let ids: Vec<i64> = best.keys().copied().collect();
    let checks = recall_check::Entity::find()
        .filter(recall_check::Column::ApplianceId.eq(machine.id))
        .all(db)
        .await?;
    let mut checks: HashMap<i64, recall_check::Model> =
        checks.into_iter().map(|row| (row.recall_id, row)).collect();
    let recalls = recall::Entity::find()
        .filter(recall::Column::Id.is_in(ids))
        .filter(recall::Column::WithdrawnOn.is_null())
        .order_by_desc(recall::Column::PublishedOn)
        .order_by_desc(recall::Column::Id)
        .all(db)
        .await?;
    Ok((recalls.into_iter())
        .filter_map(|recall| {
            let (meant, product) = best.remove(&recall.id)?;
            Some(Matched {
                check: checks.remove(&recall.id),
                recall,
                product,
                meant,
            })
        })
        .collect())
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
