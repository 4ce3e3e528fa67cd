//! Lists by page, after the Relay cursor convention: newest record first unless said otherwise.

use std::fmt;

use async_graphql::OutputType;
use async_graphql::connection::{Connection, CursorType, Edge};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder,
    QuerySelect, Select,
};

use super::error::{bad_input, edge};

/// The largest page.
const PAGE_MAX: u64 = 100;
/// The page when nothing is asked.
const PAGE_DEFAULT: u64 = 25;

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
        let asked = first.or(last).and_then(|size| usize::try_from(size).ok());
        asked.unwrap_or(25).saturating_mul(child_complexity.max(1))
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
    let wanted = Wanted::read(&page)?;
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
    let mut rows = select
        .limit(wanted.size + 1)
        .all(db)
        .await
        .map_err(|error| edge(error.into()))?;
    let size = usize::try_from(wanted.size).unwrap_or(usize::MAX);
    let more = rows.len() > size;
    rows.truncate(size);
    if wanted.from_end {
        rows.reverse();
    }
    let (has_previous, has_next) = if wanted.from_end {
        (more, wanted.before.is_some())
    } else {
        (wanted.after.is_some(), more)
    };
    let mut connection = Connection::new(has_previous, has_next);
    connection.edges.extend(
        rows.into_iter()
            .map(|row| Edge::new(RowCursor(id_of(&row)), shown(row))),
    );
    Ok(connection)
}

struct Wanted {
    size: u64,
    from_end: bool,
    after: Option<RowCursor>,
    before: Option<RowCursor>,
}

impl Wanted {
    fn read(page: &Page) -> async_graphql::Result<Self> {
        if page.first.is_some() && page.last.is_some() {
            return Err(bad_input("last", "Ask for `first` or `last`, not both."));
        }
        let asked = page.first.or(page.last);
        let size = asked.map_or(Some(PAGE_DEFAULT), |asked| u64::try_from(asked).ok());
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
}

fn cursor(path: &str, text: Option<&str>) -> async_graphql::Result<Option<RowCursor>> {
    text.map(RowCursor::decode_cursor)
        .transpose()
        .map_err(|error| bad_input(path, error.to_string()))
}
