//! The reserve by published tables, by figures computed elsewhere and by property.

use std::collections::BTreeMap;

use proptest::collection::vec;
use proptest::prelude::*;

use super::*;

fn decimal(text: &str) -> Decimal {
    text.parse().expect("a decimal")
}

/// Equal to the tenth significant digit of a figure computed elsewhere.
fn near(found: Decimal, computed: &str) {
    let difference = (found - decimal(computed)).abs();
    assert!(
        difference < decimal("0.00000001"),
        "{found} against {computed}"
    );
}

/// A repair of this age under a promise of 90 days.
fn aged(age_days: u32) -> Open {
    Open {
        age_days,
        promise_days: 90,
    }
}

/// Forty repairs, four of them back on days 5, 12, 30 and 61, the others watched for 90 days.
fn forty() -> Vec<Watched> {
    let back = [5, 12, 30, 61].map(|age_days| Watched {
        age_days,
        came_back: true,
    });
    let held = Watched {
        age_days: 90,
        came_back: false,
    };
    back.into_iter().chain(vec![held; 36]).collect()
}

/// Computed in Python: 1/40 + 1/39 + 1/38 + 1/37, and the reserve on five open repairs at 179.25 a return.
#[test]
fn the_worked_reserve_of_forty_repairs_comes_out_to_the_cent() {
    let hazard = Hazard::observed(&forty()).expect("a hazard");
    near(hazard.through(90), "0.1039838421");
    let left = [0, 10, 45, 70, 95].map(|age| hazard.still_to_come(age, 90));
    for (found, computed) in
        left.into_iter()
            .zip(["0.1039838421", "0.0789838421", "0.0270270270", "0", "0"])
    {
        near(found, computed);
    }
    let open = [0, 10, 45, 70, 95].map(aged);
    let reserve = stratum_reserve(&hazard, &open, decimal("17925"));
    let reserve = reserve.expect("a reserve");
    near(reserve.returns, "0.2099947113");
    assert_eq!(reserve.amount, Cents(3764));
}

/// A made-up shop of 1,203 repairs with day 730 as today: figures of the six strata computed in Python and R.
#[test]
fn the_open_repairs_of_a_whole_shop_give_the_reserve_computed_elsewhere() {
    let today = 730;
    let text = include_str!("../../../../fixtures/worked/made-up-shop.csv");
    let mut watched: BTreeMap<(String, String), Vec<Watched>> = BTreeMap::new();
    let mut open: BTreeMap<(String, String), Vec<u32>> = BTreeMap::new();
    for row in text.lines().skip(1) {
        let cells: Vec<&str> = row.split(',').collect();
        let stratum = (cells[4].to_owned(), cells[5].to_owned());
        let age = today - cells[1].parse::<u32>().expect("a day");
        let back = cells[10].parse::<u32>().ok();
        watched.entry(stratum.clone()).or_default().push(Watched {
            age_days: back.unwrap_or(age),
            came_back: back.is_some(),
        });
        if back.is_none() && age < 90 {
            open.entry(stratum).or_default().push(age);
        }
    }
    assert_eq!(open.values().map(Vec::len).sum::<usize>(), 134);
    let mut amounts = BTreeMap::new();
    let mut returns = Decimal::ZERO;
    for (stratum, ages) in &open {
        let hazard = Hazard::observed(&watched[stratum]).expect("a hazard");
        let ages: Vec<Open> = ages.iter().copied().map(aged).collect();
        let reserve = stratum_reserve(&hazard, &ages, decimal("17925")).expect("a reserve");
        returns += reserve.returns;
        amounts.insert(stratum.0.as_str(), reserve.amount.0);
    }
    near(returns, "4.967841309");
    let computed = [
        ("dishwasher", 7868),
        ("dryer", 6132),
        ("oven", 32282),
        ("range", 27607),
        ("refrigerator", 3503),
        ("washer", 11656),
    ];
    assert_eq!(amounts, BTreeMap::from(computed));
    assert_eq!(amounts.values().sum::<i64>(), 89048);
}

/// 49,316 less 7,588 of payments, 8,286 for new warranties and 991 less for earlier ones give 49,023, in thousands:
/// interim report of a maker for the three months to 31 March 2020, SEC archive 000143774920009467, R17.
#[test]
fn a_published_table_of_a_maker_adds_up() {
    let table = RollForward::of(Cents(49_316), Cents(-7_588), Cents(8_286), Cents(49_023));
    let table = table.expect("a table");
    assert_eq!(table.for_earlier, Cents(-991));
    assert_eq!(table.expense(), Ok(Cents(7_295)));
}

