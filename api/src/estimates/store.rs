//! Rows of estimates, their revisions, options, lines and links.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::kinds::{CallState, ChargeKind, EstimateState, MailKind, Role, VisitState};
use nameplate_entities::{
    appliance, appliance_type, customer, estimate, estimate_line, estimate_link, estimate_option,
    estimate_question, estimate_reminder, estimate_revision, estimate_tax, outbox_mail, price_book,
    service_call, staff, tax_level, visit, visit_call,
};
use sea_orm::sea_query::{Alias, Expr, ExprTrait, Order, Query};
use sea_orm::{
    ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, JoinType, QueryFilter, QueryOrder,
    QuerySelect, Select,
};

use crate::base::{Error, Result};

/// What a customer accepted, as it is billed.
#[derive(Clone, Debug)]
pub struct Accepted {
    pub estimate: estimate::Model,
    pub revision: estimate_revision::Model,
    pub option: estimate_option::Model,
    /// In the order of printing.
    pub lines: Vec<estimate_line::Model>,
    /// In the order of the levels.
    pub taxes: Vec<estimate_tax::Model>,
}

/// The accepted estimate of a call, invoiced or not; a call has at most one.
///
/// # Errors
/// Internal only.
pub async fn accepted_for_call(
    db: &impl ConnectionTrait,
    call_id: i64,
) -> Result<Option<Accepted>> {
    let Some(revision) = estimate_revision::Entity::find()
        .filter(estimate_revision::Column::AcceptedCallId.eq(call_id))
        .one(db)
        .await?
    else {
        return Ok(None);
    };
    let estimate = estimate_of(db, &revision).await?;
    let option_id = revision
        .accepted_option_id
        .ok_or_else(|| Error::internal("an accepted revision names no option"))?;
    let option = estimate_option::Entity::find_by_id(option_id)
        .one(db)
        .await?
        .ok_or_else(|| Error::internal("an accepted option is gone"))?;
    Ok(Some(Accepted {
        estimate,
        revision,
        option,
        lines: lines_of(db, &[option_id]).await?,
        taxes: taxes_of(db, &[option_id]).await?,
    }))
}

/// The estimate of a revision.
pub async fn estimate_of(
    db: &impl ConnectionTrait,
    revision: &estimate_revision::Model,
) -> Result<estimate::Model> {
    estimate::Entity::find_by_id(revision.estimate_id)
        .one(db)
        .await?
        .ok_or_else(|| Error::internal("a revision's estimate is gone"))
}

/// The options of a revision, in order.
pub async fn options_of(
    db: &impl ConnectionTrait,
    revision_id: i64,
) -> Result<Vec<estimate_option::Model>> {
    Ok(estimate_option::Entity::find()
        .filter(estimate_option::Column::RevisionId.eq(revision_id))
        .order_by_asc(estimate_option::Column::Position)
        .all(db)
        .await?)
}

/// The lines of these options, in order.
pub async fn lines_of(
    db: &impl ConnectionTrait,
    option_ids: &[i64],
) -> Result<Vec<estimate_line::Model>> {
    Ok(estimate_line::Entity::find()
        .filter(estimate_line::Column::OptionId.is_in(option_ids.iter().copied()))
        .order_by_asc(estimate_line::Column::OptionId)
        .order_by_asc(estimate_line::Column::Position)
        .all(db)
        .await?)
}

/// The taxes of these options, in order.
pub async fn taxes_of(
    db: &impl ConnectionTrait,
    option_ids: &[i64],
) -> Result<Vec<estimate_tax::Model>> {
    Ok(estimate_tax::Entity::find()
        .filter(estimate_tax::Column::OptionId.is_in(option_ids.iter().copied()))
        .order_by_asc(estimate_tax::Column::OptionId)
        .order_by_asc(estimate_tax::Column::Position)
        .all(db)
        .await?)
}

/// # Errors
/// `NotFound` at `path`.
pub async fn get_estimate(
    db: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<estimate::Model> {
    estimate::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "estimate"))
}

/// # Errors
/// `NotFound` at `path`.
pub async fn get_revision(
    db: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<estimate_revision::Model> {
    estimate_revision::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "revision of an estimate"))
}

