//! The callback rate by published data, by twelve repairs worked by hand and by property.

use proptest::collection::vec;
use proptest::prelude::*;

use super::*;
use crate::rates::count;
use crate::rates::testing::{limits, near, table};

fn back(after: u32, followed: u32) -> Observed {
    Observed {
        followed_days: followed,
        returned_after_days: Some(after),
        repairs: 1,
    }
}

fn held(followed: u32) -> Observed {
    Observed {
        followed_days: followed,
        returned_after_days: None,
        repairs: 1,
    }
}

/// Weeks of remission, 6-mercaptopurine arm of Freireich et al., Blood 21 (1963); Gehan, Biometrika 52 (1965); as in R's
/// MASS 7.3-58.2 `gehan`. A minus stands for still in remission.
const REMISSIONS: [i32; 21] = [
    6, 6, 6, -6, 7, -9, 10, -10, -11, 13, 16, -17, -19, -20, 22, 23, -25, -32, -32, -34, -35,
];

fn remissions() -> Vec<Observed> {
    (REMISSIONS.iter())
        .map(|weeks| match weeks.unsigned_abs() {
            age if *weeks > 0 => back(age, age),
            age => held(age),
        })
        .collect()
}

/// Age, at risk, returned, kept, standard error, log-log limits of the share kept: R package survival 3.5-3 `survfit`
/// and lifelines 0.30.3 `KaplanMeierFitter`; the share and its error are also those of Klein and Moeschberger's book
/// (from memory). Within a millionth.
const KEPT: &str = "
    6 21 3 0.8571428571 0.07636035483 0.6197179553 0.9515517476
    7 17 1 0.8067226891 0.08693528518 0.5631465646 0.9228090192
    10 15 1 0.7529411765 0.09634965299 0.5031995108 0.8893618352
    13 12 1 0.6901960784 0.1068147078 0.4316102225 0.8490659633
    16 11 1 0.6274509804 0.1140538653 0.3675108560 0.8049121895
    22 7 1 0.5378151261 0.1282337517 0.2677789368 0.7467907176
    23 6 1 0.4481792717 0.1345914568 0.1880520060 0.6801426285";

#[test]
fn remissions_of_leukemia_come_out_as_in_the_packages_and_the_book() {
    let whole = LifeTable::of(remissions(), 35);
    for (row, age) in table(KEPT).into_iter().zip(whole.returns()) {
        near(f64::from(age.age_days), row[0]);
        near(real(age.at_risk), row[1]);
        near(real(age.returned), row[2]);
        near(whole.kept(age.age_days), row[3]);
        let rate = callback_rate(remissions(), age.age_days).expect("a rate");
        assert_eq!(rate.at_days, age.age_days);
        near(1.0 - rate.value, row[3]);
        near(rate.std_error, row[4]);
        limits(rate.log_log, 1.0 - row[6], 1.0 - row[5]);
    }
    assert_eq!(whole.returns().count(), table(KEPT).len());
}

/// Age, effective number, limits: computed in Python with scipy 1.17.1. Within a millionth.
const SHOWN: &str = "
    6 21 0.0498101250 0.3463606028
    10 20.03831076 0.1100404414 0.4654568111
    23 13.65258186 0.3071253047 0.7737578655";

#[test]
fn what_is_shown_are_wilsons_limits_at_the_effective_number() {
    for (row, age) in table(SHOWN).into_iter().zip([6, 10, 23]) {
        let rate = callback_rate(remissions(), age).expect("a rate");
        near(rate.effective.repairs, row[1]);
        near(rate.effective.returned, row[1] * rate.value);
        limits(rate.shown, row[2], row[3]);
    }
}

/// Twelve repairs completed on these days, as of day 100 with a window of 30, returned after these days.
fn twelve() -> Vec<Observed> {
    let completed = [0, 10, 20, 40, 60, 65, 72, 80, 85, 90, 95, 98];
    let returned = [(10, 12), (40, 5), (72, 20), (85, 3)];
    completed
        .map(|day| Observed {
            followed_days: 100 - day,
            returned_after_days: returned
                .iter()
                .find(|(on, _)| *on == day)
                .map(|(_, after)| *after),
            repairs: 1,
        })
        .to_vec()
}

/// Worked by hand and in Python: 1 - 10/11 * 9/10 * 6/7 * 5/6. Within a millionth.
#[test]
fn of_twelve_repairs_the_naive_rate_is_too_low() {
    let counts = Counts::of(twelve(), 30);
    let expected = Counts {
        repairs: 12,
        returned: 4,
        open: 4,
        followed: Share {
            returned: 2,
            repairs: 6,
        },
    };
    assert_eq!(counts, expected);
    near(counts.naive().expect("a share"), 4.0 / 12.0);
    near(counts.followed.value().expect("a share"), 2.0 / 6.0);
    let at_risk: Vec<_> = LifeTable::of(twelve(), 30)
        .returns()
        .map(|age| (age.age_days, age.at_risk))
        .collect();
    assert_eq!(at_risk, [(3, 11), (5, 10), (12, 7), (20, 6)]);
    let rate = callback_rate(twelve(), 30).expect("a rate");
    near(rate.value, table("0.4155844156")[0][0]);
    near(rate.std_error, table("0.1625315085")[0][0]);
    let printed =
        table("0.1769215633 0.7727839128 0.1717754278 0.7091466576 9.194029851").remove(0);
    limits(rate.log_log, printed[0], printed[1]);
    limits(rate.shown, printed[2], printed[3]);
    near(rate.effective.repairs, printed[4]);
}