/// Sales of 7,500,000 at 4 % set 300,000 aside; 124,800 was spent, so 175,200 is left (Financial Accounting course,
/// warranty expenses).
#[test]
fn a_year_of_sales_at_a_known_rate_leaves_what_was_not_spent() {
    let issued = Cents(7_500_000)
        .times_half_up(decimal("0.04"))
        .expect("an amount");
    let closing = Cents(175_200);
    let table = RollForward::of(Cents::ZERO, Cents(-124_800), issued, closing).expect("a table");
    assert_eq!(
        (table.for_new, table.for_earlier),
        (Cents(300_000), Cents::ZERO)
    );
}

/// Mean of the posterior, 2 extra returns by 2 extra expected: none of 0.5 expected gives 0.8 (computed in Python).
#[test]
fn no_return_seen_is_never_none_to_come() {
    let shop = Hazard::observed(&forty()).expect("a hazard");
    let few = [Watched {
        age_days: 90,
        came_back: false,
    }; 5];
    let tempered = Hazard::tempered(&shop, &few).expect("a hazard");
    let expected = shop.expected(&few).expect("a number");
    let ratio = decimal("2") / (decimal("2") + expected);
    near(
        tempered.through(90),
        &(shop.through(90) * ratio).to_string(),
    );
    assert!(tempered.still_to_come(0, 90) > Decimal::ZERO);
}

/// Worked by hand: returns of 30 and 50 make a shop's 40; two of these and the stratum's own 50 make 130 by 3.
#[test]
fn a_return_costs_what_the_stratums_cost_drawn_to_the_shops() {
    let shop = [Cents(3_000), Cents(5_000)];
    assert_eq!(mean_cost(&shop, &[]), Ok(Cents(4_000)));
    assert_eq!(mean_cost(&shop, &[Cents(5_000)]), Ok(Cents(4_333)));
    assert_eq!(mean_cost(&[], &[]), Ok(Cents::ZERO));
    assert_eq!(mean_cost(&[Cents(-10)], &[Cents(-10)]), Ok(Cents::ZERO));
}

#[test]
fn each_repair_is_expected_back_within_its_own_promise() {
    let hazard = Hazard::observed(&forty()).expect("a hazard");
    let open = |promise_days| Open {
        age_days: 10,
        promise_days,
    };
    let both = [open(20), open(40), open(10)];
    let reserve = stratum_reserve(&hazard, &both, decimal("100")).expect("a reserve");
    let by_hand = hazard.through(20) + hazard.through(40) - hazard.through(10) * decimal("2");
    assert_eq!(reserve.returns, by_hand);
}

#[test]
fn a_cost_below_zero_is_refused() {
    let reserve = stratum_reserve(&Hazard::default(), &[aged(1)], decimal("-1"));
    assert_eq!(reserve, Err(ReserveRefusal::NegativeCost));
}

proptest! {
    /// By its own repairs a stratum expects exactly what came back: the sum over repairs of the hazard is the count.
    #[test]
    fn a_stratum_expects_of_its_own_repairs_what_came_back(
        repairs in vec((0u32..200, any::<bool>()), 1..120),
    ) {
        let watched: Vec<Watched> = (repairs.into_iter())
            .map(|(age_days, came_back)| Watched { age_days, came_back })
            .collect();
        let hazard = Hazard::observed(&watched)?;
        let back = watched.iter().filter(|repair| repair.came_back).count();
        let difference = (hazard.expected(&watched)? - Decimal::from(back)).abs();
        prop_assert!(difference < decimal("0.0000000000000001"));
    }

    #[test]
    fn a_table_adds_up_from_opening_to_closing(
        opening in -1_000_000i64..1_000_000, used in -1_000_000i64..=0, new in 0i64..1_000_000,
        closing in -1_000_000i64..1_000_000,
    ) {
        let table = RollForward::of(Cents(opening), Cents(used), Cents(new), Cents(closing))?;
        let sum = Cents::sum([table.opening, table.used, table.for_new, table.for_earlier])?;
        prop_assert_eq!(sum, table.closing);
    }

    #[test]
    fn an_older_repair_has_less_to_come(
        repairs in vec((0u32..200, any::<bool>()), 1..60), age in 0u32..200, promise in 1u32..200,
    ) {
        let watched: Vec<Watched> = (repairs.into_iter())
            .map(|(age_days, came_back)| Watched { age_days, came_back })
            .collect();
        let hazard = Hazard::observed(&watched)?;
        prop_assert!(hazard.still_to_come(age + 1, promise) <= hazard.still_to_come(age, promise));
    }
}
