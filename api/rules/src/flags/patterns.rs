//! Patterns over several machines: what a flag about a model, part, batch, method or address says, and what to check.
//!
//! When there is one is decided by `rates::early_warning` for the first four, and by [`at_address`] for an address. What
//! must stay true: nothing here tells anybody to work live or to draw a conclusion about a person.

use serde::{Deserialize, Serialize};

use super::FlagLevel;
use crate::plural::counted;
use crate::rates::early_warning;
use crate::rates::judge::REPAIRS_MIN;

/// What machines with the same failure have in common.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Pattern {
    Model,
    Part,
    Lot,
    Method,
    Address,
}

/// Machines at one address with a heat or arc failure within 24 months that are watched, this one included.
pub const ADDRESS_MACHINES_WATCH: usize = 2;
/// As many are acted on.
pub const ADDRESS_MACHINES_ACT: usize = 3;
/// How far back failures at an address count, in days (24 months).
pub const ADDRESS_DAYS: u32 = 730;

/// How loud it is that so many different machines at one address had a heat or arc failure.
///
/// Shape: different machines, the one at hand included; one machine that fails again is the rule for one machine.
///
/// # Source
/// Common practice, no source: what different machines share at an address is its wiring and supply.
#[must_use]
pub fn at_address(machines: usize) -> FlagLevel {
    if machines >= ADDRESS_MACHINES_ACT {
        FlagLevel::Act
    } else if machines >= ADDRESS_MACHINES_WATCH {
        FlagLevel::Watch
    } else {
        FlagLevel::None
    }
}

impl Pattern {
    /// What to check because of the pattern, before what the failure itself asks for. In the trade's words (common
    /// practice, no source).
    #[must_use]
    pub fn checks(self) -> &'static [&'static str] {
        match self {
            Self::Model => &[
                "Look for a service bulletin or recall of the maker for this model, and ask the maker if there is none.",
                "Compare with the earlier repairs of this model listed here: same component, same position?",
            ],
            Self::Part => &[
                "Check that this is the right part for the model, and whether the maker has replaced its number.",
                "Measure the new part before fitting it, with the power off, and keep the old one.",
            ],
            Self::Lot => &[
                "Set the rest of this batch aside until one of it was looked at.",
                "Tell the supplier the batch number and the calls listed here, and ask for replacements.",
            ],
            Self::Method => &[
                "Do it by the maker's method next time, and compare what comes back.",
                "Look at the earlier repairs listed here together: tool, connector, temperature rating, strain relief.",
            ],
            Self::Address => &[
                "Different machines here failed by heat: suspect what they share. Ask the customer about flickering lights or \
                 other burnt outlets.",
                "Read the supply at each machine with no load and under load, if you are qualified and equipped for it and \
                 the maker's instructions and local code allow it; else leave it to a licensed electrician.",
                "Have a licensed electrician look at outlets, terminal blocks, neutral and panel before the machines are used \
                 again.",
            ],
        }
    }
}

/// The sentence of a flag about returns of a group.
///
/// Shape: `name` as in "Batch B3 of part PN-D14"; the ratio's lower limit is that of the Gamma-Poisson judgement: it holds
/// 95 times in 100; `expected` is in words, as "about 1.2" or "fewer than 0.1". Behind "Why:" it says what stands between the
/// two figures, and why it may warn where the table of rates does not judge yet.
///
/// # Example
/// ```
/// use nameplate_rules::flags::patterns::{Returns, sentence};
/// let returns = Returns { returned: 7, repairs: 24, machines: 7, window_days: 90 };
/// assert_eq!(
///     sentence("Batch B3 of part PN-D14", returns, "about 1.2", "1.4"),
///     "Batch B3 of part PN-D14: 7 of 24 repairs came back within 90 days, on 7 machines, where similar work would give \
///      about 1.2. Allowing for chance, that is very likely at least 1.4 times as many. Why: two returns are added to both \
///      figures before they are compared, as few may be chance."
/// );
/// ```
#[must_use]
pub fn sentence(name: &str, returns: Returns, expected: &str, times: &str) -> String {
    let Returns {
        returned,
        repairs,
        machines,
        window_days,
    } = returns;
    let of_repairs = counted(repairs, "repair", "repairs");
    let within = counted(window_days, "day", "days");
    let on_machines = counted(machines, "machine", "machines");
    let early = if repairs < REPAIRS_MIN {
        early()
    } else {
        String::new()
    };
    format!(
        "{name}: {returned} of {of_repairs} came back within {within}, on {on_machines}, where similar work would give \
         {expected}. Allowing for chance, that is very likely at least {times} times as many. Why: two returns are added to \
         both figures before they are compared, as few may be chance{early}."
    )
}

/// Why a warning comes before the table of rates judges.
fn early() -> String {
    let least = early_warning::RETURNS_MIN;
    format!(
        "; this early warning asks for {least} returns on {least} machines, while rates are judged from {REPAIRS_MIN} repairs on"
    )
}

/// What came back of a group.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Returns {
    pub returned: u64,
    pub repairs: u64,
    pub machines: u64,
    pub window_days: u32,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_machine_is_no_pattern_two_are_watched_and_three_acted_on() {
        let levels = [0, 1, 2, 3, 9].map(at_address);
        assert_eq!(
            levels,
            [
                FlagLevel::None,
                FlagLevel::None,
                FlagLevel::Watch,
                FlagLevel::Act,
                FlagLevel::Act
            ]
        );
    }

    #[test]
    fn few_repairs_are_said_to_be_warned_of_before_they_are_judged() {
        let returns = Returns {
            returned: 5,
            repairs: 6,
            machines: 5,
            window_days: 1,
        };
        assert_eq!(
            sentence("Part DP-9, batch B7", returns, "fewer than 0.1", "1.6"),
            "Part DP-9, batch B7: 5 of 6 repairs came back within 1 day, on 5 machines, where similar work would give fewer \
             than 0.1. Allowing for chance, that is very likely at least 1.6 times as many. Why: two returns are added to both \
             figures before they are compared, as few may be chance; this early warning asks for 3 returns on 3 machines, \
             while rates are judged from 10 repairs on."
        );
        let enough = Returns {
            repairs: 10,
            ..returns
        };
        assert!(!sentence("B", enough, "about 1.0", "1.2").contains("early warning"));
    }

    #[test]
    fn what_to_check_at_an_address_leaves_the_supply_to_the_licensed() {
        let checks = Pattern::Address.checks().join(" ");
        assert!(checks.contains("licensed electrician"));
        assert!(checks.contains("qualified and equipped"));
    }
}
