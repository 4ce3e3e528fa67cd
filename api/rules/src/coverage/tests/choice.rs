//! Of several segments, registrations and findings: which one counts.

use super::*;

#[test]
fn a_programme_by_which_only_the_shop_bears_something_answers_and_says_so() {
    let mut held = registration(Cents(7_500), 12, 0);
    held.programme.rest_borne_by = RestBearer::Shop;
    for segment in &mut held.programme.segments {
        segment.pays.at_most = Some(Cents(5_000));
    }
    let lines = [parts(30_000)];
    let mut case = case_on(day("2025-01-10"));
    let decide = |case: &Case, held: &Registration| {
        decide(case, &lines, std::slice::from_ref(held)).expect("a decision")
    };
    assert_eq!(decide(&case, &held).answers, [Answer::Pays]);
    held.programme.evidence.insert(Evidence::OldPart);
    let evidence = Evidence::OldPart;
    let waits = Answer::PaysOnce(vec![Missing::Evidence { evidence }]);
    assert_eq!(decide(&case, &held).answers, [waits]);
    case.evidence.insert(evidence);
    let made = decide(&case, &held);
    assert_eq!(
        (made.answers, made.customer),
        (vec![Answer::Pays], Cents(7_500))
    );
}

#[test]
fn hours_and_distance_that_are_not_known_are_what_the_payer_waits_for() {
    let mut held = registration(Cents::ZERO, 24, 0);
    held.programme.labour_rate = Some(Cents(8_500));
    held.programme.distance_rate = Some(Cents(150));
    let line = |covers: Covers| Line {
        covers: Some(covers),
        ..parts(18_000)
    };
    let lines = [parts(1_000), line(Covers::Labour), line(Covers::Trip)];
    let case = case_on(day("2025-01-10"));
    let made = decide(&case, &lines, std::slice::from_ref(&held)).expect("a decision");
    let missing = vec![Missing::Hours { line: 1 }, Missing::Distance { line: 2 }];
    assert_eq!(made.answers, [Answer::PaysOnce(missing)]);
    assert_eq!(
        (made.customer, made.customer_at_most),
        (Cents::ZERO, Cents(36_000))
    );
    held.programme.rest_borne_by = RestBearer::Shop;
    let made = decide(&case, &lines, std::slice::from_ref(&held)).expect("a decision");
    assert_eq!(
        (made.customer, made.customer_at_most),
        (Cents::ZERO, Cents::ZERO)
    );
    assert_ne!(made.lines, made.sure_lines, "who pays it is not sure");
}

#[test]
fn which_of_two_findings_counts_is_asked_by_those_it_matters_to_until_it_is_said() {
    let mut held = registration(Cents::ZERO, 24, 0);
    held.component = Some("door".to_owned());
    let mut case = case_on(day("2025-01-10"));
    case.also_found.push(Finding {
        component: "door".to_owned(),
        component_class: None,
        failure: "worn".to_owned(),
    });
    let answers = |case: &Case, held: &Registration| {
        let made = decide(case, &[parts(10_000)], std::slice::from_ref(held));
        made.expect("a decision").answers
    };
    let which = || vec![Answer::PaysOnce(vec![Missing::OneFinding])];
    assert_eq!(answers(&case, &held), which());
    case.is_finding_named = true;
    assert_eq!(
        answers(&case, &held),
        [Answer::DoesNotPay],
        "the pump was named"
    );
    case.is_finding_named = false;
    held.component = None;
    assert_eq!(answers(&case, &held), [Answer::Pays]);
    for segment in &mut held.programme.segments {
        segment.component_class = Some("hydraulics".to_owned());
    }
    assert_eq!(answers(&case, &held), which());
}

/// Our labor for a month, and the same part's maker with a deductible: the older registration without one counts still.
#[test]
fn a_newer_registration_with_a_deductible_does_not_hide_an_older_one_without() {
    let newer = registration(Cents(2_500), 24, 0);
    let mut older = registration(Cents::ZERO, 12, 0);
    older.same_as = Some(0);
    let held = [newer, older];
    let made = decide(&case_on(day("2025-01-10")), &[parts(10_000)], &held).expect("a decision");
    assert_eq!(made.customer, Cents::ZERO);
    assert_eq!(made.answers, [Answer::NotAsked, Answer::Pays]);
}

/// Either registration leaves a deductible of 25.00 of what it covers, parts and labor: it is taken once.
#[test]
fn the_deductible_of_a_programme_held_twice_is_taken_once() {
    let of = |covers: Covers| {
        let mut held = registration(Cents(2_500), 24, 0);
        for segment in &mut held.programme.segments {
            segment.covers = [covers].into_iter().collect();
        }
        held
    };
    let mut second = of(Covers::Labour);
    second.same_as = Some(0);
    let held = [of(Covers::Parts), second];
    let labour = Line {
        covers: Some(Covers::Labour),
        ..parts(8_000)
    };
    let lines = [parts(10_000), labour];
    let made = decide(&case_on(day("2025-01-10")), &lines, &held).expect("a decision");
    assert_eq!(made.customer, Cents(2_500));
}

fn parts(cents: i64) -> Line {
    Line {
        covers: Some(Covers::Parts),
        amount: Cents(cents),
        hours: None,
        distance: None,
    }
}

proptest! {
    /// With several segments, caps, flat labor, rates and a deductible, whoever bears the rest.
    #[test]
    fn an_earlier_day_on_which_all_segments_of_the_later_one_run_never_costs_the_customer_more(
        lines in any_lines(), mut held in any_registration(), a in 0u32..2_000, b in 0u32..2_000,
    ) {
        held.starts.purchase = Some(day("2024-01-31"));
        held.programme.evidence.clear();
        for segment in &mut held.programme.segments {
            segment.after = None;
        }
        let owed = |on: u32| {
            let case = case_on(days_from("2024-01-31", on));
            decide(&case, &lines, std::slice::from_ref(&held))
                .map(|made| (made.customer, made.customer_at_most))
        };
        let (earlier, later) = (owed(a.min(b))?, owed(a.max(b))?);
        prop_assert!(earlier.0 <= later.0, "{earlier:?} {later:?}");
        prop_assert!(earlier.1 <= later.1, "{earlier:?} {later:?}");
    }

    #[test]
    fn one_segment_more_of_a_programme_never_raises_what_the_customer_owes(
        lines in any_lines(), mut held in any_registration(), more in any_segment(), on in 0u32..1_500,
    ) {
        let case = case_on(days_from("2024-01-31", on));
        let before = decide(&case, &lines, std::slice::from_ref(&held))?;
        held.programme.segments.push(more);
        let after = decide(&case, &lines, std::slice::from_ref(&held))?;
        prop_assert!(after.customer <= before.customer);
        prop_assert!(after.customer_at_most <= before.customer_at_most);
    }

    #[test]
    fn one_registration_more_of_a_programme_never_raises_what_the_customer_owes(
        lines in any_lines(), mut held in vec(any_registration(), 1..4), more in any_registration(),
        on in 0u32..1_500,
    ) {
        let case = case_on(days_from("2024-01-31", on));
        let before = decide(&case, &lines, &held)?;
        held.push(Registration { same_as: Some(0), ..more });
        let after = decide(&case, &lines, &held)?;
        prop_assert!(after.customer <= before.customer);
        prop_assert!(after.customer_at_most <= before.customer_at_most);
    }
}
