//! Whether a branch-circuit wire carries its load, for judging a burnt terminal.
//!
//! A load above the wire's limit explains the heat. A load inside it does not clear the circuit: it points at the joint
//! instead (loose, wrong connector, mixed metals), which is the shop's inference and no code rule. The figures are for
//! copper building wire, 30 C around it and at most three loaded conductors. Wire inside a heated compartment follows
//! the maker's specification. What must stay true: nothing here is permission; the local code in force decides.

use super::{ReadingRefusal, positive, times};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// Wire size, American Wire Gauge.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Gauge {
    Awg14,
    Awg12,
    Awg10,
    Awg8,
    Awg6,
}

/// Temperature a wire's insulation or a terminal is rated for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TemperatureRating {
    C60,
    C75,
    C90,
}

/// Metal of the wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Metal {
    Copper,
    Aluminium,
}

/// A copper wire and what its ends are marked for. `None` means unmarked or unread and counts as 60 C.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Conductor {
    pub gauge: Gauge,
    pub insulation: Option<TemperatureRating>,
    pub terminals: Option<TemperatureRating>,
}

/// Whether the load runs at its maximum for three hours or more.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Duty {
    Continuous,
    NonContinuous,
}

/// Result of a conductor check.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ConductorVerdict {
    /// The wire is large enough: look at the joint.
    Inside,
    /// The wire is too small for the load.
    Over,
}

/// A load against the limit of its wire, both in amperes. A load exactly at the limit is inside.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ConductorCheck {
    pub load_amps: Decimal,
    pub limit_amps: Decimal,
    pub verdict: ConductorVerdict,
}

/// Compares a load current with what the wire may carry.
///
/// Shape: the column of the weaker of insulation and terminals, not above the small-conductor limit, times 80 % for a
/// continuous load. Unit: amperes. Rounding: none.
///
/// # Errors
/// `RatingNotPositive` for a load of zero or less.
///
/// # Source
/// NFPA 70 (2023) Table 310.16, 110.14(C)(1)(a), 240.4(D), 210.19, 210.20; worked/conductors.json.
pub fn conductor_check(
    load_amps: Decimal,
    conductor: Conductor,
    duty: Duty,
) -> Result<ConductorCheck, ReadingRefusal> {
    positive("load current", load_amps)?;
    let limit_amps = load_limit_amps(conductor, duty)?;
    let verdict = if load_amps <= limit_amps {
        ConductorVerdict::Inside
    } else {
        ConductorVerdict::Over
    };
    Ok(ConductorCheck {
        load_amps,
        limit_amps,
        verdict,
    })
}

fn load_limit_amps(conductor: Conductor, duty: Duty) -> Result<Decimal, ReadingRefusal> {
    let table = conductor.table_amps();
    let amps = conductor.breaker_limit_amps().unwrap_or(table);
    match duty {
        Duty::NonContinuous => Ok(Decimal::from(amps)),
        Duty::Continuous => times(Decimal::from(amps), Decimal::new(8, 1)),
    }
}

impl Conductor {
    /// The column that counts: the weaker of insulation and terminals; unmarked counts as 60 C.
    ///
    /// # Source
    /// NFPA 70 (2023) 110.14(C)(1)(a), circuits of 100 A or less.
    #[must_use]
    pub fn usable_column(self) -> TemperatureRating {
        let insulation = self.insulation.unwrap_or(TemperatureRating::C60);
        insulation.min(self.terminals.unwrap_or(TemperatureRating::C60))
    }

    fn table_amps(self) -> u32 {
        ampacity_amps(self.gauge, self.usable_column())
    }

    /// The small-conductor limit where it is below the table: the breaker may not be larger than this, so a larger load
    /// could not lawfully run.
    fn breaker_limit_amps(self) -> Option<u32> {
        overcurrent_limit_amps(Metal::Copper, self.gauge).filter(|limit| *limit < self.table_amps())
    }

