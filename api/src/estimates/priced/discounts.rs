//! What charges give up: the diagnostic credit and the discount granted.

use nameplate_entities::kinds::ChargeKind;
use nameplate_rules::money::{Cents, MoneyRefusal, spread_by_cents};
use nameplate_rules::pricing::discount::{DiscountRefusal, discount_lines};
use nameplate_rules::pricing::trip::{RepairAnswer, diagnostic};

use crate::base::{Error, ProblemCode, Result};

use super::charges::Charge;
use super::{Terms, too_large};
use crate::estimates::states::sentence;
use crate::estimates::writing::offer::NewOption;

impl Terms {
    /// What each charge gives up: the diagnostic credit first, then the discount granted, spread over the rest.
    pub(super) fn discounts(
        &self,
        charges: &mut [Charge],
        option: &NewOption,
        path: &str,
    ) -> Result<Vec<Cents>> {
        let credits = self.diagnostic_credits(charges, path)?;
        let Some(granted) = option.discount() else {
            return Ok(credits);
        };
        let left = charges
            .iter()
            .zip(&credits)
            .map(|(charge, credit)| charge.net.checked_sub(*credit))
            .collect::<Option<Vec<_>>>()
            .ok_or_else(|| too_large(path, &MoneyRefusal::TooLarge))?;
        let discounted = discount_lines(&left, granted).map_err(|refusal| match refusal {
            DiscountRefusal::MoreThanTotal { .. } => Error::refused(
                ProblemCode::TooMuch,
                format!("{path}.discountAmount"),
                sentence(&refusal.to_string()),
            ),
            other => Error::caused("discount of an estimate", other),
        })?;
        credits
            .into_iter()
            .zip(discounted.by_line)
            .map(|(credit, share)| credit.checked_add(share))
            .collect::<Option<Vec<_>>>()
            .ok_or_else(|| too_large(path, &MoneyRefusal::TooLarge))
    }

    /// What the diagnostic lines give up because accepting the option accepts the repair.
    fn diagnostic_credits(&self, charges: &mut [Charge], path: &str) -> Result<Vec<Cents>> {
        let sum_of = |kinds: &[ChargeKind]| {
            let nets = charges
                .iter()
                .filter(|charge| kinds.contains(&charge.kind))
                .map(|charge| charge.net);
            Cents::sum(nets).map_err(|refusal| too_large(path, &refusal))
        };
        let charged = sum_of(&[ChargeKind::Diagnostic])?;
        let repair = sum_of(&[ChargeKind::Part, ChargeKind::Labour])?;
        let answer = RepairAnswer::Accepted { repair };
        let credit = diagnostic(charged, self.book.diagnostic_credit(), answer)
            .map_err(|refusal| Error::caused("diagnostic credit", refusal))?
            .credit;
        let weights = charges
            .iter()
            .map(|charge| match charge.kind {
                ChargeKind::Diagnostic => charge.net,
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
