//! Rows of callbacks, flags, evidence and the tally.

use chrono::{Days, NaiveDate};
use nameplate_entities::kinds::{
    CallKind, CallState, CallbackClass, FlagLevel, FlagState, Hazard, Method, Role,
};
use nameplate_entities::{
    appliance, callback, component, failure_mode, finding, flag, remedy, service_call,
    shop_warranty, staff,
};
use nameplate_rules::{callback as rule, flags};
use sea_orm::sea_query::{Alias, Expr, ExprTrait, Order, Query, SelectStatement};
use sea_orm::{
    ColumnTrait, Condition, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder,
    QuerySelect, Select,
};

use crate::base::own_work::Sight;
use crate::base::{Act, Error, Result, joined};
use crate::warranty::{self, Repair};

/// The callbacks this caller may see: those of calls they may see.
pub fn callbacks_visible_to(act: &Act) -> Select<callback::Entity> {
    callback::Entity::find().filter(Sight::of(act).calls(callback::Column::CallId))
}

/// The flags this caller may see: those of machines they work on.
pub fn flags_visible_to(act: &Act) -> Select<flag::Entity> {
    flag::Entity::find().filter(
        Sight::of(act).through_calls(flag::Column::ApplianceId, service_call::Column::ApplianceId),
    )
}

/// The callback, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_callback(
    db: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<callback::Model> {
    callback::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "callback"))
}

/// The callback that a call was proposed to be, if it was.
///
/// # Errors
/// Internal only.
pub async fn callback_of(
    db: &impl ConnectionTrait,
    call_id: i64,
) -> Result<Option<callback::Model>> {
    Ok(callback::Entity::find()
        .filter(callback::Column::CallId.eq(call_id))
        .one(db)
        .await?)
}

/// The callbacks that a completed call may have brought, in the order in which their calls were taken.
pub async fn callbacks_of_earlier(
    db: &impl ConnectionTrait,
    earlier_call_id: i64,
) -> Result<Vec<callback::Model>> {
    Ok(callback::Entity::find()
        .filter(callback::Column::EarlierCallId.eq(earlier_call_id))
        .order_by_asc(callback::Column::Id)
        .all(db)
        .await?)
}

/// The flag, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_flag(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<flag::Model> {
    flag::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "flag"))
}

/// The flag of a call for this component and failure, if there is one.
pub async fn flag_of(
    db: &impl ConnectionTrait,
    call_id: i64,
    component_id: i64,
    failure_mode_id: i64,
) -> Result<Option<flag::Model>> {
    Ok(flag::Entity::find()
        .filter(flag::Column::CallId.eq(call_id))
        .filter(flag::Column::ComponentId.eq(component_id))
        .filter(flag::Column::FailureModeId.eq(failure_mode_id))
        .filter(flag::Column::Pattern.is_null())
        .one(db)
        .await?)
}

/// The flags about several machines that are at a finding.
pub async fn patterns_of_finding(
    db: &impl ConnectionTrait,
    finding_id: i64,
) -> Result<Vec<flag::Model>> {
    Ok(flag::Entity::find()
        .filter(flag::Column::FindingId.eq(finding_id))
        .filter(flag::Column::Pattern.is_not_null())
        .order_by_asc(flag::Column::Id)
        .all(db)
        .await?)
}

/// The newest flag of a machine for this failure: the one that lives on. Rows from before a flag was opened again by the
/// next failure may be several.
pub async fn flag_of_machine(
    db: &impl ConnectionTrait,
    failure: Failure,
) -> Result<Option<flag::Model>> {
    Ok(flag::Entity::find()
        .filter(flag::Column::ApplianceId.eq(failure.appliance_id))
        .filter(flag::Column::ComponentId.eq(failure.of.component_id))
        .filter(flag::Column::FailureModeId.eq(failure.of.failure_mode_id))
        .filter(flag::Column::Pattern.is_null())
        .order_by_desc(flag::Column::CallId)
        .order_by_desc(flag::Column::Id)
        .one(db)
        .await?)
}

