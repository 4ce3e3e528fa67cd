//! Lists by page, after the Relay cursor convention: newest record first unless said otherwise.

use std::fmt;

use async_graphql::OutputType;
use async_graphql::connection::{Connection, CursorType, Edge};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{Datelike, NaiveDate};
use sea_orm::sea_query::ExprTrait;
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder,
    QuerySelect, Select,
};

use super::error::{bad_input, edge};

/// The largest page.
const PAGE_MAX: u64 = 100;
/// The page when nothing is asked.
const PAGE_DEFAULT: i32 = 25;
/// The most that a page is said to cost: more than any request may, and so little that no sum of such costs overflows.
const COST_MAX: usize = 1_000_000;

/// Which page of a list.
#[derive(Clone, Debug, Default)]
pub struct Page {
    /// At most this many, from the start or from `after`; 1 to 100.
    pub first: Option<i32>,
    /// Only what follows this cursor.
    pub after: Option<String>,
    /// At most this many, from the end or up to `before`; not together with `first`.
    pub last: Option<i32>,
    /// Only what comes before this cursor.
    pub before: Option<String>,
}

impl Page {
    /// What a page costs in a request's complexity: its size times what is asked of each record.
    pub fn cost(first: Option<i32>, last: Option<i32>, child_complexity: usize) -> usize {
        // A size below one is refused later.
        let size = usize::try_from(first.or(last).unwrap_or(PAGE_DEFAULT)).unwrap_or(1);
        let cost = size.saturating_mul(child_complexity.max(1));
        cost.min(COST_MAX)
    }
}

/// Where a row stands in its list: its id, wrapped so that clients do not build their own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RowCursor(pub i64);

/// The text is no cursor of ours.
#[derive(Debug)]
pub struct BadCursor;

impl fmt::Display for BadCursor {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("this is no cursor from an earlier page")
    }
}

impl CursorType for RowCursor {
    type Error = BadCursor;

    fn decode_cursor(text: &str) -> Result<Self, BadCursor> {
        let bytes = URL_SAFE_NO_PAD.decode(text).map_err(|_| BadCursor)?;
        let text = String::from_utf8(bytes).map_err(|_| BadCursor)?;
        text.strip_prefix("row:")
            .and_then(|id| id.parse().ok())
            .map(Self)
            .ok_or(BadCursor)
    }

    fn encode_cursor(&self) -> String {
        URL_SAFE_NO_PAD.encode(format!("row:{}", self.0))
    }
}

/// Where a row stands in a list that goes by lines; several rows may stand on one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LineCursor {
    pub line: i64,
    pub id: i64,
}

impl CursorType for LineCursor {
    type Error = BadCursor;

    fn decode_cursor(text: &str) -> Result<Self, BadCursor> {
        let bytes = URL_SAFE_NO_PAD.decode(text).map_err(|_| BadCursor)?;
        let text = String::from_utf8(bytes).map_err(|_| BadCursor)?;
        let (line, id) = text
            .strip_prefix("line:")
            .and_then(|place| place.split_once(':'))
            .ok_or(BadCursor)?;
        Ok(Self {
            line: line.parse().map_err(|_| BadCursor)?,
            id: id.parse().map_err(|_| BadCursor)?,
        })
    }

    fn encode_cursor(&self) -> String {
        URL_SAFE_NO_PAD.encode(format!("line:{}:{}", self.line, self.id))
    }
}

/// Where a row stands in a list that goes by days; several rows may be of one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DayCursor {
    pub on: NaiveDate,
    pub id: i64,
}

impl CursorType for DayCursor {
    type Error = BadCursor;

    fn decode_cursor(text: &str) -> Result<Self, BadCursor> {
        let bytes = URL_SAFE_NO_PAD.decode(text).map_err(|_| BadCursor)?;
        let text = String::from_utf8(bytes).map_err(|_| BadCursor)?;
        let (on, id) = text
            .strip_prefix("day:")
            .and_then(|place| place.split_once(':'))
            .ok_or(BadCursor)?;
        // Years that no database keeps are of no cursor of ours.
        let on = NaiveDate::parse_from_str(on, "%Y-%m-%d").map_err(|_| BadCursor)?;
        let on = Some(on).filter(|on| (0..=9999).contains(&on.year()));
        Ok(Self {
            on: on.ok_or(BadCursor)?,
            id: id.parse().map_err(|_| BadCursor)?,
        })
    }

