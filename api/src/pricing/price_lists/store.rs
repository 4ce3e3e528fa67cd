//! Rows of price lists.

use nameplate_entities::kinds::{PriceListState, RowOutcome};
use nameplate_entities::{part, price_list, price_list_row};
use sea_orm::sea_query::{Alias, Expr, ExprTrait, Func, Order, Query, SelectStatement};
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter};

use crate::base::{Error, Result};

/// Rows that a report shows of the worst.
const WORST: u64 = 20;

/// # Errors
/// `NotFound` at `path`.
pub async fn get(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<price_list::Model> {
    price_list::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "price list"))
}

/// The list as it is now, while this very upload is going on; none when another displaced it.
pub async fn receiving(
    db: &impl ConnectionTrait,
    list: &price_list::Model,
) -> Result<Option<price_list::Model>> {
    Ok(price_list::Entity::find_by_id(list.id)
        .filter(price_list::Column::Upload.eq(list.upload))
        .filter(price_list::Column::State.eq(PriceListState::Receiving))
        .one(db)
        .await?)
}

/// How many rows would do what.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    pub bad: i64,
    pub new: i64,
    pub changed: i64,
    pub same: i64,
}

impl Counts {
    /// How many rows there are.
    pub fn all(&self) -> i64 {
        self.bad + self.new + self.changed + self.same
    }
}

/// Counts the rows of a list by what they would do.
pub async fn counts(db: &impl ConnectionTrait, list_id: i64) -> Result<Counts> {
    let mut query = Query::select();
    query
        .column(price_list_row::Column::Outcome)
        .expr(Expr::col(price_list_row::Column::Id).count())
        .from(price_list_row::Entity)
        .and_where(price_list_row::Column::PriceListId.eq(list_id))
        .group_by_col(price_list_row::Column::Outcome);
    let mut counts = Counts::default();
    for row in db.query_all(&query).await? {
        let count: i64 = row.try_get_by_index(1)?;
        match row.try_get_by_index::<RowOutcome>(0)? {
            RowOutcome::Bad => counts.bad = count,
            RowOutcome::New => counts.new = count,
            RowOutcome::Changed => counts.changed = count,
            RowOutcome::Same => counts.same = count,
            RowOutcome::Unread => {}
        }
    }
    Ok(counts)
}

fn rows(list_id: i64) -> SelectStatement {
    let mut query = Query::select();
    query
        .column((price_list_row::Entity, sea_orm::sea_query::Asterisk))
        .from(price_list_row::Entity)
        .and_where(
            Expr::col((price_list_row::Entity, price_list_row::Column::PriceListId)).eq(list_id),
        );
    query
}

async fn models(
    db: &impl ConnectionTrait,
    query: &SelectStatement,
) -> Result<Vec<price_list_row::Model>> {
    let found = db.query_all(query).await?;
    found
        .iter()
        .map(|row| Ok(price_list_row::Model::from_query_result(row, "")?))
        .collect()
}

/// The parts whose cost rises most.
pub async fn largest_rises(
    db: &impl ConnectionTrait,
    list_id: i64,
) -> Result<Vec<price_list_row::Model>> {
    let cost = || Expr::col(price_list_row::Column::CostCents);
    let old = || Expr::col(price_list_row::Column::OldCostCents);
    let mut query = rows(list_id);
    query
        .and_where(price_list_row::Column::Outcome.eq(RowOutcome::Changed))
        .and_where(cost().gt(old()))
        .order_by_expr(cost().sub(old()), Order::Desc)
        .order_by(price_list_row::Column::Line, Order::Asc)
        .limit(WORST);
    models(db, &query).await
}

/// The highest price of a part, where something of its own holds it: a fixed price, else the list price.
fn below_cost(list_id: i64) -> SelectStatement {
    let part_of = |column: part::Column| Expr::col((part::Entity, column));
    let row_of = |column: price_list_row::Column| Expr::col((price_list_row::Entity, column));
    let list_price = Func::coalesce([
        row_of(price_list_row::Column::ListPriceCents),
        part_of(part::Column::ListPriceCents),
    ]);
    let held = Func::coalesce([part_of(part::Column::FixedPriceCents), list_price.into()]);
    let mut query = rows(list_id);
    query
        .left_join(
            part::Entity,
            part_of(part::Column::Id)
                .equals((price_list_row::Entity, price_list_row::Column::PartId)),
        )
        .and_where(row_of(price_list_row::Column::Outcome).ne(RowOutcome::Bad))
        .and_where(row_of(price_list_row::Column::CostCents).gt(held));
    query
}

/// Parts that would sell below what they cost: their fixed price or list price is lower. The schedule never is.
pub async fn sold_below_cost(
    db: &impl ConnectionTrait,
    list_id: i64,
) -> Result<(i64, Vec<price_list_row::Model>)> {
    let mut query = below_cost(list_id);
    query
        .order_by(
            (price_list_row::Entity, price_list_row::Column::Line),
            Order::Asc,
        )
        .limit(WORST);
    let first = models(db, &query).await?;
    let mut count = Query::select();
    count
        .expr(Func::count(Expr::cust("*")))
        .from_subquery(below_cost(list_id), Alias::new("below"));
    let found = db.query_one(&count).await?;
    let count = found
        .map(|row| row.try_get_by_index::<i64>(0))
        .transpose()?;
    Ok((count.unwrap_or_default(), first))
}
