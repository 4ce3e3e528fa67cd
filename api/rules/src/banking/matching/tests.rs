//! Worked cases and properties of proposals.

use std::collections::BTreeSet;

use proptest::prelude::*;
use serde::Deserialize;

use super::*;
use crate::worked::rows;

#[derive(Deserialize)]
struct Given {
    /// Day, cents and words of each.
    lines: Vec<(NaiveDate, i64, String)>,
    /// Day, cents, check number and memo of each.
    postings: Vec<(NaiveDate, i64, Option<String>, String)>,
    near_days: u32,
}

#[derive(Debug, PartialEq, Eq, Deserialize)]
struct Shown {
    lines: Vec<usize>,
    postings: Vec<usize>,
    reason: String,
    ambiguous: bool,
}

#[test]
fn every_worked_statement_gets_its_proposals() {
    for row in rows::<Given, Vec<Shown>>(include_str!(
        "../../../../../fixtures/worked/bank-matching.json"
    )) {
        let lines = row.input.lines.into_iter().map(|(on, amount, words)| Line {
            on,
            amount: Cents(amount),
            words,
        });
        let postings = row.input.postings.into_iter();
        let postings = postings.map(|(on, amount, check, memo)| Posting {
            on,
            amount: Cents(amount),
            clues: check
                .map(Clue::CheckNumber)
                .into_iter()
                .chain([Clue::Name(memo)])
                .collect(),
        });
        let (lines, postings): (Vec<_>, Vec<_>) = (lines.collect(), postings.collect());
        let found = proposals(&lines, &postings, row.input.near_days);
        let found: Vec<Shown> = found
            .into_iter()
            .map(|one| Shown {
                lines: one.lines,
                postings: one.postings,
                reason: one.reason,
                ambiguous: one.is_ambiguous,
            })
            .collect();
        assert_eq!(found, row.expected, "{}", row.source);
    }
}

fn day(number: u32) -> NaiveDate {
    NaiveDate::from_num_days_from_ce_opt(739_000 + i32::try_from(number).unwrap()).unwrap()
}

fn line() -> impl Strategy<Value = Line> {
    (
        0_u32..20,
        prop::sample::select(vec![-700_i64, -500, -300, 200, 300, 500, 1_000]),
        0_u32..4,
    )
        .prop_map(|(on, amount, number)| Line {
            on: day(on),
            amount: Cents(amount),
            words: format!("Check {}", 1_000 + number),
        })
}

fn posting() -> impl Strategy<Value = Posting> {
    line().prop_map(|line| Posting {
        on: line.on,
        amount: line.amount,
        clues: vec![Clue::CheckNumber(line.words[6..].to_owned())],
    })
}

/// What a proposal is about, whatever the order it came in.
fn content(one: &Proposal, lines: &[Line], postings: &[Posting]) -> String {
    let mut of_lines: Vec<_> = one
        .lines
        .iter()
        .map(|at| format!("{:?}", lines[*at]))
        .collect();
    let mut of_postings: Vec<_> = one
        .postings
        .iter()
        .map(|at| format!("{:?}", postings[*at]))
        .collect();
    of_lines.sort();
    of_postings.sort();
    format!("{of_lines:?} {of_postings:?} {} {}", one.score, one.reason)
}

proptest! {
    #[test]
    fn sums_are_equal_and_what_is_clear_shares_nothing(
        lines in prop::collection::vec(line(), 0..12), postings in prop::collection::vec(posting(), 0..12),
    ) {
        let found = proposals(&lines, &postings, 7);
        let (mut lines_used, mut postings_used) = (BTreeSet::new(), BTreeSet::new());
        for one in &found {
            let of_lines: i64 = one.lines.iter().map(|at| lines[*at].amount.0).sum();
            let of_postings: i64 = one.postings.iter().map(|at| postings[*at].amount.0).sum();
            prop_assert_eq!(of_lines, of_postings);
            prop_assert!(!one.reason.is_empty() && !one.lines.is_empty() && !one.postings.is_empty());
        }
        for one in found.iter().filter(|one| !one.is_ambiguous) {
            prop_assert!(one.lines.iter().all(|at| lines_used.insert(*at)));
            prop_assert!(one.postings.iter().all(|at| postings_used.insert(*at)));
        }
        let in_doubt = found.iter().filter(|one| one.is_ambiguous);
        for one in in_doubt {
            prop_assert!(one.lines.iter().all(|at| !lines_used.contains(at)));
            prop_assert!(one.postings.iter().all(|at| !postings_used.contains(at)));
        }
    }

    #[test]
    fn the_order_of_lines_and_postings_does_not_matter(
        lines in prop::collection::vec(line(), 0..10), postings in prop::collection::vec(posting(), 0..5),
        turn in 0_usize..10,
    ) {
        let shown = |lines: &[Line], postings: &[Posting]| {
            let found = proposals(lines, postings, 7);
            let mut content: Vec<_> = found.iter().map(|one| content(one, lines, postings)).collect();
            content.sort();
            content
        };
        let (mut other_lines, mut other_postings) = (lines.clone(), postings.clone());
        other_lines.reverse();
        other_postings.reverse();
        if !other_lines.is_empty() {
            let by = turn % other_lines.len();
            other_lines.rotate_left(by);
        }
        prop_assert_eq!(shown(&lines, &postings), shown(&other_lines, &other_postings));
    }
}
