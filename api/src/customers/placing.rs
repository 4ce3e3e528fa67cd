//! How far away an address is, or which trip zone it was put into: what a trip there is priced by.

use nameplate_entities::service_address;
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, IntoActiveModel};

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, ProblemCode, Result, Right};

use super::store;

/// The farthest address, in either unit.
const DISTANCE_MAX: i64 = 1_000;

/// Where an address lies for trips; none for what nobody settled.
#[derive(Clone, Debug)]
pub struct PlaceServiceAddress {
    pub service_address_id: i64,
    /// The version that was read; somebody else's change in between is not overwritten.
    pub version: i32,
    /// Name of a zone of the price book; it goes before postal code and distance.
    pub trip_zone: Option<String>,
    /// From the shop, in the unit of the price book.
    pub trip_distance: Option<Decimal>,
}

/// Settles the trip zone or the distance of an address, or takes them away.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict` when it was changed since it was read; refusals name the field.
pub async fn place_service_address(
    act: &Act,
    place: PlaceServiceAddress,
) -> Result<service_address::Model> {
    act.staff_with(Right::PlaceServiceAddress)?;
    let mut checks = Checks::new();
    let zone = checks.text_if_any("tripZone", place.trip_zone.as_deref(), LINE_MAX);
    if let Some(distance) = place.trip_distance {
        let farthest = Decimal::from(DISTANCE_MAX);
        checks.between("tripDistance", distance, (Decimal::ZERO, farthest));
        if distance.scale() > 3 {
            let words = format!("{distance} has more than three decimals.");
            checks.refuse(ProblemCode::OutOfRange, "tripDistance", words);
        }
    }
    let tx = act.app.db.write().await?;
    let before = store::get_address(&tx, "serviceAddressId", place.service_address_id).await?;
    if before.version != place.version {
        checks.refuse(
            ProblemCode::Conflict,
            "version",
            "Somebody changed this address since you read it. Read it again first.",
        );
    }
    checks.finish()?;
    let mut row = before.clone().into_active_model();
    row.trip_zone = Set(zone);
    row.trip_distance = Set(place.trip_distance.map(Into::into));
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    let subject = Subject {
        kind: "service_address",
        id: after.id,
    };
    let verb = Right::PlaceServiceAddress.mutation();
    audit::record(&tx, act, verb, subject, (Some(&before), Some(&after))).await?;
    tx.commit().await?;
    Ok(after)
}