    /// The rule that sets what [`conductor_check`] holds a short load against, in words.
    ///
    /// # Source
    /// NFPA 70 (2023) Table 310.16, or 240.4(D) where that is less.
    ///
    /// # Example
    /// ```
    /// use nameplate_rules::readings::conductor::{Conductor, Gauge, TemperatureRating};
    /// let wire = Conductor { gauge: Gauge::Awg12, insulation: None, terminals: None };
    /// assert_eq!(wire.limit_words(), "NFPA 70 (2023) Table 310.16, 60 C column");
    /// let marked = Some(TemperatureRating::C90);
    /// let wire = Conductor { insulation: marked, terminals: marked, ..wire };
    /// assert_eq!(
    ///     wire.limit_words(),
    ///     "NFPA 70 (2023) 240.4(D), the most its breaker may be, below the 30 A of Table 310.16, 90 C column"
    /// );
    /// ```
    #[must_use]
    pub fn limit_words(self) -> String {
        let column = match self.usable_column() {
            TemperatureRating::C60 => 60,
            TemperatureRating::C75 => 75,
            TemperatureRating::C90 => 90,
        };
        let table = format!("Table 310.16, {column} C column");
        if self.breaker_limit_amps().is_some() {
            format!(
                "NFPA 70 (2023) 240.4(D), the most its breaker may be, below the {} A of {table}",
                self.table_amps()
            )
        } else {
            format!("NFPA 70 (2023) {table}")
        }
    }
}

/// Current a copper wire may carry, in amperes, by size and column.
///
/// # Source
/// NFPA 70 (2023) Table 310.16, copper, 30 C, at most three loaded conductors. Older tables that give 20 A for
/// 14 AWG and 25 A for 12 AWG in the 60 C column are not used.
#[must_use]
pub fn ampacity_amps(gauge: Gauge, column: TemperatureRating) -> u32 {
    use TemperatureRating::{C60, C75, C90};
    match (gauge, column) {
        (Gauge::Awg14, C60) => 15,
        (Gauge::Awg14, C75) | (Gauge::Awg12, C60) => 20,
        (Gauge::Awg14, C90) | (Gauge::Awg12, C75) => 25,
        (Gauge::Awg12, C90) | (Gauge::Awg10, C60) => 30,
        (Gauge::Awg10, C75) => 35,
        (Gauge::Awg10, C90) | (Gauge::Awg8, C60) => 40,
        (Gauge::Awg8, C75) => 50,
        (Gauge::Awg8, C90) | (Gauge::Awg6, C60) => 55,
        (Gauge::Awg6, C75) => 65,
        (Gauge::Awg6, C90) => 75,
    }
}

/// Largest fuse or breaker on a small wire, in amperes; `None` where the rule sets none.
///
/// # Source
/// NFPA 70 (2023) 240.4(D); its exceptions in 240.4(E) and (G) are left to the person on site.
#[must_use]
pub fn overcurrent_limit_amps(metal: Metal, gauge: Gauge) -> Option<u32> {
    match (metal, gauge) {
        (Metal::Copper, Gauge::Awg14) | (Metal::Aluminium, Gauge::Awg12) => Some(15),
        (Metal::Copper, Gauge::Awg12) => Some(20),
        (Metal::Aluminium, Gauge::Awg10) => Some(25),
        (Metal::Copper, Gauge::Awg10) => Some(30),
        (Metal::Aluminium, Gauge::Awg14) | (_, Gauge::Awg8 | Gauge::Awg6) => None,
    }
}

/// Whether a breaker is no larger than the small-conductor rule allows. Sizes without a rule pass.
///
/// # Source
/// NFPA 70 (2023) 240.4(D).
#[must_use]
pub fn overcurrent_allowed(metal: Metal, gauge: Gauge, breaker_amps: u32) -> bool {
    overcurrent_limit_amps(metal, gauge).is_none_or(|limit| breaker_amps <= limit)
}

