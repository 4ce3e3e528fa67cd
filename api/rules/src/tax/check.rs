//! Whether a list of rules makes sense before it is kept: it ends in a rule that always applies, no rule asks
//! what its kind of charge cannot answer, and none is hidden by those before it.

use chrono::NaiveDate;

use super::place::ChargeKind;
use super::rules::{
    Carrier, Case, Delivery, Facts, Held, Material, Outcome, Rule, Serves, StatedAs, Treatment,
    When,
};

/// What is wrong with a list of rules.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum RuleFault {
    /// The last rule has conditions or days, so some sale would have no rule.
    #[error("the last rule of a kind must apply always, without conditions and days")]
    NoCatchAll,
    /// The last day lies before the first.
    #[error("the last day of a rule lies before its first")]
    Backwards,
    /// A condition that no charge of this kind can meet or fail.
    #[error("a {kind} charge has no such fact: {fact}")]
    Foreign {
        kind: ChargeKind,
        fact: &'static str,
    },
    /// A treatment that makes no sense for this kind.
    #[error("a {kind} charge cannot be treated so")]
    Unfit { kind: ChargeKind },
    /// Rules before it decide every sale it would.
    #[error("rules before this one decide everything it would; drop it or change their order")]
    Unreachable,
}

/// A fault and the rule, counted from 0, that has it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RuleProblem {
    /// Place in the list.
    pub rule: usize,
    /// What is wrong with it.
    pub fault: RuleFault,
}

/// Every fault of the rules for one kind of charge, in their order. An empty list has none: that a kind has no
/// rule is for the caller to say.
#[must_use]
pub fn check_rules(kind: ChargeKind, rules: &[Rule]) -> Vec<RuleProblem> {
    let mut problems = Vec::new();
    for (at, rule) in rules.iter().enumerate() {
        let mut found = |fault| problems.push(RuleProblem { rule: at, fault });
        if let (Some(from), Some(until)) = (rule.from_on, rule.until_on)
            && until < from
        {
            found(RuleFault::Backwards);
        }
        if let Some(fact) = foreign(kind, &rule.when) {
            found(RuleFault::Foreign { kind, fact });
        }
        if !fits(kind, rule.treatment) {
            found(RuleFault::Unfit { kind });
        }
    }
    if rules.last().is_some_and(|rule| !rule.is_catch_all()) {
        problems.push(RuleProblem {
            rule: rules.len() - 1,
            fault: RuleFault::NoCatchAll,
        });
    }
    if problems.is_empty() {
        problems.extend(unreachable(rules));
    }
    problems
}

/// The first condition that asks what this kind of charge cannot answer.
fn foreign(kind: ChargeKind, when: &When) -> Option<&'static str> {
    let asked = [
        (
            when.trip_serves.is_some(),
            ChargeKind::Trip,
            "what a trip serves",
        ),
        (
            when.delivered_by.is_some(),
            ChargeKind::Freight,
            "who delivers",
        ),
        (
            when.delivery_divided.is_some(),
            ChargeKind::Freight,
            "whether delivery is divided",
        ),
        (
            when.under_warranty.is_some(),
            ChargeKind::Part,
            "whether a part is replaced under warranty",
        ),
    ];
    asked
        .into_iter()
        .find(|(given, of, _)| *given && *of != kind)
        .map(|(_, _, fact)| fact)
}

const fn fits(kind: ChargeKind, treatment: Treatment) -> bool {
    match treatment {
        Treatment::Taxed | Treatment::NotTaxed => true,
        Treatment::OverActualCost => matches!(kind, ChargeKind::Freight),
        Treatment::ProratedByParts => !matches!(kind, ChargeKind::Part | ChargeKind::Labour),
        Treatment::FollowsGoods | Treatment::FollowsGoodsByShare => {
            matches!(kind, ChargeKind::Freight | ChargeKind::Trip)
        }
    }
}

/// Rules that no sale reaches. Facts have few values, so every sale that the rules can tell apart is tried.
fn unreachable(rules: &[Rule]) -> Vec<RuleProblem> {
    let mut reached = vec![false; rules.len()];
    each_case(rules, &mut |case| {
        let first = rules
            .iter()
            .position(|rule| case.held_by(rule) == Held::Yes);
        if let Some(slot) = first.and_then(|first| reached.get_mut(first)) {
            *slot = true;
        }
    });
    reached
        .into_iter()
        .enumerate()
        .filter(|(_, reached)| !reached)
        .map(|(rule, _)| RuleProblem {
            rule,
            fault: RuleFault::Unreachable,
        })
        .collect()
}