/// Closed forms with twelve fully followed: z²/(12 + z²), and 1 - 0.025^(1/12). Within a millionth.
#[test]
fn without_a_return_only_those_fully_followed_bound_the_rate() {
    let repairs = || std::iter::repeat_n(held(30), 12).chain([held(29), held(3)]);
    let rate = callback_rate(repairs(), 30).expect("a rate");
    assert_eq!(rate.at_days, 30);
    near(rate.value, 0.0);
    let printed = table("0.2424940067 0.2646484694").remove(0);
    limits(rate.shown, 0.0, printed[0]);
    limits(rate.log_log, 0.0, printed[1]);
    let early = callback_rate([held(29), held(3)], 30).expect("a rate");
    assert_eq!(
        (early.at_days, early.shown, early.log_log),
        (29, None, None)
    );
}

#[test]
fn where_all_returned_the_rate_is_one_and_the_last_at_risk_bound_it() {
    let repairs = [back(3, 40), back(9, 40), back(9, 40), back(9, 12)];
    let rate = callback_rate(repairs, 30).expect("a rate");
    assert_eq!(rate.at_days, 30);
    near(rate.value, 1.0);
    let three = wilson(1.0, 3.0).expect("limits");
    limits(rate.shown, three.low, 1.0);
    limits(rate.log_log, 0.025_f64.powf(1.0 / 3.0), 1.0);
}

#[test]
fn a_rate_that_nobody_has_reached_is_told_for_the_age_reached() {
    let rate = callback_rate([back(5, 22), held(20), held(11)], 90).expect("a rate");
    assert_eq!(rate.at_days, 20);
    near(rate.value, 1.0 / 3.0);
    assert!(rate.shown.is_some());
}

#[test]
fn the_last_day_is_inside_a_return_the_same_day_is_one_day_and_repairs_of_today_do_not_count() {
    assert_eq!(Counts::of([back(30, 30)], 30).returned, 1);
    assert_eq!(Counts::of([back(31, 40)], 30).returned, 0);
    assert_eq!(LifeTable::of([back(0, 40)], 30).at(1).returned, 1);
    assert_eq!(Counts::of([held(0), back(0, 0)], 30), Counts::default());
    assert_eq!(callback_rate([held(0)], 30), None);
    assert_eq!(callback_rate([], 30), None);
    assert_eq!(callback_rate([held(10)], 0), None);
}

fn any_repairs() -> impl Strategy<Value = Vec<Observed>> {
    let one = (0u32..120, proptest::option::of(0u32..120), 1u64..4);
    let observed = one.prop_map(|(followed_days, returned_after_days, repairs)| Observed {
        followed_days,
        returned_after_days,
        repairs,
    });
    vec(observed, 0..60)
}

proptest! {
    #[test]
    fn with_nothing_open_the_rate_is_the_plain_share_with_wilsons_limits(
        returned in vec(1u32..=90, 0..30), kept in 1usize..40,
    ) {
        let repairs = returned.iter().map(|after| back(*after, 90)).chain(vec![held(90); kept]);
        let rate = callback_rate(repairs, 90).expect("a rate");
        let share = Share { returned: count(returned.len()), repairs: count(returned.len() + kept) };
        let value = share.value().expect("a share");
        prop_assert!((rate.value - value).abs() < 1e-12);
        prop_assert!((rate.effective.repairs - real(share.repairs)).abs() < 1e-6);
        let plain = wilson(value, real(share.repairs)).expect("limits");
        let shown = rate.shown.expect("limits");
        prop_assert!((shown.low - plain.low).abs() < 1e-9 && (shown.high - plain.high).abs() < 1e-9);
    }

    #[test]
    fn order_does_not_matter_and_counted_repairs_are_as_good_as_single_ones(repairs in any_repairs()) {
        let mut backward = repairs.clone();
        backward.reverse();
        let single = repairs.iter().flat_map(|group| {
            let times = usize::try_from(group.repairs).unwrap_or(0);
            std::iter::repeat_n(Observed { repairs: 1, ..*group }, times)
        });
        let table = LifeTable::of(repairs.iter().copied(), 90);
        prop_assert_eq!(&table, &LifeTable::of(backward, 90));
        prop_assert_eq!(&table, &LifeTable::of(single, 90));
    }

    #[test]
    fn more_repairs_without_a_return_never_raise_the_rate(repairs in any_repairs(), more in 1u32..120) {
        if let Some(before) = callback_rate(repairs.iter().copied(), 90) {
            let after = callback_rate(repairs.iter().copied().chain([held(more)]), 90).expect("a rate");
            prop_assert!(after.value <= before.value + 1e-12);
        }
    }

    #[test]
    fn a_rate_and_its_limits_lie_within_none_and_all(repairs in any_repairs(), window in 0u32..130) {
        if let Some(rate) = callback_rate(repairs, window) {
            prop_assert!((0.0..=1.0).contains(&rate.value) && rate.at_days <= window);
            for found in [rate.shown, rate.log_log].into_iter().flatten() {
                prop_assert!(0.0 <= found.low && found.low <= rate.value + 1e-9);
                prop_assert!(rate.value <= found.high + 1e-9 && found.high <= 1.0);
            }
        }
    }
}
