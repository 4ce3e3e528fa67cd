//! Whether levels fit a bracket table. A table gives the whole tax of an amount, whoever levies it, and the levels'
//! rates only divide it: were one of them to leave a charge or a day alone, the table would still hold its part. So
//! where a table applies, every level taxes every charge on every day of it.

use chrono::NaiveDate;

use super::place::{DatedMethod, Level, Method};

/// Why a level does not fit a bracket table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum LevelFault {
    /// It leaves some charges alone.
    #[error(
        "a bracket table holds the tax of every level, so none of them can leave a charge alone"
    )]
    Exempts,
    /// It begins while a table applies.
    #[error(
        "a bracket table applies from {0}, before this level begins, and holds its tax already; record these rules \
         once more from the day it begins, with the table of that day"
    )]
    Begins(NaiveDate),
    /// It ends while a table applies.
    #[error(
        "a bracket table applies after this level's last day and would still hold its tax; record these rules once \
         more from the day after, with the table of that day"
    )]
    Ends,
}

/// A fault and the level, counted from 0, that has it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LevelProblem {
    /// Place among the levels.
    pub level: usize,
    /// What is wrong with it.
    pub fault: LevelFault,
}

/// Every level that does not fit the bracket tables of a place whose rules begin on `from_on`.
///
/// # Source
/// Arithmetic, after tables that fix the tax of a sale as a whole: Maryland Tax-General 11-104(a).
#[must_use]
pub fn check_bracketed(
    levels: &[Level],
    methods: &[DatedMethod],
    from_on: NaiveDate,
) -> Vec<LevelProblem> {
    let periods = table_periods(methods, from_on);
    let mut problems = Vec::new();
    for (level, known) in levels.iter().enumerate() {
        let mut found = |fault| problems.push(LevelProblem { level, fault });
        if !known.exempts.is_empty() && !periods.is_empty() {
            found(LevelFault::Exempts);
        }
        let cut = |period: &&Period| known.from_on.is_some_and(|from| from > period.first);
        if let Some(period) = periods.iter().find(cut) {
            found(LevelFault::Begins(period.first));
        }
        let gone_on = known.until_on.map(|until| until.succ_opt());
        let goes_on = |period: &Period| match (gone_on.flatten(), period.before) {
            (None, _) => false,
            (Some(_), None) => true,
            (Some(gone_on), Some(before)) => gone_on < before,
        };
        if periods.iter().any(goes_on) {
            found(LevelFault::Ends);
        }
    }
    problems
}

/// Days on which a table applies.
struct Period {
    first: NaiveDate,
    /// The day on which another method takes its place; `None` for open.
    before: Option<NaiveDate>,
}

fn table_periods(methods: &[DatedMethod], from_on: NaiveDate) -> Vec<Period> {
    let mut dated = methods.iter().collect::<Vec<_>>();
    dated.sort_by_key(|dated| dated.from_on);
    let nexts = dated.iter().skip(1).map(|next| Some(next.from_on));
    dated
        .iter()
        .zip(nexts.chain([None]))
        .filter(|(dated, _)| matches!(dated.method, Method::Brackets(_)))
        .map(|(dated, before)| Period {
            first: dated.from_on.max(from_on),
            before,
        })
        .filter(|period| period.before.is_none_or(|before| period.first < before))
        .collect()
}

#[cfg(test)]
mod tests {
    use rust_decimal::Decimal;

    use super::*;
    use crate::money::Cents;
    use crate::percent::Percent;
    use crate::tax::{BracketTable, ChargeKind, LevelKind};

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn level(from_on: Option<&str>, until_on: Option<&str>) -> Level {
        Level {
            name: "Pell".to_owned(),
            kind: LevelKind::County,
            rate: Percent::new(Decimal::ONE).unwrap(),
            from_on: from_on.map(day),
            until_on: until_on.map(day),
            exempts: Vec::new(),
        }
    }

    fn table(from_on: &str) -> DatedMethod {
        DatedMethod {
            from_on: day(from_on),
            method: Method::Brackets(BracketTable {
                whole_dollar_tax_cents: Cents(6),
                under_a_dollar: Vec::new(),
                over_whole_dollars: Vec::new(),
            }),
        }
    }

    fn by_rule(from_on: &str) -> DatedMethod {
        DatedMethod {
            from_on: day(from_on),
            method: Method::Section324,
        }
    }

    fn faults(levels: &[Level], methods: &[DatedMethod]) -> Vec<(usize, LevelFault)> {
        check_bracketed(levels, methods, day("2026-01-01"))
            .into_iter()
            .map(|problem| (problem.level, problem.fault))
            .collect()
    }

    #[test]
    fn a_level_that_leaves_a_charge_alone_does_not_fit_a_table() {
        let alone = Level {
            exempts: vec![ChargeKind::Labour],
            ..level(None, None)
        };
        let levels = [level(None, None), alone];
        assert_eq!(
            faults(&levels, &[table("2008-01-03")]),
            [(1, LevelFault::Exempts)]
        );
        assert_eq!(faults(&levels, &[by_rule("2008-01-03")]), []);
        let gone = [table("2008-01-03"), by_rule("2026-01-01")];
        assert_eq!(faults(&levels, &gone), [], "no table applies any more");
    }

    #[test]
    fn a_level_must_be_in_force_on_every_day_of_a_table_and_on_no_other() {
        let until_july = [table("2026-01-01"), by_rule("2026-07-01")];
        let open = [table("2026-01-01")];
        let begins = LevelFault::Begins(day("2026-01-01"));
        for (from, until, methods, wanted) in [
            (Some("2026-01-01"), None, &open[..], vec![]),
            (Some("2026-01-02"), None, &open, vec![begins]),
            (None, Some("2030-12-31"), &open, vec![LevelFault::Ends]),
            (None, Some("2026-06-30"), &until_july, vec![]),
            (
                None,
                Some("2026-06-29"),
                &until_july,
                vec![LevelFault::Ends],
            ),
            (Some("2026-07-01"), None, &until_july, vec![begins]),
            (Some("2020-01-01"), Some("2026-07-01"), &until_july, vec![]),
        ] {
            let found = faults(&[level(from, until)], methods);
            let found = found.into_iter().map(|(_, fault)| fault);
            assert_eq!(found.collect::<Vec<_>>(), wanted, "{from:?} {until:?}");
        }
    }
}
