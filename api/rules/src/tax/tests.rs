use std::collections::BTreeMap;

use proptest::prelude::*;
use rust_decimal::Decimal;

use super::*;
use crate::worked::rows;

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn percent(text: &str) -> Percent {
    Percent::parse(text).unwrap()
}

fn level(kind: LevelKind, rate: &str) -> Level {
    Level {
        name: format!("{kind:?}"),
        kind,
        rate: percent(rate),
        from_on: None,
        until_on: None,
        exempts: Vec::new(),
    }
}

/// A made-up place that taxes every kind but those listed.
fn place(levels: Vec<Level>, basis: Basis, untaxed: &[ChargeKind]) -> Jurisdiction {
    let rules = |kind: ChargeKind| {
        let rule = if untaxed.contains(&kind) {
            Rule::always(Treatment::NotTaxed, "separately stated")
        } else {
            Rule::always(Treatment::Taxed, "part of a taxed sale")
        };
        (kind, vec![rule])
    };
    Jurisdiction {
        name: "Sample County".to_owned(),
        levels,
        rules: ChargeKind::ALL.into_iter().map(rules).collect(),
        basis,
        methods: Vec::new(),
        prices: Prices::BeforeTax,
    }
}

fn parts(nets: &[i64]) -> Vec<TaxLine> {
    nets.iter()
        .map(|net| TaxLine::new(ChargeKind::Part, Cents(*net)))
        .collect()
}

fn sale(on: &str) -> Sale {
    Sale::of_day(day(on))
}

#[derive(Deserialize)]
struct Amount {
    taxable: Cents,
    rate: Percent,
}

#[test]
fn section_324_goes_up_only_when_the_third_decimal_exceeds_four() {
    for row in rows::<Amount, Cents>(include_str!(
        "../../../../fixtures/worked/tax-rounding.json"
    )) {
        let tax = section_324(row.input.taxable, row.input.rate);
        assert_eq!(
            tax,
            Ok(row.expected),
            "{} at {}",
            row.input.taxable,
            row.input.rate
        );
    }
}

#[derive(Deserialize)]
struct Document {
    nets: Vec<i64>,
    rates: Vec<Percent>,
    basis: Basis,
}

#[derive(Deserialize, PartialEq, Debug)]
struct Answer {
    total: Cents,
    lines: Vec<Cents>,
    levels: Vec<Cents>,
}

#[test]
fn documents_are_taxed_as_in_the_worked_cases() {
    for row in rows::<Document, Answer>(include_str!(
        "../../../../fixtures/worked/tax-documents.json"
    )) {
        let levels = row
            .input
            .rates
            .iter()
            .map(|rate| level(LevelKind::State, &rate.to_string()));
        let place = place(levels.collect(), row.input.basis, &[]);
        let result = tax(&parts(&row.input.nets), &place, None, &sale("2025-03-14")).unwrap();
        let answer = Answer {
            total: result.total_cents,
            lines: result.lines.iter().map(|line| line.tax_cents).collect(),
            levels: result.levels.iter().map(|level| level.tax_cents).collect(),
        };
        assert_eq!(answer, row.expected, "{}", row.source);
    }
}

fn six_percent_table() -> BracketTable {
    let steps = |list: &[(i64, i64)]| {
        list.iter()
            .map(|(up_to, tax)| BracketStep {
                up_to_cents: Cents(*up_to),
                tax_cents: Cents(*tax),
            })
            .collect()
    };
    BracketTable {
        whole_dollar_tax_cents: Cents(6),
        under_a_dollar: steps(&[(19, 0), (20, 1), (33, 2), (50, 3), (66, 4), (83, 5)]),
        over_whole_dollars: steps(&[(16, 1), (33, 2), (50, 3), (66, 4), (83, 5)]),
    }
}

#[test]
fn a_bracket_table_taxes_as_the_statute_prints_it() {
    for row in rows::<Cents, Cents>(include_str!(
        "../../../../fixtures/worked/tax-brackets.json"
    )) {
        assert_eq!(
            six_percent_table().tax_on(row.input),
            Ok(row.expected),
            "{}",
            row.input
        );
    }
}

/// Md. Tax-General 11-301 (2005 text): the tax is on the combined price of what is sold on one occasion.
#[test]
fn a_bracket_table_taxes_the_combined_price_of_a_sale() {
    let mut place = place(vec![level(LevelKind::State, "6")], Basis::Invoice, &[]);
    place.methods = vec![DatedMethod {
        from_on: day("2008-01-03"),
        method: Method::Brackets(six_percent_table()),
    }];
    let total = |nets: &[i64]| {
        tax(&parts(nets), &place, None, &sale("2025-03-14"))
            .unwrap()
            .total_cents
    };
    assert_eq!((total(&[101]), total(&[101, 101])), (Cents(7), Cents(13)));
}

