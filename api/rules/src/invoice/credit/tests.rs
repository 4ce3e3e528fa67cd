use proptest::prelude::*;

use super::*;
use crate::money::spread;
use crate::worked::rows;

#[derive(Deserialize)]
struct Asked {
    lines: Vec<CreditLine>,
    levels: Vec<CreditLevel>,
    wanted: Vec<(usize, Wanted)>,
}

#[test]
fn a_part_of_a_line_gives_back_that_part_of_its_own_tax_by_level() {
    for row in rows::<Asked, PartCredit>(include_str!(
        "../../../../../fixtures/worked/partial-credits.json"
    )) {
        let asked = row.input;
        let got = credit_part(&asked.lines, &asked.levels, &asked.wanted);
        assert_eq!(got, Ok(row.expected), "{}", row.source);
    }
}

fn line(kind: ChargeKind, quantity: i64, net: i64, tax: i64) -> CreditLine {
    CreditLine {
        kind,
        billed: LineAmounts {
            quantity: Decimal::from(quantity),
            net: Cents(net),
            taxable: Cents(net),
            tax: Cents(tax),
            ..LineAmounts::default()
        },
        credited: LineAmounts::default(),
    }
}

fn level(rate: &str, tax: i64) -> CreditLevel {
    CreditLevel {
        rate: Percent::parse(rate).unwrap(),
        exempts: Vec::new(),
        tax: Cents(tax),
    }
}

#[test]
fn what_was_not_billed_is_not_given_back() {
    let lines = [line(ChargeKind::Part, 2, 5_000, 400)];
    let levels = [level("8", 400)];
    let credit = |wanted: &[(usize, Wanted)]| credit_part(&lines, &levels, wanted).unwrap_err();
    let many = Wanted::Quantity(Decimal::from(3));
    let left = Decimal::TWO;
    assert_eq!(credit(&[]), CreditRefusal::NoLines);
    assert_eq!(
        credit(&[(1, Wanted::Rest)]),
        CreditRefusal::NoSuchLine { at: 0 }
    );
    assert_eq!(credit(&[(0, many)]), CreditRefusal::TooMany { at: 0, left });
    assert_eq!(
        credit(&[(0, Wanted::Amount(Cents(5_001)))]),
        CreditRefusal::TooMuch {
            at: 0,
            left: Cents(5_000)
        }
    );
    assert_eq!(
        credit(&[(0, Wanted::Amount(Cents(0)))]),
        CreditRefusal::NotAboveZero { at: 0 }
    );
    assert_eq!(
        credit(&[(0, Wanted::Rest), (0, Wanted::Rest)]),
        CreditRefusal::NamedTwice { at: 1 }
    );
}

#[test]
fn a_charge_that_was_credited_to_the_repair_goes_back_together_with_it() {
    let lines = [
        line(ChargeKind::Labour, 1, 10_000, 0),
        line(ChargeKind::Diagnostic, -1, -6_000, 0),
    ];
    let alone = credit_part(&lines, &[], &[(0, Wanted::Rest)]);
    assert_eq!(alone, Err(CreditRefusal::BeyondBilled));
    let both = credit_part(&lines, &[], &[(0, Wanted::Rest), (1, Wanted::Rest)]).unwrap();
    assert!(both.leaves_nothing);
}

fn billed() -> impl Strategy<Value = (Vec<CreditLine>, Vec<CreditLevel>)> {
    let one = (1_i64..6, 0_i64..200_000, 0_i64..3_000, prop::bool::ANY);
    prop::collection::vec(one, 1..6).prop_map(|all| {
        let mut lines = Vec::new();
        let mut taxes = [0_i64; 2];
        for (quantity, net, discount, exempt) in all {
            let discount = discount.min(net);
            let kind = if exempt {
                ChargeKind::Labour
            } else {
                ChargeKind::Part
            };
            let rate = if exempt { 175_i64 } else { 800 };
            let tax = ((net - discount) * rate + 5_000) / 10_000;
            let mut of = line(kind, quantity, net, tax);
            of.billed.discount = Cents(discount);
            of.billed.taxable = Cents(net - discount);
            lines.push(of);
        }
        for kind in [ChargeKind::Part, ChargeKind::Labour] {
            let tax = lines
                .iter()
                .filter(|line| line.kind == kind)
                .map(|line| line.billed.tax);
            let tax = Cents::sum(tax).unwrap();
            let weights: Vec<Decimal> = if kind == ChargeKind::Labour {
                vec![Decimal::ZERO, Decimal::new(175, 2)]
            } else {
                vec![Decimal::new(625, 2), Decimal::new(175, 2)]
            };
            for (sum, part) in taxes.iter_mut().zip(spread(tax, &weights).unwrap()) {
                *sum += part.0;
            }
        }
        let state = CreditLevel {
            exempts: vec![ChargeKind::Labour],
            ..level("6.25", taxes[0])
        };
        (lines, vec![state, level("1.75", taxes[1])])
    })
}

#[test]
fn the_tax_in_a_bad_debt_is_the_share_that_was_not_collected() {
    // 108.00 with 6.25 and 1.75 of tax, 54.00 paid: half of each is given back.
    let half = tax_relief(Cents(5_400), Cents(10_800), &[Cents(625), Cents(175)]);
    assert_eq!(half, Ok(vec![Cents(313), Cents(87)]));
    let whole = tax_relief(Cents(10_800), Cents(10_800), &[Cents(625), Cents(175)]);
    assert_eq!(whole, Ok(vec![Cents(625), Cents(175)]));
    let more = tax_relief(Cents(10_801), Cents(10_800), &[Cents(800)]);
    assert_eq!(more, Err(CreditRefusal::BeyondBilled));
}

