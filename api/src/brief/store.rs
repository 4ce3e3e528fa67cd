//! The plan of the brief: each function below that reads is one statement; recalls are at most two, cover at most 15.

use chrono::NaiveDate;
use nameplate_entities::kinds::{CallState, EstimateState, FlagState, VisitState};
use nameplate_entities::{
    appliance, appliance_type, callback, component, contact, customer, estimate, estimate_option,
    estimate_revision, failure_mode, finding, flag, part, part_order, part_used, reading,
    receivable, remedy, service_address, service_call, shop_warranty, staff, visit, visit_call,
};
use nameplate_rules::money::Cents;
use sea_orm::sea_query::{Expr, ExprTrait, Order, Query};
use sea_orm::{
    ColumnTrait, Condition, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder,
    QuerySelect,
};

use crate::base::own_work::Sight;
use crate::base::{Act, Result, joined};
use crate::{coverage, recalls, shop};

/// Most earlier calls in the history.
pub const HISTORY_MAX: u64 = 20;
/// Most other machines at the address; a house has fewer, an apartment block may have more.
const OTHER_MACHINES_MAX: u64 = 50;

/// Everything the brief says.
pub struct Brief {
    pub ticket: Ticket,
    pub today: NaiveDate,
    pub contacts: Vec<contact::Model>,
    /// Earlier calls on the machine, newest first.
    pub history: Vec<service_call::Model>,
    pub findings: Vec<Found>,
    pub remedies: Vec<Done>,
    pub readings: Vec<reading::Model>,
    /// Recalls that are or may be about the machine.
    pub recalls: Vec<recalls::Matched>,
    pub warranties: Vec<Promise>,
    /// What the machine is covered by on the day of the next visit.
    pub cover: Vec<coverage::CoverAhead>,
    pub estimates: Vec<Offer>,
    pub balance: Cents,
    pub flags: Vec<Flagged>,
    pub other_machines: Vec<Machine>,
    pub visits: Vec<Trip>,
    /// Parts ordered for the call.
    pub part_orders: Vec<Ordered>,
}

/// The call with all that it points to.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Ticket {
    #[sea_orm(nested(prefix = "service_call_"))]
    pub call: service_call::Model,
    #[sea_orm(nested(prefix = "appliance_"))]
    pub appliance: appliance::Model,
    #[sea_orm(nested(prefix = "appliance_type_"))]
    pub appliance_type: appliance_type::Model,
    #[sea_orm(nested(prefix = "customer_"))]
    pub customer: customer::Model,
    #[sea_orm(nested(prefix = "service_address_"))]
    pub address: service_address::Model,
    #[sea_orm(nested(prefix = "callback_"))]
    pub callback: Option<callback::Model>,
    /// The call of which this one is, or may be, the callback.
    #[sea_orm(nested(prefix = "earlier_"))]
    pub earlier: Option<service_call::Model>,
}

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

/// Another machine at the address.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Machine {
    #[sea_orm(nested(prefix = "appliance_"))]
    pub appliance: appliance::Model,
    #[sea_orm(nested(prefix = "appliance_type_"))]
    pub appliance_type: appliance_type::Model,
}

/// A planned visit and who makes it.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Trip {
    #[sea_orm(nested(prefix = "visit_"))]
    pub visit: visit::Model,
    #[sea_orm(nested(prefix = "staff_"))]
    pub technician: staff::Model,
}

/// Parts ordered for the call.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Ordered {
    #[sea_orm(nested(prefix = "part_order_"))]
    pub order: part_order::Model,
    #[sea_orm(nested(prefix = "part_"))]
    pub part: part::Model,
}

/// Most orders of parts for one call; a repair waits for a handful.
const PART_ORDERS_MAX: u64 = 50;