/// Florida Dept of Revenue TIP 21A01-02: brackets until 2021-06-30, section 324 from 2021-07-01.
#[test]
fn the_day_decides_between_the_table_and_the_rule() {
    let mut place = place(vec![level(LevelKind::State, "6")], Basis::Invoice, &[]);
    place.methods = vec![
        DatedMethod {
            from_on: day("2021-07-01"),
            method: Method::Section324,
        },
        DatedMethod {
            from_on: day("2008-01-03"),
            method: Method::Brackets(six_percent_table()),
        },
    ];
    let total = |on| {
        tax(&parts(&[101]), &place, None, &sale(on))
            .unwrap()
            .total_cents
    };
    assert_eq!(total("2021-06-30"), Cents(7));
    assert_eq!(total("2021-07-01"), Cents(6));
}

#[test]
fn only_the_levels_in_force_that_day_count() {
    let mut district = level(LevelKind::District, "1");
    district.from_on = Some(day("2025-04-01"));
    district.until_on = Some(day("2025-06-30"));
    let place = place(
        vec![level(LevelKind::State, "6"), district],
        Basis::Invoice,
        &[],
    );
    let total = |on| {
        tax(&parts(&[10_000]), &place, None, &sale(on))
            .unwrap()
            .total_cents
            .0
    };
    let days = ["2025-03-31", "2025-04-01", "2025-06-30", "2025-07-01"];
    assert_eq!(days.map(total), [600, 700, 700, 600]);
}

#[test]
fn every_line_says_why() {
    let place = place(
        vec![
            level(LevelKind::State, "6.25"),
            level(LevelKind::City, "1.5"),
        ],
        Basis::Invoice,
        &[ChargeKind::Labour],
    );
    let lines = [
        TaxLine::new(ChargeKind::Part, Cents(8_000)),
        TaxLine::new(ChargeKind::Labour, Cents(12_000)),
    ];
    let held = Certificate {
        number: "EX-77".to_owned(),
        reason: "resale".to_owned(),
        buyer: Buyer {
            name: "Sample Rentals".to_owned(),
            address: "1 Sample Street".to_owned(),
            tax_id: "00-0000000".to_owned(),
            business_type: "lessor".to_owned(),
        },
        received_on: Some(day("2025-01-01")),
        purchases: Purchases::Blanket,
        from_on: day("2025-01-01"),
        until_on: Some(day("2025-12-31")),
        last_purchase_on: Some(day("2025-12-01")),
    };
    let reasons = |exemption, on| -> Vec<String> {
        let result = tax(&lines, &place, exemption, &sale(on)).unwrap();
        result.lines.into_iter().map(|line| line.reason).collect()
    };
    let labour = "Not taxed in Sample County: separately stated.";
    let part = "Taxed at 7.75 % in Sample County: part of a taxed sale";
    assert_eq!(
        reasons(None, "2025-03-14"),
        [format!("{part}."), labour.to_owned()]
    );
    let exempt = "Not taxed: exemption certificate EX-77 (resale).";
    assert_eq!(reasons(Some(&held), "2025-12-31"), [exempt, labour]);
    let late = format!("{part}; exemption certificate EX-77 ended on 2025-12-31.");
    assert_eq!(
        reasons(Some(&held), "2026-01-01"),
        [late, labour.to_owned()]
    );
    let early = format!("{part}; exemption certificate EX-77 begins on 2025-01-01.");
    assert_eq!(
        reasons(Some(&held), "2024-12-31"),
        [early, labour.to_owned()]
    );
}

#[test]
fn a_kind_without_a_rule_is_refused_and_not_guessed() {
    let mut place = place(vec![level(LevelKind::State, "6")], Basis::Invoice, &[]);
    place.rules.remove(&ChargeKind::Part);
    assert_eq!(
        tax(&parts(&[100]), &place, None, &sale("2025-03-14")),
        Err(TaxRefusal::NoRule {
            jurisdiction: "Sample County".to_owned(),
            kind: ChargeKind::Part
        })
    );
}

#[test]
fn levels_beyond_a_hundred_percent_are_refused() {
    let levels = vec![level(LevelKind::State, "60"), level(LevelKind::City, "60")];
    let result = tax(
        &parts(&[100]),
        &place(levels, Basis::Item, &[]),
        None,
        &sale("2025-03-14"),
    );
    assert!(matches!(
        result,
        Err(TaxRefusal::Rate(PercentRefusal::RateOver100 { .. }))
    ));
}

