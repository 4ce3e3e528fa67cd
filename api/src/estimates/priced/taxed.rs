//! Tax of an alternative: its facts put to the rules of the place, and prices that hold the tax taken apart.

use chrono::NaiveDate;
use nameplate_entities::kinds::ChargeKind;
use nameplate_entities::{estimate_line, estimate_option, estimate_tax};
use nameplate_rules::estimate::Shown;
use nameplate_rules::money::{Cents, MoneyRefusal};
use nameplate_rules::tax::{
    self, Delivery, Facts, LevelTax, LineFact, Prices, Sale, TaxLine, TaxRefusal, TaxResult,
};
use rust_decimal::Decimal;

use crate::base::{Error, ProblemCode, Result};
use crate::pricing::{self, Certificate, Jurisdiction};

use super::charges::Charge;
use super::{Terms, too_large};
use crate::estimates::writing::offer::NewOption;
use crate::estimates::writing::tax_facts::{self, LineFacts, OptionFacts};

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
            .map(|(charge, discount)| {
                let left = charge.net.checked_sub(*discount)?;
                Some(tax_line(charge.kind, left, &charge.facts))
            })
            .collect::<Option<Vec<_>>>()
            .ok_or_else(|| too_large(path, &MoneyRefusal::TooLarge))?;
        let sale = Sale {
            on: self.on,
            facts: facts(&option.facts, self.built_in),
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

fn facts(facts: &OptionFacts, built_in: bool) -> Facts {
    Facts {
        stated: pricing::stated_of_row(facts.stated_as),
        no_material_proven: facts.material_evidence.is_some(),
        outcome: pricing::outcome_of_row(facts.outcome),
        built_in,
        disaster: facts.disaster_area.is_some(),
    }
}

fn tax_line(kind: ChargeKind, left_after_discount: Cents, facts: &LineFacts) -> TaxLine {
    let delivery = facts.delivery.map(|delivery| Delivery {
        by: pricing::carrier_of_row(delivery.by),
        actual_cost: delivery.actual_cost,
        divided: delivery.divided,
    });
    TaxLine {
        kind: pricing::charge_of_row(kind),
        net: left_after_discount,
        trip_serves: facts.trip_serves.map(pricing::serves_of_row),
        delivery,
        under_warranty: facts.replaced_under_warranty,
    }
}

/// A drafted option with what it was taxed as.
pub struct Drafted {
    pub option: estimate_option::Model,
    pub lines: Vec<estimate_line::Model>,
    pub taxes: Vec<estimate_tax::Model>,
}

/// What the tax of a sale turns on beside the sale itself.
pub struct TaxTerms {
    pub jurisdiction: Jurisdiction,
    pub certificate: Option<Certificate>,
    pub built_in: bool,
    pub on: NaiveDate,
}

impl Drafted {
    /// Whether it would be taxed the same on these terms: at the same levels, on as much, under the same certificate.
    /// Rates and rules may begin or end by date, so a draft of yesterday may not be.
    pub fn is_taxed_as(&self, terms: &TaxTerms) -> bool {
        let lines = self
            .lines
            .iter()
            .map(|line| {
                let shown = tax_facts::shown(line).unwrap_or(Shown {
                    net: Cents(line.net_cents),
                    discount: Cents(line.discount_cents),
                });
                let left = shown.net.checked_sub(shown.discount)?;
                Some(tax_line(line.kind, left, &LineFacts::of_row(line)))
            })
            .collect::<Option<Vec<_>>>();
        let sale = Sale {
            on: terms.on,
            facts: facts(&OptionFacts::of_row(&self.option), terms.built_in),
        };
        let certificate = terms.certificate.as_ref();
        let rules = certificate.map(|held| &held.rules);
        // What cannot be taxed today, such as for a fact that today's rules ask, is not taxed the same.
        let Some(Ok(result)) =
            lines.map(|lines| tax::tax(&lines, &terms.jurisdiction.rules, rules, &sale))
        else {
            return false;
        };
        let used = certificate.filter(|_| result.certificate_used);
        let taxed = |line: &estimate_line::Model| line.taxable_cents != 0;
        self.option.tax_exemption_id == used.map(|held| held.id)
            && self.option.tax_cents == result.total_cents.0
            && self.lines.iter().map(taxed).eq(result
                .lines
                .iter()
                .map(|line| line.taxable_cents != Cents::ZERO))
            && self.has_levels(&terms.jurisdiction, &result.levels)
    }

    fn has_levels(&self, place: &Jurisdiction, levels: &[LevelTax]) -> bool {
        let today = levels.iter().filter_map(|tax| {
            let level = place.levels.get(tax.at)?;
            let rate = tax.rate.per_hundred();
            Some((level.id, rate, tax.taxable_cents.0, tax.tax_cents.0))
        });
        let drafted = self.taxes.iter().map(|row| {
            let rate = row.rate_percent.0;
            (row.tax_level_id, rate, row.taxable_cents, row.tax_cents)
        });
        today.eq(drafted)
    }
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
