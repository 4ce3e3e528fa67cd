//! Expected returns by published counts, by a shop worked out elsewhere and by property.

use proptest::collection::vec;
use proptest::prelude::*;

use super::*;
use crate::rates::testing::{limits, near, table, whole, within};

/// R 4.2.2 `poisson.test` and scipy 1.17.1 `chi2`. Within a millionth.
const COUNTS: &str = "
    0 0 3.688879454
    1 0.02531780798 5.571643391
    2 0.2422092785 7.224687668
    3 0.6186721229 8.767273070
    5 1.623486390 11.66833208
    10 4.795388696 18.39035604
    29 19.42175514 41.64883744";

#[test]
fn exact_limits_of_counts_are_those_of_the_packages() {
    for row in table(COUNTS) {
        limits(Some(exact_limits(whole(row[0]))), row[1], row[2]);
    }
}

/// 14 events in 400 person-years, 0.035 with limits 0.019135 and 0.058724 (help of a statistics package; digits by R
/// 4.2.2); 196 deaths by horse kick in 280 corps-years, 0.7 with 0.6054271 and 0.8051570 (documentation of the R package
/// DescTools). The two-sided upper limit of none is 3.689 and not the one-sided 2.996 (documentation of epitools).
#[test]
fn published_rates_have_the_published_limits() {
    let years = ratio(14, 400.0).expect("a ratio");
    near(years.value, 0.035);
    limits(Some(years.limits), 0.019_134_825_69, 0.058_724_052_80);
    let kicks = ratio(196, 280.0).expect("a ratio");
    near(kicks.value, 0.7);
    limits(Some(kicks.limits), 0.605_427_069_6, 0.805_157_045_6);
    within(exact_limits(0).high, 3.689, 1e-4);
}

/// Kinds of work that return 12, 4 and 5 in 100, all followed: counts of repairs, O, E, ratio, limits, p; scipy 1.17.1.
/// The second technician's plain share is the lower of the two and yet is further above what the work lets expect.
const TECHNICIANS: &str = "
    30 10 5 5 4.25 1.176470588 0.3819967977 2.745489901 0.4198816863
    5 40 25 5 3.45 1.449275362 0.4705757652 3.382125240 0.2651493554";

#[test]
fn a_lower_share_can_be_the_worse_one_for_the_work() {
    for row in table(TECHNICIANS) {
        let expected = row[0] * 0.12 + row[1] * 0.04 + row[2] * 0.05;
        near(expected, row[4]);
        let compared = Compared {
            returned: whole(row[3]),
            expected,
            ..Compared::default()
        };
        let found = compared.ratio().expect("a ratio");
        near(found.value, row[5]);
        limits(Some(found.limits), row[6], row[7]);
        near(compared.chance_of_more(), row[8]);
    }
    let four = Compared {
        returned: 1,
        expected: 0.28,
        ..Compared::default()
    };
    let found = four.ratio().expect("a ratio");
    near(found.value, 3.571_428_571);
    limits(Some(found.limits), 0.090_420_742_8, 19.898_726_40);
    near(four.chance_of_more(), 0.244_216_258_6);
}

fn stratum(appliance_type: &str, component: &str) -> Stratum {
    Stratum {
        appliance_type: appliance_type.to_owned(),
        component: component.to_owned(),
    }
}

fn fate(stratum: usize, returned_after_days: Option<u32>, repairs: u64) -> Exposure {
    Exposure {
        stratum,
        observed: Observed {
            followed_days: 90,
            returned_after_days,
            repairs,
        },
    }
}

#[test]
fn where_nothing_is_expected_there_is_no_ratio() {
    let record = Record::of(&[fate(0, None, 30)], &[stratum("oven", "igniter")], 90);
    let compared = record.compare(&[fate(0, None, 10)]);
    assert_eq!((compared.ratio(), compared.ratio_to_rest()), (None, None));
    near(compared.chance_of_more(), 1.0);
    near(compared.chance_of_fewer(), 1.0);
    assert_eq!(ratio(3, f64::NAN), None);
}

/// Worked by hand: pumps of two machines are too rare alone and enough together, 4 returns of 24; belts are left over.
#[test]
fn rare_work_is_counted_with_its_component_and_then_with_the_rest() {
    let strata = [
        stratum("washer", "pump"),
        stratum("dishwasher", "pump"),
        stratum("oven", "element"),
        stratum("dryer", "belt"),
    ];
    let shop = [
        fate(0, None, 10),
        fate(0, Some(5), 2),
        fate(1, None, 10),
        fate(1, Some(5), 2),
        fate(2, None, 15),
        fate(2, Some(5), 5),
        fate(3, None, 3),
        fate(3, Some(5), 1),
    ];
    let record = Record::of(&shop, &strata, 90);
    let expected = |stratum| record.compare(&[fate(stratum, None, 1)]).expected;
    near(expected(0), 4.0 / 24.0);
    near(expected(1), 4.0 / 24.0);
    near(expected(2), 5.0 / 20.0);
    near(expected(3), 1.0 / 4.0);
    near(expected(99), 1.0 / 4.0);
}

/// Worked by hand: of 20 dryers 6 returned on day 5, 4 of them of these 10; the 30 ovens are this group's alone.
#[test]
fn work_that_nobody_else_does_is_compared_with_nobody() {
    let strata = [stratum("dryer", "belt"), stratum("oven", "element")];
    let own = [
        fate(0, Some(5), 4),
        fate(0, None, 6),
        fate(1, Some(7), 9),
        fate(1, None, 21),
    ];
    let others = [fate(0, Some(5), 2), fate(0, None, 8)];
    let record = Record::of(&[own.as_slice(), &others].concat(), &strata, 90);
    let compared = record.compare(&own);
    near(compared.expected, 10.0 * 6.0 / 20.0 + 9.0);
    assert_eq!((compared.returned, compared.returned_beside_rest), (13, 4));
    near(compared.expected_by_rest, 10.0 * 2.0 / 10.0);
    near(compared.ratio_to_rest().expect("a ratio").value, 2.0);
}

proptest! {
    #[test]
    fn over_a_whole_shop_expected_is_what_returned(
        repairs in vec((0usize..6, 0usize..4, 0u32..120, proptest::option::of(0u32..120), 1u64..9), 0..150),
    ) {
        let strata = ["oven", "dryer"].map(|kind| ["a", "b", "c"].map(|part| stratum(kind, part))).concat();
        let mut groups = vec![Vec::new(); 4];
        let mut shop = Vec::new();
        for (stratum, group, followed_days, returned_after_days, repairs) in repairs {
            let one = Exposure { stratum, observed: Observed { followed_days, returned_after_days, repairs } };
            groups[group].push(one);
            shop.push(one);
        }
        let record = Record::of(&shop, &strata, 90);
        let all = groups.iter().map(|group| record.compare(group));
        let (returned, expected) = all.fold((0, 0.0), |(returned, expected), group| {
            (returned + group.returned, expected + group.expected)
        });
        prop_assert!((real(returned) - expected).abs() < 1e-9, "{returned} {expected}");
        prop_assert_eq!(returned, record.compare(&shop).returned);
    }

    #[test]
    fn exact_limits_enclose_the_count(returned in 0u64..5_000) {
        let found = exact_limits(returned);
        prop_assert!(found.low <= real(returned) && real(returned) < found.high);
    }
}
