use super::*;
use crate::readings::conductor::{ConductorVerdict, Gauge, TemperatureRating};

mod properties;

fn dec(text: &str) -> Decimal {
    text.parse().expect("a decimal")
}

fn water_heater() -> JointFacts {
    JointFacts {
        rated_volts: Some(dec("240")),
        rated_watts: Some(dec("4500")),
        ..JointFacts::default()
    }
}

fn dryer() -> JointFacts {
    JointFacts {
        rated_watts: Some(dec("5600")),
        duty: Some(Duty::NonContinuous),
        ..water_heater()
    }
}

fn wired(gauge: Gauge, facts: JointFacts) -> JointFacts {
    let conductor = Conductor {
        gauge,
        insulation: Some(TemperatureRating::C90),
        terminals: None,
    };
    JointFacts {
        conductor: Some(conductor),
        ..facts
    }
}

fn bearing(facts: &JointFacts, cause: Cause) -> Bearing {
    let report = examine(facts).expect("usable facts");
    let found = report.bearings.into_iter().find(|b| b.cause == cause);
    found.expect("each cause is weighed")
}

fn speaks(facts: &JointFacts, cause: Cause) -> Speaks {
    bearing(facts, cause).speaks
}

/// Ohm's law as printed on a water-heater manual page: 4,500 W at 240 V are 18.75 A and 12.8 ohm.
#[test]
fn a_4500_watt_element_is_expected_at_12_8_ohm_and_18_75_amperes() {
    let report = examine(&water_heater()).expect("usable facts");
    let expected = Expected {
        ohms: dec("12.8"),
        amps: dec("18.75"),
    };
    assert_eq!(report.expected, Some(expected));
}

/// Square law: (208 / 240)² = 75.11 %, 3,380 W at 16.25 A.
#[test]
fn at_208_volts_a_240_volt_element_gives_75_percent_of_its_power() {
    let facts = JointFacts {
        loaded_volts: Some(dec("208")),
        ..water_heater()
    };
    let at = examine(&facts).expect("usable").at_supply.expect("a part");
    assert_eq!((at.watts, at.amps), (dec("3380"), dec("16.25")));
    assert_eq!(at.percent.round_dp(2), dec("75.11"));
    assert_eq!(speaks(&facts, Cause::HighSupply), Speaks::Against);
}

/// NFPA 70 (2023) Table 310.16 and 110.14(C)(1)(a): 60 C column; 210.19, 210.20: 80 % of it when continuous.
#[test]
fn an_18_75_ampere_load_on_12_awg_for_hours_is_over_16_amperes() {
    let facts = JointFacts {
        duty: Some(Duty::Continuous),
        ..wired(Gauge::Awg12, water_heater())
    };
    let wire = examine(&facts).expect("usable").wire.expect("a wire");
    assert_eq!(wire.continuous.limit_amps, dec("16"));
    let said = bearing(&facts, Cause::UndersizedConductor);
    assert_eq!(said.speaks, Speaks::For);
    assert!(
        said.why.contains("18.75 A") && said.why.contains("16 A"),
        "{}",
        said.why
    );
}

/// NFPA 70 (2023) Table 310.16, 110.14(C)(1)(a), 210.19, 210.20.
#[test]
fn an_18_75_ampere_load_on_10_awg_for_hours_is_inside_24_and_leaves_the_joint_suspect() {
    let facts = JointFacts {
        duty: Some(Duty::Continuous),
        ..wired(Gauge::Awg10, water_heater())
    };
    assert_eq!(speaks(&facts, Cause::UndersizedConductor), Speaks::Against);
    let joint = bearing(&facts, Cause::LooseJoint);
    assert_eq!(joint.speaks, Speaks::Unsettled);
    assert!(joint.why.contains("suspect the joint"), "{}", joint.why);
    assert!(joint.missing.contains(&Measure::JointDrop));
}

/// NFPA 70 (2023) Table 310.16, 110.14(C)(1)(a).
#[test]
fn a_5600_watt_dryer_is_over_on_12_awg_and_inside_on_10() {
    let undersized = Cause::UndersizedConductor;
    assert_eq!(
        speaks(&wired(Gauge::Awg12, dryer()), undersized),
        Speaks::For
    );
    assert_eq!(
        speaks(&wired(Gauge::Awg10, dryer()), undersized),
        Speaks::Against
    );
}

