//! Who closed and opened the books, and the entries that closed years.

use chrono::NaiveDate;
use nameplate_entities::{journal_entry, period_event};
use sea_orm::sea_query::Query;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, Select};

use crate::base::Result;

/// Everything that was closed and opened.
pub fn events() -> Select<period_event::Entity> {
    period_event::Entity::find()
}

/// Entries that close a year and were not undone, oldest year first. One a year.
pub async fn standing_closings(db: &impl ConnectionTrait) -> Result<Vec<journal_entry::Model>> {
    let undone = Query::select()
        .column(journal_entry::Column::ReversesEntryId)
        .from(journal_entry::Entity)
        .and_where(journal_entry::Column::ClosesYear.is_not_null())
        .and_where(journal_entry::Column::ReversesEntryId.is_not_null())
        .to_owned();
    Ok(journal_entry::Entity::find()
        .filter(journal_entry::Column::ClosesYear.is_not_null())
        .filter(journal_entry::Column::ReversesEntryId.is_null())
        .filter(journal_entry::Column::Id.not_in_subquery(undone))
        .order_by_asc(journal_entry::Column::EntryOn)
        .order_by_asc(journal_entry::Column::Id)
        .all(db)
        .await?)
}

/// Those of a day after this one; none for a day that is none.
pub async fn standing_closings_after(
    db: &impl ConnectionTrait,
    day: Option<NaiveDate>,
) -> Result<Vec<journal_entry::Model>> {
    let mut rows = standing_closings(db).await?;
    rows.retain(|row| day.is_none_or(|day| row.entry_on > day));
    Ok(rows)
}

/// Whether a year that ended on this day is closed.
///
/// # Errors
/// Internal only.
pub async fn is_year_closed_on(db: &impl ConnectionTrait, day: NaiveDate) -> Result<bool> {
    let closings = standing_closings(db).await?;
    Ok(closings.iter().any(|row| row.entry_on == day))
}
