//! Proposals for the lines that wait: what the rules need, read in two statements.

use chrono::Days;
use nameplate_entities::bank_line;
use nameplate_rules::banking::matching::{self, Clue, Line, Posting};
use nameplate_rules::money::Cents;
use sea_orm::ConnectionTrait;

use crate::base::Result;

use super::layouts::{self, NEAR_DAYS};
use super::store::{lines, matches, matches::Booked};

/// Lines looked at, the oldest, and postings around them.
const LINES_MAX: u64 = 200;
const POSTINGS_MAX: u64 = 2_000;
/// Proposals in one answer.
const PROPOSALS_MAX: usize = 300;

/// Lines of a bank and postings of the books that may be the same money.
pub struct Proposal {
    pub lines: Vec<bank_line::Model>,
    pub postings: Vec<Booked>,
    pub score: u32,
    pub reason: String,
    pub is_ambiguous: bool,
}

/// Proposals for the oldest lines of an account that nothing is matched to, the best first.
///
/// # Errors
/// Internal only.
pub async fn proposals(db: &impl ConnectionTrait, account_id: i64) -> Result<Vec<Proposal>> {
    let near = layouts::find(db, account_id).await?;
    let near = near.map_or(NEAR_DAYS, |layout| layout.near_days);
    let near = u32::try_from(near).unwrap_or_default();
    let open = lines::open(db, account_id, LINES_MAX).await?;
    let (Some(first), Some(last)) = (open.first(), open.last()) else {
        return Ok(Vec::new());
    };
    let reach = Days::new(near.into());
    let days = (first.booked_on - reach, last.booked_on + reach);
    let booked = matches::open_between(db, account_id, days, POSTINGS_MAX).await?;
    let of_bank: Vec<Line> = open.iter().map(line).collect();
    let of_books: Vec<Posting> = booked.iter().map(posting).collect();
    let found = matching::proposals(&of_bank, &of_books, near);
    let shown = found.into_iter().take(PROPOSALS_MAX).map(|one| Proposal {
        lines: pick(&open, &one.lines),
        postings: pick(&booked, &one.postings),
        score: one.score,
        reason: one.reason,
        is_ambiguous: one.is_ambiguous,
    });
    Ok(shown.collect())
}

fn pick<T: Clone>(all: &[T], places: &[usize]) -> Vec<T> {
    places
        .iter()
        .filter_map(|at| all.get(*at).cloned())
        .collect()
}

fn line(row: &bank_line::Model) -> Line {
    let parts = [Some(&row.words), row.payee.as_ref(), row.reference.as_ref()];
    let words: Vec<&str> = parts.into_iter().flatten().map(String::as_str).collect();
    Line {
        on: row.booked_on,
        amount: Cents(row.amount_cents),
        words: words.join(" "),
    }
}

/// A posting with the numbers and names that its entry and document bear.
fn posting(row: &Booked) -> Posting {
    let mut clues: Vec<Clue> = Vec::new();
    clues.extend(row.reference.clone().map(Clue::CheckNumber));
    let words = row.memo.split_whitespace();
    let numbers = words.filter(|word| word.chars().any(|c| c.is_ascii_digit()));
    clues.extend(numbers.map(|word| {
        let number = word.trim_matches(|c: char| !c.is_alphanumeric());
        if number.chars().all(|c| c.is_ascii_digit()) {
            Clue::Reference(number.to_owned())
        } else {
            Clue::DocumentNumber(number.to_owned())
        }
    }));
    clues.extend(row.party.clone().map(Clue::Name));
    clues.push(Clue::Name(own_words(&row.memo)));
    Posting {
        on: row.entry_on,
        amount: Cents(row.amount_cents),
        clues,
    }
}

/// The words of a memo that are not our own for the kind of document.
fn own_words(memo: &str) -> String {
    const OURS: [&str; 9] = [
        "bank", "check", "deposit", "payment", "refund", "taken", "back", "undone", "with",
    ];
    let words = memo.split_whitespace();
    let words: Vec<&str> = words
        .filter(|word| !OURS.contains(&word.to_lowercase().as_str()))
        .collect();
    words.join(" ")
}
