//! What holds of any facts about a burnt joint.

use crate::readings::conductor::{Conductor, Duty, Gauge, TemperatureRating};
use crate::readings::joint::{AirPath, Burn, Cause, JointFacts, JointReport, Speaks, examine};
use proptest::prelude::*;
use rust_decimal::Decimal;

/// How likely a report makes a loose joint.
fn loose(report: JointReport) -> Option<u8> {
    let mut bearings = report.bearings.into_iter();
    let bearing = bearings.find(|b| b.cause == Cause::LooseJoint)?;
    Some(match bearing.speaks {
        Speaks::Against => 0,
        Speaks::Unsettled => 1,
        Speaks::For => 2,
    })
}

fn figure() -> impl Strategy<Value = Option<Decimal>> {
    prop_oneof![
        1 => Just(None),
        6 => (1i64..60_000).prop_map(|n| Some(Decimal::new(n, 2))),
        1 => Just(Some(Decimal::MAX)),
        1 => Just(Some(Decimal::MIN)),
        1 => Just(Some(Decimal::ZERO)),
        1 => Just(Some(Decimal::from_parts(1, 0, 0, false, 28))),
    ]
}

fn ordinary() -> impl Strategy<Value = Option<Decimal>> {
    proptest::option::of((1i64..60_000).prop_map(|n| Decimal::new(n, 2)))
}

fn rating() -> impl Strategy<Value = Option<TemperatureRating>> {
    use TemperatureRating::{C60, C75, C90};
    proptest::option::of(prop::sample::select(vec![C60, C75, C90]))
}

fn conductor() -> impl Strategy<Value = Option<Conductor>> {
    let gauges = vec![Gauge::Awg14, Gauge::Awg12, Gauge::Awg10, Gauge::Awg6];
    let parts = (prop::sample::select(gauges), rating(), rating());
    proptest::option::of(parts.prop_map(|(gauge, insulation, terminals)| Conductor {
        gauge,
        insulation,
        terminals,
    }))
}

fn facts_of<F: Strategy<Value = Option<Decimal>>>(
    figure: impl Fn() -> F,
) -> impl Strategy<Value = JointFacts> {
    let figures = (
        figure(),
        figure(),
        figure(),
        figure(),
        figure(),
        figure(),
        figure(),
    );
    let seen = (
        conductor(),
        proptest::option::of(prop::sample::select(vec![
            Duty::Continuous,
            Duty::NonContinuous,
        ])),
        proptest::option::of(0u32..60),
        proptest::option::of(prop::sample::select(vec![
            AirPath::Clear,
            AirPath::Restricted,
            AirPath::Blocked,
        ])),
        proptest::option::of(prop::sample::select(vec![Burn::First, Burn::Returned])),
    );
    (figures, seen).prop_map(|(figures, seen)| JointFacts {
        rated_volts: figures.0,
        rated_watts: figures.1,
        ohms_lead_off: figures.2,
        open_volts: figures.3,
        loaded_volts: figures.4,
        newest_supply: None,
        joint_drop_volts: figures.5,
        load_amps: figures.6,
        conductor: seen.0,
        duty: seen.1,
        breaker_amps: seen.2,
        air_path: seen.3,
        back_pressure: None,
        burn: seen.4,
    })
}

proptest! {
    #[test]
    fn no_facts_panic(facts in facts_of(figure)) {
        let _ = examine(&facts);
    }

    #[test]
    fn a_higher_drop_at_the_same_current_never_makes_a_loose_joint_less_likely(
        facts in facts_of(ordinary), low in 0i64..400, more in 0i64..400
    ) {
        let with = |centivolts| JointFacts {
            joint_drop_volts: Some(Decimal::new(centivolts, 2)),
            ..facts
        };
        if let (Ok(low), Ok(high)) = (examine(&with(low)), examine(&with(low + more))) {
            prop_assert!(loose(low) <= loose(high));
        }
    }

    #[test]
    fn a_larger_loss_in_the_circuit_never_makes_a_loose_joint_less_likely(
        facts in facts_of(ordinary), open in 200i64..260, low in 0i64..30, more in 0i64..30
    ) {
        let with = |drop: i64| JointFacts {
            open_volts: Some(Decimal::from(open)),
            loaded_volts: Some(Decimal::from(open - drop)),
            ..facts
        };
        if let (Ok(low), Ok(high)) = (examine(&with(low)), examine(&with(low + more))) {
            prop_assert!(loose(low) <= loose(high));
        }
    }

    #[test]
    fn what_was_not_measured_never_speaks(facts in facts_of(ordinary)) {
        let blind = JointFacts { joint_drop_volts: None, burn: None, open_volts: None, loaded_volts: None, ..facts };
        if let Ok(report) = examine(&blind) {
            for bearing in report.bearings {
                let told = bearing.speaks != Speaks::Unsettled;
                match bearing.cause {
                    Cause::LooseJoint | Cause::HighSupply => prop_assert!(!told),
                    Cause::UndersizedConductor => prop_assert!(!told || facts.conductor.is_some()),
                    Cause::Overload => prop_assert!(!told || facts.load_amps.is_some() || facts.rated_watts.is_some()),
                    Cause::BlockedAirflow => prop_assert!(!told || facts.air_path.is_some()),
                }
            }
        }
    }

    #[test]
    fn causes_that_speak_come_first_and_each_comes_once(facts in facts_of(ordinary)) {
        if let Ok(report) = examine(&facts) {
            prop_assert!(report.bearings.is_sorted_by_key(|b| b.speaks));
            let mut causes: Vec<Cause> = report.bearings.iter().map(|b| b.cause).collect();
            causes.sort_unstable();
            causes.dedup();
            prop_assert_eq!(causes.len(), 5);
            for bearing in report.bearings {
                prop_assert!(!bearing.why.is_empty() && !bearing.why.contains("  "));
            }
        }
    }
}