/// NFPA 70 (2023) Table 310.16, 210.19, 210.20: 15 A x 0.8 = 12 A.
#[test]
fn twelve_amperes_for_hours_on_14_awg_are_exactly_at_the_limit_and_inside() {
    let facts = JointFacts {
        rated_volts: Some(dec("120")),
        rated_watts: Some(dec("1440")),
        duty: Some(Duty::Continuous),
        ..wired(Gauge::Awg14, JointFacts::default())
    };
    let wire = examine(&facts).expect("usable").wire.expect("a wire");
    assert_eq!(wire.continuous.verdict, ConductorVerdict::Inside);
    assert_eq!(speaks(&facts, Cause::UndersizedConductor), Speaks::Against);
}

/// NFPA 70 (2023) 110.14(C)(1)(a): 30 A, not the 35 of the 75 C column.
#[test]
fn an_unmarked_terminal_holds_10_awg_to_30_amperes() {
    let conductor = Conductor {
        gauge: Gauge::Awg10,
        insulation: Some(TemperatureRating::C75),
        terminals: None,
    };
    let facts = JointFacts {
        conductor: Some(conductor),
        load_amps: Some(dec("32")),
        duty: Some(Duty::NonContinuous),
        ..JointFacts::default()
    };
    let said = bearing(&facts, Cause::UndersizedConductor);
    assert_eq!(
        (said.speaks, said.rests_on),
        (Speaks::For, bearings::Ground::Measured)
    );
    assert!(said.why.contains("110.14(C)(1)(a)"), "{}", said.why);
    let marked = JointFacts {
        conductor: Some(Conductor {
            terminals: Some(TemperatureRating::C75),
            ..conductor
        }),
        ..facts
    };
    // 240.4(D) still holds its breaker, and so its load, to 30 A.
    let said = bearing(&marked, Cause::UndersizedConductor);
    assert_eq!(said.speaks, Speaks::For);
    let rule = "the 30 A that 10 AWG copper may carry (NFPA 70 (2023) 240.4(D)";
    assert!(said.why.contains(rule), "{}", said.why);
}

/// NFPA 70 (2023) 240.4(D).
#[test]
fn a_breaker_of_20_amperes_on_14_awg_is_said_but_burns_nothing_by_itself() {
    let facts = JointFacts {
        load_amps: Some(dec("10")),
        duty: Some(Duty::NonContinuous),
        breaker_amps: Some(20),
        ..wired(Gauge::Awg14, JointFacts::default())
    };
    let said = bearing(&facts, Cause::UndersizedConductor);
    assert_eq!(said.speaks, Speaks::Against);
    assert!(said.why.contains("240.4(D)"), "{}", said.why);
}

/// NFPA 70 (2023) 210.20(A): 80 % of 20 A are 16 A.
#[test]
fn a_continuous_load_over_80_percent_of_its_breaker_is_an_overload_and_a_short_one_is_not() {
    let facts = JointFacts {
        duty: Some(Duty::Continuous),
        breaker_amps: Some(20),
        ..water_heater()
    };
    let said = bearing(&facts, Cause::Overload);
    assert_eq!(said.speaks, Speaks::For);
    assert!(said.why.contains("210.20(A)"), "{}", said.why);
    let short = JointFacts {
        duty: Some(Duty::NonContinuous),
        ..facts
    };
    assert_eq!(speaks(&short, Cause::Overload), Speaks::Unsettled);
}

/// The shop's inference from NFPA 70 (2023) Table 310.16; no code rule says so.
#[test]
fn a_burn_that_returns_with_the_load_inside_points_to_the_joint_as_an_inference() {
    let facts = JointFacts {
        burn: Some(Burn::Returned),
        ..wired(Gauge::Awg10, dryer())
    };
    let said = bearing(&facts, Cause::LooseJoint);
    assert_eq!(
        (said.speaks, said.rests_on),
        (Speaks::For, bearings::Ground::Inference)
    );
    assert!(said.why.contains("no code rule"), "{}", said.why);
    let thin = wired(Gauge::Awg12, facts);
    assert_eq!(speaks(&thin, Cause::LooseJoint), Speaks::Unsettled);
}

/// R = V / I, heat = I² x R: 1.2 V at 18.75 A are 0.064 ohm and 22.5 W.
#[test]
fn a_drop_of_1_2_volts_over_a_joint_is_22_5_watts_of_heat_and_bad() {
    let facts = JointFacts {
        joint_drop_volts: Some(dec("1.2")),
        load_amps: Some(dec("18.75")),
        ..water_heater()
    };
    let report = examine(&facts).expect("usable");
    let loss = report.joint.expect("a loss");
    assert_eq!(loss.ohms, Some(dec("0.064")));
    assert_eq!(loss.watts, Some(dec("22.5")));
    let first = report.bearings.first().expect("five bearings");
    assert_eq!(
        (first.cause, first.speaks),
        (Cause::LooseJoint, Speaks::For)
    );
    assert!(first.why.contains("22.5 W"), "{}", first.why);
}

