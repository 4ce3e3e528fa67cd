//! What there is to tell of flags and callbacks, each list with its first rows and how many there are.

use chrono::{DateTime, Utc};
use nameplate_entities::kinds::{CallbackState, FlagState};
use nameplate_entities::{appliance, callback, flag, flag_step, service_call};
use sea_orm::sea_query::{Alias, Expr, ExprTrait, Order, Query, SelectStatement};
use sea_orm::{ColumnTrait, Condition, ConnectionTrait, FromQueryResult};

use crate::base::{Result, joined};

/// Most rows of one list.
pub const NAMED_MAX: u64 = 20;

/// A flag with what names it.
#[derive(Clone, Debug, FromQueryResult)]
pub struct FlagRow {
    #[sea_orm(nested(prefix = "flag_"))]
    pub flag: flag::Model,
    #[sea_orm(nested(prefix = "appliance_"))]
    pub machine: appliance::Model,
    #[sea_orm(nested(prefix = "service_call_"))]
    pub call: service_call::Model,
}

/// A callback with what names it.
#[derive(Clone, Debug, FromQueryResult)]
pub struct CallbackRow {
    #[sea_orm(nested(prefix = "callback_"))]
    pub callback: callback::Model,
    #[sea_orm(nested(prefix = "appliance_"))]
    pub machine: appliance::Model,
    #[sea_orm(nested(prefix = "service_call_"))]
    pub call: service_call::Model,
    #[sea_orm(nested(prefix = "earlier_"))]
    pub earlier: Option<service_call::Model>,
}

/// The first rows, and how many there are.
#[derive(Clone, Debug)]
pub struct Listed<T> {
    pub rows: Vec<T>,
    pub count: u64,
}

impl<T> Listed<T> {
    /// How many are not among the rows.
    pub fn rest(&self) -> u64 {
        self.count
            .saturating_sub(u64::try_from(self.rows.len()).unwrap_or(u64::MAX))
    }
}

/// Which flags of a day.
#[derive(Clone, Copy, Debug)]
pub enum Which {
    /// Raised or grown more severe since then.
    Raised(DateTime<Utc>),
    /// Opened again since then.
    Reopened(DateTime<Utc>),
    /// Neither, and nobody answered them yet.
    Waiting(DateTime<Utc>),
}

/// Flags, the longest raised first.
///
/// # Errors
/// Internal only.
pub async fn flags(db: &impl ConnectionTrait, which: Which) -> Result<Listed<FlagRow>> {
    let wanted = wanted(which);
    let mut query = joined::select::<flag::Entity>();
    joined::to::<appliance::Entity>(&mut query, ("flag", "appliance_id", "id"));
    joined::to::<service_call::Entity>(&mut query, ("flag", "call_id", "id"));
    query
        .cond_where(wanted.clone())
        .order_by((flag::Entity, flag::Column::RaisedAt), Order::Asc)
        .order_by((flag::Entity, flag::Column::Id), Order::Asc)
        .limit(NAMED_MAX);
    let mut counting = Query::select();
    counting.from(flag::Entity).cond_where(wanted);
    Ok(Listed {
        rows: joined::all(db, &query).await?,
        count: count(db, counting).await?,
    })
}

fn wanted(which: Which) -> Condition {
    match which {
        Which::Raised(since) => Condition::all()
            .add(flag::Column::RaisedAt.gt(since))
            .add(Expr::exists(opened_again(since)).not()),
        Which::Reopened(since) => Condition::all()
            .add(flag::Column::RaisedAt.gt(since))
            .add(Expr::exists(opened_again(since))),
        Which::Waiting(since) => Condition::all()
            .add(flag::Column::State.is_in([FlagState::Open, FlagState::Acknowledged]))
            .add(flag::Column::RaisedAt.lte(since)),
    }
}

/// The step by which the flag at hand was opened again.
fn opened_again(since: DateTime<Utc>) -> SelectStatement {
    Query::select()
        .expr(Expr::val(1))
        .from(flag_step::Entity)
        .and_where(
            Expr::col((flag_step::Entity, flag_step::Column::FlagId))
                .equals((flag::Entity, flag::Column::Id)),
        )
        .and_where(flag_step::Column::At.gt(since))
        .and_where(flag_step::Column::State.eq(FlagState::Open))
        .to_owned()
}

/// Callbacks that nobody decided on, the longest waiting first.
///
/// # Errors
/// Internal only.
pub async fn undecided(db: &impl ConnectionTrait) -> Result<Listed<CallbackRow>> {
    let mut query = joined::select::<callback::Entity>();
    joined::to::<service_call::Entity>(&mut query, ("callback", "call_id", "id"));
    joined::to::<appliance::Entity>(&mut query, ("service_call", "appliance_id", "id"));
    let earlier = ("callback", "earlier_call_id", "id");
    joined::to_if_any_as::<service_call::Entity>(&mut query, "earlier", earlier);
    query
        .and_where(is_undecided())
        .order_by((callback::Entity, callback::Column::Id), Order::Asc)
        .limit(NAMED_MAX);
    let mut counting = Query::select();
    counting.from(callback::Entity).and_where(is_undecided());
    Ok(Listed {
        rows: joined::all(db, &query).await?,
        count: count(db, counting).await?,
    })
}

/// How many callbacks were proposed since then and are not decided.
///
/// # Errors
/// Internal only.
pub async fn newly_proposed(db: &impl ConnectionTrait, since: DateTime<Utc>) -> Result<u64> {
    let mut counting = Query::select();
    counting
        .from(callback::Entity)
        .inner_join(
            service_call::Entity,
            Expr::col((service_call::Entity, service_call::Column::Id))
                .equals((callback::Entity, callback::Column::CallId)),
        )
        .and_where(is_undecided())
        .and_where(service_call::Column::OpenedAt.gt(since));
    count(db, counting).await
}

fn is_undecided() -> Expr {
    callback::Column::State.eq(CallbackState::Proposed)
}

async fn count(db: &impl ConnectionTrait, mut counting: SelectStatement) -> Result<u64> {
    counting.expr_as(Expr::val(1).count(), Alias::new("count"));
    let row = db.query_one(&counting).await?;
    let count = row.map_or(Ok(0), |row| row.try_get::<i64>("", "count"))?;
    Ok(u64::try_from(count).unwrap_or(0))
}
