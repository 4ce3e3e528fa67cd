use proptest::prelude::*;

use super::*;
use crate::invoice::credit::{CreditLevel, CreditLine, Wanted, credit_part};
use crate::money::spread;
use crate::worked::rows;

#[derive(Deserialize)]
struct Asked {
    lines: Vec<SaleLine>,
    levels: Vec<SaleLevel>,
    payers: usize,
    takings: Vec<Taking>,
}

#[test]
fn a_sale_is_divided_by_line_and_its_tax_by_level() {
    for row in
        rows::<Asked, Vec<PayerPart>>(include_str!("../../../../../fixtures/worked/division.json"))
    {
        let asked = row.input;
        let got = divide(&asked.lines, &asked.levels, (asked.payers, &asked.takings));
        assert_eq!(got, Ok(row.expected), "{}", row.source);
    }
}

fn line(kind: ChargeKind, net: i64, tax: i64) -> SaleLine {
    SaleLine {
        kind,
        amounts: LineAmounts {
            quantity: Decimal::TWO,
            net: Cents(net),
            taxable: if tax == 0 { Cents::ZERO } else { Cents(net) },
            tax: Cents(tax),
            ..LineAmounts::default()
        },
        own_discount: Cents::ZERO,
        shown: None,
    }
}

fn taking(payer: usize, line: usize, portion: Portion) -> Taking {
    Taking {
        payer,
        line,
        portion,
    }
}

fn percent(text: &str) -> Portion {
    Portion::Percent(Percent::parse(text).unwrap())
}

#[test]
fn what_cannot_be_divided_so_is_refused() {
    let lines = [
        line(ChargeKind::Labour, 10_000, 0),
        line(ChargeKind::Diagnostic, -6_000, 0),
        line(ChargeKind::Trip, 0, 0),
    ];
    let refused = |takings: &[Taking]| divide(&lines, &[], (2, takings)).unwrap_err();
    let amount = |cents| Portion::Amount(Cents(cents));
    assert_eq!(
        refused(&[taking(1, 3, Portion::Whole)]),
        DivisionRefusal::NoSuchLine { at: 0 }
    );
    assert_eq!(
        refused(&[taking(1, 0, percent("1")), taking(1, 0, amount(1))]),
        DivisionRefusal::TakenTwice { at: 1 }
    );
    for portion in [percent("0"), amount(0), amount(-1)] {
        assert_eq!(
            refused(&[taking(1, 0, portion)]),
            DivisionRefusal::NotAPortion { at: 0 }
        );
    }
    assert_eq!(
        refused(&[taking(1, 0, amount(10_001))]),
        DivisionRefusal::TooMuch {
            at: 0,
            left: Cents(10_000)
        }
    );
    let both = [taking(1, 0, amount(5_001)), taking(2, 0, percent("50"))];
    assert_eq!(
        divide(&lines, &[], (3, &both)).unwrap_err(),
        DivisionRefusal::TooMuch {
            at: 1,
            left: Cents(4_999)
        }
    );
    assert_eq!(
        refused(&[taking(1, 2, amount(1))]),
        DivisionRefusal::NotAPortion { at: 0 }
    );
    assert_eq!(refused(&[]), DivisionRefusal::NothingFor { payer: 1 });
    assert_eq!(
        refused(&[taking(1, 1, Portion::Whole)]),
        DivisionRefusal::BelowZero { payer: 1 }
    );
    assert_eq!(
        refused(&[taking(1, 0, Portion::Whole)]),
        DivisionRefusal::BelowZero { payer: 0 }
    );
}

#[test]
fn a_line_that_a_level_leaves_alone_brings_its_payer_none_of_that_level() {
    let lines = [
        line(ChargeKind::Part, 10_000, 800),
        line(ChargeKind::Labour, 10_000, 200),
    ];
    let level = |rate: &str, exempts: &[ChargeKind], taxable, tax| SaleLevel {
        rate: Percent::parse(rate).unwrap(),
        exempts: exempts.to_vec(),
        taxable: Cents(taxable),
        tax: Cents(tax),
    };
    let levels = [
        level("6", &[ChargeKind::Labour], 10_000, 600),
        level("2", &[], 20_000, 400),
    ];
    let parts = divide(&lines, &levels, (2, &[taking(1, 1, Portion::Whole)])).unwrap();
    let of = |payer: usize| {
        let levels = parts[payer].levels.iter();
        levels
            .map(|level| (level.taxable.0, level.tax.0))
            .collect::<Vec<_>>()
    };
    assert_eq!(of(0), [(10_000, 600), (10_000, 200)]);
    assert_eq!(of(1), [(0, 0), (10_000, 200)]);
}