    fn encode_cursor(&self) -> String {
        URL_SAFE_NO_PAD.encode(format!("day:{}:{}", self.on, self.id))
    }
}

/// Where a row stands in a list that goes by age or, elsewhere or on demand, by lines or by days.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EitherCursor {
    Row(RowCursor),
    Line(LineCursor),
    Day(DayCursor),
}

impl From<LineCursor> for EitherCursor {
    fn from(cursor: LineCursor) -> Self {
        Self::Line(cursor)
    }
}

impl From<RowCursor> for EitherCursor {
    fn from(cursor: RowCursor) -> Self {
        Self::Row(cursor)
    }
}

impl From<DayCursor> for EitherCursor {
    fn from(cursor: DayCursor) -> Self {
        Self::Day(cursor)
    }
}

impl CursorType for EitherCursor {
    type Error = BadCursor;

    fn decode_cursor(text: &str) -> Result<Self, BadCursor> {
        RowCursor::decode_cursor(text)
            .map(Self::Row)
            .or_else(|_| LineCursor::decode_cursor(text).map(Self::Line))
            .or_else(|_| DayCursor::decode_cursor(text).map(Self::Day))
    }

    fn encode_cursor(&self) -> String {
        match self {
            Self::Row(cursor) => cursor.encode_cursor(),
            Self::Line(cursor) => cursor.encode_cursor(),
            Self::Day(cursor) => cursor.encode_cursor(),
        }
    }
}

/// The same page, in a list that has both orders.
pub fn either<C, T>(page: Connection<C, T>) -> Connection<EitherCursor, T>
where
    C: CursorType + Into<EitherCursor> + Send + Sync,
    T: OutputType,
{
    let mut connection = Connection::new(page.has_previous_page, page.has_next_page);
    let edges = page.edges.into_iter();
    connection
        .edges
        .extend(edges.map(|edge| Edge::new(edge.cursor.into(), edge.node)));
    connection
}

/// How a row is placed in its list, and what it becomes in the graph.
type Shown<E, T> = (
    fn(&<E as EntityTrait>::Model) -> i64,
    fn(<E as EntityTrait>::Model) -> T,
);

/// One page of `select`, newest id first.
///
/// # Errors
/// `BAD_INPUT` for both ends at once, a size outside 1 to 100 or a cursor that is not ours.
pub async fn newest_first<E, T>(
    db: &impl ConnectionTrait,
    select: Select<E>,
    id: E::Column,
    page: Page,
    (id_of, shown): Shown<E, T>,
) -> async_graphql::Result<Connection<RowCursor, T>>
where
    E: EntityTrait,
    E::Model: FromQueryResult + Send + Sync,
    T: OutputType,
{
    let wanted = Wanted::<RowCursor>::read(&page)?;
    let mut select = select;
    if let Some(RowCursor(after)) = wanted.after {
        select = select.filter(id.lt(after));
    }
    if let Some(RowCursor(before)) = wanted.before {
        select = select.filter(id.gt(before));
    }
    let select = if wanted.from_end {
        select.order_by_asc(id)
    } else {
        select.order_by_desc(id)
    };
    let rows = select
        .limit(wanted.size + 1)
        .all(db)
        .await
        .map_err(|error| edge(error.into()))?;
    Ok(wanted.page_of(rows, |row| RowCursor(id_of(row)), shown))
}

/// The same, for a list that goes by lines.
type ShownByLine<E, T> = (
    fn(&<E as EntityTrait>::Model) -> LineCursor,
    fn(<E as EntityTrait>::Model) -> T,
);

/// One page of `select`, the lowest line first, and on one line the oldest record first.
///
/// # Errors
/// `BAD_INPUT` as above.
pub async fn by_line<E, T>(
    db: &impl ConnectionTrait,
    select: Select<E>,
    (line, id): (E::Column, E::Column),
    page: Page,
    (place_of, shown): ShownByLine<E, T>,
) -> async_graphql::Result<Connection<LineCursor, T>>
where
    E: EntityTrait,
    E::Model: FromQueryResult + Send + Sync,
    T: OutputType,
{
    let wanted = Wanted::<LineCursor>::read(&page)?;
    let mut select = select;
    if let Some(after) = wanted.after {
        let on_it = line.eq(after.line).and(id.gt(after.id));
        select = select.filter(line.gt(after.line).or(on_it));
    }
    if let Some(before) = wanted.before {
        let on_it = line.eq(before.line).and(id.lt(before.id));
        select = select.filter(line.lt(before.line).or(on_it));
    }
    let select = if wanted.from_end {
        select.order_by_desc(line).order_by_desc(id)
    } else {
        select.order_by_asc(line).order_by_asc(id)
    };
    let rows = select
        .limit(wanted.size + 1)
        .all(db)
        .await
        .map_err(|error| edge(error.into()))?;
    Ok(wanted.page_of(rows, place_of, shown))
}