/// Whether a flag asks for the root cause of what was found on a call: one to act on that is at this call, or was and went
/// on to a later one of the machine while this one was under way.
///
/// # Errors
/// Internal only.
pub async fn asks_root_cause(
    db: &impl ConnectionTrait,
    call: &service_call::Model,
) -> Result<bool> {
    let found_here = Query::select()
        .expr(Expr::val(1))
        .from(finding::Entity)
        .and_where(finding::Column::CallId.eq(call.id))
        .and_where(
            Expr::col((finding::Entity, finding::Column::ComponentId))
                .equals((flag::Entity, flag::Column::ComponentId)),
        )
        .and_where(
            Expr::col((finding::Entity, finding::Column::FailureModeId))
                .equals((flag::Entity, flag::Column::FailureModeId)),
        )
        .to_owned();
    Ok(flag::Entity::find()
        .filter(flag::Column::ApplianceId.eq(call.appliance_id))
        .filter(flag::Column::CallId.gte(call.id))
        .filter(flag::Column::Level.eq(FlagLevel::Act))
        .filter(flag::Column::Pattern.is_null())
        .filter(Expr::exists(found_here))
        .limit(1)
        .one(db)
        .await?
        .is_some())
}

/// The flags of a machine that are not closed, newest first.
///
/// # Errors
/// Internal only.
pub async fn open_flags(db: &impl ConnectionTrait, appliance_id: i64) -> Result<Vec<flag::Model>> {
    Ok(flag::Entity::find()
        .filter(flag::Column::ApplianceId.eq(appliance_id))
        .filter(flag::Column::State.ne(FlagState::Closed))
        .order_by_desc(flag::Column::Id)
        .all(db)
        .await?)
}

/// Completed repair calls on a machine in the days before `opened_on`, oldest first.
///
/// A call on which a fault was found and nothing done about it was only estimated, and is left out.
pub async fn completed_repairs(
    db: &impl ConnectionTrait,
    appliance_id: i64,
    opened_on: NaiveDate,
    window_days: u32,
) -> Result<Vec<service_call::Model>> {
    let from_on = opened_on
        .checked_sub_days(Days::new(u64::from(window_days)))
        .unwrap_or(NaiveDate::MIN);
    let dealt_with = Query::select()
        .expr(Expr::val(1))
        .from(finding::Entity)
        .and_where(
            Expr::col((finding::Entity, finding::Column::CallId))
                .equals((service_call::Entity, service_call::Column::Id)),
        )
        .cond_where(
            Condition::any()
                .add(warranty::is_repair())
                .add(warranty::is_no_fault()),
        )
        .to_owned();
    Ok(service_call::Entity::find()
        .filter(service_call::Column::ApplianceId.eq(appliance_id))
        .filter(service_call::Column::CompletedOn.between(from_on, opened_on))
        .filter(service_call::Column::State.eq(CallState::Completed))
        .filter(service_call::Column::Kind.eq(CallKind::Repair))
        .filter(Expr::exists(dealt_with))
        .order_by_asc(service_call::Column::CompletedOn)
        .order_by_asc(service_call::Column::CompletedAt)
        .order_by_asc(service_call::Column::Id)
        .all(db)
        .await?)
}

/// A completed repair of one component and failure on one machine.
#[derive(Clone, Debug, FromQueryResult)]
pub struct EarlierRepair {
    pub call_id: i64,
    pub finding_id: i64,
    pub completed_on: NaiveDate,
    pub method: Option<Method>,
    pub labour_through: Option<NaiveDate>,
}

/// What fails, on which machine.
#[derive(Clone, Copy, Debug)]
pub struct Failure {
    pub appliance_id: i64,
    pub of: Repair,
}