/// Reads the brief of a call; `None` for one that does not exist or that the caller may not see.
///
/// # Errors
/// Internal only.
pub async fn load(db: &impl ConnectionTrait, act: &Act, call_id: i64) -> Result<Option<Brief>> {
    let Some(ticket) = ticket(db, act, call_id).await? else {
        return Ok(None);
    };
    let call = &ticket.call;
    let today = shop::settings(db).await?.day_of(act.at);
    let history = history(db, call).await?;
    let ids = history.iter().map(|call| call.id).collect::<Vec<_>>();
    let visits = visits(db, call.id).await?;
    let planned = visits.iter().map(|trip| trip.visit.planned_on);
    let next = planned.filter(|day| *day >= today).min().unwrap_or(today);
    let of_call = (call, &ticket.appliance);
    Ok(Some(Brief {
        today,
        contacts: contacts(db, call.customer_id).await?,
        findings: findings(db, &ids).await?,
        remedies: remedies(db, &ids).await?,
        readings: readings(db, &ids).await?,
        recalls: recalls::about(db, &ticket.appliance).await?,
        warranties: warranties(db, call.appliance_id, today).await?,
        cover: coverage::before_visit(db, of_call, next).await?,
        estimates: estimates(db, call.appliance_id).await?,
        balance: balance(db, call.customer_id).await?,
        flags: flags(db, call.appliance_id).await?,
        other_machines: other_machines(db, call).await?,
        visits,
        part_orders: part_orders(db, call.id).await?,
        history,
        ticket,
    }))
}

async fn ticket(db: &impl ConnectionTrait, act: &Act, call_id: i64) -> Result<Option<Ticket>> {
    let mut query = joined::select::<service_call::Entity>();
    joined::to::<appliance::Entity>(&mut query, ("service_call", "appliance_id", "id"));
    joined::to::<appliance_type::Entity>(&mut query, ("appliance", "appliance_type_id", "id"));
    joined::to::<customer::Entity>(&mut query, ("service_call", "customer_id", "id"));
    joined::to::<service_address::Entity>(&mut query, ("service_call", "service_address_id", "id"));
    joined::to_if_any::<callback::Entity>(&mut query, ("service_call", "id", "call_id"));
    joined::to_if_any_as::<service_call::Entity>(
        &mut query,
        "earlier",
        ("callback", "earlier_call_id", "id"),
    );
    query
        .and_where(service_call::Column::Id.eq(call_id))
        .cond_where(Sight::of(act).calls(service_call::Column::Id));
    Ok(joined::all(db, &query).await?.pop())
}

async fn contacts(db: &impl ConnectionTrait, customer_id: i64) -> Result<Vec<contact::Model>> {
    Ok(contact::Entity::find()
        .filter(contact::Column::CustomerId.eq(customer_id))
        .order_by_asc(contact::Column::Id)
        .limit(20)
        .all(db)
        .await?)
}

async fn history(
    db: &impl ConnectionTrait,
    call: &service_call::Model,
) -> Result<Vec<service_call::Model>> {
    Ok(service_call::Entity::find()
        .filter(service_call::Column::ApplianceId.eq(call.appliance_id))
        .filter(service_call::Column::Id.ne(call.id))
        .filter(service_call::Column::State.ne(CallState::Cancelled))
        .order_by_desc(service_call::Column::OpenedAt)
        .order_by_desc(service_call::Column::Id)
        .limit(HISTORY_MAX)
        .all(db)
        .await?)
}

async fn findings(db: &impl ConnectionTrait, call_ids: &[i64]) -> Result<Vec<Found>> {
    let mut query = joined::select::<finding::Entity>();
    joined::to::<component::Entity>(&mut query, ("finding", "component_id", "id"));
    joined::to::<failure_mode::Entity>(&mut query, ("finding", "failure_mode_id", "id"));
    query
        .and_where(finding::Column::CallId.is_in(call_ids.iter().copied()))
        .order_by((finding::Entity, finding::Column::Id), Order::Asc);
    joined::all(db, &query).await
}

