//! The decision by worked cases and by property.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use proptest::collection::vec;
use proptest::prelude::*;
use rust_decimal::Decimal;
use serde::Deserialize;

use super::*;
use crate::dates::{self, OutOfUseCount, Term};
use crate::money::Cents;
use crate::percent::Percent;

mod choice;

#[derive(Deserialize)]
struct Table {
    programmes: BTreeMap<String, Programme>,
    cases: Vec<Worked>,
}

#[derive(Deserialize)]
struct Worked {
    about: String,
    source: String,
    case: Case,
    lines: Vec<Line>,
    /// What each line says.
    says: Vec<String>,
    registrations: Vec<Holding>,
    expected: Expected,
    /// The reasons as a clerk reads them.
    trace: Vec<String>,
}

#[derive(Deserialize)]
struct Holding {
    programme: String,
    starts: Starts,
    component: Option<String>,
    lapsed_on: Option<NaiveDate>,
    out_of_use: Vec<(NaiveDate, NaiveDate)>,
    #[serde(default)]
    repairs: Vec<EarlierRepair>,
    #[serde(default)]
    same_as: Option<usize>,
}

/// For each line, who pays how much; and what the customer owes at most where that differs.
#[derive(Deserialize)]
struct Expected {
    paid: Vec<Vec<(usize, i64)>>,
    customer_at_most: Option<Cents>,
}

/// Each case names its source; the last days of terms were counted once more by dateutil's relativedelta.
#[test]
fn every_worked_decision_splits_as_written_and_says_why() {
    let json = include_str!("../../../../fixtures/worked/coverage-decisions.json");
    let table: Table = serde_json::from_str(json).expect("a table of decisions");
    assert!(table.cases.len() >= 100, "the table has lost cases");
    let mut traces = BTreeMap::new();
    let mut differs = Vec::new();
    for worked in &table.cases {
        assert!(worked.source.len() > 5, "{} names no source", worked.about);
        let held = (worked.registrations.iter())
            .map(|holding| Registration {
                programme: table.programmes[&holding.programme].clone(),
                starts: holding.starts,
                component: holding.component.clone(),
                lapsed_on: holding.lapsed_on,
                out_of_use: holding.out_of_use.clone(),
                repairs: holding.repairs.clone(),
                same_as: holding.same_as,
            })
            .collect::<Vec<_>>();
        let decision = decide(&worked.case, &worked.lines, &held).expect("a decision");
        let paid = (decision.lines.iter())
            .map(|split| {
                let mut portions: Vec<_> = (split.portions.iter())
                    .map(|portion| (portion.registration, portion.amount.0))
                    .collect();
                portions.sort_unstable();
                portions
            })
            .collect::<Vec<_>>();
        assert_eq!(paid, worked.expected.paid, "{}", worked.about);
        let at_most = worked
            .expected
            .customer_at_most
            .unwrap_or(decision.customer);
        assert_eq!(decision.customer_at_most, at_most, "{}", worked.about);
        let words: Vec<String> = decision
            .steps
            .iter()
            .map(|step| step.words(&held, &worked.says))
            .collect();
        if words != worked.trace {
            differs.push(worked.about.as_str());
        }
        traces.insert(worked.about.as_str(), words);
    }
    assert!(
        differs.is_empty(),
        "the reasons of {differs:?} read otherwise now; all of them are\n{}",
        serde_json::to_string(&traces).expect("words")
    );
}

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

fn days_from(first: &str, count: u32) -> NaiveDate {
    dates::days_after(day(first), count).expect("a day")
}

#[test]
fn a_line_below_zero_and_too_many_programmes_are_refused() {
    let case = case_on(day("2025-01-10"));
    let line = Line {
        covers: Some(Covers::Parts),
        amount: Cents(-1),
        hours: None,
        distance: None,
    };
    assert_eq!(
        decide(&case, &[line], &[]),
        Err(CoverageRefusal::NegativeLine { line: 0 })
    );
    let held = vec![registration(Cents::ZERO, 12, 0); PROGRAMMES_MAX + 1];
    assert_eq!(
        decide(&case, &[], &held),
        Err(CoverageRefusal::TooManyProgrammes {
            count: PROGRAMMES_MAX + 1
        })
    );
}

