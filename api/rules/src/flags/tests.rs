use super::*;
use crate::dates::days_after;
use crate::worked::rows;
use proptest::prelude::*;

#[derive(Deserialize)]
struct Case {
    identity: Identity,
    hazard: Hazard,
    opened_on: NaiveDate,
    earlier: Vec<EarlierRepair>,
}

#[derive(Deserialize)]
struct Outcome {
    level: FlagLevel,
    days_apart: Vec<u32>,
    serial_missing: bool,
}

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

fn repaired(on: &str) -> EarlierRepair {
    EarlierRepair {
        completed_on: day(on),
        workmanship_through: None,
    }
}

fn ask(opened_on: &str, hazard: Hazard, earlier: &[EarlierRepair]) -> RepeatFlag {
    repeat_flag(&RepeatQuestion {
        failure: "burnt terminal",
        identity: Identity::Serial,
        opened_on: day(opened_on),
        hazard,
        earlier,
        limits: FlagLimits::default(),
    })
}

/// The shop's own repeat-failure rule: days 90/91, 730/731, the third, the warranty, the hazards, the missing serial.
#[test]
fn worked_repeats_get_their_level_and_name_their_evidence() {
    for row in rows::<Case, Outcome>(include_str!("../../../../fixtures/worked/flags.json")) {
        let flag = repeat_flag(&RepeatQuestion {
            failure: "burnt terminal",
            identity: row.input.identity,
            opened_on: row.input.opened_on,
            hazard: row.input.hazard,
            earlier: &row.input.earlier,
            limits: FlagLimits::default(),
        });
        let days: Vec<u32> = flag.evidence.iter().map(|e| e.days_apart).collect();
        assert_eq!(flag.level, row.expected.level, "{}", flag.text);
        assert_eq!(days, row.expected.days_apart, "{}", flag.text);
        assert_eq!(flag.serial_missing, row.expected.serial_missing);
    }
}

/// The shop's own repeat-failure rule; a synthetic machine repaired on days 100, 300 and 520.
#[test]
fn the_third_time_in_fourteen_months_reads_as_a_sentence() {
    let flag = ask(
        "2025-06-05",
        Hazard::None,
        &[repaired("2024-04-11"), repaired("2024-10-28")],
    );
    assert_eq!(flag.level, FlagLevel::Act);
    assert_eq!(
        flag.reasons,
        [
            FlagReason::SecondWithinWatchDays,
            FlagReason::ThirdWithinWatchDays
        ]
    );
    assert_eq!(
        flag.text,
        "Third burnt terminal on this appliance in 14 months. Repaired before on 2024-04-11 (420 days before), 2024-10-28 (220 days before). \
         Why: came back within 730 days; third time or more within 730 days."
    );
}

#[test]
fn a_first_failure_says_nothing() {
    let flag = ask("2025-06-05", Hazard::Heat, &[]);
    assert_eq!(
        (flag.level, flag.text.as_str(), flag.evidence.len()),
        (FlagLevel::None, "", 0)
    );
}

#[test]
fn a_dangerous_failure_is_acted_on_even_years_later_unless_the_shop_sets_a_limit() {
    let earlier = [repaired("2020-01-01")];
    assert_eq!(
        ask("2025-06-05", Hazard::Gas, &earlier).level,
        FlagLevel::Act
    );
    let limited = repeat_flag(&RepeatQuestion {
        failure: "leaking gas valve",
        identity: Identity::ShopTag,
        opened_on: day("2025-06-05"),
        hazard: Hazard::Gas,
        earlier: &earlier,
        limits: FlagLimits {
            hazard_days: Some(730),
            ..FlagLimits::default()
        },
    });
    assert_eq!(limited.level, FlagLevel::None);
}

/// One repair of 180 came back: the worked sentence of the shop's rule.
#[test]
fn the_base_rate_is_said_in_words() {
    let say = |repairs, returned| BaseRate::new(repairs, returned).expect("a rate").sentence();
    assert_eq!(say(180, 1), "About 1 of 180 such repairs comes back");
    assert_eq!(say(359, 2), "About 1 of 180 such repairs comes back");
    assert_eq!(say(180, 0), "None of 180 such repairs has come back");
    assert_eq!(say(12, 4), "4 of 12 such repairs came back");
    assert_eq!(
        say(6, 1),
        "About 1 of 6 such repairs comes back (too few to judge)"
    );
    assert_eq!(
        say(1, 1),
        "The one such repair on record came back (too few to judge)"
    );
    assert_eq!(say(0, 0), "No such repair is on record yet");
    assert_eq!(
        BaseRate::new(3, 4),
        Err(BaseRateRefusal::MoreReturnedThanRepaired {
            repairs: 3,
            returned: 4
        })
    );
}

#[test]
fn what_a_group_is_compared_with_is_said_in_words() {
    let say = |repairs, returned| {
        let rate = BaseRate::new(repairs, returned).expect("a rate");
        rate.sentence_of_others()
    };
    assert_eq!(
        say(96, 4),
        "Comparable repairs of others: 4 of 96 came back"
    );
    assert_eq!(
        say(9, 0),
        "Comparable repairs of others: 0 of 9 came back (too few to judge)"
    );
    assert_eq!(say(0, 0), "No comparable repair of others is on record yet");
}

fn any_repair() -> impl Strategy<Value = EarlierRepair> {
    (0u32..1_500, prop::option::of(0u32..400)).prop_map(|(at, warranty)| {
        let completed_on = days_after(day("2022-01-01"), at).expect("a day");
        EarlierRepair {
            completed_on,
            workmanship_through: warranty
                .map(|days| days_after(completed_on, days).expect("a day")),
        }
    })
}

fn any_hazard() -> impl Strategy<Value = Hazard> {
    prop::sample::select(vec![
        Hazard::None,
        Hazard::Heat,
        Hazard::Arc,
        Hazard::Gas,
        Hazard::WaterOnElectrics,
    ])
}

proptest! {
    #[test]
    fn one_more_earlier_repair_never_makes_a_flag_milder(
        earlier in prop::collection::vec(any_repair(), 0..5), more in any_repair(), hazard in any_hazard()
    ) {
        let before = ask("2025-06-05", hazard, &earlier);
        let mut longer = earlier.clone();
        longer.push(more);
        let after = ask("2025-06-05", hazard, &longer);
        prop_assert!(after.level >= before.level);
        prop_assert!(after.evidence.len() >= before.evidence.len());
    }

    #[test]
    fn the_order_of_the_earlier_repairs_does_not_matter(earlier in prop::collection::vec(any_repair(), 0..6), hazard in any_hazard()) {
        let mut turned = earlier.clone();
        turned.reverse();
        let (a, b) = (ask("2025-06-05", hazard, &earlier), ask("2025-06-05", hazard, &turned));
        prop_assert_eq!(a.level, b.level);
        prop_assert_eq!(a.text, b.text);
    }

    #[test]
    fn a_flag_always_has_reasons_evidence_and_words_or_none_of_them(earlier in prop::collection::vec(any_repair(), 0..6), hazard in any_hazard()) {
        let flag = ask("2025-06-05", hazard, &earlier);
        let raised = flag.level != FlagLevel::None;
        prop_assert_eq!(raised, !flag.reasons.is_empty());
        prop_assert_eq!(raised, !flag.evidence.is_empty());
        prop_assert_eq!(raised, !flag.text.is_empty());
    }
}
