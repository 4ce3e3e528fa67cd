//! Trip charges by zone, and the diagnostic charge with its credit.
//!
//! What must stay true: a visit is charged for its trip once, however many calls it serves, and a
//! diagnostic credit never exceeds the charge or the repair it is credited against.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::money::{Cents, MoneyRefusal};

/// A zone of the shop's area and what a trip into it costs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct TripZone {
    /// Name of the zone, as it stands on the service address.
    pub name: String,
    /// Charge for one visit.
    pub charge: Cents,
    /// What belongs to it.
    pub area: ZoneArea,
}

/// What belongs to a zone.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ZoneArea {
    /// Addresses that were put into it by name only.
    ByName,
    /// Postal codes as [`postal_key`] writes them; one that ends in `*` stands for all that begin so.
    PostalCodes(Vec<String>),
    /// Up to this distance from the shop, itself inside.
    UpTo(Decimal),
}

/// Where a visit goes.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Place<'a> {
    /// Name of the zone somebody put the address into.
    pub zone: Option<&'a str>,
    /// Its postal code.
    pub postal_code: &'a str,
    /// Distance from the shop, in the unit of the zones.
    pub distance: Option<Decimal>,
}

/// A postal code to compare by: upper case, letters and digits only, with `*` kept at the end.
#[must_use]
pub fn postal_key(code: &str) -> String {
    let mut key: String = code
        .chars()
        .filter(|sign| sign.is_alphanumeric())
        .flat_map(char::to_uppercase)
        .collect();
    if code.trim_end().ends_with('*') {
        key.push('*');
    }
    key
}

/// The zone a place belongs to; none when the book has no zone for it.
///
/// First what somebody settled by name, then the longest postal code or beginning of one that fits, then the
/// nearest distance that reaches it.
///
/// # Errors
/// `NoZone` for a name the book does not know: the desk settled on it, so it is not guessed past.
/// # Source
/// Common practice, no source.
pub fn zone_of<'a>(
    zones: &'a [TripZone],
    place: Place<'_>,
) -> Result<Option<&'a TripZone>, TripRefusal> {
    if let Some(name) = place.zone {
        let named = zones.iter().find(|zone| zone.name == name);
        let missing = || TripRefusal::NoZone {
            zone: name.to_owned(),
        };
        return named.map(Some).ok_or_else(missing);
    }
    let key = postal_key(place.postal_code);
    let by_code = zones
        .iter()
        .filter_map(|zone| Some((longest_match(&zone.area, &key)?, zone)))
        .max_by_key(|(length, _)| *length)
        .map(|(_, zone)| zone);
    if by_code.is_some() {
        return Ok(by_code);
    }
    Ok(place.distance.and_then(|distance| {
        zones
            .iter()
            .filter_map(|zone| match &zone.area {
                ZoneArea::UpTo(edge) if distance <= *edge => Some((*edge, zone)),
                _ => None,
            })
            .min_by_key(|(edge, _)| *edge)
            .map(|(_, zone)| zone)
    }))
}

/// How much of `key` the best code of the area names; a whole code beats a beginning of the same length.
fn longest_match(area: &ZoneArea, key: &str) -> Option<(usize, bool)> {
    let ZoneArea::PostalCodes(codes) = area else {
        return None;
    };
    let matched = codes
        .iter()
        .filter_map(|code| match code.strip_suffix('*') {
            Some(beginning) => key
                .starts_with(beginning)
                .then_some((beginning.len(), false)),
            None => (code == key).then_some((code.len(), true)),
        });
    matched.max()
}

/// Why a trip or diagnostic has no price.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TripRefusal {
    /// The price book has no such zone.
    #[error("the price book has no trip zone {zone:?}")]
    NoZone { zone: String },
    /// A charge or a repair below zero.
    #[error("{amount} is below zero")]
    Negative { amount: Cents },
    /// The figure does not fit.
    #[error(transparent)]
    Money(#[from] MoneyRefusal),
}

/// Which call of a visit is being billed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CallOnVisit {
    /// The first to be billed, which carries the trip.
    First,
    /// Any other, which carries none.
    Further,
}

/// Trip charge of one call: a visit is charged once, however many calls it serves.
///
/// # Errors
/// `Negative`.
/// # Source
/// Common practice, no source: one trip, one charge.
pub fn trip_charge(charge: Cents, call: CallOnVisit) -> Result<Cents, TripRefusal> {
    not_negative(charge)?;
    Ok(match call {
        CallOnVisit::First => charge,
        CallOnVisit::Further => Cents::ZERO,
    })
}

/// Whether the shop credits its diagnostic charge against an accepted repair.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DiagnosticCredit {
    /// Credited when the repair is accepted.
    #[default]
    WhenAccepted,
    /// Always charged.
    Never,
}

/// The customer's answer to the repair.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RepairAnswer {
    /// Accepted, at this price before tax.
    Accepted { repair: Cents },
    /// Not accepted.
    Declined,
}

/// The diagnostic on a bill.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct DiagnosticPrice {
    /// The charge.
    pub charge: Cents,
    /// What is taken off again, zero or more.
    pub credit: Cents,
    /// Charge less credit.
    pub due: Cents,
}

