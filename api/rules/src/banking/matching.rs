//! Proposals: which lines of a bank are which postings of the books.
//!
//! First come pairs of one line and one posting of the same amount, then one line that several postings add up to, then
//! one posting that several lines add up to, as long as there is only one way to add up. How good a pair is depends on how
//! near the days are and on which numbers and names of the posting stand in the line. What must stay true: the sums of a
//! proposal are equal to the cent; proposals that are not ambiguous share nothing; the order of lines and postings does
//! not matter; two that are equally good are both shown and marked.
//!
//! Weights and bounds are common practice, no source.

mod adding_up;
mod clues;

use std::collections::{HashMap, HashSet};

use chrono::NaiveDate;

use crate::money::Cents;

pub use clues::Clue;

/// Most ways shown of a line that fits several postings equally well.
const WAYS_MAX: usize = 5;

/// One movement as the bank wrote it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    pub on: NaiveDate,
    /// Above zero for money in.
    pub amount: Cents,
    /// All that the bank wrote: text, payee, reference.
    pub words: String,
}

/// One movement of the bank's account in the books.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Posting {
    pub on: NaiveDate,
    /// Above zero for money in.
    pub amount: Cents,
    /// What may stand in the bank's words, too.
    pub clues: Vec<Clue>,
}

/// Lines and postings that may be the same money, by their places in what was given.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Proposal {
    pub lines: Vec<usize>,
    pub postings: Vec<usize>,
    /// The higher, the better.
    pub score: u32,
    /// Why, for somebody to read.
    pub reason: String,
    /// Whether another is as good, so that somebody must choose.
    pub is_ambiguous: bool,
}

/// What a pair begins with; something that only adds up is worth less.
const SAME_AMOUNT: u32 = 100;
const ADDS_UP: u32 = 50;
/// What the same day is worth at most, so that a number or a name outweighs it.
const DAYS_MAX: u32 = 18;

/// Proposals for these lines and postings, which nothing is matched to yet; the best first. Days further apart than
/// `near_days` are not looked at.
#[must_use]
pub fn proposals(lines: &[Line], postings: &[Posting], near_days: u32) -> Vec<Proposal> {
    let mut found = one_to_one(lines, postings, near_days);
    let lines_used: HashSet<usize> = found.iter().flat_map(|one| one.lines.clone()).collect();
    let postings_used: HashSet<usize> = found.iter().flat_map(|one| one.postings.clone()).collect();
    let free_lines = free(lines.iter().map(|line| (line.on, line.amount)), &lines_used);
    let free_postings = free(
        postings.iter().map(|posting| (posting.on, posting.amount)),
        &postings_used,
    );
    found.extend(adding_up::groups(&free_lines, &free_postings, near_days));
    found.sort_by_cached_key(|one| {
        let days = one.lines.iter().filter_map(|at| Some(lines.get(*at)?.on));
        (
            one.is_ambiguous,
            std::cmp::Reverse(one.score),
            days.min(),
            one.lines.clone(),
            one.postings.clone(),
        )
    });
    found
}

fn free(
    all: impl Iterator<Item = (NaiveDate, Cents)>,
    used: &HashSet<usize>,
) -> Vec<adding_up::Item> {
    all.enumerate()
        .filter(|(at, _)| !used.contains(at))
        .map(|(at, (on, amount))| adding_up::Item { at, on, amount })
        .collect()
}

/// A line and a posting of the same amount.
struct Pair {
    line: usize,
    posting: usize,
    score: u32,
    reason: String,
}

/// Pairs, level by level of how good they are: what a better pair takes is not proposed again, and pairs of one level that
/// want the same are ambiguous.
fn one_to_one(lines: &[Line], postings: &[Posting], near_days: u32) -> Vec<Proposal> {
    let mut pairs = pairs(lines, postings, near_days);
    pairs.sort_by_key(|pair| std::cmp::Reverse(pair.score));
    let (mut lines_used, mut postings_used) = (HashSet::new(), HashSet::new());
    let mut found = Vec::new();
    for level in pairs.chunk_by(|a, b| a.score == b.score) {
        let open: Vec<&Pair> = level
            .iter()
            .filter(|pair| {
                !lines_used.contains(&pair.line) && !postings_used.contains(&pair.posting)
            })
            .collect();
        let of_line = count(open.iter().map(|pair| pair.line));
        let of_posting = count(open.iter().map(|pair| pair.posting));
        let mut shown: HashMap<usize, usize> = HashMap::new();
        for pair in open {
            lines_used.insert(pair.line);
            postings_used.insert(pair.posting);
            let is_shared = |of: &HashMap<usize, usize>, at: usize| of.get(&at) > Some(&1);
            let is_ambiguous =
                is_shared(&of_line, pair.line) || is_shared(&of_posting, pair.posting);
            let ways = shown.entry(pair.line).or_default();
            *ways += 1;
            if *ways <= WAYS_MAX {
                found.push(Proposal {
                    lines: vec![pair.line],
                    postings: vec![pair.posting],
                    score: pair.score,
                    reason: with_doubt(&pair.reason, is_ambiguous),
                    is_ambiguous,
                });
            }
        }
    }
    found
}

fn with_doubt(reason: &str, is_ambiguous: bool) -> String {
    if is_ambiguous {
        format!("{reason}; another fits as well")
    } else {
        reason.to_owned()
    }
}

fn count(places: impl Iterator<Item = usize>) -> HashMap<usize, usize> {
    let mut counts = HashMap::new();
    for place in places {
        *counts.entry(place).or_default() += 1;
    }
    counts
}

fn pairs(lines: &[Line], postings: &[Posting], near_days: u32) -> Vec<Pair> {
    let mut by_amount: HashMap<Cents, Vec<(usize, &Posting)>> = HashMap::new();
    for (at, posting) in postings.iter().enumerate() {
        by_amount
            .entry(posting.amount)
            .or_default()
            .push((at, posting));
    }
    let mut pairs = Vec::new();
    for (line, of_bank) in lines.iter().enumerate() {
        let tokens = clues::tokens(&of_bank.words);
        for (posting, booked) in by_amount.get(&of_bank.amount).into_iter().flatten() {
            let days = days_apart(of_bank.on, booked.on);
            if days > near_days {
                continue;
            }
            let (worth, words) = clues::found(&booked.clues, &tokens);
            let mut reason = format!("same amount, {}", apart(days));
            for word in words {
                reason.push_str(", ");
                reason.push_str(&word);
            }
            pairs.push(Pair {
                line,
                posting: *posting,
                score: SAME_AMOUNT + worth + closeness(days),
                reason,
            });
        }
    }
    pairs
}

/// How many days lie between two.
fn days_apart(one: NaiveDate, other: NaiveDate) -> u32 {
    let days = (one - other).num_days().unsigned_abs();
    u32::try_from(days).unwrap_or(u32::MAX)
}

fn closeness(days: u32) -> u32 {
    DAYS_MAX.saturating_sub(days)
}

fn apart(days: u32) -> String {
    match days {
        0 => "on the same day".to_owned(),
        1 => "1 day apart".to_owned(),
        days => format!("{days} days apart"),
    }
}

#[cfg(test)]
mod tests;
