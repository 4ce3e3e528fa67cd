use proptest::prelude::*;

use super::*;
use crate::worked::rows;

#[derive(Deserialize)]
struct Asked {
    schedule: MarkupSchedule,
    cost: Cents,
}

#[derive(Deserialize, PartialEq, Debug)]
struct Answer {
    price: Cents,
    bracket: usize,
    raised_by_floor_cents: Cents,
}

fn bracket(up_to: i64, multiplier: &str) -> Bracket {
    Bracket {
        up_to_cents: Some(Cents(up_to)),
        multiplier: multiplier.parse().unwrap(),
    }
}

fn open(multiplier: &str) -> Bracket {
    Bracket {
        up_to_cents: None,
        multiplier: multiplier.parse().unwrap(),
    }
}

fn terms(kind: ScheduleKind, brackets: Vec<Bracket>) -> ScheduleTerms {
    ScheduleTerms {
        kind,
        brackets,
        minimum_markup_cents: Cents::ZERO,
        maximum_markup_cents: None,
        ending: PriceEnding::None,
    }
}

fn stepped(kind: ScheduleKind) -> MarkupSchedule {
    MarkupSchedule::new(terms(
        kind,
        vec![bracket(5_000, "2.5"), bracket(20_000, "2"), open("1.5")],
    ))
    .unwrap()
}

#[test]
fn parts_price_as_in_the_worked_cases() {
    for row in rows::<Asked, Answer>(include_str!("../../../../../fixtures/worked/markup.json")) {
        let price = row.input.schedule.price(row.input.cost).unwrap();
        let answer = Answer {
            price: price.price,
            bracket: price.bracket,
            raised_by_floor_cents: price.raised_by_floor_cents,
        };
        assert_eq!(
            answer, row.expected,
            "cost {}: {}",
            row.input.cost, row.source
        );
    }
}

#[test]
fn a_whole_schedule_reports_each_edge_at_which_a_dearer_part_is_cheaper() {
    let found = stepped(ScheduleKind::Whole).inversions().unwrap();
    let shown: Vec<_> = found
        .iter()
        .map(|i| {
            (
                i.bracket,
                i.edge_cost.0,
                i.price_at_edge.0,
                i.price_above_edge.0,
            )
        })
        .collect();
    assert_eq!(
        shown,
        [(0, 5_000, 12_500, 10_002), (1, 20_000, 40_000, 30_002)]
    );
}

#[test]
fn a_graduated_schedule_has_no_inversions() {
    assert_eq!(stepped(ScheduleKind::Graduated).inversions(), Ok(vec![]));
}

#[test]
fn a_fixed_price_wins_and_a_list_price_caps() {
    let schedule = stepped(ScheduleKind::Whole);
    let fixed = PartRule {
        fixed_price: Some(Cents(999)),
        list_price_cap: Some(Cents(1)),
    };
    let price = schedule.price_under(Cents(1_000), fixed).unwrap();
    assert_eq!((price.price, price.basis), (Cents(999), PriceBasis::Fixed));
    let capped = PartRule {
        fixed_price: None,
        list_price_cap: Some(Cents(2_200)),
    };
    let price = schedule.price_under(Cents(1_000), capped).unwrap();
    assert_eq!(
        (price.price, price.basis),
        (Cents(2_200), PriceBasis::ListPriceCap)
    );
    let price = schedule.price_under(Cents(800), capped).unwrap();
    assert_eq!(
        (price.price, price.basis),
        (Cents(2_000), PriceBasis::Schedule)
    );
}

#[test]
fn a_schedule_that_cannot_price_every_cost_is_refused() {
    let refused = |brackets| MarkupSchedule::new(terms(ScheduleKind::Whole, brackets)).unwrap_err();
    assert_eq!(refused(vec![]), ScheduleRefusal::NoBrackets);
    assert_eq!(
        refused(vec![bracket(100, "2"), bracket(100, "2"), open("2")]),
        ScheduleRefusal::NotRising { bracket: 1 }
    );
    assert_eq!(
        refused(vec![open("2"), open("2")]),
        ScheduleRefusal::OpenTooEarly { bracket: 0 }
    );
    assert_eq!(
        refused(vec![bracket(100, "2")]),
        ScheduleRefusal::NotOpenAtTop { up_to: Cents(100) }
    );
    assert_eq!(
        refused(vec![open("0.99")]),
        ScheduleRefusal::MultiplierBelowOne {
            bracket: 0,
            multiplier: Decimal::new(99, 2)
        }
    );
    let below = ScheduleTerms {
        minimum_markup_cents: Cents(-1),
        ..terms(ScheduleKind::Whole, vec![open("2")])
    };
    assert_eq!(
        MarkupSchedule::new(below),
        Err(ScheduleRefusal::NegativeMinimum { minimum: Cents(-1) })
    );
    let (minimum, maximum) = (Cents(500), Cents(499));
    let crossed = ScheduleTerms {
        minimum_markup_cents: minimum,
        maximum_markup_cents: Some(maximum),
        ..terms(ScheduleKind::Whole, vec![open("2")])
    };
    assert_eq!(
        MarkupSchedule::new(crossed),
        Err(ScheduleRefusal::MaximumBelowMinimum { minimum, maximum })
    );
}

#[test]
fn a_cost_below_zero_or_beyond_reckoning_is_refused() {
    let schedule = stepped(ScheduleKind::Whole);
    assert_eq!(
        schedule.price(Cents(-1)),
        Err(PricingRefusal::NegativeCost { cost: Cents(-1) })
    );
    assert_eq!(
        schedule.price(Cents(i64::MAX)),
        Err(PricingRefusal::Money(MoneyRefusal::TooLarge))
    );
}

