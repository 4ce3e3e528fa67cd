//! Whole rows of several tables in one statement: what a join reads is taken apart by prefix.
//!
//! ```ignore
//! #[derive(FromQueryResult)]
//! struct Row {
//!     #[sea_orm(nested(prefix = "visit_"))]
//!     visit: visit::Model,
//!     #[sea_orm(nested(prefix = "staff_"))]
//!     technician: staff::Model,
//! }
//! let mut query = joined::select::<visit::Entity>();
//! joined::to::<staff::Entity>(&mut query, ("visit", "technician_id", "id"));
//! let rows = joined::all::<Row>(db, &query).await?;
//! ```

use sea_orm::sea_query::{Alias, Expr, ExprTrait, JoinType, Query, SelectStatement};
use sea_orm::{ConnectionTrait, EntityTrait, FromQueryResult, IdenStatic, Iterable};

use super::error::Result;

/// Begins a join with every column of `E`.
pub fn select<E: EntityTrait>() -> SelectStatement {
    let name = E::default().table_name();
    let mut select = Query::select();
    select.from(Alias::new(name));
    columns::<E>(&mut select, name);
    select
}

/// How a joined table is tied to one that is there already: that table, its column, the joined table's column.
pub type Tie<'a> = (&'a str, &'a str, &'a str);

/// Adds the row of `E` that `tie` leads to.
pub fn to<E: EntityTrait>(select: &mut SelectStatement, tie: Tie<'_>) {
    add::<E>(select, JoinType::InnerJoin, E::default().table_name(), tie);
}

/// The same for a row that may be missing.
pub fn to_if_any<E: EntityTrait>(select: &mut SelectStatement, tie: Tie<'_>) {
    add::<E>(select, JoinType::LeftJoin, E::default().table_name(), tie);
}

/// The same for a table that is in the join already and gets another name here.
pub fn to_if_any_as<E: EntityTrait>(select: &mut SelectStatement, name: &str, tie: Tie<'_>) {
    add::<E>(select, JoinType::LeftJoin, name, tie);
}

fn add<E: EntityTrait>(
    select: &mut SelectStatement,
    join: JoinType,
    name: &str,
    (table, column, own): Tie<'_>,
) {
    select.join_as(
        join,
        Alias::new(E::default().table_name()),
        Alias::new(name),
        Expr::col((Alias::new(table), Alias::new(column)))
            .equals((Alias::new(name), Alias::new(own))),
    );
    columns::<E>(select, name);
}

/// Every column of `E` under the prefix `name_`.
fn columns<E: EntityTrait>(select: &mut SelectStatement, name: &str) {
    for column in E::Column::iter() {
        let column = column.as_str();
        select.expr_as(
            Expr::col((Alias::new(name), Alias::new(column))),
            Alias::new(format!("{name}_{column}")),
        );
    }
}

/// Every row of a join.
///
/// # Errors
/// Internal only.
pub async fn all<T: FromQueryResult>(
    db: &impl ConnectionTrait,
    query: &SelectStatement,
) -> Result<Vec<T>> {
    let rows = db.query_all(query).await?;
    rows.iter()
        .map(|row| Ok(T::from_query_result(row, "")?))
        .collect()
}