/// Values of one fact to try: all of them if a rule asks for it, else any one.
fn values<T: Copy, const N: usize>(
    rules: &[Rule],
    asked: fn(&When) -> bool,
    all: [T; N],
) -> Vec<T> {
    let wanted = if rules.iter().any(|rule| asked(&rule.when)) {
        N
    } else {
        1
    };
    all.into_iter().take(wanted).collect()
}

fn each_case(rules: &[Rule], visit: &mut impl FnMut(&Case)) {
    let bools = [false, true];
    let stated = values(
        rules,
        |when| when.stated.is_some(),
        [StatedAs::Separately, StatedAs::LumpSum],
    );
    let materials = values(
        rules,
        |when| when.material.is_some(),
        [
            Material::Furnished,
            Material::NoneProven,
            Material::NoneUnproven,
        ],
    );
    let outcomes = values(
        rules,
        |when| when.outcome.is_some(),
        [Outcome::Repaired, Outcome::OnlyDiagnosed],
    );
    let built_in = values(rules, |when| when.built_in.is_some(), bools);
    let disaster = values(rules, |when| when.disaster.is_some(), bools);
    let warranty = values(rules, |when| when.under_warranty.is_some(), bools);
    let lines = line_facts(rules);
    let shares = shares(rules);
    let days = days(rules);
    for (stated, material) in pairs(&stated, &materials) {
        for (outcome, built_in) in pairs(&outcomes, &built_in) {
            for (disaster, under_warranty) in pairs(&disaster, &warranty) {
                let facts = Facts {
                    stated,
                    no_material_proven: material == Material::NoneProven,
                    outcome,
                    built_in,
                    disaster,
                };
                for (share, on) in pairs(&shares, &days) {
                    for (trip_serves, delivery) in &lines {
                        visit(&Case {
                            on,
                            facts,
                            material,
                            share,
                            trip_serves: *trip_serves,
                            delivery: *delivery,
                            under_warranty,
                        });
                    }
                }
            }
        }
    }
}

fn pairs<A: Copy, B: Copy>(a: &[A], b: &[B]) -> Vec<(A, B)> {
    a.iter().flat_map(|a| b.iter().map(|b| (*a, *b))).collect()
}

fn line_facts(rules: &[Rule]) -> Vec<(Option<Serves>, Option<Delivery>)> {
    let serves = values(
        rules,
        |when| when.trip_serves.is_some(),
        [Serves::Parts, Serves::Labour, Serves::Both],
    );
    let by = values(
        rules,
        |when| when.delivered_by.is_some(),
        [Carrier::Shop, Carrier::Independent],
    );
    let divided = values(rules, |when| when.delivery_divided.is_some(), [false, true]);
    let deliveries = pairs(&by, &divided);
    pairs(&serves, &deliveries)
        .into_iter()
        .map(|(serves, (by, divided))| {
            let delivery = Delivery {
                by,
                actual_cost: None,
                divided,
            };
            (Some(serves), Some(delivery))
        })
        .collect()
}

/// Each limit exactly, nothing, and everything: between two limits nothing changes.
fn shares(rules: &[Rule]) -> Vec<(i128, i128)> {
    let mut shares = vec![(0, 1), (1, 1)];
    for limit in rules
        .iter()
        .filter_map(|rule| rule.when.parts_share_at_most)
    {
        let limit = limit.per_hundred();
        let hundred = 10_i128.checked_pow(limit.scale()).unwrap_or(1) * 100;
        shares.push((limit.mantissa(), hundred));
    }
    shares.sort_unstable();
    shares.dedup();
    shares
}

/// Each day on which a rule begins or has just ended, and one before them all.
fn days(rules: &[Rule]) -> Vec<NaiveDate> {
    let mut days = rules
        .iter()
        .flat_map(|rule| [rule.from_on, rule.until_on.and_then(|last| last.succ_opt())])
        .flatten()
        .collect::<Vec<_>>();
    days.push(NaiveDate::MIN);
    days.sort_unstable();
    days.dedup();
    days
}