proptest! {
    #[test]
    fn credits_in_any_parts_never_exceed_the_invoice_and_the_last_gives_back_what_is_left(
        (mut lines, levels) in billed(),
        steps in prop::collection::vec((0_usize..6, prop::bool::ANY, 1_i64..100_000), 0..20),
    ) {
        let mut given = vec![LevelPart::default(); levels.len()];
        let mut give = |lines: &mut Vec<CreditLine>, wanted: &[(usize, Wanted)]| {
            let Ok(credit) = credit_part(lines, &levels, wanted) else { return None };
            let mut tax = 0;
            for (at, part) in &credit.lines {
                tax += part.tax.0;
                assert!(part.tax >= Cents::ZERO && part.net >= Cents::ZERO);
                lines[*at].credited = lines[*at].credited.plus(part).unwrap();
            }
            assert_eq!(credit.levels.iter().map(|level| level.tax.0).sum::<i64>(), tax);
            for (at, part) in credit.levels.iter().enumerate() {
                assert!(part.tax >= Cents::ZERO);
                given[at].tax.0 += part.tax.0;
                assert!(given[at].tax <= levels[at].tax);
            }
            Some(credit.leaves_nothing)
        };
        for (place, by_amount, size) in steps {
            let how = if by_amount {
                Wanted::Amount(Cents(size))
            } else {
                Wanted::Quantity(Decimal::from(size % 5 + 1))
            };
            let _ = give(&mut lines, &[(place, how)]);
        }
        let rest: Vec<(usize, Wanted)> = (0..lines.len())
            .filter(|at| lines[*at].is_left().unwrap())
            .map(|at| (at, Wanted::Rest))
            .collect();
        if !rest.is_empty() {
            prop_assert_eq!(give(&mut lines, &rest), Some(true));
        }
        for line in &lines {
            prop_assert_eq!(line.credited, line.billed);
        }
        for (given, level) in given.iter().zip(&levels) {
            prop_assert_eq!(given.tax, level.tax);
        }
    }

    #[test]
    fn a_larger_part_never_gives_a_share_less(
        shares in prop::collection::vec(0_i64..500, 1..6), part in 0_i64..2_000,
    ) {
        let shares: Vec<Cents> = shares.into_iter().map(Cents).collect();
        let whole: i64 = shares.iter().map(|share| share.0).sum();
        if part < whole {
            let (less, more) = (share_out(Cents(part), &shares).unwrap(), share_out(Cents(part + 1), &shares).unwrap());
            prop_assert_eq!(less.iter().map(|share| share.0).sum::<i64>(), part);
            for ((less, more), share) in less.iter().zip(&more).zip(&shares) {
                prop_assert!(less <= more && more <= share);
            }
        }
    }
}

proptest! {
    #[test]
    fn a_write_off_is_undone_in_parts_that_add_up_to_it(
        bad_debt in 0_i64..1_000_000,
        taxes in prop::collection::vec(0_i64..100_000, 0..4),
        parts in prop::collection::vec(1_i64..300_000, 1..8),
    ) {
        let mut left = Cents(bad_debt);
        let mut tax_left: Vec<Cents> = taxes.iter().copied().map(Cents).collect();
        let mut parts = parts.into_iter();
        loop {
            let whole = tax_left.iter().map(|tax| tax.0).sum::<i64>() + left.0;
            if whole == 0 {
                break;
            }
            let part = Cents(parts.next().unwrap_or(whole).min(whole));
            let (borne, shares) = write_off_undone(part, (left, &tax_left)).unwrap();
            prop_assert_eq!(shares.iter().map(|tax| tax.0).sum::<i64>() + borne.0, part.0);
            left.0 -= borne.0;
            for (tax, share) in tax_left.iter_mut().zip(&shares) {
                tax.0 -= share.0;
                prop_assert!(tax.0 >= 0 && share.0 >= 0);
            }
            prop_assert!(left.0 >= 0);
        }
        let too_much = write_off_undone(Cents(1), (Cents::ZERO, &[]));
        prop_assert_eq!(too_much, Err(CreditRefusal::BeyondBilled));
    }
}

proptest! {
    #[test]
    fn an_invoice_written_off_in_parts_gives_back_its_tax_and_no_more(
        net in 0_i64..1_000_000,
        taxes in prop::collection::vec(0_i64..100_000, 0..4),
        parts in prop::collection::vec(1_i64..300_000, 1..8),
    ) {
        let taxes: Vec<Cents> = taxes.into_iter().map(Cents).collect();
        let left = Cents(taxes.iter().map(|tax| tax.0).sum::<i64>() + net);
        let mut given = vec![Cents::ZERO; taxes.len()];
        let mut amount = Cents::ZERO;
        let mut parts = parts.into_iter();
        while amount < left {
            let rest = left.0 - amount.0;
            let part = Cents(parts.next().unwrap_or(rest).min(rest));
            let before = GivenUp { amount, taxes: &given };
            let relief = further_relief(part, before, (left, &taxes)).unwrap();
            let of_part = relief.iter().map(|tax| tax.0).sum::<i64>();
            prop_assert!(of_part >= 0 && of_part <= part.0);
            for (sum, share) in given.iter_mut().zip(&relief) {
                sum.0 += share.0;
            }
            amount.0 += part.0;
            prop_assert!(given.iter().zip(&taxes).all(|(given, tax)| given <= tax));
        }
        prop_assert_eq!(given, taxes);
    }
}
