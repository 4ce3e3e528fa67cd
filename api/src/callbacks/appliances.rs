//! Correcting a machine: repairs are counted by its make and model.

use nameplate_entities::appliance;

use crate::appliances::{self, ChangeAppliance};
use crate::base::{Act, Result, Right};

use super::outcomes;

/// Corrects a machine's plate data or dates, and counts its repairs by what it is now.
///
/// # Errors
/// `Forbidden`; those of `appliances::correct`.
pub async fn change_appliance(act: &Act, change: ChangeAppliance) -> Result<appliance::Model> {
    act.staff_with(Right::ChangeAppliance)?;
    let tx = act.app.db.write().await?;
    let row = appliances::correct(&tx, act, change).await?;
    outcomes::refresh(&tx, row.id).await?;
    tx.commit().await?;
    Ok(row)
}
