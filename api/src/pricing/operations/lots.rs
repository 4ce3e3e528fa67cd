//! Batches of parts, by the number printed on them.

use nameplate_entities::part_lot;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter,
};

use crate::base::{Act, Result};

/// The batch of a part with this number, recorded if it is new. Its part exists, and `lot` has passed the door.
///
/// # Errors
/// Internal only.
pub async fn lot(
    tx: &impl ConnectionTrait,
    act: &Act,
    part_id: i64,
    lot: &str,
) -> Result<part_lot::Model> {
    let lot = lot.to_uppercase();
    let found = part_lot::Entity::find()
        .filter(part_lot::Column::PartId.eq(part_id))
        .filter(part_lot::Column::Lot.eq(lot.as_str()))
        .one(tx)
        .await?;
    if let Some(row) = found {
        return Ok(row);
    }
    let row = part_lot::ActiveModel {
        part_id: Set(part_id),
        lot: Set(lot),
        first_seen_at: Set(act.at),
        ..Default::default()
    };
    Ok(row.insert(tx).await?)
}
