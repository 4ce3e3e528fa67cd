//! One line that several postings add up to, and one posting that several lines add up to.
//!
//! Only where there is one way to add up, and few enough to look at all ways: with more, a sum that fits is chance.

use std::collections::HashMap;

use chrono::NaiveDate;

use super::{ADDS_UP, Proposal, closeness, days_apart, with_doubt};
use crate::money::Cents;

/// Most that are looked at for one sum, and most that one sum is made of.
const LOOKED_AT_MAX: usize = 20;
const PARTS_MAX: usize = 5;

/// A line or posting that no pair was found for.
#[derive(Clone, Copy, Debug)]
pub(super) struct Item {
    /// Its place in what was given.
    pub at: usize,
    pub on: NaiveDate,
    pub amount: Cents,
}

/// Both kinds of group; those that share something are ambiguous.
pub(super) fn groups(lines: &[Item], postings: &[Item], near_days: u32) -> Vec<Proposal> {
    let mut found = Vec::new();
    for line in lines {
        if let Some((parts, days)) = parts_of(line, postings, near_days) {
            let reason = words("entries of the books", (parts.len(), days));
            found.push((vec![line.at], parts, days, reason));
        }
    }
    for posting in postings {
        if let Some((parts, days)) = parts_of(posting, lines, near_days) {
            let reason = words("lines of the bank", (parts.len(), days));
            found.push((parts, vec![posting.at], days, reason));
        }
    }
    let mut uses: HashMap<(bool, usize), usize> = HashMap::new();
    for (lines, postings, ..) in &found {
        for line in lines {
            *uses.entry((true, *line)).or_default() += 1;
        }
        for posting in postings {
            *uses.entry((false, *posting)).or_default() += 1;
        }
    }
    let is_shared = |is_line: bool, places: &[usize]| {
        places
            .iter()
            .any(|place| uses.get(&(is_line, *place)) > Some(&1))
    };
    let proposal = |(lines, postings, days, reason): (Vec<usize>, Vec<usize>, u32, String)| {
        let is_ambiguous = is_shared(true, &lines) || is_shared(false, &postings);
        Proposal {
            score: ADDS_UP + closeness(days),
            reason: with_doubt(&reason, is_ambiguous),
            is_ambiguous,
            lines,
            postings,
        }
    };
    found.into_iter().map(proposal).collect()
}

fn words(what: &str, (count, days): (usize, u32)) -> String {
    let days = match days {
        0 => "on the same day".to_owned(),
        1 => "at most 1 day apart".to_owned(),
        days => format!("at most {days} days apart"),
    };
    format!("{count} {what} add up to it, {days}, and no others do")
}

/// The only parts that add up to the whole, with how many days they lie apart from it at most.
fn parts_of(whole: &Item, items: &[Item], near_days: u32) -> Option<(Vec<usize>, u32)> {
    let wanted = whole.amount.0.unsigned_abs();
    let candidates: Vec<&Item> = items
        .iter()
        .filter(|item| item.amount.is_negative() == whole.amount.is_negative())
        .filter(|item| item.amount.0.unsigned_abs() < wanted)
        .filter(|item| days_apart(item.on, whole.on) <= near_days)
        .take(LOOKED_AT_MAX + 1)
        .collect();
    if candidates.len() > LOOKED_AT_MAX {
        return None;
    }
    let mut search = Search {
        found: Vec::new(),
        chosen: Vec::new(),
    };
    search.go(&candidates, wanted);
    let (Some(only), true) = (search.found.first(), search.found.len() == 1) else {
        return None;
    };
    let days = only
        .iter()
        .map(|item| days_apart(item.on, whole.on))
        .max()?;
    Some((only.iter().map(|item| item.at).collect(), days))
}

/// Looks for sums until there are two.
struct Search<'a> {
    found: Vec<Vec<&'a Item>>,
    chosen: Vec<&'a Item>,
}

impl<'a> Search<'a> {
    fn go(&mut self, candidates: &[&'a Item], wanted: u64) {
        if wanted == 0 {
            self.found.push(self.chosen.clone());
            return;
        }
        if self.chosen.len() == PARTS_MAX {
            return;
        }
        let mut rest = candidates;
        while let Some((first, others)) = rest.split_first() {
            rest = others;
            if let Some(left) = wanted.checked_sub(first.amount.0.unsigned_abs()) {
                self.chosen.push(first);
                self.go(others, left);
                self.chosen.pop();
            }
            if self.found.len() > 1 {
                return;
            }
        }
    }
}