/// The estimates of a call; few by nature.
pub async fn estimates_of_call(
    db: &impl ConnectionTrait,
    call_id: i64,
) -> Result<Vec<estimate::Model>> {
    Ok(estimate::Entity::find()
        .filter(estimate::Column::CallId.eq(call_id))
        .all(db)
        .await?)
}

/// All revisions of an estimate, the first first.
pub async fn revisions_of(
    db: &impl ConnectionTrait,
    estimate_id: i64,
) -> Result<Vec<estimate_revision::Model>> {
    Ok(estimate_revision::Entity::find()
        .filter(estimate_revision::Column::EstimateId.eq(estimate_id))
        .order_by_asc(estimate_revision::Column::Revision)
        .all(db)
        .await?)
}

/// The revision of whatever estimate that was accepted for this call.
pub async fn accepted_revision(
    db: &impl ConnectionTrait,
    call_id: i64,
) -> Result<Option<estimate_revision::Model>> {
    Ok(estimate_revision::Entity::find()
        .filter(estimate_revision::Column::AcceptedCallId.eq(call_id))
        .one(db)
        .await?)
}

/// The number of an estimate for a call that was sent and waits for its answer.
pub async fn waiting_for_answer(db: &impl ConnectionTrait, call_id: i64) -> Result<Option<String>> {
    let estimates = estimates_of_call(db, call_id).await?;
    let sent = estimate_revision::Entity::find()
        .filter(
            estimate_revision::Column::EstimateId
                .is_in(estimates.iter().map(|estimate| estimate.id)),
        )
        .filter(estimate_revision::Column::State.eq(EstimateState::Sent))
        .one(db)
        .await?;
    Ok(sent.and_then(|sent| {
        let estimate = estimates.iter().find(|row| row.id == sent.estimate_id);
        estimate.map(|row| row.number.clone())
    }))
}

/// Sent revisions whose last day lies before `day`, oldest first, at most `rows_max`.
pub async fn lapsed(
    db: &impl ConnectionTrait,
    day: NaiveDate,
    rows_max: u64,
) -> Result<Vec<estimate_revision::Model>> {
    Ok(estimate_revision::Entity::find()
        .filter(estimate_revision::Column::State.eq(EstimateState::Sent))
        .filter(estimate_revision::Column::ValidUntil.lt(day))
        .order_by_asc(estimate_revision::Column::ValidUntil)
        .limit(rows_max)
        .all(db)
        .await?)
}

/// Sent revisions whose next reminder is due by `day`, the longest due first, at most `rows_max`.
pub async fn to_remind(
    db: &impl ConnectionTrait,
    day: NaiveDate,
    rows_max: u64,
) -> Result<Vec<estimate_revision::Model>> {
    Ok(estimate_revision::Entity::find()
        .filter(estimate_revision::Column::State.eq(EstimateState::Sent))
        .filter(estimate_revision::Column::NextReminderOn.lte(day))
        .order_by_asc(estimate_revision::Column::NextReminderOn)
        .order_by_asc(estimate_revision::Column::Id)
        .limit(rows_max)
        .all(db)
        .await?)
}

/// The reminders of a revision that were asked for.
pub async fn reminders_of(
    db: &impl ConnectionTrait,
    revision_id: i64,
) -> Result<Vec<estimate_reminder::Model>> {
    Ok(estimate_reminder::Entity::find()
        .filter(estimate_reminder::Column::RevisionId.eq(revision_id))
        .all(db)
        .await?)
}

/// Whether the customer waits for an answer about a revision.
pub async fn has_open_questions(db: &impl ConnectionTrait, revision_id: i64) -> Result<bool> {
    Ok(estimate_question::Entity::find()
        .filter(estimate_question::Column::RevisionId.eq(revision_id))
        .filter(estimate_question::Column::AnsweredAt.is_null())
        .one(db)
        .await?
        .is_some())
}

/// The latest mail that carried a revision of this estimate.
pub async fn last_mail_of(
    db: &impl ConnectionTrait,
    estimate_id: i64,
) -> Result<Option<outbox_mail::Model>> {
    Ok(outbox_mail::Entity::find()
        .filter(outbox_mail::Column::SubjectKind.eq("estimate"))
        .filter(outbox_mail::Column::SubjectId.eq(estimate_id))
        .filter(outbox_mail::Column::Kind.eq(MailKind::Estimate))
        .order_by_desc(outbox_mail::Column::Id)
        .one(db)
        .await?)
}