/// The same, for a list that goes by days.
type ShownByDay<E, T> = (
    fn(&<E as EntityTrait>::Model) -> DayCursor,
    fn(<E as EntityTrait>::Model) -> T,
);

/// One page of `select`, the earliest day first, and on one day the oldest record first.
///
/// # Errors
/// `BAD_INPUT` as above.
pub async fn by_day<E, T>(
    db: &impl ConnectionTrait,
    select: Select<E>,
    (day, id): (E::Column, E::Column),
    page: Page,
    (place_of, shown): ShownByDay<E, T>,
) -> async_graphql::Result<Connection<DayCursor, T>>
where
    E: EntityTrait,
    E::Model: FromQueryResult + Send + Sync,
    T: OutputType,
{
    let wanted = Wanted::<DayCursor>::read(&page)?;
    let mut select = select;
    if let Some(after) = wanted.after {
        let on_it = day.eq(after.on).and(id.gt(after.id));
        select = select.filter(day.gt(after.on).or(on_it));
    }
    if let Some(before) = wanted.before {
        let on_it = day.eq(before.on).and(id.lt(before.id));
        select = select.filter(day.lt(before.on).or(on_it));
    }
    let select = if wanted.from_end {
        select.order_by_desc(day).order_by_desc(id)
    } else {
        select.order_by_asc(day).order_by_asc(id)
    };
    let rows = select
        .limit(wanted.size + 1)
        .all(db)
        .await
        .map_err(|error| edge(error.into()))?;
    Ok(wanted.page_of(rows, place_of, shown))
}

struct Wanted<C> {
    size: u64,
    from_end: bool,
    after: Option<C>,
    before: Option<C>,
}

impl<C: CursorType<Error = BadCursor> + Send + Sync> Wanted<C> {
    fn read(page: &Page) -> async_graphql::Result<Self> {
        if page.first.is_some() && page.last.is_some() {
            return Err(bad_input("last", "Ask for `first` or `last`, not both."));
        }
        let size = u64::try_from(page.first.or(page.last).unwrap_or(PAGE_DEFAULT)).ok();
        let Some(size) = size.filter(|size| (1..=PAGE_MAX).contains(size)) else {
            let argument = if page.last.is_some() { "last" } else { "first" };
            return Err(bad_input(
                argument,
                format!("A page has 1 to {PAGE_MAX} records."),
            ));
        };
        Ok(Self {
            size,
            from_end: page.last.is_some(),
            after: cursor("after", page.after.as_deref())?,
            before: cursor("before", page.before.as_deref())?,
        })
    }

    /// The page of rows that were read from the asked end, one more than it holds if there is more.
    fn page_of<M, T: OutputType>(
        &self,
        mut rows: Vec<M>,
        place_of: impl Fn(&M) -> C,
        shown: fn(M) -> T,
    ) -> Connection<C, T> {
        let size = usize::try_from(self.size).unwrap_or(usize::MAX);
        let more = rows.len() > size;
        rows.truncate(size);
        if self.from_end {
            rows.reverse();
        }
        let (has_previous, has_next) = if self.from_end {
            (more, self.before.is_some())
        } else {
            (self.after.is_some(), more)
        };
        let mut connection = Connection::new(has_previous, has_next);
        connection.edges.extend(
            rows.into_iter()
                .map(|row| Edge::new(place_of(&row), shown(row))),
        );
        connection
    }
}

fn cursor<C: CursorType<Error = BadCursor>>(
    path: &str,
    text: Option<&str>,
) -> async_graphql::Result<Option<C>> {
    text.map(C::decode_cursor)
        .transpose()
        .map_err(|error| bad_input(path, error.to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_cost_of_a_page_never_runs_over() {
        assert_eq!(Page::cost(None, None, 3), 75);
        assert_eq!(Page::cost(Some(10), None, 0), 10);
        assert_eq!(Page::cost(None, Some(i32::MAX), usize::MAX), COST_MAX);
    }
}