/// Completed calls other than `call_id` that repaired this failure on this machine, one row a call, oldest first.
pub async fn earlier_repairs(
    db: &impl ConnectionTrait,
    failure: Failure,
    call_id: i64,
) -> Result<Vec<EarlierRepair>> {
    let mut query = repairs_on_machine(failure, call_id);
    query
        .expr_as(call(service_call::Column::Id), Alias::new("call_id"))
        .expr_as(
            Expr::col((finding::Entity, finding::Column::Id)),
            Alias::new("finding_id"),
        )
        .expr_as(
            call(service_call::Column::CompletedOn),
            Alias::new("completed_on"),
        )
        .expr_as(
            Expr::SubQuery(None, Box::new(last_method().into())),
            Alias::new("method"),
        )
        .expr_as(
            Expr::col((shop_warranty::Entity, shop_warranty::Column::LabourThrough)),
            Alias::new("labour_through"),
        )
        .left_join(
            shop_warranty::Entity,
            Condition::all()
                .add(
                    Expr::col((shop_warranty::Entity, shop_warranty::Column::CallId))
                        .equals((finding::Entity, finding::Column::CallId)),
                )
                .add(
                    Expr::col((shop_warranty::Entity, shop_warranty::Column::ComponentId))
                        .equals((finding::Entity, finding::Column::ComponentId)),
                ),
        )
        .order_by_expr(call(service_call::Column::CompletedOn), Order::Asc)
        .order_by_expr(call(service_call::Column::Id), Order::Asc)
        .order_by_expr(
            Expr::col((finding::Entity, finding::Column::Id)),
            Order::Asc,
        );
    let mut repairs = joined::all::<EarlierRepair>(db, &query).await?;
    repairs.dedup_by_key(|repair| repair.call_id);
    Ok(repairs)
}

/// Findings of other completed calls on the machine that are repairs of this failure, found by the machine's index.
pub fn repairs_on_machine(failure: Failure, but_call_id: i64) -> SelectStatement {
    Query::select()
        .from(service_call::Entity)
        .inner_join(
            finding::Entity,
            Expr::col((finding::Entity, finding::Column::CallId))
                .equals((service_call::Entity, service_call::Column::Id)),
        )
        .and_where(service_call::Column::ApplianceId.eq(failure.appliance_id))
        .and_where(service_call::Column::State.eq(CallState::Completed))
        .and_where(service_call::Column::Id.ne(but_call_id))
        .and_where(unindexed(finding::Column::ComponentId).eq(failure.of.component_id))
        .and_where(unindexed(finding::Column::FailureModeId).eq(failure.of.failure_mode_id))
        .cond_where(warranty::is_repair())
        .to_owned()
}

/// The column as a sum, by which no index can find it: a machine has few findings, a kind of failure has those of the
/// whole shop, and `SQLite` would rather begin with the latter.
fn unindexed(column: finding::Column) -> Expr {
    Expr::col((finding::Entity, column)).add(0)
}

fn call(column: service_call::Column) -> Expr {
    Expr::col((service_call::Entity, column))
}

/// The last method by which something was done about the finding at hand.
pub fn last_method() -> SelectStatement {
    Query::select()
        .column((remedy::Entity, remedy::Column::Method))
        .from(remedy::Entity)
        .and_where(
            Expr::col((remedy::Entity, remedy::Column::FindingId))
                .equals((finding::Entity, finding::Column::Id)),
        )
        .and_where(remedy::Column::Method.ne(Method::None))
        .order_by((remedy::Entity, remedy::Column::Id), Order::Desc)
        .limit(1)
        .to_owned()
}

/// What a failure is called and how dangerous it is.
pub struct FailureNames {
    pub component: component::Model,
    pub mode: failure_mode::Model,
}

pub async fn failure_names(
    db: &impl ConnectionTrait,
    component_id: i64,
    failure_mode_id: i64,
) -> Result<FailureNames> {
    let component = component::Entity::find_by_id(component_id).one(db).await?;
    let mode = failure_mode::Entity::find_by_id(failure_mode_id)
        .one(db)
        .await?;
    match (component, mode) {
        (Some(component), Some(mode)) => Ok(FailureNames { component, mode }),
        _ => Err(Error::internal("a finding names no component or failure")),
    }
}

pub async fn appliance_of(db: &impl ConnectionTrait, id: i64) -> Result<appliance::Model> {
    appliance::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::internal("a call names no machine"))
}