/// An hour and a half at 120.00, of which the maker pays 85.00 an hour: 127.50; the shop bears 52.50 of 180.00, or the
/// customer does. Of two makers' halves only what is covered is the shop's.
#[test]
fn what_a_rate_leaves_is_the_shops_where_the_terms_say_so() {
    let mut held = registration(Cents::ZERO, 24, 0);
    held.programme.labour_rate = Some(Cents(8_500));
    let line = Line {
        covers: Some(Covers::Labour),
        amount: Cents(18_000),
        hours: Some(Decimal::new(15, 1)),
        distance: None,
    };
    let case = case_on(day("2025-01-10"));
    let split = |held: &Registration| {
        let lines = [line.clone()];
        let decision = decide(&case, &lines, std::slice::from_ref(held)).expect("a decision");
        let portions: Vec<_> = (decision.lines[0].portions.iter())
            .map(|portion| (portion.by, portion.amount.0))
            .collect();
        (portions, decision.customer.0)
    };
    let payers = vec![(PaidBy::Payer, 12_750)];
    assert_eq!(split(&held), (payers, 5_250));
    held.programme.rest_borne_by = RestBearer::Shop;
    let shops = vec![(PaidBy::Payer, 12_750), (PaidBy::Shop, 5_250)];
    assert_eq!(split(&held), (shops, 0));
    // Half of what the rate allows, and half of what it leaves; then the customer's first 20.00 of what is covered.
    for segment in &mut held.programme.segments {
        segment.pays.percent = Percent::parse("50").expect("a percent");
    }
    let shops = vec![(PaidBy::Payer, 6_375), (PaidBy::Shop, 2_625)];
    assert_eq!(split(&held), (shops, 9_000));
    held.programme.deductible = Cents(2_000);
    let shops = vec![(PaidBy::Payer, 4_375), (PaidBy::Shop, 2_625)];
    assert_eq!(split(&held), (shops, 11_000));
}

/// A machine with twelve repaired components: the failure is of one of them at most.
#[test]
fn promises_on_many_components_are_one_until_somebody_found_what_failed() {
    let promise = |component: &str| {
        let mut held = registration(Cents::ZERO, 12, 0);
        held.programme.rank = Rank::Workmanship;
        held.component = Some(component.to_owned());
        held
    };
    let names: Vec<String> = (1..=12).map(|at| format!("Component {at}")).collect();
    let mut held: Vec<Registration> = names.iter().map(|name| promise(name)).collect();
    held.push(registration(Cents(5_000), 12, 0));
    let mut case = case_on(day("2025-01-10"));
    case.finding = None;
    let line = Line {
        covers: Some(Covers::Parts),
        amount: Cents(20_000),
        hours: None,
        distance: None,
    };
    let lines = [line];
    let decision = decide(&case, &lines, &held).expect("a decision");
    assert_eq!(
        decision.customer,
        Cents::ZERO,
        "the shop's, once it is found"
    );
    let makers = vec![registration(Cents::ZERO, 12, 0); PROGRAMMES_MAX];
    held.extend(makers);
    assert_eq!(
        decide(&case, &lines, &held),
        Err(CoverageRefusal::TooManyProgrammes {
            count: PROGRAMMES_MAX + 2
        })
    );
}

#[test]
fn cover_of_an_owner_lapses_with_the_first_change_of_hands_after_it_began() {
    let changes = [day("2025-03-01"), day("2024-08-01"), day("2024-01-01")];
    assert_eq!(
        lapsed_on(day("2024-06-15"), &changes),
        Some(day("2024-08-01"))
    );
    assert_eq!(lapsed_on(day("2025-06-15"), &changes), None);
}

