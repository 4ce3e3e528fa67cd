//! Rule lists and tables that contradict themselves or hide a rule, named by their place.

use super::*;

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn faults(kind: ChargeKind, rules: &[Rule]) -> Vec<(usize, RuleFault)> {
    check_rules(kind, rules)
        .into_iter()
        .map(|problem| (problem.rule, problem.fault))
        .collect()
}

#[test]
fn hidden_and_misplaced_rules_are_named_by_their_place() {
    let when = |when: When| Rule {
        when,
        ..Rule::always(Treatment::Taxed, "x")
    };
    let built_in = |built_in| {
        when(When {
            built_in: Some(built_in),
            ..When::default()
        })
    };
    let always = || Rule::always(Treatment::NotTaxed, "x");
    let labour = ChargeKind::Labour;
    assert_eq!(
        faults(labour, &[built_in(true)]),
        [(0, RuleFault::NoCatchAll)]
    );
    assert_eq!(
        faults(labour, &[always(), always()]),
        [(1, RuleFault::Unreachable)]
    );
    let both = [built_in(true), built_in(false), always()];
    assert_eq!(faults(labour, &both), [(2, RuleFault::Unreachable)]);
    let trip = when(When {
        trip_serves: Some(Serves::Both),
        ..When::default()
    });
    let foreign = RuleFault::Foreign {
        kind: labour,
        fact: "what a trip serves",
    };
    assert_eq!(faults(labour, &[trip, always()]), [(0, foreign)]);
    let follows = Rule::always(Treatment::FollowsGoods, "x");
    let unfit = RuleFault::Unfit { kind: labour };
    assert_eq!(faults(labour, &[follows]), [(0, unfit)]);
}

#[test]
fn shares_and_days_that_hide_a_rule_are_seen() {
    let labour = ChargeKind::Labour;
    let always = || Rule::always(Treatment::NotTaxed, "x");
    let built_in = || Rule {
        when: When {
            built_in: Some(true),
            ..When::default()
        },
        ..Rule::always(Treatment::Taxed, "x")
    };
    let share = |limit: &str| Rule {
        when: When {
            parts_share_at_most: Some(Percent::parse(limit).unwrap()),
            ..When::default()
        },
        ..Rule::always(Treatment::Taxed, "x")
    };
    assert_eq!(faults(labour, &[share("10"), share("25.5"), always()]), []);
    assert_eq!(
        faults(labour, &[share("25.5"), share("10"), always()]),
        [(1, RuleFault::Unreachable)]
    );
    let until = |text: &str, rule: Rule| Rule {
        until_on: Some(day(text)),
        ..rule
    };
    let dated = [until("2023-06-30", built_in()), built_in(), always()];
    assert_eq!(faults(labour, &dated), []);
    let backwards = Rule {
        from_on: Some(day("2024-01-01")),
        ..until("2023-06-30", built_in())
    };
    assert_eq!(
        faults(labour, &[backwards, always()]),
        [(0, RuleFault::Backwards)]
    );
}

#[test]
fn a_bracket_table_that_falls_or_does_not_rise_is_refused() {
    let step = |up_to: i64, tax: i64| BracketStep {
        up_to_cents: Cents(up_to),
        tax_cents: Cents(tax),
    };
    let table = |steps: Vec<BracketStep>| BracketTable {
        whole_dollar_tax_cents: Cents(6),
        under_a_dollar: steps,
        over_whole_dollars: Vec::new(),
    };
    assert_eq!(table(vec![step(16, 1), step(33, 2)]).check(), Ok(()));
    let check = |steps| table(steps).check();
    assert_eq!(
        check(vec![step(33, 2), step(16, 3)]),
        Err(TableFault::NotRising)
    );
    assert_eq!(check(vec![step(100, 2)]), Err(TableFault::NotRising));
    assert_eq!(
        check(vec![step(16, 2), step(33, 1)]),
        Err(TableFault::Falling)
    );
    assert_eq!(check(vec![step(16, 7)]), Err(TableFault::Falling));
    assert_eq!(check(vec![step(16, -1)]), Err(TableFault::Negative));
}
