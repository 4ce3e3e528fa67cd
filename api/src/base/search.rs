//! The one search box: every record that can be looked for leaves a row of plain words here, in its own
//! transaction.
//!
//! Words are lower-cased and stripped to letters, digits and blanks, so the same `LIKE` serves both
//! databases and holds no wildcard of the user's. A trigram index answers it (FTS5 on `SQLite`, GIN on
//! `PostgreSQL`), which needs three characters in a row.

use nameplate_entities::search_entry::{ActiveModel, Column, Entity, Model};
use sea_orm::sea_query::{Expr, ExprTrait, Query};
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, IntoActiveModel,
    QueryFilter, QueryOrder, QuerySelect, Statement, Value,
};

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

/// Records that hold every word of `text`, newest first, at most `hits_max`.
///
/// # Errors
/// `OutOfRange` when no word has three characters.
pub async fn find(db: &impl ConnectionTrait, text: &str, hits_max: u64) -> Result<Vec<Model>> {
    let plain = plain(text);
    let words = plain.split_whitespace().take(WORDS_MAX).collect::<Vec<_>>();
    if !words
        .iter()
        .any(|word| word.chars().count() >= CHARACTERS_MIN)
    {
        return Err(Error::refused(
            ProblemCode::OutOfRange,
            "text",
            "Give at least three letters or digits in a row.",
        ));
    }
    let mut hit = Query::select();
    hit.column("rowid").from("search_text");
    for word in words {
        hit.and_where(Expr::col("body").like(format!("%{word}%")));
    }
    Ok(Entity::find()
        .filter(Column::Id.in_subquery(hit.clone()))
        .order_by_desc(Column::Id)
        .limit(hits_max)
        .all(db)
        .await?)
}

/// Lower case; letters and digits stay, everything else becomes one blank.
pub fn plain(text: &str) -> String {
    let spaced: String = text
        .to_lowercase()
        .chars()
        .map(|c| if c.is_alphanumeric() { c } else { ' ' })
        .collect();
    spaced.split_whitespace().collect::<Vec<_>>().join(" ")
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
}