#[test]
fn a_line_without_figures_is_not_cut_up_and_makes_nobody_a_bill() {
    let lines = [
        line(ChargeKind::Labour, 10_000, 0),
        line(ChargeKind::Trip, 0, 0),
        line(ChargeKind::Part, 4_000, 0),
    ];
    let taken = |takings: &[Taking]| -> Vec<Vec<usize>> {
        let parts = divide(&lines, &[], (3, takings)).unwrap();
        let of = |part: &PayerPart| part.lines.iter().map(|line| line.line).collect();
        parts.iter().map(of).collect()
    };
    let whole = |payer, line| taking(payer, line, Portion::Whole);
    // Left over for nobody with a bill, it goes to whoever pays most.
    assert_eq!(
        taken(&[whole(1, 2), whole(2, 0)]),
        [vec![], vec![2], vec![0, 1]]
    );
    // Left over beside something else, it stays.
    let half = percent("50");
    assert_eq!(
        taken(&[whole(1, 2), taking(2, 0, half)]),
        [vec![0, 1], vec![2], vec![0]]
    );
    // Asked for, it goes to whoever takes most of it.
    let most = [taking(1, 1, percent("30")), taking(2, 1, percent("60"))];
    let asked = [whole(1, 2), taking(2, 0, half), most[0], most[1]];
    assert_eq!(taken(&asked), [vec![0], vec![2], vec![0, 1]]);
}

#[test]
fn percentages_beyond_the_whole_are_told_what_is_left() {
    let lines = [line(ChargeKind::Labour, 10_000, 0)];
    let takings = [taking(1, 0, percent("60")), taking(2, 0, percent("60"))];
    let left = Cents(4_000);
    assert_eq!(
        divide(&lines, &[], (3, &takings)).unwrap_err(),
        DivisionRefusal::TooMuch { at: 1, left }
    );
}

/// State 6.25 % leaves labour alone, county 1.75 % takes all: a part of 100.19 and labour of 144.00, half of each.
#[test]
fn a_share_credited_line_by_line_gives_no_level_what_it_leaves_alone() {
    let lines = [
        line(ChargeKind::Part, 10_019, 802),
        line(ChargeKind::Labour, 14_400, 252),
    ];
    let level = |rate: &str, exempts: &[ChargeKind], taxable, tax| SaleLevel {
        rate: Percent::parse(rate).unwrap(),
        exempts: exempts.to_vec(),
        taxable: Cents(taxable),
        tax: Cents(tax),
    };
    let levels = [
        level("6.25", &[ChargeKind::Labour], 10_019, 627),
        level("1.75", &[], 24_419, 427),
    ];
    let half = percent("50");
    let takings = [taking(1, 0, half), taking(1, 1, half)];
    for part in divide(&lines, &levels, (2, &takings)).unwrap() {
        let billed: Vec<CreditLine> = part
            .lines
            .iter()
            .map(|of| CreditLine {
                kind: lines[of.line].kind,
                billed: of.amounts,
                credited: LineAmounts::default(),
            })
            .collect();
        let own: Vec<CreditLevel> = levels
            .iter()
            .zip(&part.levels)
            .map(|(level, own)| CreditLevel {
                rate: level.rate,
                exempts: level.exempts.clone(),
                tax: own.tax,
            })
            .collect();
        let labour = credit_part(&billed, &own, &[(1, Wanted::Rest)]).unwrap();
        let labour_tax = billed[1].billed.tax;
        assert_eq!(labour.levels[0], LevelPart::default());
        assert_eq!(labour.levels[1].tax, labour_tax);
    }
}

/// Some line of a job: a part, a discount on it, a credited diagnosis, taxed or not.
fn a_line() -> impl Strategy<Value = SaleLine> {
    let kinds = prop::sample::select(vec![
        ChargeKind::Part,
        ChargeKind::Labour,
        ChargeKind::Trip,
        ChargeKind::Diagnostic,
    ]);
    (
        kinds,
        -20_000_i64..60_000,
        0_i64..=100,
        any::<bool>(),
        0_i64..9_000,
    )
        .prop_map(|(kind, net, off, taxed, cost)| {
            let discount = net * off / 300;
            let taxable = if taxed { net - discount } else { 0 };
            let shown = Shown {
                net: Cents(net + taxable / 12),
                discount: Cents(discount),
            };
            SaleLine {
                kind,
                amounts: LineAmounts {
                    quantity: Decimal::TWO,
                    net: Cents(net),
                    discount: Cents(discount),
                    taxable: Cents(taxable),
                    tax: Cents(taxable / 12),
                    cost: Cents(cost),
                },
                own_discount: Cents(discount / 2),
                shown: Some(shown),
            }
        })
}

/// Two levels, of which one leaves labour alone.
fn levels_of(lines: &[SaleLine]) -> Vec<SaleLevel> {
    let sum = |of: fn(&SaleLine) -> Cents, labour: bool| -> i64 {
        let lines = lines.iter();
        let lines = lines.filter(|line| (line.kind == ChargeKind::Labour) == labour);
        lines.map(|line| of(line).0).sum()
    };
    let (parts, labour) = (
        sum(|line| line.amounts.tax, false),
        sum(|line| line.amounts.tax, true),
    );
    let rates = ["6.25", "1.75"].map(|rate| Percent::parse(rate).unwrap());
    let weights = rates.map(Percent::per_hundred);
    let shares = spread(Cents(parts), &weights).unwrap();
    let taxable = |labour| sum(|line| line.amounts.taxable, labour);
    vec![
        SaleLevel {
            rate: rates[0],
            exempts: vec![ChargeKind::Labour],
            taxable: Cents(taxable(false)),
            tax: shares[0],
        },
        SaleLevel {
            rate: rates[1],
            exempts: Vec::new(),
            taxable: Cents(taxable(false) + taxable(true)),
            tax: Cents(shares[1].0 + labour),
        },
    ]
}