#[test]
fn a_place_without_levels_and_a_document_without_lines_have_no_tax() {
    let none = tax(
        &parts(&[100]),
        &place(vec![], Basis::Invoice, &[]),
        None,
        &sale("2025-03-14"),
    );
    assert_eq!(none.unwrap().total_cents, Cents::ZERO);
    let place = place(vec![level(LevelKind::State, "6")], Basis::Item, &[]);
    let empty = tax(&[], &place, None, &sale("2025-03-14")).unwrap();
    assert_eq!((empty.total_cents, empty.lines.len()), (Cents::ZERO, 0));
}

/// A part sold and one returned on the same bill: each keeps its own tax.
#[test]
fn a_return_on_the_same_bill_keeps_its_own_tax() {
    let place = place(vec![level(LevelKind::State, "8")], Basis::Invoice, &[]);
    let result = tax(&parts(&[10_000, -9_999]), &place, None, &sale("2025-03-14")).unwrap();
    let by_line: Vec<i64> = result.lines.iter().map(|line| line.tax_cents.0).collect();
    assert_eq!(
        (result.total_cents, by_line),
        (Cents::ZERO, vec![800, -800])
    );
}

/// Rules of every treatment: part, labour, trip by share, freight with the goods, fees untaxed.
fn every_treatment() -> BTreeMap<ChargeKind, Vec<Rule>> {
    let rule = |kind, treatment| (kind, vec![Rule::always(treatment, "x")]);
    BTreeMap::from([
        rule(ChargeKind::Part, Treatment::Taxed),
        rule(ChargeKind::Labour, Treatment::NotTaxed),
        rule(ChargeKind::Trip, Treatment::ProratedByParts),
        rule(ChargeKind::Diagnostic, Treatment::Taxed),
        rule(ChargeKind::Freight, Treatment::FollowsGoodsByShare),
        rule(ChargeKind::Fee, Treatment::NotTaxed),
    ])
}

fn any_place() -> impl Strategy<Value = Jurisdiction> {
    let level = (
        0_i64..90_000,
        prop::sample::subsequence(&ChargeKind::ALL, 0..3),
    );
    let levels = prop::collection::vec(level, 0..4);
    let basis = prop_oneof![Just(Basis::Item), Just(Basis::Invoice)];
    (levels, basis, 0..4_u8).prop_map(|(levels, basis, way)| {
        let levels = levels.into_iter().map(|(rate, exempts)| Level {
            rate: Percent::new(Decimal::new(rate, 4)).expect("below nine percent"),
            exempts: exempts.clone(),
            ..level_of("0")
        });
        let mut place = place(levels.collect(), basis, &[ChargeKind::Labour]);
        if way % 2 == 1 {
            place.rules = every_treatment();
        }
        match way {
            0 => {
                let method = Method::Brackets(six_percent_table());
                place.methods = vec![DatedMethod {
                    from_on: day("2008-01-03"),
                    method,
                }];
            }
            1 => place.prices = Prices::WithTax,
            _ => {}
        }
        place
    })
}

fn level_of(rate: &str) -> Level {
    level(LevelKind::State, rate)
}

fn any_lines() -> impl Strategy<Value = Vec<TaxLine>> {
    let kind = prop::sample::select(&ChargeKind::ALL);
    let line = (kind, -300_000_i64..600_000).prop_map(|(kind, net)| TaxLine::new(kind, Cents(net)));
    prop::collection::vec(line, 0..10)
}

fn sums(lines: &[TaxLine], place: &Jurisdiction) -> TaxResult {
    tax(lines, place, None, &sale("2025-03-14")).unwrap()
}

