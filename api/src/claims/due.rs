//! What of claims waits for the shop: last days to file, questions of payers, parts to send back, invoices without a claim.

use chrono::NaiveDate;
use nameplate_entities::kinds::{ClaimState, Payer};
use nameplate_entities::{
    claim, invoice, kept_part, programme_terms, receivable, service_call, warranty_payer,
};
use nameplate_rules::dates::days_after;
use sea_orm::sea_query::{Alias, Expr, ExprTrait, Order, Query, SelectStatement};
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder,
    QuerySelect,
};

use super::operations::drafting::day_to_file;
use crate::base::{Error, Result, joined};

/// Most of each kind.
const EACH_MAX: u64 = 100;
/// Most invoices without a claim that are looked at for the most pressing ones.
const UNCLAIMED_MAX: u64 = 1_000;

/// What waits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Waits {
    /// A claim that is not filed, by its last day.
    File(claim::Model),
    /// A claim that the payer asks about.
    Answer(claim::Model),
    /// A kept part that a payer wants back.
    SendBack(kept_part::Model),
    /// A payer's invoice that nobody claimed.
    Draft(invoice::Model),
    /// A claim whose payer left something unpaid: it is disputed, billed or borne.
    Rest(claim::Model),
}

/// One thing that waits for the shop.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Due {
    pub waits: Waits,
    /// The last day for it, where there is one.
    pub by: Option<NaiveDate>,
}

/// All that waits and has its last day within so many days, or has none, and every payer's invoice without a claim, whatever
/// its last day; the most pressing first, at most 100 of each kind.
///
/// # Errors
/// Internal only.
pub async fn due(
    db: &impl ConnectionTrait,
    (today, within_days): (NaiveDate, u32),
) -> Result<Vec<Due>> {
    let until = days_after(today, within_days)
        .map_err(|refusal| Error::caused("the last day looked at", refusal))?;
    let mut all = to_file(db, claim::Column::FileBy.lte(until)).await?;
    all.extend(to_send_back(db, until).await?);
    let (dated, undated): (Vec<_>, Vec<_>) =
        (not_claimed(db).await?.into_iter()).partition(|due| due.by.is_some());
    all.extend(dated);
    all.sort_by_key(|due| due.by);
    all.extend(asked_about(db).await?);
    all.extend(to_file(db, claim::Column::FileBy.is_null()).await?);
    all.extend(left_unpaid(db).await?);
    all.extend(undated);
    Ok(all)
}

/// Claims that did not go out, by a condition on their last day.
async fn to_file(db: &impl ConnectionTrait, by: Expr) -> Result<Vec<Due>> {
    let rows = claim::Entity::find()
        .filter(claim::Column::State.is_in([ClaimState::Draft, ClaimState::Ready]))
        .filter(by)
        .order_by_asc(claim::Column::FileBy)
        .order_by_asc(claim::Column::Id)
        .limit(EACH_MAX)
        .all(db)
        .await?;
    Ok((rows.into_iter())
        .map(|row| Due {
            by: row.file_by,
            waits: Waits::File(row),
        })
        .collect())
}

async fn asked_about(db: &impl ConnectionTrait) -> Result<Vec<Due>> {
    let rows = claim::Entity::find()
        .filter(claim::Column::State.eq(ClaimState::Queried))
        .order_by_asc(claim::Column::Id)
        .limit(EACH_MAX)
        .all(db)
        .await?;
    Ok((rows.into_iter())
        .map(|row| Due {
            by: None,
            waits: Waits::Answer(row),
        })
        .collect())
}

async fn left_unpaid(db: &impl ConnectionTrait) -> Result<Vec<Due>> {
    let mut open = Query::select();
    open.column(receivable::Column::InvoiceId)
        .from(receivable::Entity)
        .and_where(receivable::Column::OpenCents.gt(0));
    let rows = claim::Entity::find()
        .filter(claim::Column::State.is_in([ClaimState::Denied, ClaimState::Paid]))
        .filter(claim::Column::StandingInvoiceId.in_subquery(open))
        .order_by_asc(claim::Column::Id)
        .limit(EACH_MAX)
        .all(db)
        .await?;
    Ok((rows.into_iter())
        .map(|row| Due {
            by: None,
            waits: Waits::Rest(row),
        })
        .collect())
}