fn mirrored(lines: &[SaleLine]) -> Vec<SaleLine> {
    let turn = |amount: Cents| Cents(-amount.0);
    lines
        .iter()
        .map(|line| SaleLine {
            kind: line.kind,
            amounts: LineAmounts {
                quantity: line.amounts.quantity,
                net: turn(line.amounts.net),
                discount: turn(line.amounts.discount),
                taxable: turn(line.amounts.taxable),
                tax: turn(line.amounts.tax),
                cost: turn(line.amounts.cost),
            },
            own_discount: turn(line.own_discount),
            shown: line.shown.map(|shown| Shown {
                net: turn(shown.net),
                discount: turn(shown.discount),
            }),
        })
        .collect()
}

proptest! {
    #[test]
    fn parts_add_up_to_the_sale_in_every_figure_whatever_the_signs(
        lines in prop::collection::vec(a_line(), 1..7),
        hundredths in prop::collection::vec((1_i64..5_000, 1_i64..5_000), 7),
    ) {
        let levels = levels_of(&lines);
        let mut takings = Vec::new();
        for (at, (first, second)) in (0..lines.len()).zip(&hundredths) {
            let portion = |hundredths: i64| {
                Portion::Percent(Percent::new(Decimal::new(hundredths, 2)).unwrap())
            };
            takings.push(taking(1, at, portion(*first)));
            takings.push(taking(2, at, portion(*second)));
        }
        let parts = match divide(&lines, &levels, (3, &takings)) {
            Ok(parts) => parts,
            // What falls to one of them may be below zero; a share as small as this leaves nothing else to refuse.
            Err(refusal) => {
                let is_below = matches!(
                    refusal,
                    DivisionRefusal::BelowZero { .. } | DivisionRefusal::NothingFor { .. }
                );
                prop_assert!(is_below, "{refusal}");
                return Err(TestCaseError::reject("a payer with nothing to pay"));
            }
        };
        for (place, line) in lines.iter().enumerate() {
            let of = |figure: fn(&PartLine) -> i64| -> i64 {
                let lines = parts.iter().flat_map(|part| &part.lines);
                lines.filter(|part| part.line == place).map(figure).sum()
            };
            let whole = &line.amounts;
            prop_assert_eq!(of(|part| part.amounts.net.0), whole.net.0);
            prop_assert_eq!(of(|part| part.amounts.discount.0), whole.discount.0);
            prop_assert_eq!(of(|part| part.amounts.taxable.0), whole.taxable.0);
            prop_assert_eq!(of(|part| part.amounts.tax.0), whole.tax.0);
            prop_assert_eq!(of(|part| part.own_discount.0), line.own_discount.0);
            let shown = line.shown.unwrap();
            prop_assert_eq!(of(|part| part.shown.unwrap().net.0), shown.net.0);
        }
        for (at, level) in levels.iter().enumerate() {
            let tax: i64 = parts.iter().map(|part| part.levels[at].tax.0).sum();
            let taxable: i64 = parts.iter().map(|part| part.levels[at].taxable.0).sum();
            prop_assert_eq!((tax, taxable), (level.tax.0, level.taxable.0));
        }
        for part in &parts {
            let by_line: i64 = part.lines.iter().map(|line| line.amounts.tax.0).sum();
            let by_level: i64 = part.levels.iter().map(|level| level.tax.0).sum();
            prop_assert_eq!(by_line, by_level);
            for line in &part.lines {
                let (amounts, shown) = (line.amounts, line.shown.unwrap());
                let pays = amounts.net.0 - amounts.discount.0 + amounts.tax.0;
                prop_assert_eq!(shown.net.0 - shown.discount.0, pays);
            }
        }
    }

    #[test]
    fn a_credit_is_divided_as_the_mirror_of_its_sale(
        lines in prop::collection::vec(a_line(), 1..5),
        hundredths in 1_i64..10_000,
    ) {
        let portion = Portion::Percent(Percent::new(Decimal::new(hundredths, 2)).unwrap());
        let mirror = mirrored(&lines);
        for (at, line) in lines.iter().enumerate() {
            let takings = [taking(1, at, portion)];
            let weights = |lines: &[SaleLine]| weights(&lines[at], at, (2, &takings)).unwrap();
            let upright = cut(line, at, &weights(&lines)).unwrap();
            let turned = cut(&mirror[at], at, &weights(&mirror)).unwrap();
            for (part, image) in upright.iter().zip(&turned) {
                let figures = |part: &Option<PartLine>| {
                    part.map(|part| {
                        let of = part.amounts;
                        let own = part.own_discount;
                        [of.net, of.discount, of.taxable, of.tax, of.cost, own].map(|cents| cents.0)
                    })
                };
                let expected = figures(part).map(|figures| figures.map(|cents| -cents));
                prop_assert_eq!(figures(image), expected);
            }
        }
    }
}