async fn remedies(db: &impl ConnectionTrait, call_ids: &[i64]) -> Result<Vec<Done>> {
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

async fn readings(db: &impl ConnectionTrait, call_ids: &[i64]) -> Result<Vec<reading::Model>> {
    Ok(reading::Entity::find()
        .filter(reading::Column::CallId.is_in(call_ids.iter().copied()))
        .order_by_asc(reading::Column::Id)
        .all(db)
        .await?)
}

async fn warranties(
    db: &impl ConnectionTrait,
    appliance_id: i64,
    today: NaiveDate,
) -> Result<Vec<Promise>> {
    let mut query = joined::select::<shop_warranty::Entity>();
    joined::to::<component::Entity>(&mut query, ("shop_warranty", "component_id", "id"));
    joined::to::<service_call::Entity>(&mut query, ("shop_warranty", "call_id", "id"));
    let holds = Condition::any()
        .add(shop_warranty::Column::LabourThrough.gte(today))
        .add(shop_warranty::Column::PartsThrough.gte(today));
    query
        .and_where(shop_warranty::Column::ApplianceId.eq(appliance_id))
        .cond_where(holds)
        .order_by(
            (shop_warranty::Entity, shop_warranty::Column::Id),
            Order::Desc,
        );
    joined::all(db, &query).await
}

/// Sent and accepted estimates on the machine: what was said about its price and is not settled.
async fn estimates(db: &impl ConnectionTrait, appliance_id: i64) -> Result<Vec<Offer>> {
    let mut query = joined::select::<estimate_revision::Entity>();
    joined::to::<estimate::Entity>(&mut query, ("estimate_revision", "estimate_id", "id"));
    query.inner_join(
        service_call::Entity,
        Expr::col((service_call::Entity, service_call::Column::Id))
            .equals((estimate::Entity, estimate::Column::CallId)),
    );
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
        .and_where(service_call::Column::ApplianceId.eq(appliance_id))
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

/// What the customer still owes on all issued invoices.
async fn balance(db: &impl ConnectionTrait, customer_id: i64) -> Result<Cents> {
    let mut query = Query::select();
    query
        .expr_as(
            Expr::col(receivable::Column::OpenCents)
                .sum()
                .if_null(0_i64)
                .cast_as("BIGINT"),
            "open_cents",
        )
        .from(receivable::Entity)
        .and_where(receivable::Column::CustomerId.eq(customer_id));
    let row = db.query_one(&query).await?;
    let open = row.map(|row| row.try_get("", "open_cents")).transpose()?;
    Ok(Cents(open.unwrap_or(0)))
}

async fn flags(db: &impl ConnectionTrait, appliance_id: i64) -> Result<Vec<Flagged>> {
    let mut query = joined::select::<flag::Entity>();
    joined::to::<component::Entity>(&mut query, ("flag", "component_id", "id"));
    joined::to::<failure_mode::Entity>(&mut query, ("flag", "failure_mode_id", "id"));
    query
        .and_where(flag::Column::ApplianceId.eq(appliance_id))
        .and_where(flag::Column::State.ne(FlagState::Closed))
        .order_by((flag::Entity, flag::Column::Id), Order::Desc);
    joined::all(db, &query).await
}

async fn other_machines(
    db: &impl ConnectionTrait,
    call: &service_call::Model,
) -> Result<Vec<Machine>> {
    let mut query = joined::select::<appliance::Entity>();
    joined::to::<appliance_type::Entity>(&mut query, ("appliance", "appliance_type_id", "id"));
    query
        .and_where(appliance::Column::ServiceAddressId.eq(call.service_address_id))
        .and_where(appliance::Column::Id.ne(call.appliance_id))
        .order_by((appliance::Entity, appliance::Column::Id), Order::Asc)
        .limit(OTHER_MACHINES_MAX);
    joined::all(db, &query).await
}

async fn visits(db: &impl ConnectionTrait, call_id: i64) -> Result<Vec<Trip>> {
    let mut query = joined::select::<visit::Entity>();
    joined::to::<staff::Entity>(&mut query, ("visit", "technician_id", "id"));
    query
        .inner_join(
            visit_call::Entity,
            Expr::col((visit_call::Entity, visit_call::Column::VisitId))
                .equals((visit::Entity, visit::Column::Id)),
        )
        .and_where(visit_call::Column::CallId.eq(call_id))
        .and_where(visit::Column::State.eq(VisitState::Planned))
        .order_by((visit::Entity, visit::Column::PlannedOn), Order::Asc)
        .order_by((visit::Entity, visit::Column::Id), Order::Asc);
    joined::all(db, &query).await
}

async fn part_orders(db: &impl ConnectionTrait, call_id: i64) -> Result<Vec<Ordered>> {
    let mut query = joined::select::<part_order::Entity>();
    joined::to::<part::Entity>(&mut query, ("part_order", "part_id", "id"));
    query
        .and_where(part_order::Column::CallId.eq(call_id))
        .order_by((part_order::Entity, part_order::Column::Id), Order::Asc)
        .limit(PART_ORDERS_MAX);
    joined::all(db, &query).await
}