async fn to_send_back(db: &impl ConnectionTrait, until: NaiveDate) -> Result<Vec<Due>> {
    let rows = kept_part::Entity::find()
        .filter(kept_part::Column::SentOn.is_null())
        .filter(kept_part::Column::ScrappedOn.is_null())
        .filter(kept_part::Column::ReturnBy.lte(until))
        .order_by_asc(kept_part::Column::ReturnBy)
        .order_by_asc(kept_part::Column::Id)
        .limit(EACH_MAX)
        .all(db)
        .await?;
    Ok((rows.into_iter())
        .map(|row| Due {
            by: row.return_by,
            waits: Waits::SendBack(row),
        })
        .collect())
}

#[derive(FromQueryResult)]
struct Unclaimed {
    id: i64,
    completed_on: Option<NaiveDate>,
    days_to_file: Option<i32>,
    claim_days_move_on: bool,
}

/// Invoices without a standing claim, those with the earliest last day to file first.
async fn not_claimed(db: &impl ConnectionTrait) -> Result<Vec<Due>> {
    let found: Vec<Unclaimed> = joined::all(db, &unclaimed()).await?;
    let mut days = Vec::with_capacity(found.len());
    for row in found {
        let day = day_to_file(row.completed_on, row.days_to_file, row.claim_days_move_on)?;
        days.push((day, row.id));
    }
    days.sort_by_key(|(day, id)| (day.is_none(), *day, *id));
    days.truncate(usize::try_from(EACH_MAX).unwrap_or(usize::MAX));
    let rows = invoice::Entity::find()
        .filter(invoice::Column::Id.is_in(days.iter().map(|(_, id)| *id)))
        .all(db)
        .await?;
    Ok((days.into_iter())
        .filter_map(|(by, id)| {
            let row = rows.iter().find(|row| row.id == id)?.clone();
            let waits = Waits::Draft(row);
            Some(Due { waits, by })
        })
        .collect())
}

/// Read from what is open, so that paid invoices of years are not looked at.
fn unclaimed() -> SelectStatement {
    let claimed = Query::select()
        .expr(Expr::val(1))
        .from(claim::Entity)
        .and_where(
            Expr::col((claim::Entity, claim::Column::StandingInvoiceId))
                .equals((invoice::Entity, invoice::Column::Id)),
        )
        .to_owned();
    let mut query = Query::select();
    query
        .column((invoice::Entity, invoice::Column::Id))
        .expr_as(
            Expr::col((service_call::Entity, service_call::Column::CompletedOn)),
            Alias::new("completed_on"),
        )
        .expr_as(
            Expr::col((programme_terms::Entity, programme_terms::Column::DaysToFile)),
            Alias::new("days_to_file"),
        )
        .expr_as(
            Expr::col((
                warranty_payer::Entity,
                warranty_payer::Column::ClaimDaysMoveOn,
            )),
            Alias::new("claim_days_move_on"),
        )
        .from(receivable::Entity)
        .inner_join(
            invoice::Entity,
            Expr::col((invoice::Entity, invoice::Column::Id))
                .equals((receivable::Entity, receivable::Column::InvoiceId)),
        )
        .inner_join(
            service_call::Entity,
            Expr::col((service_call::Entity, service_call::Column::Id))
                .equals((invoice::Entity, invoice::Column::CallId)),
        )
        .inner_join(
            warranty_payer::Entity,
            Expr::col((warranty_payer::Entity, warranty_payer::Column::Id))
                .equals((invoice::Entity, invoice::Column::WarrantyPayerId)),
        )
        .left_join(
            programme_terms::Entity,
            Expr::col((programme_terms::Entity, programme_terms::Column::Id))
                .equals((invoice::Entity, invoice::Column::ProgrammeTermsId)),
        )
        .and_where(receivable::Column::OpenCents.gt(0))
        .and_where(receivable::Column::TakenBack.eq(false))
        .and_where(invoice::Column::Payer.eq(Payer::WarrantyPayer))
        .and_where(Expr::exists(claimed).not())
        .order_by((invoice::Entity, invoice::Column::Id), Order::Asc)
        .limit(UNCLAIMED_MAX);
    query
}
