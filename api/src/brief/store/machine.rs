//! What is known of the machines: earlier calls and all that was done on them, what stands behind them, what came back.

use chrono::NaiveDate;
use nameplate_entities::kinds::{CallState, EstimateState, FlagState};
use nameplate_entities::{
    component, estimate, estimate_option, estimate_revision, failure_mode, finding, flag, part,
    part_used, reading, remedy, service_call, shop_warranty,
};
use sea_orm::sea_query::{Expr, ExprTrait, Order, Query, UnionType};
use sea_orm::{
    ColumnTrait, Condition, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder,
};

use crate::base::{Result, joined};

use super::first_of_each;

/// Most earlier calls in the history.
pub const HISTORY_MAX: usize = 20;
/// The call itself is one of its machine's.
const CALLS_MAX: u64 = 21;

/// A finding by its names.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Found {
    #[sea_orm(nested(prefix = "finding_"))]
    pub finding: finding::Model,
    #[sea_orm(nested(prefix = "component_"))]
    pub component: component::Model,
    #[sea_orm(nested(prefix = "failure_mode_"))]
    pub mode: failure_mode::Model,
}

/// A remedy, once for each part fitted in it.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Done {
    #[sea_orm(nested(prefix = "remedy_"))]
    pub remedy: remedy::Model,
    #[sea_orm(nested(prefix = "part_used_"))]
    pub used: Option<part_used::Model>,
    #[sea_orm(nested(prefix = "part_"))]
    pub part: Option<part::Model>,
}

impl Done {
    /// What was fitted and is still there; none where it was taken back.
    pub fn fitted(&self) -> Option<(&part_used::Model, &part::Model)> {
        let used = self.used.as_ref().filter(|used| !used.quantity.0.is_zero());
        used.zip(self.part.as_ref())
    }
}

/// A warranty of the shop that still holds.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Promise {
    #[sea_orm(nested(prefix = "shop_warranty_"))]
    pub warranty: shop_warranty::Model,
    #[sea_orm(nested(prefix = "component_"))]
    pub component: component::Model,
    #[sea_orm(nested(prefix = "service_call_"))]
    pub call: service_call::Model,
}

/// An open estimate, once for each option.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Offer {
    #[sea_orm(nested(prefix = "estimate_"))]
    pub estimate: estimate::Model,
    #[sea_orm(nested(prefix = "estimate_revision_"))]
    pub revision: estimate_revision::Model,
    #[sea_orm(nested(prefix = "estimate_option_"))]
    pub option: Option<estimate_option::Model>,
    #[sea_orm(nested(prefix = "service_call_"))]
    pub call: service_call::Model,
}

/// A flag that is not closed.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Flagged {
    #[sea_orm(nested(prefix = "flag_"))]
    pub flag: flag::Model,
    #[sea_orm(nested(prefix = "component_"))]
    pub component: component::Model,
    #[sea_orm(nested(prefix = "failure_mode_"))]
    pub mode: failure_mode::Model,
}

/// These calls, and the last ones on their machines that were not cancelled; newest first.
pub async fn calls(
    db: &impl ConnectionTrait,
    call_ids: &[i64],
    machine_ids: &[i64],
) -> Result<Vec<service_call::Model>> {
    // Cancelled ones come last, so that they take nobody's place.
    let order = "CASE WHEN state = 'cancelled' THEN 1 ELSE 0 END, opened_at DESC, id DESC";
    let of_machine = service_call::Column::ApplianceId;
    let these = || service_call::Column::Id.is_in(call_ids.iter().copied());
    // One list of ids, which PostgreSQL looks up; a list or other ids would have it read all calls.
    let mut ids =
        first_of_each::<service_call::Entity>(of_machine, machine_ids, (order, CALLS_MAX));
    let named = Query::select()
        .column(service_call::Column::Id)
        .from(service_call::Entity)
        .and_where(these())
        .to_owned();
    ids.union(UnionType::All, named);
    let standing = Condition::any()
        .add(service_call::Column::State.ne(CallState::Cancelled))
        .add(these());
    let wanted = Condition::all()
        .add(service_call::Column::Id.in_subquery(ids))
        .add(standing);
    Ok(service_call::Entity::find()
        .filter(wanted)
        .order_by_desc(service_call::Column::OpenedAt)
        .order_by_desc(service_call::Column::Id)
        .all(db)
        .await?)
}