/// Common practice, no source, brought up to full current by Ohm's law: 0.1 V at 3 A is 0.625 V at 18.75 A.
#[test]
fn a_small_drop_read_at_a_small_current_does_not_clear_the_joint() {
    let facts = JointFacts {
        joint_drop_volts: Some(dec("0.1")),
        load_amps: Some(dec("3")),
        ..water_heater()
    };
    assert_eq!(speaks(&facts, Cause::LooseJoint), Speaks::For);
    let full = JointFacts {
        load_amps: Some(dec("18.75")),
        ..facts
    };
    assert_eq!(speaks(&full, Cause::LooseJoint), Speaks::Against);
    let no_current = JointFacts {
        load_amps: None,
        ..facts
    };
    let said = bearing(&no_current, Cause::LooseJoint);
    assert_eq!(said.speaks, Speaks::Unsettled);
    assert!(said.missing.contains(&Measure::LoadCurrent));
}

/// NFPA 70 (2023) 210.19(A) Informational Note 4, 215.2(A) Informational Note 2: 5 % in all, a note and no rule.
#[test]
fn more_than_5_percent_lost_over_a_wire_that_is_large_enough_points_to_a_joint() {
    let facts = JointFacts {
        open_volts: Some(dec("240")),
        loaded_volts: Some(dec("225")),
        load_amps: Some(dec("20")),
        ..wired(Gauge::Awg10, dryer())
    };
    let report = examine(&facts).expect("usable");
    let loss = report.circuit.expect("a loss");
    assert_eq!(
        (loss.percent, loss.ohms),
        (Some(dec("6.25")), Some(dec("0.75")))
    );
    assert_eq!(loss.watts, Some(dec("300")));
    assert_eq!(speaks(&facts, Cause::LooseJoint), Speaks::For);
    let exactly = JointFacts {
        loaded_volts: Some(dec("228")),
        ..facts
    };
    assert_eq!(speaks(&exactly, Cause::LooseJoint), Speaks::Unsettled);
}

/// ANSI C84.1, range A, from memory: 126 V of 120, 252 V of 240.
#[test]
fn a_supply_is_high_above_126_or_252_volts_and_not_at_them() {
    let at = |rated, open| JointFacts {
        rated_volts: Some(dec(rated)),
        open_volts: Some(dec(open)),
        ..JointFacts::default()
    };
    for (rated, open, expected) in [
        ("120", "126", Speaks::Against),
        ("120", "126.1", Speaks::For),
        ("240", "252", Speaks::Against),
        ("230", "252", Speaks::Against),
        ("240", "252.1", Speaks::For),
        ("208", "240", Speaks::For),
    ] {
        assert_eq!(
            speaks(&at(rated, open), Cause::HighSupply),
            expected,
            "{rated} {open}"
        );
    }
    let low = bearing(&at("120", "113.9"), Cause::HighSupply);
    assert!(low.why.contains("below 114 V"), "{}", low.why);
    let said = bearing(&at("208", "240"), Cause::HighSupply);
    assert!(said.why.contains("133 %"), "{}", said.why);
    let newer = JointFacts {
        newest_supply: Some(SupplyVolts {
            volts: dec("260"),
            under_load: false,
        }),
        ..at("240", "240")
    };
    let said = bearing(&newer, Cause::HighSupply);
    assert_eq!(said.speaks, Speaks::For);
    assert!(said.why.contains("260 V without load"), "{}", said.why);
}

#[test]
fn a_report_says_its_figures_in_plain_words() {
    let facts = JointFacts {
        open_volts: Some(dec("241")),
        loaded_volts: Some(dec("236")),
        joint_drop_volts: Some(dec("0.9")),
        load_amps: Some(dec("23")),
        ohms_lead_off: Some(dec("10.3")),
        ..wired(Gauge::Awg10, dryer())
    };
    let report = examine(&facts).expect("usable");
    let said: Vec<&str> = report.bearings.iter().map(|b| b.why.as_str()).collect();
    assert_eq!(
        said,
        [
            "The joint loses 0.9 V (0.4 %) at 23 A: 0.039 ohm, 20.7 W of heat. At the full current of the part that is \
             0.913 V. From 0.5 V on a joint is bad (common practice).",
            "23 A was measured where the plate gives 22.94 A, no more than 10 % above. With a lead off the part has 10.3 ohm \
             where its plate gives 10.29 ohm: it takes no more than it should.",
            "236 V under load is no more than 252 V, the most of a 240 V supply (ANSI C84.1, range A).",
            "A load of 23.33 A is inside the 30 A that 10 AWG copper may carry (NFPA 70 (2023) Table 310.16, 60 C column, as \
             what is unmarked counts as 60 C (110.14(C)(1)(a)); wire inside a machine follows its maker).",
            "Nobody said how the way of the air was found.",
        ]
    );
}

