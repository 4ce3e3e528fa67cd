//! Numbers and names of a posting that stand in a bank's words.

use std::collections::HashSet;

/// What may stand in the bank's words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Clue {
    /// Of a check that was written or received.
    CheckNumber(String),
    /// Of whatever else was written on it.
    Reference(String),
    /// Of a document of the shop's.
    DocumentNumber(String),
    /// Who paid or was paid, or what for.
    Name(String),
}

/// What a number is worth, and what a name.
const NUMBER: u32 = 40;
const NAME: u32 = 20;
/// Shortest number and shortest word of a name that are not taken for chance.
const NUMBER_MIN: usize = 3;
const WORD_MIN: usize = 4;

/// The words of a text as they can be compared: whole, and cut at everything that is no letter or digit.
pub(super) fn tokens(words: &str) -> HashSet<String> {
    let whole = words.split_whitespace().map(plain);
    let cut = words.split(|c: char| !c.is_alphanumeric()).map(plain);
    whole.chain(cut).filter(|word| !word.is_empty()).collect()
}

/// Letters and digits in upper case; a number without zeros before it.
fn plain(text: &str) -> String {
    let plain: String = text
        .chars()
        .filter(|c| c.is_alphanumeric())
        .flat_map(char::to_uppercase)
        .collect();
    if plain.chars().all(|c| c.is_ascii_digit()) {
        plain.trim_start_matches('0').to_owned()
    } else {
        plain
    }
}

/// What those found are worth, and how to say so.
pub(super) fn found(clues: &[Clue], tokens: &HashSet<String>) -> (u32, Vec<String>) {
    let (mut number, mut name) = (0, 0);
    let mut words = Vec::new();
    for clue in clues {
        let says = match clue {
            Clue::CheckNumber(text) => {
                has_number(text, tokens).then(|| format!("check number {text}"))
            }
            Clue::Reference(text) => has_number(text, tokens).then(|| format!("reference {text}")),
            Clue::DocumentNumber(text) => has_number(text, tokens).then(|| text.clone()),
            Clue::Name(text) => names_in(text, tokens),
        };
        let Some(says) = says else {
            continue;
        };
        match clue {
            Clue::Name(_) => name = NAME,
            _ => number = NUMBER,
        }
        let says = format!("{says} in the text");
        if !words.contains(&says) {
            words.push(says);
        }
    }
    (number + name, words)
}

fn has_number(text: &str, tokens: &HashSet<String>) -> bool {
    let plain = plain(text);
    plain.len() >= NUMBER_MIN && tokens.contains(&plain)
}

/// The words of a name that stand in the text.
fn names_in(text: &str, tokens: &HashSet<String>) -> Option<String> {
    let words = text.split(|c: char| !c.is_alphanumeric());
    let words: Vec<&str> = words
        .filter(|word| word.chars().count() >= WORD_MIN && word.chars().all(char::is_alphabetic))
        .filter(|word| tokens.contains(&plain(word)))
        .collect();
    (!words.is_empty()).then(|| words.join(" "))
}
