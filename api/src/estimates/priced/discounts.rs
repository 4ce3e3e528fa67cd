//! What charges give up: discounts on single lines, the diagnostic credit and the discount granted on the whole.

use nameplate_entities::kinds::ChargeKind;
use nameplate_rules::money::{Cents, MoneyRefusal, spread_by_cents};
use nameplate_rules::pricing::discount::{DiscountRefusal, OnLine, discount_each, discount_lines};
use nameplate_rules::pricing::trip::{RepairAnswer, diagnostic};

use crate::base::{Error, ProblemCode, Result};

use super::charges::Charge;
use super::{Terms, too_large};
use crate::estimates::states::sentence;
use crate::estimates::writing::offer::NewOption;

impl Terms {
    /// What each charge gives up: first what its own line grants, then the diagnostic credit, then the discount granted
    /// on the option, spread over what is left. What comes back to the customer is left alone by that.
    pub(super) fn discounts(
        &self,
        charges: &mut [Charge],
        option: &NewOption,
        path: &str,
    ) -> Result<Vec<Cents>> {
        let fits = || too_large(path, &MoneyRefusal::TooLarge);
        let nets = charges.iter().map(|charge| charge.net).collect::<Vec<_>>();
        let own = own_discounts(charges, path)?;
        let left = less(&nets, &own).ok_or_else(fits)?;
        let credits = self.diagnostic_credits(charges, &left, path)?;
        let given = plus(&own, &credits).ok_or_else(fits)?;
        let Some(granted) = option.discount() else {
            return Ok(given);
        };
        let mut left = less(&nets, &given).ok_or_else(fits)?;
        for (left, charge) in left.iter_mut().zip(charges.iter()) {
            if charge.comes_back {
                *left = Cents::ZERO;
            }
        }
        let discounted = discount_lines(&left, granted).map_err(|refusal| match refusal {
            DiscountRefusal::MoreThanTotal { .. } => Error::refused(
                ProblemCode::TooMuch,
                format!("{path}.discountAmount"),
                sentence(&refusal.to_string()),
            ),
            other => Error::caused("discount of an estimate", other),
        })?;
        plus(&given, &discounted.by_line).ok_or_else(fits)
    }

    /// What the diagnostic lines give up because accepting the option accepts the repair.
    fn diagnostic_credits(
        &self,
        charges: &mut [Charge],
        left: &[Cents],
        path: &str,
    ) -> Result<Vec<Cents>> {
        let sum_of = |kinds: &[ChargeKind]| {
            let left = charges
                .iter()
                .zip(left)
                .filter(|(charge, _)| kinds.contains(&charge.kind))
                .map(|(_, left)| *left);
            Cents::sum(left).map_err(|refusal| too_large(path, &refusal))
        };
        let charged = sum_of(&[ChargeKind::Diagnostic])?;
        let repair = sum_of(&[ChargeKind::Part, ChargeKind::Labour])?;
        let answer = RepairAnswer::Accepted { repair };
        let credit = diagnostic(charged, self.book.diagnostic_credit(), answer)
            .map_err(|refusal| Error::caused("diagnostic credit", refusal))?
            .credit;
        let weights = charges
            .iter()
            .zip(left)
            .map(|(charge, left)| match charge.kind {
                ChargeKind::Diagnostic => *left,
                _ => Cents::ZERO,
            })
            .collect::<Vec<_>>();
        let credits = spread_by_cents(credit, &weights)
            .map_err(|refusal| Error::caused("diagnostic credit", refusal))?;
        for (charge, credit) in charges.iter_mut().zip(&credits) {
            if *credit > Cents::ZERO {
                charge.description.push_str(" (credited with this option)");
            }
        }
        Ok(credits)
    }
}

/// What the discount on its own line takes off each charge.
fn own_discounts(charges: &mut [Charge], path: &str) -> Result<Vec<Cents>> {
    let asked = charges
        .iter()
        .map(|charge| (charge.net, charge.granted))
        .collect::<Vec<_>>();
    let own = discount_each(&asked).map_err(|OnLine { line, refusal }| match refusal {
        DiscountRefusal::MoreThanTotal { .. } => {
            let line = charges.get(line).map_or(line, |charge| charge.line);
            let path = format!("{path}.lines.{line}.discountAmount");
            let words = sentence(&refusal.to_string());
            Error::refused(ProblemCode::TooMuch, path, words)
        }
        other => Error::caused("discount of a line", other),
    })?;
    for (charge, off) in charges.iter_mut().zip(&own) {
        charge.own_discount = *off;
    }
    Ok(own)
}

fn less(amounts: &[Cents], off: &[Cents]) -> Option<Vec<Cents>> {
    let each = amounts.iter().zip(off);
    each.map(|(amount, off)| amount.checked_sub(*off)).collect()
}

fn plus(amounts: &[Cents], more: &[Cents]) -> Option<Vec<Cents>> {
    let each = amounts.iter().zip(more);
    each.map(|(amount, more)| amount.checked_add(*more))
        .collect()
}