/// Least circuit rating for a continuous load, in amperes: 125 % of it. Rounding: none.
///
/// # Errors
/// `RatingNotPositive`, `TooLarge`.
///
/// # Source
/// NFPA 70 (2023) 210.19, 210.20, 422.10, and 422.13 for storage water heaters of 120 gal or less.
pub fn continuous_circuit_amps(load_amps: Decimal) -> Result<Decimal, ReadingRefusal> {
    positive("load current", load_amps)?;
    times(load_amps, Decimal::new(125, 2))
}

/// Load to reckon for an electric dryer, in watts: 5,000 or its plate, the larger.
///
/// # Errors
/// `RatingNotPositive`.
///
/// # Source
/// NFPA 70 (2023) 220.54.
pub fn dryer_load_watts(plate_watts: Decimal) -> Result<Decimal, ReadingRefusal> {
    positive("rated power", plate_watts)?;
    Ok(plate_watts.max(Decimal::from(5_000)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::{ElementRating, amps_of};
    use crate::worked::rows;
    use proptest::prelude::*;

    #[derive(Deserialize)]
    struct Circuit {
        watts: Decimal,
        volts: Decimal,
        gauge: Gauge,
        duty: Duty,
    }

    #[derive(Deserialize)]
    struct Outcome {
        limit_amps: Decimal,
        verdict: ConductorVerdict,
    }

    const GAUGES: [Gauge; 5] = [
        Gauge::Awg14,
        Gauge::Awg12,
        Gauge::Awg10,
        Gauge::Awg8,
        Gauge::Awg6,
    ];

    fn unmarked(gauge: Gauge) -> Conductor {
        Conductor {
            gauge,
            insulation: Some(TemperatureRating::C90),
            terminals: None,
        }
    }

    fn dec(text: &str) -> Decimal {
        text.parse().expect("a decimal")
    }

    /// Computed from NFPA 70 (2023) Table 310.16, 110.14(C), 240.4(D) and the 80 % rule.
    #[test]
    fn worked_circuits_are_inside_or_over_and_exactly_at_the_limit_is_inside() {
        for row in
            rows::<Circuit, Outcome>(include_str!("../../../../fixtures/worked/conductors.json"))
        {
            let load = amps_of(ElementRating {
                volts: row.input.volts,
                watts: row.input.watts,
            })
            .expect("a load");
            let check =
                conductor_check(load, unmarked(row.input.gauge), row.input.duty).expect("a check");
            assert_eq!(
                (check.limit_amps, check.verdict),
                (row.expected.limit_amps, row.expected.verdict),
                "{load} A"
            );
        }
    }

    /// NFPA 70 (2023) Table 310.16, copper.
    #[test]
    fn the_copper_table_is_the_2023_one() {
        let table = [
            [15, 20, 25],
            [20, 25, 30],
            [30, 35, 40],
            [40, 50, 55],
            [55, 65, 75],
        ];
        for (gauge, row) in GAUGES.into_iter().zip(table) {
            let columns = [
                TemperatureRating::C60,
                TemperatureRating::C75,
                TemperatureRating::C90,
            ];
            assert_eq!(
                columns.map(|column| ampacity_amps(gauge, column)),
                row,
                "{gauge:?}"
            );
        }
    }

    /// NFPA 70 (2023) 240.4(D).
    #[test]
    fn a_twenty_ampere_breaker_on_14_awg_copper_is_not_allowed_though_the_table_says_20() {
        assert_eq!(ampacity_amps(Gauge::Awg14, TemperatureRating::C75), 20);
        assert!(!overcurrent_allowed(Metal::Copper, Gauge::Awg14, 20));
        assert!(overcurrent_allowed(Metal::Copper, Gauge::Awg14, 15));
        assert_eq!(
            overcurrent_limit_amps(Metal::Copper, Gauge::Awg12),
            Some(20)
        );
        assert_eq!(
            overcurrent_limit_amps(Metal::Copper, Gauge::Awg10),
            Some(30)
        );
        assert_eq!(
            overcurrent_limit_amps(Metal::Aluminium, Gauge::Awg12),
            Some(15)
        );
        assert_eq!(
            overcurrent_limit_amps(Metal::Aluminium, Gauge::Awg10),
            Some(25)
        );
    }

    /// NFPA 70 (2023) 110.14(C)(1)(a).
    #[test]
    fn an_unmarked_terminal_holds_10_awg_to_30_amperes_not_35() {
        let wire = Conductor {
            gauge: Gauge::Awg10,
            insulation: Some(TemperatureRating::C75),
            terminals: None,
        };
        assert_eq!(ampacity_amps(wire.gauge, wire.usable_column()), 30);
        let marked = Conductor {
            terminals: Some(TemperatureRating::C75),
            ..wire
        };
        assert_eq!(ampacity_amps(marked.gauge, marked.usable_column()), 35);
    }

    /// NFPA 70 (2023) Table 310.16 and 240.4(D): of 14, 12 and 10 AWG only the 60 C column is no more than the breaker.
    #[test]
    fn the_rule_that_sets_the_limit_is_named_for_each_size_and_column() {
        use TemperatureRating::{C60, C75, C90};
        for gauge in GAUGES {
            for column in [C60, C75, C90] {
                let wire = Conductor {
                    gauge,
                    insulation: Some(column),
                    terminals: Some(column),
                };
                let check = conductor_check(Decimal::ONE, wire, Duty::NonContinuous);
                let limit = check.expect("a check").limit_amps;
                let table = ampacity_amps(gauge, column);
                let is_by_table = limit == Decimal::from(table);
                let said = wire.limit_words();
                assert_eq!(said.contains("240.4(D)"), !is_by_table, "{said}");
                assert_eq!(said.contains(&format!("{table} A")), !is_by_table, "{said}");
                let is_small = matches!(gauge, Gauge::Awg14 | Gauge::Awg12 | Gauge::Awg10);
                assert_eq!(is_by_table, column == C60 || !is_small, "{said}");
            }
        }
    }

    /// NFPA 70 (2023) 422.13 with the published water-heater example: 18.75 A gives 23.44 A.
    #[test]
    fn a_continuous_water_heater_needs_a_circuit_of_23_44_amperes() {
        let amps = continuous_circuit_amps(dec("18.75")).expect("amps");
        assert_eq!(
            amps.round_dp_with_strategy(2, rust_decimal::RoundingStrategy::MidpointAwayFromZero),
            dec("23.44")
        );
    }

    /// NFPA 70 (2023) 220.54.
    #[test]
    fn a_dryer_counts_with_5000_watts_or_its_plate() {
        assert_eq!(dryer_load_watts(dec("4800")), Ok(dec("5000")));
        assert_eq!(dryer_load_watts(dec("5600")), Ok(dec("5600")));
    }

    #[test]
    fn a_load_of_zero_is_refused() {
        assert!(conductor_check(Decimal::ZERO, unmarked(Gauge::Awg14), Duty::Continuous).is_err());
    }

    proptest! {
        #[test]
        fn a_thicker_wire_never_turns_inside_into_over(centiamps in 1i64..10_000, continuous in any::<bool>()) {
            let duty = if continuous { Duty::Continuous } else { Duty::NonContinuous };
            let verdicts = GAUGES.map(|gauge| conductor_check(Decimal::new(centiamps, 2), unmarked(gauge), duty).expect("a check").verdict);
            let mut seen_inside = false;
            for verdict in verdicts {
                prop_assert!(!(seen_inside && verdict == ConductorVerdict::Over));
                seen_inside |= verdict == ConductorVerdict::Inside;
            }
        }
    }
}