/// Fed. R. Civ. P. 6(a)(1): leave out the day of the event, count every day, take in the last.
#[test]
fn a_claim_is_filed_within_its_days_and_moves_on_from_a_weekend_when_the_payer_says_so() {
    let roll = dates::Roll::NextOpenDay;
    assert_eq!(file_by(day("2025-05-01"), 30, roll), Ok(day("2025-06-02")));
    let stay = dates::Roll::Stay;
    assert_eq!(file_by(day("2025-05-01"), 30, stay), Ok(day("2025-05-31")));
}

fn case_on(failed_on: NaiveDate) -> Case {
    Case {
        failed_on,
        finding: Some(Finding {
            component: "pump".to_owned(),
            component_class: Some("hydraulics".to_owned()),
            failure: "leaking".to_owned(),
        }),
        circumstances: BTreeSet::new(),
        unsettled: BTreeSet::new(),
        evidence: BTreeSet::new(),
        also_found: Vec::new(),
        is_finding_named: false,
    }
}

fn registration(deductible: Cents, through: u32, after: u32) -> Registration {
    let covers = [Covers::Parts, Covers::Labour, Covers::Trip];
    Registration {
        programme: Programme {
            name: "Payer".to_owned(),
            rank: Rank::ApplianceMaker,
            segments: vec![Segment {
                covers: covers.into_iter().collect(),
                component_class: None,
                start: StartEvent::Purchase,
                after: (after > 0).then_some(Term::Months(after)),
                through: Term::Months(through),
                pays: pays(Percent::parse("100").expect("all"), None, None),
            }],
            exclusions: BTreeSet::new(),
            evidence: BTreeSet::new(),
            deductible,
            labour_rate: None,
            distance_rate: None,
            out_of_use: None,
            failed_repair_days: None,
            rest_borne_by: RestBearer::Customer,
        },
        starts: Starts {
            purchase: Some(day("2024-01-31")),
            ..Starts::default()
        },
        component: None,
        lapsed_on: None,
        out_of_use: Vec::new(),
        repairs: Vec::new(),
        same_as: None,
    }
}

fn pays(percent: Percent, at_most: Option<Cents>, flat_labour: Option<Cents>) -> Pays {
    Pays {
        percent,
        at_most,
        flat_labour,
    }
}

fn any_segment() -> impl Strategy<Value = Segment> {
    let covers = prop::collection::btree_set(
        prop::sample::select(vec![Covers::Parts, Covers::Labour, Covers::Trip]),
        1..=3,
    );
    let cents = || prop::option::of((0i64..30_000).prop_map(Cents));
    (
        covers,
        prop::option::of(prop::sample::select(vec!["hydraulics", "controls"])),
        0u32..24,
        1u32..60,
        0u32..=100,
        cents(),
        cents(),
        prop::sample::select(vec![
            StartEvent::Purchase,
            StartEvent::Purchase,
            StartEvent::Contract,
        ]),
    )
        .prop_map(
            |(covers, class, after, through, percent, at_most, flat, start)| Segment {
                covers,
                component_class: class.map(str::to_owned),
                start,
                after: (after > 0).then_some(Term::Months(after)),
                through: Term::Months(through),
                pays: pays(
                    Percent::parse(&percent.to_string()).expect("a percent"),
                    at_most,
                    flat,
                ),
            },
        )
}

fn any_registration() -> impl Strategy<Value = Registration> {
    let rank = prop::sample::select(vec![
        Rank::Workmanship,
        Rank::PartMaker,
        Rank::ApplianceMaker,
        Rank::ServiceContract,
    ]);
    let rate = || prop::option::of((0i64..20_000).prop_map(Cents));
    (
        vec(any_segment(), 1..4),
        rank,
        prop_oneof![Just(0i64), 0i64..20_000],
        rate(),
        rate(),
        (any::<bool>(), any::<bool>()),
        prop::option::of(0u32..400),
    )
        .prop_map(
            |(segments, rank, deductible, labour, distance, (proof, shops), bought)| {
                let mut held = registration(Cents(deductible), 12, 0);
                held.programme.segments = segments;
                held.programme.rank = rank;
                held.programme.labour_rate = labour;
                held.programme.distance_rate = distance;
                if shops {
                    held.programme.rest_borne_by = RestBearer::Shop;
                }
                if proof {
                    held.programme.evidence.insert(Evidence::ProofOfPurchase);
                }
                held.starts.purchase = bought.map(|days| days_from("2024-01-31", days));
                held.starts.manufacture = Some(day("2023-12-01"));
                held
            },
        )
}

