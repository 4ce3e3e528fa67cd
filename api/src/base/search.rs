//! The one search box: every record that can be looked for leaves a row of plain words here, in its own
//! transaction.
//!
//! Words are lower-cased, lose their accents and are stripped to letters, digits and blanks, so the same `LIKE`
//! serves both databases and holds no wildcard of the user's. A trigram index answers it (FTS5 on `SQLite`, GIN on
//! `PostgreSQL`), which needs three characters in a row.

use nameplate_entities::search_entry::{ActiveModel, Column, Entity, Model};
use sea_orm::sea_query::{CaseStatement, Cond, Expr, ExprTrait, Query};
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, IntoActiveModel,
    Order, QueryFilter, QueryOrder, QuerySelect, Statement, Value,
};
use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

use super::audit::Subject;
use super::error::{Error, ProblemCode, Result};

/// Fewest characters of the longest word looked for.
const CHARACTERS_MIN: usize = 3;
/// Most words taken from one question; the rest is not needed to tell records apart.
const WORDS_MAX: usize = 8;

/// Writes or replaces what `subject` is found by. `parts` may be any texts; empty ones do no harm.
///
/// # Errors
/// Internal only.
pub async fn index(
    tx: &impl ConnectionTrait,
    subject: Subject,
    title: &str,
    parts: &[&str],
) -> Result<()> {
    let body = body(parts);
    let found = Entity::find()
        .filter(Column::SubjectKind.eq(subject.kind))
        .filter(Column::SubjectId.eq(subject.id))
        .one(tx)
        .await?;
    match found {
        Some(row) => {
            let mut row = row.into_active_model();
            row.title = Set(title.to_owned());
            row.body = Set(body);
            row.update(tx).await?;
        }
        None => {
            ActiveModel {
                subject_kind: Set(subject.kind.to_owned()),
                subject_id: Set(subject.id),
                title: Set(title.to_owned()),
                body: Set(body),
                ..Default::default()
            }
            .insert(tx)
            .await?;
        }
    }
    Ok(())
}

/// What a record with these texts is found by.
pub fn body(parts: &[&str]) -> String {
    parts
        .iter()
        .flat_map(|part| [plain(part), joined(part)])
        .collect::<Vec<_>>()
        .join(" ")
}

/// Adds many records that are not in the index yet. `select` gives kind, id, title and [`body`] of each, in this order,
/// in SQL that both databases take, with `$1` for the first of `values`.
///
/// # Errors
/// Internal only.
pub async fn index_selected(
    tx: &impl ConnectionTrait,
    select: &str,
    values: impl IntoIterator<Item = Value>,
) -> Result<()> {
    let sql = format!("INSERT INTO search_entry (subject_kind, subject_id, title, body) {select}");
    let statement = Statement::from_sql_and_values(tx.get_database_backend(), sql, values);
    tx.execute_raw(statement).await?;
    Ok(())
}

/// Records of a kind, or of any, that hold every word of `text`, at most `hits_max`: first what is called just that or
/// has it as a number, then customers, machines, parts, calls and documents, in this order; the newest first.
///
/// # Errors
/// `OutOfRange` when there are no three letters or digits in a row, dashes and blanks aside.
pub async fn find(
    db: &impl ConnectionTrait,
    (text, kind): (&str, Option<&str>),
    hits_max: u64,
) -> Result<Vec<Model>> {
    let mut hit = Query::select();
    hit.column("rowid").from("search_text");
    for word in words(text)? {
        hit.and_where(Expr::col("body").like(format!("%{word}%")));
    }
    let mut select = Entity::find().filter(Column::Id.in_subquery(hit));
    if let Some(kind) = kind {
        select = select.filter(Column::SubjectKind.eq(kind));
    }
    Ok(select
        .order_by(called_just_that(text), Order::Asc)
        .order_by(by_kind(), Order::Asc)
        .order_by_desc(Column::Id)
        .limit(hits_max)
        .all(db)
        .await?)
}

/// The words to look for; those of a short number, such as `HE-9`, in one.
fn words(text: &str) -> Result<Vec<String>> {
    let plain = plain(text);
    let is_long = |word: &str| word.chars().count() >= CHARACTERS_MIN;
    let words = plain.split_whitespace().take(WORDS_MAX).map(str::to_owned);
    let words = words.collect::<Vec<_>>();
    if words.iter().any(|word| is_long(word)) {
        return Ok(words);
    }
    let joined = joined(text);
    if is_long(&joined) {
        return Ok(vec![joined]);
    }
    Err(Error::refused(
        ProblemCode::OutOfRange,
        "text",
        "Give at least three letters or digits.",
    ))
}

/// Nothing for what begins with just this text (its name or number is indexed first), or holds it as a number.
fn called_just_that(text: &str) -> Expr {
    let (plain, joined) = (plain(text), joined(text));
    let mut is_it = Cond::any()
        .add(Column::Body.eq(format!("{plain} {joined}")))
        .add(Column::Body.like(format!("{plain} {joined} %")));
    if joined.chars().any(|c| c.is_ascii_digit()) {
        is_it = is_it
            .add(Column::Body.like(format!("% {joined} %")))
            .add(Column::Body.like(format!("% {joined}")));
    }
    CaseStatement::new().case(is_it, 0).finally(1).into()
}

/// Who and what before papers about them.
fn by_kind() -> Expr {
    ["customer", "appliance", "part", "service_call"]
        .into_iter()
        .zip(0..)
        .fold(CaseStatement::new(), |case, (kind, place)| {
            case.case(Column::SubjectKind.eq(kind), place)
        })
        .finally(4)
        .into()
}

/// Lower case without accents; letters and digits stay, everything else becomes one blank.
pub fn plain(text: &str) -> String {
    let mut spaced = String::with_capacity(text.len());
    let folded = text.to_lowercase();
    for c in folded.nfd().filter(|c| !is_combining_mark(*c)) {
        match unaccented(c) {
            Some(letters) => spaced.push_str(letters),
            None if c.is_alphanumeric() => spaced.push(c),
            None => spaced.push(' '),
        }
    }
    spaced.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Letters that are no letter with a mark, as people without that key type them.
fn unaccented(letter: char) -> Option<&'static str> {
    Some(match letter {
        'ø' => "o",
        'ł' => "l",
        'đ' | 'ð' => "d",
        'ħ' => "h",
        'ı' => "i",
        'ß' => "ss",
        'æ' => "ae",
        'œ' => "oe",
        _ => return None,
    })
}

/// The same without blanks, so that `555-0100` is found as `5550100`.
fn joined(text: &str) -> String {
    plain(text).replace(' ', "")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wildcards_and_punctuation_become_blanks() {
        assert_eq!(plain("  100%_A-1's\t"), "100 a 1 s");
        assert_eq!(joined("(217) 555-0100"), "2175550100");
    }

    #[test]
    fn accents_are_taken_off_however_they_are_written() {
        assert_eq!(plain("Müller"), "muller");
        assert_eq!(plain("Mu\u{308}ller"), "muller");
        assert_eq!(plain("Ærøskøbing Straße"), "aeroskobing strasse");
    }

    #[test]
    fn a_short_number_with_a_dash_is_long_enough() {
        assert_eq!(words("HE-9").unwrap(), ["he9"]);
        assert_eq!(words("Ana x").unwrap(), ["ana", "x"]);
        assert!(words("a-1").is_err());
    }
}
