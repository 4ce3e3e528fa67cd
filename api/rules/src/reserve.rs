//! The warranty reserve: what open promises on finished repairs will cost, by what came back before.
//!
//! Words: a *stratum* is a kind of machine and component. Its *cumulative hazard* at an age is how many returns a repair
//! has had on average by that age. A repair is *open* while the shop's labor warranty on it runs. What must stay true:
//! no return observed is never "no return to come"; amounts are summed exactly and rounded once for each stratum; the
//! table of the reserve adds up from its opening to its closing balance.

use rust_decimal::{Decimal, RoundingStrategy};
use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::money::{Cents, MoneyRefusal};

/// One finished repair as watched so far.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Watched {
    /// Days from completion to the return, or to the last day it was watched.
    pub age_days: u32,
    pub came_back: bool,
}

/// How many returns a repair of a stratum has had on average by an age.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Hazard {
    /// Ages with a return, rising, and the hazard through each.
    steps: Vec<(u32, Decimal)>,
}

/// How many extra returns and extra expected returns temper a stratum that shows few: two of each.
const TEMPER: Decimal = Decimal::TWO;

/// Why a reserve cannot be worked out.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum ReserveRefusal {
    #[error("the amounts or counts are too large")]
    TooLarge,
    #[error("a cost of a return below zero")]
    NegativeCost,
}

impl From<MoneyRefusal> for ReserveRefusal {
    fn from(_: MoneyRefusal) -> Self {
        Self::TooLarge
    }
}

impl Hazard {
    /// The hazard that a stratum's repairs show: at each age with returns, returns by repairs still watched then.
    ///
    /// Unit: returns a repair. Repairs whose return and last day fall on one age are all still watched on it.
    ///
    /// # Errors
    /// `TooLarge`.
    ///
    /// # Source
    /// Nelson-Aalen estimator; Aalen, Annals of Statistics 6 (1978) 534-545 (named from memory).
    pub fn observed(watched: &[Watched]) -> Result<Self, ReserveRefusal> {
        let mut sorted = watched.to_vec();
        sorted.sort_unstable_by_key(|repair| (repair.age_days, !repair.came_back));
        let mut steps: Vec<(u32, Decimal)> = Vec::new();
        let mut sum = Decimal::ZERO;
        let mut place = 0;
        while let Some(first) = sorted.get(place) {
            let age = first.age_days;
            let rest = sorted.get(place..).unwrap_or(&[]);
            let same = rest.iter().take_while(|repair| repair.age_days == age);
            let (count, returns) = same.fold((0_usize, 0_u32), |(count, returns), repair| {
                (count + 1, returns + u32::from(repair.came_back))
            });
            if returns > 0 {
                let at_risk = Decimal::from(rest.len());
                let step = Decimal::from(returns).checked_div(at_risk);
                sum = step
                    .and_then(|step| sum.checked_add(step))
                    .ok_or(ReserveRefusal::TooLarge)?;
                steps.push((age, sum));
            }
            place += count;
        }
        Ok(Self { steps })
    }

    /// The hazard through an age.
    #[must_use]
    pub fn through(&self, age_days: u32) -> Decimal {
        let after = self.steps.partition_point(|(age, _)| *age <= age_days);
        after
            .checked_sub(1)
            .and_then(|last| self.steps.get(last))
            .map_or(Decimal::ZERO, |(_, sum)| *sum)
    }

    /// Returns expected of one repair from the age it has to the end of the promise; none once it is over.
    #[must_use]
    pub fn still_to_come(&self, age_days: u32, promise_days: u32) -> Decimal {
        if age_days >= promise_days {
            return Decimal::ZERO;
        }
        self.through(promise_days) - self.through(age_days)
    }

    /// Returns expected by this hazard of repairs as long as each was watched.
    ///
    /// # Errors
    /// `TooLarge`.
    pub fn expected(&self, watched: &[Watched]) -> Result<Decimal, ReserveRefusal> {
        watched.iter().try_fold(Decimal::ZERO, |sum, repair| {
            sum.checked_add(self.through(repair.age_days))
                .ok_or(ReserveRefusal::TooLarge)
        })
    }

    /// The hazard of a stratum that shows no return yet: the whole shop's, lowered by what was expected and did not come.
    ///
    /// # Errors
    /// `TooLarge`.
    ///
    /// # Source
    /// Mean of the gamma-Poisson posterior with two extra returns and two extra expected ones; DuMouchel, The American
    /// Statistician 53 (1999) 177-190, one component (named from memory).
    pub fn tempered(shop: &Self, watched: &[Watched]) -> Result<Self, ReserveRefusal> {
        let returns = watched.iter().filter(|repair| repair.came_back).count();
        let expected = shop.expected(watched)?;
        let ratio = (TEMPER + Decimal::from(returns))
            .checked_div(TEMPER + expected)
            .ok_or(ReserveRefusal::TooLarge)?;
        let steps = (shop.steps.iter())
            .map(|(age, sum)| Some((*age, sum.checked_mul(ratio)?)))
            .collect::<Option<Vec<_>>>()
            .ok_or(ReserveRefusal::TooLarge)?;
        Ok(Self { steps })
    }
}