/// Owners and office: those who are told of a flag that asks to act.
pub async fn desk(db: &impl ConnectionTrait) -> Result<Vec<staff::Model>> {
    Ok(staff::Entity::find()
        .filter(staff::Column::Role.is_in([Role::Owner, Role::Office]))
        .filter(staff::Column::LeftAt.is_null())
        .order_by_asc(staff::Column::Id)
        .all(db)
        .await?)
}

/// The hazard as the rules name it.
pub fn hazard(hazard: Hazard) -> flags::Hazard {
    match hazard {
        Hazard::None => flags::Hazard::None,
        Hazard::Heat => flags::Hazard::Heat,
        Hazard::Arc => flags::Hazard::Arc,
        Hazard::Gas => flags::Hazard::Gas,
        Hazard::WaterOnElectrics => flags::Hazard::WaterOnElectrics,
    }
}

/// The kind of call as the rule of callbacks knows it: an installation is planned, like maintenance.
pub fn call_kind(kind: CallKind) -> rule::CallKind {
    match kind {
        CallKind::Repair => rule::CallKind::Unplanned,
        CallKind::Maintenance | CallKind::Installation => rule::CallKind::Maintenance,
    }
}

/// The class as the record keeps it.
pub fn class_of(class: rule::Classification) -> CallbackClass {
    match class {
        rule::Classification::SameFailure => CallbackClass::SameFailure,
        rule::Classification::Related => CallbackClass::Related,
        rule::Classification::Unrelated => CallbackClass::Unrelated,
        rule::Classification::Use => CallbackClass::Use,
        rule::Classification::NoFaultFound => CallbackClass::NoFaultFound,
    }
}

/// The class as the rule names it.
pub fn class_as_rule(class: CallbackClass) -> rule::Classification {
    match class {
        CallbackClass::SameFailure => rule::Classification::SameFailure,
        CallbackClass::Related => rule::Classification::Related,
        CallbackClass::Unrelated => rule::Classification::Unrelated,
        CallbackClass::Use => rule::Classification::Use,
        CallbackClass::NoFaultFound => rule::Classification::NoFaultFound,
    }
}

/// A finding with its failure mode.
#[derive(FromQueryResult)]
struct Found {
    #[sea_orm(nested(prefix = "finding_"))]
    finding: finding::Model,
    #[sea_orm(nested(prefix = "failure_mode_"))]
    mode: failure_mode::Model,
}

/// What was found on two calls, as the rule of callbacks reads it.
pub struct FoundTwice {
    pub earlier: Vec<rule::Finding>,
    pub new: Vec<rule::Finding>,
}

/// Findings of a callback's two calls.
pub async fn found_twice(
    db: &impl ConnectionTrait,
    callback: &callback::Model,
) -> Result<FoundTwice> {
    let mut query = joined::select::<finding::Entity>();
    joined::to::<failure_mode::Entity>(&mut query, ("finding", "failure_mode_id", "id"));
    let calls = [callback.earlier_call_id, callback.call_id];
    query.and_where(finding::Column::CallId.is_in(calls));
    let (earlier, new): (Vec<Found>, Vec<Found>) = joined::all::<Found>(db, &query)
        .await?
        .into_iter()
        .partition(|row| row.finding.call_id == callback.earlier_call_id);
    let as_rules = |rows: Vec<Found>| {
        rows.iter()
            .map(|row| as_rule(&row.finding, &row.mode))
            .collect()
    };
    Ok(FoundTwice {
        earlier: as_rules(earlier),
        new: as_rules(new),
    })
}

/// The finding as the rule of callbacks reads it.
pub fn as_rule(finding: &finding::Model, mode: &failure_mode::Model) -> rule::Finding {
    rule::Finding {
        component: finding.component_id.to_string(),
        mode: mode.key.clone(),
        position: finding.position.as_deref().map(str::to_lowercase),
        cause: rule::Cause::told(finding.cause.as_deref().unwrap_or_default()),
    }
}
