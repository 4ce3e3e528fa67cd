use proptest::prelude::*;
use serde::Deserialize;

use super::*;
use crate::worked::rows;

#[derive(Deserialize)]
struct Written {
    currency: String,
    text: String,
}

#[test]
fn amounts_read_into_the_minor_unit_of_their_currency() {
    for row in rows::<Written, Cents>(include_str!("../../../../fixtures/worked/currency.json")) {
        let currency = Currency::get(&row.input.currency).unwrap();
        assert_eq!(
            currency.parse(&row.input.text),
            Ok(row.expected),
            "{}",
            row.source
        );
    }
}

#[test]
fn a_currency_without_a_minor_unit_or_out_of_use_is_refused() {
    // ISO 4217: drawing rights and metals have no minor unit; the rouble of 2000, litas and lats are withdrawn.
    for code in ["XDR", "XAU", "BYR", "LTL", "LVL", "usd", ""] {
        assert_eq!(
            Currency::get(code),
            Err(MoneyRefusal::UnknownCurrency {
                code: code.to_owned()
            })
        );
    }
}

#[test]
fn an_amount_prints_with_its_decimals_and_sign() {
    assert_eq!(Cents(-123_450).to_string(), "-1234.50");
    assert_eq!(Cents(-5).to_string(), "-0.05");
    assert_eq!(Cents(i64::MIN).to_string(), "-92233720368547758.08");
    assert_eq!(Currency::get("JPY").unwrap().format(Cents(1_250)), "1250");
    assert_eq!(
        Currency::get("KWD").unwrap().format(Cents(-12_005)),
        "-12.005"
    );
}

#[test]
fn a_third_decimal_is_refused_and_not_rounded() {
    assert_eq!(
        Cents::parse("1.005"),
        Err(MoneyRefusal::TooManyDecimals {
            text: "1.005".to_owned(),
            allowed: 2
        })
    );
    assert!(Currency::get("JPY").unwrap().parse("1.0").is_err());
}

#[test]
fn text_that_is_no_amount_is_refused() {
    assert_eq!(Cents::parse("  "), Err(MoneyRefusal::Empty));
    for text in [
        "x", "-", ".", "1.", ".5", "--1", "+1", "1e3", "12,50", "1,2345", ",123", "1.2.3", "$5",
        "1 000", "٣", "1.-5", "-1,23", "1,000,00",
    ] {
        assert_eq!(
            Cents::parse(text),
            Err(MoneyRefusal::NotAnAmount {
                text: text.to_owned()
            }),
            "{text}"
        );
    }
    assert_eq!(
        Cents::parse("92233720368547758.08"),
        Err(MoneyRefusal::TooLarge)
    );
    assert_eq!(Cents::parse("-92233720368547758.08"), Ok(Cents(i64::MIN)));
}

#[test]
fn a_sum_that_does_not_fit_is_refused() {
    assert_eq!(
        Cents::sum([Cents(i64::MAX), Cents(1)]),
        Err(MoneyRefusal::TooLarge)
    );
    assert_eq!(Cents::sum([]), Ok(Cents::ZERO));
    assert_eq!(Cents(i64::MIN).checked_neg(), None);
    assert_eq!(
        Cents(i64::MAX).times_half_up(Decimal::TWO),
        Err(MoneyRefusal::TooLarge)
    );
}

#[test]
fn half_a_cent_rounds_away_from_zero() {
    let rounded = |text: &str| Cents::from_decimal_half_up(text.parse().unwrap()).unwrap();
    assert_eq!(rounded("72.5"), Cents(73));
    assert_eq!(rounded("-72.5"), Cents(-73));
    assert_eq!(rounded("72.4999"), Cents(72));
    assert_eq!(rounded("-0.4"), Cents(0));
}

#[derive(Deserialize)]
struct Spread {
    total: Cents,
    weights: Vec<Decimal>,
}

#[test]
fn spreading_follows_the_worked_cases() {
    for row in rows::<Spread, Vec<Cents>>(include_str!("../../../../fixtures/worked/spread.json")) {
        assert_eq!(
            spread(row.input.total, &row.input.weights),
            Ok(row.expected),
            "{}",
            row.source
        );
    }
}

#[test]
fn spreading_over_nothing_is_refused_unless_there_is_nothing_to_spread() {
    let total = Cents(5);
    assert_eq!(spread(total, &[]), Err(SpreadRefusal::NoWeight { total }));
    assert_eq!(
        spread(total, &[Decimal::ZERO]),
        Err(SpreadRefusal::NoWeight { total })
    );
    assert_eq!(spread(Cents::ZERO, &[Decimal::ZERO]), Ok(vec![Cents::ZERO]));
    assert_eq!(
        spread(Cents(i64::MAX), &[Decimal::MAX]),
        Err(SpreadRefusal::TooLarge {
            total: Cents(i64::MAX)
        })
    );
}

proptest! {
    #[test]
    fn what_is_printed_reads_back(cents in any::<i64>()) {
        prop_assert_eq!(Cents::parse(&Cents(cents).to_string()), Ok(Cents(cents)));
    }

    #[test]
    fn shares_add_up_and_stay_within_a_cent_of_exact(
        total in -10_000_000_i64..10_000_000,
        weights in prop::collection::vec(0_i64..1_000_000, 1..12),
    ) {
        let sum: i64 = weights.iter().sum();
        prop_assume!(sum > 0);
        let cents: Vec<Cents> = weights.iter().copied().map(Cents).collect();
        let shares = spread_by_cents(Cents(total), &cents).unwrap();
        prop_assert_eq!(Cents::sum(shares.clone()), Ok(Cents(total)));
        for (share, weight) in shares.iter().zip(&weights) {
            let off = i128::from(share.0) * i128::from(sum) - i128::from(total) * i128::from(*weight);
            prop_assert!(off.abs() < i128::from(sum));
        }
    }

    #[test]
    fn turning_the_total_turns_every_share(
        total in 0_i64..10_000_000,
        weights in prop::collection::vec(-1_000_i64..1_000_000, 1..12),
    ) {
        prop_assume!(weights.iter().sum::<i64>() != 0);
        let cents: Vec<Cents> = weights.iter().copied().map(Cents).collect();
        let up = spread_by_cents(Cents(total), &cents).unwrap();
        let down = spread_by_cents(Cents(-total), &cents).unwrap();
        prop_assert_eq!(Cents::sum(up.clone()), Ok(Cents(total)));
        for (a, b) in up.iter().zip(&down) {
            prop_assert_eq!(a.checked_neg(), Some(*b));
        }
    }
}