/// Numbers of these estimates with the names of their customers, by number.
pub async fn whose(db: &impl ConnectionTrait, ids: &[i64]) -> Result<Vec<(String, String)>> {
    Ok(estimate::Entity::find()
        .select_only()
        .column(estimate::Column::Number)
        .column(customer::Column::Name)
        .join_rev(
            JoinType::InnerJoin,
            service_call::Entity::belongs_to(estimate::Entity)
                .from(service_call::Column::Id)
                .to(estimate::Column::CallId)
                .into(),
        )
        .join(
            JoinType::InnerJoin,
            service_call::Entity::belongs_to(customer::Entity)
                .from(service_call::Column::CustomerId)
                .to(customer::Column::Id)
                .into(),
        )
        .filter(estimate::Column::Id.is_in(ids.iter().copied()))
        .order_by_asc(estimate::Column::Number)
        .into_tuple()
        .all(db)
        .await?)
}

pub async fn call(db: &impl ConnectionTrait, id: i64) -> Result<Option<service_call::Model>> {
    Ok(service_call::Entity::find_by_id(id).one(db).await?)
}

/// What an estimate is about.
pub struct About {
    pub call: service_call::Model,
    pub appliance: appliance::Model,
    pub appliance_type: appliance_type::Model,
}

/// The call with its machine.
///
/// # Errors
/// Internal only.
pub async fn subject_of(db: &impl ConnectionTrait, call_id: i64) -> Result<About> {
    let gone = || Error::internal("the call of an estimate or its machine is gone");
    let call = call(db, call_id).await?.ok_or_else(gone)?;
    let appliance = appliance::Entity::find_by_id(call.appliance_id)
        .one(db)
        .await?
        .ok_or_else(gone)?;
    let appliance_type = appliance_type::Entity::find_by_id(appliance.appliance_type_id)
        .one(db)
        .await?
        .ok_or_else(gone)?;
    Ok(About {
        call,
        appliance,
        appliance_type,
    })
}

/// Whether a machine is built in.
pub async fn is_built_in(db: &impl ConnectionTrait, appliance_id: i64) -> Result<bool> {
    let row = appliance::Entity::find_by_id(appliance_id).one(db).await?;
    Ok(row.is_some_and(|row| row.built_in))
}

/// Who works at the desk.
pub async fn desk(db: &impl ConnectionTrait) -> Result<Vec<staff::Model>> {
    Ok(staff::Entity::find()
        .filter(staff::Column::Role.is_in([Role::Owner, Role::Office]))
        .filter(staff::Column::LeftAt.is_null())
        .order_by_asc(staff::Column::Id)
        .all(db)
        .await?)
}

pub async fn price_book_name(db: &impl ConnectionTrait, id: i64) -> Result<String> {
    price_book::Entity::find_by_id(id)
        .one(db)
        .await?
        .map(|book| book.name)
        .ok_or_else(|| Error::internal("the price book of an estimate is gone"))
}

/// The levels of a jurisdiction by their id.
pub async fn levels(
    db: &impl ConnectionTrait,
    jurisdiction_id: i64,
) -> Result<HashMap<i64, tax_level::Model>> {
    let rows = tax_level::Entity::find()
        .filter(tax_level::Column::TaxJurisdictionId.eq(jurisdiction_id))
        .all(db)
        .await?;
    Ok(rows.into_iter().map(|row| (row.id, row)).collect())
}

/// Stops the links of these revisions.
pub async fn revoke_links(
    tx: &impl ConnectionTrait,
    revision_ids: &[i64],
    at: DateTime<Utc>,
) -> Result<()> {
    if revision_ids.is_empty() {
        return Ok(());
    }
    estimate_link::Entity::update_many()
        .set(estimate_link::ActiveModel {
            revoked_at: Set(Some(at)),
            ..Default::default()
        })
        .filter(estimate_link::Column::RevisionId.is_in(revision_ids.iter().copied()))
        .filter(estimate_link::Column::RevokedAt.is_null())
        .exec(tx)
        .await?;
    Ok(())
}

