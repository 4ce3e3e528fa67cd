//! What is to be said beside the reserve for returns not billed: how far it may miss.
//!
//! The reserve itself is exact and in [`crate::reserve`]. What must stay true: it is right on average and not for one
//! month, so its deviation is told with it.

use super::survival::LifeTable;

/// The chance that a repair of this age, not returned yet, returns before the promise is over; without returns after the
/// first. `None` where every repair had returned by this age.
///
/// # Source
/// One minus the ratio of the shares kept, by Kaplan and Meier.
#[must_use]
pub fn first_return_still_to_come(
    record: &LifeTable,
    age_days: u32,
    promise_days: u32,
) -> Option<f64> {
    let kept = record.kept(age_days);
    if age_days >= promise_days {
        return Some(0.0);
    }
    (kept > 0.0).then(|| 1.0 - record.kept(promise_days) / kept)
}

/// How far a reserve misses, as a standard deviation, in the unit of the cost.
///
/// Shape: returns still to come over all open repairs, the mean cost of one, and the deviation of that cost.
///
/// # Source
/// Compound Poisson variance: returns times the mean square of the cost.
#[must_use]
pub fn reserve_deviation(returns: f64, mean_cost: f64, cost_deviation: f64) -> f64 {
    (returns.max(0.0) * (mean_cost.powi(2) + cost_deviation.powi(2))).sqrt()
}

#[cfg(test)]
mod tests {
    use super::super::survival::Observed;
    use super::*;
    use crate::rates::testing::near;

    /// Forty repairs, four of them back on days 5, 12, 30 and 61, the others watched for 90 days: computed in Python.
    /// Within a millionth.
    #[test]
    fn a_reserve_on_five_repairs_may_miss_by_twice_its_size() {
        let fate = |returned_after_days, repairs| Observed {
            followed_days: 90,
            returned_after_days,
            repairs,
        };
        let back = [5, 12, 30, 61].map(|age| fate(Some(age), 1));
        let record = LifeTable::of(back.into_iter().chain([fate(None, 36)]), 90);
        let ages = [0, 10, 45, 70, 95];
        let once = ages.map(|age| first_return_still_to_come(&record, age, 90).expect("a chance"));
        for (found, computed) in
            once.into_iter()
                .zip([0.1, 0.076_923_076_9, 0.027_027_027_0, 0.0, 0.0])
        {
            near(found, computed);
        }
        near(once.iter().sum(), 0.203_950_104_0);
        near(once.iter().sum::<f64>() * 179.25, 36.558_056_13);
        // By the hazard, as the reserve is made.
        let returns = 0.209_994_711_3;
        near(returns * 179.25, 37.641_552_00);
        near(reserve_deviation(returns, 179.25, 60.0), 86.621_181_92);
        assert!(reserve_deviation(returns, 179.25, 60.0) > 2.0 * 37.64);
    }

    #[test]
    fn where_all_have_returned_nothing_is_left_to_say() {
        let all = Observed {
            followed_days: 90,
            returned_after_days: Some(5),
            repairs: 3,
        };
        let record = LifeTable::of([all], 90);
        assert_eq!(first_return_still_to_come(&record, 5, 90), None);
        near(reserve_deviation(-1.0, 10.0, 1.0), 0.0);
    }
}