/// Diagnostic charge and credit.
///
/// The credit is the charge, or the price of the repair if that is smaller: a repair for 40.00 cannot
/// take 85.00 off the bill.
///
/// # Errors
/// `Negative` for a charge or repair below zero.
/// # Source
/// Common practice, no statute.
pub fn diagnostic(
    charge: Cents,
    credit: DiagnosticCredit,
    answer: RepairAnswer,
) -> Result<DiagnosticPrice, TripRefusal> {
    not_negative(charge)?;
    let credit = match (credit, answer) {
        (DiagnosticCredit::WhenAccepted, RepairAnswer::Accepted { repair }) => {
            not_negative(repair)?;
            charge.min(repair)
        }
        _ => Cents::ZERO,
    };
    let due = charge.checked_sub(credit).ok_or(MoneyRefusal::TooLarge)?;
    Ok(DiagnosticPrice {
        charge,
        credit,
        due,
    })
}

fn not_negative(amount: Cents) -> Result<(), TripRefusal> {
    if amount.is_negative() {
        return Err(TripRefusal::Negative { amount });
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn zones() -> Vec<TripZone> {
        vec![
            TripZone {
                name: "Near".to_owned(),
                charge: Cents(3_900),
                area: ZoneArea::PostalCodes(vec!["004*".to_owned(), "00512".to_owned()]),
            },
            TripZone {
                name: "Far".to_owned(),
                charge: Cents(6_900),
                area: ZoneArea::PostalCodes(vec!["00*".to_owned(), "00499".to_owned()]),
            },
            TripZone {
                name: "Ring one".to_owned(),
                charge: Cents(4_500),
                area: ZoneArea::UpTo(Decimal::TEN),
            },
            TripZone {
                name: "Ring two".to_owned(),
                charge: Cents(5_500),
                area: ZoneArea::UpTo(Decimal::from(25)),
            },
            TripZone {
                name: "Island".to_owned(),
                charge: Cents(9_900),
                area: ZoneArea::ByName,
            },
        ]
    }

    #[track_caller]
    fn zone(zone: Option<&str>, postal_code: &str, distance: Option<i64>) -> Option<String> {
        let place = Place {
            zone,
            postal_code,
            distance: distance.map(Decimal::from),
        };
        let zones = zones();
        let found = zone_of(&zones, place).unwrap();
        found.map(|zone| zone.name.clone())
    }

    #[test]
    fn an_address_belongs_to_the_zone_settled_for_it_then_to_its_postal_code_then_to_its_distance()
    {
        assert_eq!(zone(Some("Island"), "00412", Some(3)).unwrap(), "Island");
        assert_eq!(zone(None, "00412", Some(20)).unwrap(), "Near");
        assert_eq!(
            zone(None, "00 499", None).unwrap(),
            "Far",
            "a whole code beats a beginning"
        );
        assert_eq!(zone(None, "00-512", None).unwrap(), "Near");
        assert_eq!(zone(None, "00777", None).unwrap(), "Far");
        assert_eq!(
            zone(None, "90210", Some(10)).unwrap(),
            "Ring one",
            "the edge is inside"
        );
        assert_eq!(zone(None, "90210", Some(11)).unwrap(), "Ring two");
        assert_eq!(zone(None, "90210", Some(26)), None);
        assert_eq!(zone(None, "90210", None), None);
    }

    #[test]
    fn a_zone_settled_by_a_name_the_book_lacks_is_not_guessed_past() {
        let place = Place {
            zone: Some("Moon"),
            postal_code: "00412",
            distance: None,
        };
        let zone = "Moon".to_owned();
        assert_eq!(zone_of(&zones(), place), Err(TripRefusal::NoZone { zone }));
    }

    #[test]
    fn postal_codes_are_compared_without_blanks_and_in_upper_case() {
        assert_eq!(postal_key(" sw1a 1aa "), "SW1A1AA");
        assert_eq!(postal_key("sw1 *"), "SW1*");
    }

    #[test]
    fn a_visit_that_serves_two_calls_is_charged_one_trip() {
        let far = Cents(6_900);
        assert_eq!(trip_charge(far, CallOnVisit::First), Ok(far));
        assert_eq!(trip_charge(far, CallOnVisit::Further), Ok(Cents::ZERO));
        let amount = Cents(-1);
        assert_eq!(
            trip_charge(amount, CallOnVisit::First),
            Err(TripRefusal::Negative { amount })
        );
    }

    #[test]
    fn the_diagnostic_is_credited_only_when_the_repair_is_accepted_and_the_shop_does_so() {
        let due = |credit, answer| diagnostic(Cents(8_500), credit, answer).unwrap().due;
        let accepted = RepairAnswer::Accepted {
            repair: Cents(24_000),
        };
        assert_eq!(due(DiagnosticCredit::WhenAccepted, accepted), Cents::ZERO);
        assert_eq!(
            due(DiagnosticCredit::WhenAccepted, RepairAnswer::Declined),
            Cents(8_500)
        );
        assert_eq!(due(DiagnosticCredit::Never, accepted), Cents(8_500));
    }

    #[test]
    fn a_credit_is_no_larger_than_the_repair() {
        let answer = RepairAnswer::Accepted {
            repair: Cents(4_000),
        };
        let price = diagnostic(Cents(8_500), DiagnosticCredit::WhenAccepted, answer).unwrap();
        assert_eq!((price.credit, price.due), (Cents(4_000), Cents(4_500)));
    }

    #[test]
    fn charges_below_zero_are_refused() {
        let amount = Cents(-1);
        assert_eq!(
            diagnostic(amount, DiagnosticCredit::Never, RepairAnswer::Declined),
            Err(TripRefusal::Negative { amount })
        );
        let answer = RepairAnswer::Accepted { repair: amount };
        assert_eq!(
            diagnostic(Cents(1), DiagnosticCredit::WhenAccepted, answer),
            Err(TripRefusal::Negative { amount })
        );
    }
}