pub async fn findings(db: &impl ConnectionTrait, call_ids: &[i64]) -> Result<Vec<Found>> {
    let mut query = joined::select::<finding::Entity>();
    joined::to::<component::Entity>(&mut query, ("finding", "component_id", "id"));
    joined::to::<failure_mode::Entity>(&mut query, ("finding", "failure_mode_id", "id"));
    query
        .and_where(finding::Column::CallId.is_in(call_ids.iter().copied()))
        .order_by((finding::Entity, finding::Column::Id), Order::Asc);
    joined::all(db, &query).await
}

pub async fn remedies(db: &impl ConnectionTrait, call_ids: &[i64]) -> Result<Vec<Done>> {
    let mut query = joined::select::<remedy::Entity>();
    query.inner_join(
        finding::Entity,
        Expr::col((finding::Entity, finding::Column::Id))
            .equals((remedy::Entity, remedy::Column::FindingId)),
    );
    joined::to_if_any::<part_used::Entity>(&mut query, ("remedy", "id", "remedy_id"));
    joined::to_if_any::<part::Entity>(&mut query, ("part_used", "part_id", "id"));
    query
        .and_where(finding::Column::CallId.is_in(call_ids.iter().copied()))
        .order_by((remedy::Entity, remedy::Column::Id), Order::Asc)
        .order_by((part_used::Entity, part_used::Column::Id), Order::Asc);
    joined::all(db, &query).await
}

pub async fn readings(db: &impl ConnectionTrait, call_ids: &[i64]) -> Result<Vec<reading::Model>> {
    Ok(reading::Entity::find()
        .filter(reading::Column::CallId.is_in(call_ids.iter().copied()))
        .order_by_asc(reading::Column::Id)
        .all(db)
        .await?)
}

pub async fn warranties(
    db: &impl ConnectionTrait,
    machine_ids: &[i64],
    today: NaiveDate,
) -> Result<Vec<Promise>> {
    let mut query = joined::select::<shop_warranty::Entity>();
    joined::to::<component::Entity>(&mut query, ("shop_warranty", "component_id", "id"));
    joined::to::<service_call::Entity>(&mut query, ("shop_warranty", "call_id", "id"));
    let holds = Condition::any()
        .add(shop_warranty::Column::LabourThrough.gte(today))
        .add(shop_warranty::Column::PartsThrough.gte(today));
    query
        .and_where(shop_warranty::Column::ApplianceId.is_in(machine_ids.iter().copied()))
        .cond_where(holds)
        .order_by(
            (shop_warranty::Entity, shop_warranty::Column::Id),
            Order::Desc,
        );
    joined::all(db, &query).await
}

/// Sent and accepted estimates on the machines: what was said about a price and is not settled.
pub async fn estimates(db: &impl ConnectionTrait, machine_ids: &[i64]) -> Result<Vec<Offer>> {
    let mut query = joined::select::<estimate_revision::Entity>();
    joined::to::<estimate::Entity>(&mut query, ("estimate_revision", "estimate_id", "id"));
    joined::to::<service_call::Entity>(&mut query, ("estimate", "call_id", "id"));
    joined::to_if_any::<estimate_option::Entity>(
        &mut query,
        ("estimate_revision", "id", "revision_id"),
    );
    // What the desk is still writing was said to nobody.
    let open = [EstimateState::Sent, EstimateState::Accepted];
    // No index can find it so, and the machine's can: a machine has few estimates, a state has those of the whole shop.
    let state =
        Expr::col((estimate_revision::Entity, estimate_revision::Column::State)).if_null("");
    query
        .and_where(service_call::Column::ApplianceId.is_in(machine_ids.iter().copied()))
        .and_where(state.is_in(open))
        .order_by(
            (estimate_revision::Entity, estimate_revision::Column::Id),
            Order::Desc,
        )
        .order_by(
            (estimate_option::Entity, estimate_option::Column::Position),
            Order::Asc,
        );
    joined::all(db, &query).await
}

/// Flags of these machines alone that are not closed, newest first.
pub async fn flags(
    db: &impl ConnectionTrait,
    machine_ids: impl IntoIterator<Item = i64>,
) -> Result<Vec<Flagged>> {
    let mut query = joined::select::<flag::Entity>();
    joined::to::<component::Entity>(&mut query, ("flag", "component_id", "id"));
    joined::to::<failure_mode::Entity>(&mut query, ("flag", "failure_mode_id", "id"));
    query
        .and_where(flag::Column::ApplianceId.is_in(machine_ids))
        .and_where(flag::Column::Pattern.is_null())
        .and_where(flag::Column::State.ne(FlagState::Closed))
        .order_by((flag::Entity, flag::Column::Id), Order::Desc);
    joined::all(db, &query).await
}