fn any_lines() -> impl Strategy<Value = Vec<Line>> {
    let covers = prop::sample::select(vec![
        Some(Covers::Parts),
        Some(Covers::Labour),
        Some(Covers::Trip),
        None,
    ]);
    let measure = || prop::option::of((0u32..40).prop_map(|tenths| Decimal::new(tenths.into(), 1)));
    vec(
        (covers, 0i64..50_000, measure(), measure()).prop_map(
            |(covers, cents, hours, distance)| Line {
                covers,
                amount: Cents(cents),
                hours,
                distance,
            },
        ),
        0..6,
    )
}

proptest! {
    #[test]
    fn the_shares_of_a_line_add_up_to_the_line_and_nobody_pays_below_nothing(
        lines in any_lines(), held in vec(any_registration(), 0..5), on in 0u32..1_500,
    ) {
        let decision = decide(&case_on(days_from("2024-01-31", on)), &lines, &held)?;
        for splits in [&decision.lines, &decision.sure_lines] {
            prop_assert_eq!(splits.len(), lines.len());
            for (split, line) in splits.iter().zip(&lines) {
                let paid = split.portions.iter().map(|portion| portion.amount);
                prop_assert!(split.customer >= Cents::ZERO);
                prop_assert!(split.portions.iter().all(|portion| portion.amount > Cents::ZERO));
                prop_assert_eq!(Cents::sum(paid.chain([split.customer]))?, line.amount);
            }
        }
        prop_assert!(decision.customer <= decision.customer_at_most);
    }

    #[test]
    fn one_programme_more_never_raises_what_the_customer_owes(
        lines in any_lines(), mut held in vec(any_registration(), 0..4), more in any_registration(),
        at in 0usize..4, on in 0u32..1_500,
    ) {
        let case = case_on(days_from("2024-01-31", on));
        let before = decide(&case, &lines, &held)?;
        held.insert(at.min(held.len()), more);
        let after = decide(&case, &lines, &held)?;
        prop_assert!(after.customer <= before.customer);
        prop_assert!(after.customer_at_most <= before.customer_at_most);
    }

    #[test]
    fn an_earlier_day_within_a_segment_never_loses_cover(
        after in 0u32..24, length in 1u32..60, a in 0u32..2_600, b in 0u32..2_600,
        out in vec((0u32..2_600, 0u32..40), 0..4), amount in 1i64..50_000,
    ) {
        let mut held = registration(Cents::ZERO, after + length, after);
        held.programme.out_of_use = Some(OutOfUseCount::default());
        held.out_of_use = (out.into_iter())
            .map(|(began, days)| (days_from("2024-01-31", began), days_from("2024-01-31", began + days)))
            .collect();
        let lines = [Line { covers: Some(Covers::Labour), amount: Cents(amount), hours: None, distance: None }];
        let segment = held.programme.segments[0].clone();
        let dates = segment_dates(&segment, &held, day("2024-01-31"))?;
        let (earlier, later) = (days_from("2024-01-31", a.min(b)), days_from("2024-01-31", a.max(b)));
        let owed = |on| decide(&case_on(on), &lines, std::slice::from_ref(&held)).map(|made| made.customer);
        if earlier >= dates.from_on && owed(later)? == Cents::ZERO {
            prop_assert_eq!(owed(earlier)?, Cents::ZERO);
        }
        prop_assert_eq!(owed(earlier)? == Cents::ZERO, (dates.from_on..=dates.through_on).contains(&earlier));
    }
}