proptest! {
    #[test]
    fn lines_and_levels_each_add_up_to_the_tax(place in any_place(), lines in any_lines()) {
        let result = tax(&lines, &place, None, &sale("2025-03-14")).unwrap();
        let lines_sum = Cents::sum(result.lines.iter().map(|line| line.tax_cents));
        prop_assert_eq!(lines_sum, Ok(result.total_cents));
        let levels_sum = Cents::sum(result.levels.iter().map(|level| level.tax_cents));
        prop_assert_eq!(levels_sum, Ok(result.total_cents));
        for line in result.lines.iter().filter(|line| !line.taxable) {
            prop_assert_eq!((line.taxable_cents, line.tax_cents), (Cents::ZERO, Cents::ZERO));
        }
    }

    #[test]
    fn a_credit_for_the_same_lines_is_the_exact_negative(place in any_place(), lines in any_lines()) {
        let turned: Vec<TaxLine> =
            lines.iter().map(|line| TaxLine { net: Cents(-line.net.0), ..*line }).collect();
        let sold = tax(&lines, &place, None, &sale("2025-03-14")).unwrap();
        let credit = tax(&turned, &place, None, &sale("2025-03-14")).unwrap();
        prop_assert_eq!(sold.total_cents.0, -credit.total_cents.0);
        for (a, b) in sold.lines.iter().zip(&credit.lines) {
            prop_assert_eq!(a.tax_cents.0, -b.tax_cents.0);
        }
        for (a, b) in sold.levels.iter().zip(&credit.levels) {
            prop_assert_eq!(a.tax_cents.0, -b.tax_cents.0);
        }
    }

    #[test]
    fn section_324_is_half_up_on_the_exact_tax(net in any::<i32>(), rate in 0_i64..1_000_000) {
        let rate = Percent::new(Decimal::new(rate, 4)).unwrap();
        let amount = Cents(i64::from(net));
        prop_assert_eq!(section_324(amount, rate), rate.of(amount));
    }

    #[test]
    fn a_price_that_holds_the_tax_is_its_net_and_its_tax(
        place in any_place(),
        lines in any_lines(),
    ) {
        let place = Jurisdiction { prices: Prices::WithTax, rules: every_treatment(), ..place };
        let result = sums(&lines, &place);
        let outside = sums(&lines, &Jurisdiction { prices: Prices::BeforeTax, ..place });
        for ((inside, whole), line) in result.lines.iter().zip(&outside.lines).zip(&lines) {
            let decided = inside.taxable_cents.0 + inside.tax_cents.0;
            prop_assert_eq!(decided, whole.taxable_cents.0);
            prop_assert!(decided.abs() <= line.net.0.abs());
        }
    }

    #[test]
    fn a_share_or_a_goods_rule_never_taxes_more_than_the_charge(lines in any_lines()) {
        let mut place = place(vec![level_of("7")], Basis::Invoice, &[]);
        place.rules = every_treatment();
        for (line, taxed) in lines.iter().zip(&sums(&lines, &place).lines) {
            prop_assert!(taxed.taxable_cents.0.abs() <= line.net.0.abs());
            prop_assert!(taxed.taxable_cents.0.signum() * line.net.0.signum() >= 0);
        }
    }

    #[test]
    fn an_untaxed_fee_changes_no_tax_unless_goods_are_shared(
        lines in any_lines(),
        fee in 1_i64..500_000,
        basis in prop_oneof![Just(Basis::Item), Just(Basis::Invoice)],
    ) {
        let mut place = place(vec![level_of("7.25")], basis, &[]);
        place.rules = every_treatment();
        place.rules.insert(ChargeKind::Freight, vec![Rule::always(Treatment::Taxed, "x")]);
        let alone = sums(&lines, &place).total_cents;
        let mut with_fee = lines;
        with_fee.push(TaxLine::new(ChargeKind::Fee, Cents(fee)));
        prop_assert_eq!(sums(&with_fee, &place).total_cents, alone);
    }

    #[test]
    fn the_order_of_the_lines_does_not_matter(place in any_place(), lines in any_lines()) {
        let turned: Vec<TaxLine> = lines.iter().rev().copied().collect();
        let (there, back) = (sums(&lines, &place), sums(&turned, &place));
        prop_assert_eq!(there.total_cents, back.total_cents);
        prop_assert_eq!(there.levels, back.levels);
    }
}

/// 7.25 in 107.25 is tax; arithmetic, no source.
#[test]
fn another_price_of_a_line_holds_the_same_share_of_tax() {
    let line = (Cents(10_800), Cents(10_070));
    assert_eq!(without_tax(Cents(11_880), line), Ok(Some(Cents(11_077))));
    assert_eq!(without_tax(Cents(10_800), line), Ok(Some(Cents(10_070))));
    assert_eq!(without_tax(Cents::ZERO, line), Ok(Some(Cents::ZERO)));
    // A line that was free tells nothing of what another price would hold.
    let free = (Cents::ZERO, Cents::ZERO);
    assert_eq!(without_tax(Cents(11_880), free), Ok(None));
    assert_eq!(without_tax(Cents::ZERO, free), Ok(Some(Cents::ZERO)));
}

proptest! {
    #[test]
    fn a_price_without_its_tax_is_within_a_cent_of_working_the_tax_out_of_it(
        (shown, price) in (1_i64..10_000_000).prop_flat_map(|shown| (Just(shown), 0..=shown)),
        hundredths in 0_i64..=3_000,
    ) {
        let price = Cents(price);
        let rate = Percent::new(Decimal::new(hundredths, 2)).unwrap();
        let before_tax = |price: Cents| Cents(price.0 - contained(price, rate).unwrap().0);
        let got = without_tax(price, (Cents(shown), before_tax(Cents(shown)))).unwrap().unwrap();
        prop_assert!((got.0 - before_tax(price).0).abs() <= 1, "{got}");
    }
}
