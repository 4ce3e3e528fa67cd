//! Whole rows of several tables in one statement: what a join reads is taken apart by prefix.
//!
//! ```ignore
//! #[derive(FromQueryResult)]
//! struct Row {
//!     #[sea_orm(nested(prefix = "call_"))]
//!     call: service_call::Model,
//! }
//! let select = joined::select::<service_call::Entity>("call_");
//! let select = joined::to(select, service_call::Column::CustomerId, customer::Column::Id, "customer_");
//! ```

use sea_orm::sea_query::{Alias, Expr, ExprTrait, JoinType, Query, SelectStatement};
use sea_orm::{EntityTrait, IdenStatic, Iterable};

/// Begins a join with every column of `E`, whose table is known as `name`.
pub fn select<E: EntityTrait>(name: &'static str) -> SelectStatement {
    let mut select = Query::select();
    select.from_as(Alias::new(E::default().table_name()), Alias::new(name));
    columns::<E>(&mut select, name);
    select
}

/// Where a joined table is tied to one that is there already: `on.0 = name.on.1`.
pub type Tie<'a> = (&'a str, &'a str, &'a str);

/// Adds the row of `E`, known as `name`, that `tie` (table, column there, column of `E`) points to.
pub fn to<E: EntityTrait>(select: &mut SelectStatement, name: &'static str, tie: Tie<'_>) {
    add::<E>(select, JoinType::InnerJoin, name, tie);
}

/// The same for a row that may be missing.
pub fn to_if_any<E: EntityTrait>(select: &mut SelectStatement, name: &'static str, tie: Tie<'_>) {
    add::<E>(select, JoinType::LeftJoin, name, tie);
}

fn add<E: EntityTrait>(
    select: &mut SelectStatement,
    join: JoinType,
    name: &'static str,
    (table, column, own): Tie<'_>,
) {
    select.join_as(
        join,
        Alias::new(E::default().table_name()),
        Alias::new(name),
        col(table, column).equals((Alias::new(name), Alias::new(own))),
    );
    columns::<E>(select, name);
}

fn columns<E: EntityTrait>(select: &mut SelectStatement, name: &'static str) {
    for column in E::Column::iter() {
        let column = column.as_str();
        select.expr_as(col(name, column), Alias::new(format!("{name}_{column}")));
    }
}

/// A column of a table known as `table`.
pub fn col(table: &str, column: &str) -> Expr {
    Expr::col((Alias::new(table), Alias::new(column)))
}
