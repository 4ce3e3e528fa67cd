//! The trip on a line: by the zone of the address, once for a visit.

use nameplate_entities::kinds::PricedBy;
use nameplate_rules::money::Cents;
use nameplate_rules::pricing::trip::{CallOnVisit, Place, TripRefusal, trip_charge};
use rust_decimal::Decimal;

use crate::base::{Error, ProblemCode, Result};

use super::Terms;
use super::basis::Basis;
use super::charges::{Charge, counted};
use crate::estimates::states::sentence;
use crate::estimates::writing::offer::NewLine;

/// Where the visit goes, and whether another call has paid for it.
#[derive(Clone, Debug, Default)]
pub struct Destination {
    /// Name of the zone the desk settled on for the address.
    pub zone: Option<String>,
    pub postal_code: String,
    pub distance: Option<Decimal>,
    /// Number of the other call on the same visit whose accepted offer charges the trip.
    pub charged_with: Option<String>,
}

impl Terms {
    /// The trip of one line. A second trip is charged whatever other calls the first one served.
    pub(super) fn trip(&self, line: &NewLine, path: &str) -> Result<Charge> {
        if line.unit_price.is_some() {
            // A typed price needs no zone.
            return counted(line, "Trip", Cents::ZERO, path);
        }
        let place = Place {
            zone: self.destination.zone.as_deref(),
            postal_code: &self.destination.postal_code,
            distance: self.destination.distance,
        };
        let refused = |refusal: TripRefusal| {
            let words = sentence(&refusal.to_string());
            Error::refused(ProblemCode::SettingMissing, path, words)
        };
        let (charge, zone) = self.book.trip(place).map_err(refused)?;
        let zone_name = zone.map(str::to_owned);
        let shared = self.destination.charged_with.as_ref();
        let shared = shared.filter(|_| line.terms.repeat_reason.is_none());
        let (name, call) = match shared {
            Some(number) => (
                format!("Trip (charged with {number})"),
                CallOnVisit::Further,
            ),
            None => ("Trip".to_owned(), CallOnVisit::First),
        };
        let charge = trip_charge(charge, call).map_err(refused)?;
        let charge = counted(line, &name, charge, path)?;
        Ok(Charge {
            basis: Basis {
                zone_name,
                priced_by: match shared {
                    Some(_) => Some(PricedBy::OtherCall),
                    None => Some(PricedBy::Book),
                },
                ..Basis::default()
            },
            ..charge
        })
    }
}
