//! Tax of an alternative: its facts put to the rules of the place, and prices that hold the tax taken apart.

use nameplate_rules::money::{Cents, MoneyRefusal};
use nameplate_rules::tax::{
    self, Delivery, Facts, LineFact, Prices, Sale, TaxLine, TaxRefusal, TaxResult,
};
use rust_decimal::Decimal;

use crate::base::{Error, ProblemCode, Result};
use crate::pricing;

use super::charges::Charge;
use super::{Terms, too_large};
use crate::estimates::writing::offer::NewOption;

/// A line's price and discount as the customer sees them, where prices hold the tax.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shown {
    pub net: Cents,
    pub discount: Cents,
}

impl Terms {
    /// Taxes what is charged after discount. Where prices hold the tax, charges and discounts become those before
    /// tax, and what the customer sees is given for each line.
    pub(super) fn tax(
        &self,
        option: &NewOption,
        (charges, discounts): (&mut [Charge], &mut [Cents]),
        path: &str,
    ) -> Result<(TaxResult, Vec<Option<Shown>>)> {
        let lines = charges
            .iter()
            .zip(discounts.iter())
            .map(|(charge, discount)| tax_line(charge, *discount))
            .collect::<Option<Vec<_>>>()
            .ok_or_else(|| too_large(path, &MoneyRefusal::TooLarge))?;
        let sale = Sale {
            on: self.on,
            facts: self.facts(option),
        };
        let certificate = self.certificate.as_ref().map(|held| &held.rules);
        let result = tax::tax(&lines, &self.jurisdiction.rules, certificate, &sale)
            .map_err(|refusal| self.refused(refusal, charges, path))?;
        let shown = match result.prices {
            Prices::BeforeTax => vec![None; charges.len()],
            Prices::WithTax => taken_apart(charges, discounts, &result)
                .ok_or_else(|| too_large(path, &MoneyRefusal::TooLarge))?,
        };
        Ok((result, shown))
    }

    fn facts(&self, option: &NewOption) -> Facts {
        let facts = &option.facts;
        Facts {
            stated: pricing::stated_of_row(facts.stated_as),
            no_material_proven: facts.material_evidence.is_some(),
            outcome: pricing::outcome_of_row(facts.outcome),
            built_in: self.built_in,
            disaster: facts.disaster_area.is_some(),
        }
    }

    fn refused(&self, refusal: TaxRefusal, charges: &[Charge], path: &str) -> Error {
        match refusal {
            TaxRefusal::FactMissing { line, fact } => {
                let field = match fact {
                    LineFact::TripServes => "tripServes",
                    LineFact::Delivery => "delivery",
                };
                let place = &self.jurisdiction.row.name;
                let line = charges.get(line).map_or(line, |charge| charge.line);
                Error::refused(
                    ProblemCode::Missing,
                    format!("{path}.lines.{line}.{field}"),
                    format!("The tax rules of {place} ask {fact}. Say it for this line."),
                )
            }
            TaxRefusal::Money(refusal) => too_large(path, &refusal),
            other => Error::caused("tax of an estimate", other),
        }
    }
}

fn tax_line(charge: &Charge, discount: Cents) -> Option<TaxLine> {
    let facts = &charge.facts;
    let delivery = facts.delivery.map(|delivery| Delivery {
        by: pricing::carrier_of_row(delivery.by),
        actual_cost: delivery.actual_cost,
        divided: delivery.divided,
    });
    Some(TaxLine {
        kind: pricing::charge_of_row(charge.kind),
        net: charge.net.checked_sub(discount)?,
        trip_serves: facts.trip_serves.map(pricing::serves_of_row),
        delivery,
        under_warranty: facts.replaced_under_warranty,
    })
}

/// Takes the tax out of each price and discount, so that price less discount plus tax is what the customer saw.
fn taken_apart(
    charges: &mut [Charge],
    discounts: &mut [Cents],
    result: &TaxResult,
) -> Option<Vec<Option<Shown>>> {
    let lines = charges
        .iter_mut()
        .zip(discounts.iter_mut())
        .zip(&result.lines);
    lines
        .map(|((charge, discount), line)| {
            let shown = Shown {
                net: charge.net,
                discount: *discount,
            };
            let pays = shown.net.checked_sub(shown.discount)?;
            let before_tax = pays.checked_sub(line.tax_cents)?;
            if pays != Cents::ZERO {
                let kept = Decimal::from(before_tax.0).checked_div(Decimal::from(pays.0))?;
                *discount = shown.discount.times_half_up(kept).ok()?;
            }
            charge.net = before_tax.checked_add(*discount)?;
            Some(Some(shown))
        })
        .collect()
}
