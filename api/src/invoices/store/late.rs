//! Invoices that are overdue.

use chrono::{Days, NaiveDate};
use nameplate_entities::{invoice, receivable};
use sea_orm::sea_query::Query;
use sea_orm::{
    ColumnTrait, Condition, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
};

use crate::base::Result;

/// What is overdue beyond the days of grace and may be charged by now, the longest overdue first: not disputed, owed by
/// no warranty payer, no charge itself, and the month that was charged is over.
pub async fn overdue(
    db: &impl ConnectionTrait,
    (customer_id, today, rows_max): (Option<i64>, NaiveDate, u64),
    grace_days: u64,
) -> Result<Vec<receivable::Model>> {
    let charges = Query::select()
        .column(invoice::Column::Id)
        .from(invoice::Entity)
        .and_where(invoice::Column::ChargeForInvoiceId.is_not_null())
        .to_owned();
    let next = receivable::Column::LateChargeNextOn;
    let mut select = receivable::Entity::find()
        .filter(receivable::Column::OpenCents.gt(0))
        .filter(receivable::Column::DisputedOn.is_null())
        .filter(super::is_of_customer())
        .filter(Condition::any().add(next.is_null()).add(next.lte(today)))
        .filter(receivable::Column::InvoiceId.not_in_subquery(charges));
    if let Some(last) = today.checked_sub_days(Days::new(grace_days)) {
        select = select.filter(receivable::Column::DueOn.lt(last));
    }
    if let Some(id) = customer_id {
        select = select.filter(receivable::Column::CustomerId.eq(id));
    }
    Ok(select
        .order_by_asc(receivable::Column::DueOn)
        .order_by_asc(receivable::Column::InvoiceId)
        .limit(rows_max)
        .all(db)
        .await?)
}

/// What is to be looked at for a reminder by this day.
pub async fn to_remind(
    db: &impl ConnectionTrait,
    today: NaiveDate,
    rows_max: u64,
) -> Result<Vec<receivable::Model>> {
    Ok(receivable::Entity::find()
        .filter(receivable::Column::NextReminderOn.lte(today))
        .order_by_asc(receivable::Column::NextReminderOn)
        .order_by_asc(receivable::Column::InvoiceId)
        .limit(rows_max)
        .all(db)
        .await?)
}

/// Documents with these ids, in the order they were issued.
pub async fn invoices_by_id(
    db: &impl ConnectionTrait,
    ids: Vec<i64>,
) -> Result<Vec<invoice::Model>> {
    Ok(invoice::Entity::find()
        .filter(invoice::Column::Id.is_in(ids))
        .order_by_asc(invoice::Column::Id)
        .all(db)
        .await?)
}