/// Whether the link with this hash was stopped.
pub async fn is_stopped(db: &impl ConnectionTrait, token_hash: &str) -> Result<bool> {
    let link = estimate_link::Entity::find()
        .filter(estimate_link::Column::TokenHash.eq(token_hash))
        .filter(estimate_link::Column::RevokedAt.is_not_null())
        .one(db)
        .await?;
    Ok(link.is_some())
}

/// The link with this hash that neither ended nor was stopped.
pub async fn live_link(
    db: &impl ConnectionTrait,
    token_hash: &str,
    at: DateTime<Utc>,
) -> Result<Option<estimate_link::Model>> {
    Ok(estimate_link::Entity::find()
        .filter(estimate_link::Column::TokenHash.eq(token_hash))
        .filter(estimate_link::Column::RevokedAt.is_null())
        .filter(estimate_link::Column::ExpiresAt.gt(at))
        .one(db)
        .await?)
}

/// Number of another call on one of this call's visits in these states, whose accepted offer charges the trip.
///
/// # Errors
/// Internal only.
pub async fn trip_charged_with(
    db: &impl ConnectionTrait,
    call_id: i64,
    states: &[VisitState],
) -> Result<Option<String>> {
    let column = |table: &str, name: &str| Expr::col((Alias::new(table), Alias::new(name)));
    let visits = Query::select()
        .expr(column("visit_call", "visit_id"))
        .from(visit_call::Entity)
        .inner_join(
            visit::Entity,
            column("visit", "id").equals(("visit_call", "visit_id")),
        )
        .and_where(column("visit_call", "call_id").eq(call_id))
        .and_where(column("visit", "state").is_in(states.iter().copied()))
        .to_owned();
    let others = Query::select()
        .column(visit_call::Column::CallId)
        .from(visit_call::Entity)
        .and_where(visit_call::Column::VisitId.in_subquery(visits))
        .and_where(visit_call::Column::CallId.ne(call_id))
        .to_owned();
    let mut query = Query::select();
    query
        .expr(column("service_call", "number"))
        .from(service_call::Entity)
        .inner_join(
            estimate::Entity,
            column("estimate", "call_id").equals(("service_call", "id")),
        )
        .inner_join(
            estimate_revision::Entity,
            column("estimate_revision", "estimate_id").equals(("estimate", "id")),
        )
        .inner_join(
            estimate_option::Entity,
            column("estimate_option", "revision_id").equals(("estimate_revision", "id")),
        )
        .inner_join(
            estimate_line::Entity,
            column("estimate_line", "option_id").equals(("estimate_option", "id")),
        )
        .and_where(column("service_call", "id").in_subquery(others))
        // A call that was called off is never billed.
        .and_where(column("service_call", "state").ne(CallState::Cancelled))
        .and_where(
            column("estimate_revision", "state")
                .is_in([EstimateState::Accepted, EstimateState::Invoiced]),
        )
        // Of an accepted offer only what was accepted counts.
        .and_where(
            column("estimate_revision", "accepted_option_id").equals(("estimate_option", "id")),
        )
        .and_where(column("estimate_line", "kind").eq(ChargeKind::Trip))
        .and_where(column("estimate_line", "net_cents").gt(0))
        .order_by((service_call::Entity, service_call::Column::Id), Order::Asc)
        .limit(1);
    let found = db.query_one(&query).await?;
    Ok(found
        .map(|row| row.try_get_by_index::<String>(0))
        .transpose()?)
}

/// Estimates for a call, or with a revision in a state.
pub fn listed(call_id: Option<i64>, state: Option<EstimateState>) -> Select<estimate::Entity> {
    let mut select = estimate::Entity::find();
    if let Some(call_id) = call_id {
        select = select.filter(estimate::Column::CallId.eq(call_id));
    }
    if let Some(state) = state {
        let with_state = Query::select()
            .column(estimate_revision::Column::EstimateId)
            .from(estimate_revision::Entity)
            .and_where(estimate_revision::Column::State.eq(state))
            .to_owned();
        select = select.filter(estimate::Column::Id.in_subquery(with_state));
    }
    select
}