#[test]
fn a_voltage_that_rises_under_load_gives_no_drop() {
    let facts = JointFacts {
        open_volts: Some(dec("240")),
        loaded_volts: Some(dec("240.4")),
        ..water_heater()
    };
    assert_eq!(examine(&facts).expect("usable").circuit, None);
}

/// Common practice, no source: 10 % either way.
#[test]
fn an_element_below_its_plates_resistance_takes_too_much() {
    let with = |ohms| JointFacts {
        ohms_lead_off: Some(dec(ohms)),
        ..water_heater()
    };
    assert_eq!(speaks(&with("11.5"), Cause::Overload), Speaks::For);
    assert_eq!(speaks(&with("11.52"), Cause::Overload), Speaks::Against);
    assert_eq!(speaks(&with("13"), Cause::Overload), Speaks::Against);
}

/// Limit of the exhaust as a dryer's manual prints it: 0.75 inch of water column, 0.187 kPa.
#[test]
fn the_exhaust_is_held_against_its_makers_limit_and_speaks_of_nothing_without_one() {
    let with = |kilopascal, limit| JointFacts {
        back_pressure: Some(BackPressure {
            kilopascal: dec(kilopascal),
            maker_limit_kilopascal: limit,
        }),
        ..JointFacts::default()
    };
    let air = Cause::BlockedAirflow;
    assert_eq!(speaks(&with("0.25", Some(dec("0.187"))), air), Speaks::For);
    assert_eq!(
        speaks(&with("0.1", Some(dec("0.187"))), air),
        Speaks::Against
    );
    let said = bearing(&with("0.25", None), air);
    assert_eq!(said.speaks, Speaks::Unsettled);
    assert!(said.missing.contains(&Measure::MakersPressureLimit));
    let both = JointFacts {
        air_path: Some(AirPath::Blocked),
        ..with("0.1", Some(dec("0.187")))
    };
    assert_eq!(speaks(&both, air), Speaks::For);
}

#[test]
fn where_nothing_is_known_nothing_speaks_and_everything_asks() {
    let report = examine(&JointFacts::default()).expect("usable");
    assert_eq!(report.bearings.len(), 5);
    for bearing in report.bearings {
        assert_eq!(bearing.speaks, Speaks::Unsettled, "{bearing:?}");
        assert!(!bearing.missing.is_empty(), "{bearing:?}");
    }
    assert_eq!(report.cautions.first(), Some(&Caution::IsolateAndProveDead));
}

#[test]
fn what_is_read_under_load_says_whom_it_is_for_and_carries_cautions() {
    for measure in Measure::ALL {
        let text = measure.text();
        assert_eq!(text.ends_with(UNDER_LOAD), measure.under_load(), "{text}");
        assert!(!text.contains("  "), "{text}");
        if measure.under_load() {
            assert!(measure.cautions().contains(&Caution::IsolateAndProveDead));
        } else {
            let lower = text.to_lowercase();
            assert!(
                !lower.contains("running") && !lower.contains("live"),
                "{text}"
            );
        }
    }
}

#[test]
fn figures_that_cannot_be_are_refused() {
    let zero = Some(Decimal::ZERO);
    let base = water_heater();
    for facts in [
        JointFacts {
            rated_volts: zero,
            ..base
        },
        JointFacts {
            rated_watts: zero,
            ..base
        },
        JointFacts {
            ohms_lead_off: zero,
            ..base
        },
        JointFacts {
            open_volts: zero,
            ..base
        },
        JointFacts {
            loaded_volts: zero,
            ..base
        },
        JointFacts {
            load_amps: zero,
            ..base
        },
        JointFacts {
            breaker_amps: Some(0),
            ..base
        },
        JointFacts {
            joint_drop_volts: Some(dec("-0.1")),
            ..base
        },
    ] {
        assert!(examine(&facts).is_err(), "{facts:?}");
    }
    let facts = JointFacts {
        joint_drop_volts: Some(dec("241")),
        open_volts: Some(dec("240")),
        ..base
    };
    assert!(matches!(
        examine(&facts),
        Err(JointRefusal::DropAboveSupply { .. })
    ));
    let huge = JointFacts {
        rated_volts: Some(Decimal::MAX),
        ..base
    };
    assert_eq!(
        examine(&huge),
        Err(JointRefusal::Reading(ReadingRefusal::TooLarge))
    );
}
