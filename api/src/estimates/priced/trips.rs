//! The trip on a line: by the zone of the address, once for a visit.

use nameplate_rules::money::Cents;
use nameplate_rules::pricing::trip::Place;
use rust_decimal::Decimal;

use crate::base::{Error, ProblemCode, Result};

use super::super::offer::NewLine;
use super::super::states::sentence;
use super::Terms;
use super::basis::Basis;
use super::charges::{Charge, counted};

/// Where the visit goes, and whether another call has paid for it.
#[derive(Clone, Debug, Default)]
pub struct Destination {
    /// Name of the zone the desk settled on for the address.
    pub zone: Option<String>,
    pub postal_code: String,
    pub distance: Option<Decimal>,
    /// Number of the other call on the same visit whose offer charges the trip.
    pub charged_with: Option<String>,
}

impl Terms {
    /// The trip of one line. A second trip is charged whatever other calls the first one served.
    pub(super) fn trip(&self, line: &NewLine, path: &str) -> Result<Charge> {
        let place = Place {
            zone: self.destination.zone.as_deref(),
            postal_code: &self.destination.postal_code,
            distance: self.destination.distance,
        };
        let (charge, zone) = self.book.trip(place).map_err(|refusal| {
            let words = sentence(&refusal.to_string());
            Error::refused(ProblemCode::SettingMissing, path, words)
        })?;
        let zone_name = zone.map(str::to_owned);
        let by_hand = line.unit_price.is_some();
        let shared = self.destination.charged_with.as_ref();
        let shared = shared.filter(|_| !by_hand && line.terms.repeat_reason.is_none());
        let charge = match shared {
            Some(call) => counted(
                line,
                &format!("Trip (charged with {call})"),
                Cents::ZERO,
                path,
            )?,
            None => counted(line, "Trip", charge, path)?,
        };
        Ok(Charge {
            basis: Basis {
                zone_name,
                ..Basis::of(by_hand)
            },
            ..charge
        })
    }
}
