//! The two published ways from an amount to whole cents of tax: by rate and by bracket table.

use serde::{Deserialize, Serialize};

use crate::money::{Cents, MoneyRefusal};
use crate::percent::Percent;

/// Tax by rate: cut off after the third decimal of the dollar, then up if that decimal exceeds 4.
///
/// Cutting off matters. 0.80475 rounded to three decimals would be 0.805 and then 0.81; cut off it is
/// 0.804 and so 0.80. A credit is the negative of the tax on the same amount.
///
/// # Errors
/// `MoneyRefusal::TooLarge` if the exact product does not fit.
/// # Source
/// Streamlined Sales and Use Tax Agreement section 324, as enacted in R.I. Gen. Laws 44-18.1-25;
/// fixtures/worked/tax-rounding.json.
pub fn section_324(amount: Cents, rate: Percent) -> Result<Cents, MoneyRefusal> {
    let (numerator, denominator) = rate.exact_of(amount)?;
    let tenths_of_cents = numerator
        .checked_mul(10)
        .and_then(|tenths| tenths.checked_div(denominator))
        .ok_or(MoneyRefusal::TooLarge)?;
    let cents = tenths_of_cents / 10;
    let third_decimal = (tenths_of_cents % 10).abs();
    let up = if third_decimal > 4 {
        tenths_of_cents.signum()
    } else {
        0
    };
    i64::try_from(cents + up)
        .map(Cents)
        .map_err(|_| MoneyRefusal::TooLarge)
}

/// One line of a bracket table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct BracketStep {
    /// Highest amount of this step, itself inside.
    pub up_to_cents: Cents,
    /// Tax on it.
    pub tax_cents: Cents,
}

/// A state's bracket table: so much a whole dollar, and steps for what is over.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct BracketTable {
    /// Tax on each whole dollar.
    pub whole_dollar_tax_cents: Cents,
    /// Steps for amounts under one dollar, rising; beyond the last, the tax of a whole dollar.
    pub under_a_dollar: Vec<BracketStep>,
    /// Steps for the cents over whole dollars, rising; beyond the last, the tax of a whole dollar.
    pub over_whole_dollars: Vec<BracketStep>,
}

/// What is wrong with a bracket table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum TableFault {
    /// A tax below nothing.
    #[error("a tax in the table is below zero")]
    Negative,
    /// A step that does not end above the one before it, or not within a dollar.
    #[error("the steps must rise, from 0.01 to 0.99")]
    NotRising,
    /// A larger amount that pays less.
    #[error("a larger amount must not pay less")]
    Falling,
}

impl BracketTable {
    /// The first fault of the table, if it has one.
    ///
    /// # Errors
    /// `Negative`, `NotRising`, `Falling`, in this order.
    pub fn check(&self) -> Result<(), TableFault> {
        for steps in [&self.under_a_dollar, &self.over_whole_dollars] {
            let mut before = BracketStep {
                up_to_cents: Cents::ZERO,
                tax_cents: Cents::ZERO,
            };
            for step in steps {
                if step.tax_cents.is_negative() || self.whole_dollar_tax_cents.is_negative() {
                    return Err(TableFault::Negative);
                }
                if step.up_to_cents <= before.up_to_cents || step.up_to_cents > Cents(99) {
                    return Err(TableFault::NotRising);
                }
                if step.tax_cents < before.tax_cents || step.tax_cents > self.whole_dollar_tax_cents
                {
                    return Err(TableFault::Falling);
                }
                before = *step;
            }
        }
        if self.whole_dollar_tax_cents.is_negative() {
            return Err(TableFault::Negative);
        }
        Ok(())
    }

    /// Tax on one amount; a credit is the negative of the tax on the same amount.
    ///
    /// # Errors
    /// `MoneyRefusal::TooLarge` if the tax does not fit.
    /// # Source
    /// Maryland Tax-General 11-104(a) is such a table; fixtures/worked/tax-brackets.json.
    pub fn tax_on(&self, amount: Cents) -> Result<Cents, MoneyRefusal> {
        if amount.is_negative() {
            let mirrored = amount.checked_neg().ok_or(MoneyRefusal::TooLarge)?;
            return self
                .tax_on(mirrored)?
                .checked_neg()
                .ok_or(MoneyRefusal::TooLarge);
        }
        let dollars = amount.0 / 100;
        let rest = Cents(amount.0 % 100);
        let steps = if dollars == 0 {
            &self.under_a_dollar
        } else {
            &self.over_whole_dollars
        };
        self.whole_dollar_tax_cents
            .0
            .checked_mul(dollars)
            .and_then(|whole| Cents(whole).checked_add(self.tax_on_rest(rest, steps)))
            .ok_or(MoneyRefusal::TooLarge)
    }

    fn tax_on_rest(&self, rest: Cents, steps: &[BracketStep]) -> Cents {
        if rest == Cents::ZERO {
            return Cents::ZERO;
        }
        steps
            .iter()
            .find(|step| rest <= step.up_to_cents)
            .map_or(self.whole_dollar_tax_cents, |step| step.tax_cents)
    }
}