/// One repair on which the shop's promise still runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Open {
    /// Days since its completion.
    pub age_days: u32,
    /// Days from its completion to the last day of the promise.
    pub promise_days: u32,
}

/// What the open repairs of one stratum are expected to cost.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct StratumReserve {
    /// Returns still to come, over all open repairs.
    pub returns: Decimal,
    /// Rounded once, half to even.
    pub amount: Cents,
}

/// The reserve of one stratum.
///
/// Shape: one of `open` for each open repair; `mean_cost` in cents of one return not billed. Unit: cents.
///
/// # Errors
/// `NegativeCost`, `TooLarge`.
///
/// # Source
/// Returns still to come times mean cost: the figures over worked/made-up-shop.csv, computed in Python and R.
pub fn stratum_reserve(
    hazard: &Hazard,
    open: &[Open],
    mean_cost: Decimal,
) -> Result<StratumReserve, ReserveRefusal> {
    if mean_cost.is_sign_negative() && !mean_cost.is_zero() {
        return Err(ReserveRefusal::NegativeCost);
    }
    let returns = open.iter().try_fold(Decimal::ZERO, |sum, repair| {
        sum.checked_add(hazard.still_to_come(repair.age_days, repair.promise_days))
            .ok_or(ReserveRefusal::TooLarge)
    })?;
    let exact = returns
        .checked_mul(mean_cost)
        .ok_or(ReserveRefusal::TooLarge)?;
    let whole = exact.round_dp_with_strategy(0, RoundingStrategy::MidpointNearestEven);
    Ok(StratumReserve {
        returns,
        amount: Cents::from_decimal_half_up(whole)?,
    })
}

/// What a return of a stratum costs on average: as if two more returns of it had cost what the shop's cost on average.
///
/// Shape: `of_shop` are the costs of all returns of the shop, `of_stratum` those of the stratum among them. Unit: cents.
/// Rounding: half to even, for the shop and for the stratum. Nothing where the shop had no return. What came back below
/// zero counts as zero.
///
/// # Errors
/// `TooLarge`.
///
/// # Source
/// Common practice, no source: the weight of two that tempers the hazard as well.
pub fn mean_cost(of_shop: &[Cents], of_stratum: &[Cents]) -> Result<Cents, ReserveRefusal> {
    let shop = mean((Decimal::ZERO, Decimal::ZERO), of_shop)?;
    let of_two = TEMPER
        .checked_mul(Decimal::from(shop.0))
        .ok_or(ReserveRefusal::TooLarge)?;
    mean((of_two, TEMPER), of_stratum)
}

/// The mean of some costs, over and above what is there.
fn mean((sum, count): (Decimal, Decimal), costs: &[Cents]) -> Result<Cents, ReserveRefusal> {
    let added = Cents::sum(costs.iter().map(|cost| (*cost).max(Cents::ZERO)))?;
    let count = count + Decimal::from(costs.len());
    if count.is_zero() {
        return Ok(Cents::ZERO);
    }
    let mean = sum
        .checked_add(Decimal::from(added.0))
        .and_then(|sum| sum.checked_div(count))
        .ok_or(ReserveRefusal::TooLarge)?;
    let whole = mean.round_dp_with_strategy(0, RoundingStrategy::MidpointNearestEven);
    Ok(Cents::from_decimal_half_up(whole)?)
}

/// The table of a reserve over a period.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct RollForward {
    pub opening: Cents,
    /// What promises cost in the period, in money or in kind; zero or below.
    pub used: Cents,
    /// For promises made in the period.
    pub for_new: Cents,
    /// For promises made before it, changes of the estimate included.
    pub for_earlier: Cents,
    pub closing: Cents,
}

impl RollForward {
    /// The table of a period from its balances: what is not for new promises changed the estimate of earlier ones.
    ///
    /// # Errors
    /// `TooLarge`.
    ///
    /// # Source
    /// FASB ASC 460-10-50-8(c), in its order; opening, payments, new, pre-existing, closing.
    pub fn of(
        opening: Cents,
        used: Cents,
        for_new: Cents,
        closing: Cents,
    ) -> Result<Self, ReserveRefusal> {
        let for_earlier = [opening, used, for_new]
            .into_iter()
            .try_fold(closing, Cents::checked_sub)
            .ok_or(ReserveRefusal::TooLarge)?;
        Ok(Self {
            opening,
            used,
            for_new,
            for_earlier,
            closing,
        })
    }

    /// What is to be posted as expense of the period; below zero where too much was set aside.
    ///
    /// # Errors
    /// `TooLarge`.
    pub fn expense(&self) -> Result<Cents, ReserveRefusal> {
        self.for_new
            .checked_add(self.for_earlier)
            .ok_or(ReserveRefusal::TooLarge)
    }
}

#[cfg(test)]
mod tests;
