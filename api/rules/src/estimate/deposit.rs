//! What a customer is asked to pay before the work begins.
//!
//! The deposit is part of the offer: it is worked out once, when the option is priced, and frozen with it. What must
//! stay true: it is never below zero and never above the total it is part of.

use serde::{Deserialize, Serialize};

use crate::money::{Cents, MoneyRefusal};
use crate::percent::Percent;

/// A deposit as the office asks for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DepositTerms {
    /// So much.
    Amount(Cents),
    /// So many per hundred of the option's total with tax, rounded half up once.
    Percent(Percent),
}

/// A deposit as it is offered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Deposit {
    /// The share it was agreed as, if it was.
    pub percent: Option<Percent>,
    /// What is wanted.
    pub amount: Cents,
}

/// Why a deposit cannot be asked for.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DepositRefusal {
    /// Below zero.
    #[error("a deposit of {deposit} is below zero")]
    Negative { deposit: Cents },
    /// More than the whole.
    #[error("a deposit of {deposit} is more than the total of {total}")]
    MoreThanTotal { deposit: Cents, total: Cents },
    /// A share of nothing.
    #[error("an option of nothing cannot ask for a deposit of {percent} %")]
    NothingToPay { percent: Percent },
    /// It does not fit.
    #[error(transparent)]
    Money(#[from] MoneyRefusal),
}

/// The deposit wanted for an option with this total.
///
/// # Errors
/// See [`DepositRefusal`].
/// # Source
/// Common practice, no source; worked/deposits.json.
pub fn deposit(total: Cents, terms: DepositTerms) -> Result<Deposit, DepositRefusal> {
    let (percent, amount) = match terms {
        DepositTerms::Amount(amount) => (None, amount),
        DepositTerms::Percent(percent) if total == Cents::ZERO && percent != Percent::ZERO => {
            return Err(DepositRefusal::NothingToPay { percent });
        }
        DepositTerms::Percent(percent) => (Some(percent), percent.of(total)?),
    };
    if amount.is_negative() {
        return Err(DepositRefusal::Negative { deposit: amount });
    }
    if amount > total {
        let deposit = amount;
        return Err(DepositRefusal::MoreThanTotal { deposit, total });
    }
    Ok(Deposit { percent, amount })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rust_decimal::Decimal;

    use super::*;
    use crate::worked::rows;

    #[derive(Deserialize)]
    struct Asked {
        total: Cents,
        terms: DepositTerms,
    }

    #[test]
    fn the_deposit_is_the_share_of_the_total_rounded_half_up_once() {
        for row in
            rows::<Asked, Option<Cents>>(include_str!("../../../../fixtures/worked/deposits.json"))
        {
            let got = deposit(row.input.total, row.input.terms);
            assert_eq!(
                got.ok().map(|deposit| deposit.amount),
                row.expected,
                "{}",
                row.source
            );
        }
    }

    proptest! {
        #[test]
        fn a_share_of_a_total_is_never_more_than_the_total(
            total in 1_i64..100_000_000, hundredths in 0_i64..=10_000,
        ) {
            let percent = Percent::new(Decimal::new(hundredths, 2)).unwrap();
            let got = deposit(Cents(total), DepositTerms::Percent(percent)).unwrap();
            prop_assert!(got.amount <= Cents(total) && !got.amount.is_negative());
            // Half a cent is the most that rounding moves it.
            let off = i128::from(got.amount.0) * 10_000 - i128::from(total) * i128::from(hundredths);
            prop_assert!(off.abs() <= 5_000, "{off}");
        }
    }
}
