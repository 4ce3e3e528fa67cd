//! Trip charges by zone, and the diagnostic charge with its credit.
//!
//! What must stay true: a visit is charged for its trip once, however many calls it serves, and a
//! diagnostic credit never exceeds the charge or the repair it is credited against.

use serde::{Deserialize, Serialize};

use crate::money::{Cents, MoneyRefusal};

/// A zone of the shop's area and what a trip into it costs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct TripZone {
    /// Name of the zone, as it stands on the service address.
    pub name: String,
    /// Charge for one visit.
    pub charge: Cents,
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

/// Trip charge of one call.
///
/// # Errors
/// `NoZone`, `Negative`.
/// # Source
/// Common practice: one trip, one charge.
pub fn trip_charge(
    zones: &[TripZone],
    zone: &str,
    call: CallOnVisit,
) -> Result<Cents, TripRefusal> {
    let found = zones.iter().find(|known| known.name == zone);
    let charge = found
        .map(|known| known.charge)
        .ok_or_else(|| TripRefusal::NoZone {
            zone: zone.to_owned(),
        })?;
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
            },
            TripZone {
                name: "Far".to_owned(),
                charge: Cents(6_900),
            },
        ]
    }

    #[test]
    fn a_visit_that_serves_two_calls_is_charged_one_trip() {
        assert_eq!(
            trip_charge(&zones(), "Far", CallOnVisit::First),
            Ok(Cents(6_900))
        );
        assert_eq!(
            trip_charge(&zones(), "Far", CallOnVisit::Further),
            Ok(Cents::ZERO)
        );
    }

    #[test]
    fn a_zone_that_is_not_in_the_book_is_refused_by_name() {
        assert_eq!(
            trip_charge(&zones(), "Moon", CallOnVisit::First),
            Err(TripRefusal::NoZone {
                zone: "Moon".to_owned()
            })
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