fn any_schedule() -> impl Strategy<Value = MarkupSchedule> {
    let kind = prop_oneof![Just(ScheduleKind::Whole), Just(ScheduleKind::Graduated)];
    let ending = prop_oneof![
        Just(PriceEnding::None),
        Just(PriceEnding::UpTo95),
        Just(PriceEnding::UpTo99)
    ];
    let steps = prop::collection::vec((1_i64..20_000, 100_i64..500), 0..5);
    let earned = (0_i64..1_000, prop::option::of(0_i64..30_000));
    (kind, ending, steps, 100_i64..500, earned).prop_map(
        |(kind, ending, steps, top, (minimum, above))| {
            let mut edge = 0;
            let mut brackets: Vec<Bracket> = Vec::new();
            for (width, multiplier) in steps {
                edge += width;
                brackets.push(Bracket {
                    up_to_cents: Some(Cents(edge)),
                    multiplier: Decimal::new(multiplier, 2),
                });
            }
            brackets.push(Bracket {
                up_to_cents: None,
                multiplier: Decimal::new(top, 2),
            });
            MarkupSchedule::new(ScheduleTerms {
                kind,
                brackets,
                minimum_markup_cents: Cents(minimum),
                maximum_markup_cents: above.map(|above| Cents(minimum + above)),
                ending,
            })
            .expect("edges rise and multipliers are one or more")
        },
    )
}

proptest! {
    #[test]
    fn a_dearer_part_never_sells_cheaper(
        schedule in any_schedule(), cost in 0_i64..100_000, more in 0_i64..30_000,
    ) {
        let cheaper = schedule.price(Cents(cost)).unwrap().price;
        let dearer = schedule.price(Cents(cost + more)).unwrap().price;
        prop_assert!(dearer >= cheaper, "{cheaper} then {dearer}");
        prop_assert!(cheaper >= Cents(cost));
    }

    #[test]
    fn a_dearer_part_under_one_list_price_never_sells_cheaper(
        schedule in any_schedule(), cost in 0_i64..100_000, more in 0_i64..30_000, cap in 0_i64..200_000,
    ) {
        let rule = PartRule { fixed_price: None, list_price_cap: Some(Cents(cap)) };
        let cheaper = schedule.price_under(Cents(cost), rule).unwrap().price;
        let dearer = schedule.price_under(Cents(cost + more), rule).unwrap().price;
        prop_assert!(dearer >= cheaper, "{cheaper} then {dearer}");
        prop_assert!(dearer <= Cents(cap));
    }

    #[test]
    fn a_part_earns_no_less_than_the_minimum_and_no_more_than_the_maximum(
        schedule in any_schedule(), cost in 0_i64..100_000,
    ) {
        let price = schedule.price(Cents(cost)).unwrap();
        let earned = price.price.0 - cost;
        prop_assert!(earned >= schedule.terms().minimum_markup_cents.0);
        if let Some(most) = schedule.terms().maximum_markup_cents {
            prop_assert!(earned <= most.0);
            prop_assert!(price.basis == PriceBasis::Schedule || earned == most.0);
        }
    }

    #[test]
    fn inversions_are_found_where_trying_every_cost_finds_them(
        steps in prop::collection::vec((1_i64..60, 100_i64..400), 1..5), top in 100_i64..400, minimum in 0_i64..40,
    ) {
        let mut edge = 0;
        let mut brackets = Vec::new();
        for (width, multiplier) in steps {
            edge += width;
            brackets.push(Bracket { up_to_cents: Some(Cents(edge)), multiplier: Decimal::new(multiplier, 2) });
        }
        brackets.push(Bracket { up_to_cents: None, multiplier: Decimal::new(top, 2) });
        let plain = ScheduleTerms {
            minimum_markup_cents: Cents(minimum),
            ..terms(ScheduleKind::Whole, brackets)
        };
        let schedule = MarkupSchedule::new(plain.clone()).unwrap();
        let found: Vec<i64> = schedule.inversions().unwrap().iter().map(|i| i.edge_cost.0).collect();
        // Reckoned anew from the terms alone: the price of each cost, and where it falls below one reached before.
        let unfloored = |cost: i64| {
            let bracket = plain.brackets.iter().find(|b| b.up_to_cents.is_none_or(|up_to| cost <= up_to.0)).unwrap();
            let hundredths = bracket.multiplier.mantissa();
            let marked = (i128::from(cost) * hundredths * 2 + 100).div_euclid(200);
            i64::try_from(marked).unwrap().max(cost + minimum)
        };
        let mut highest = 0;
        let mut tried = Vec::new();
        for cost in 1..=edge {
            highest = highest.max(unfloored(cost));
            if unfloored(cost + 1) < highest && plain.brackets.iter().any(|b| b.up_to_cents == Some(Cents(cost))) {
                tried.push(cost);
            }
        }
        prop_assert_eq!(found, tried);
    }

    #[test]
    fn a_schedule_without_inversions_needs_no_floor(schedule in any_schedule(), cost in 0_i64..100_000) {
        prop_assume!(schedule.inversions().unwrap().is_empty());
        prop_assert_eq!(schedule.price(Cents(cost)).unwrap().raised_by_floor_cents, Cents::ZERO);
    }

    #[test]
    fn a_schedule_survives_being_written_and_read(schedule in any_schedule()) {
        let text = serde_json::to_string(&schedule).unwrap();
        prop_assert_eq!(serde_json::from_str::<MarkupSchedule>(&text).unwrap(), schedule);
    }
}
