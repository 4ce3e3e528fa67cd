//! What of claims waits for the shop: last days to file, questions of payers, parts to send back, invoices without a claim.

use chrono::NaiveDate;
use nameplate_entities::kinds::{ClaimState, Payer};
use nameplate_entities::{claim, invoice, kept_part, receivable};
use nameplate_rules::dates::days_after;
use sea_orm::sea_query::{Expr, ExprTrait, Query};
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect};

use crate::base::{Error, Result};

/// Most of each kind.
const EACH_MAX: u64 = 100;

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
}

/// One thing that waits for the shop.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Due {
    pub waits: Waits,
    /// The last day for it, where there is one.
    pub by: Option<NaiveDate>,
}

/// All that waits and has its last day within so many days, or has none; the most pressing first, at most 100 of each kind.
///
/// # Errors
/// Internal only.
pub async fn due(
    db: &impl ConnectionTrait,
    (today, within_days): (NaiveDate, u32),
) -> Result<Vec<Due>> {
    let until = days_after(today, within_days)
        .map_err(|refusal| Error::caused("the last day looked at", refusal))?;
    let mut all = to_file(db, until).await?;
    all.extend(to_send_back(db, until).await?);
    all.sort_by_key(|due| due.by);
    all.extend(asked_about(db).await?);
    all.extend(not_claimed(db).await?);
    Ok(all)
}

async fn to_file(db: &impl ConnectionTrait, until: NaiveDate) -> Result<Vec<Due>> {
    let rows = claim::Entity::find()
        .filter(claim::Column::State.is_in([ClaimState::Draft, ClaimState::Ready]))
        .filter(claim::Column::FileBy.lte(until))
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

/// Read from what is open, so that paid invoices of years are not looked at.
async fn not_claimed(db: &impl ConnectionTrait) -> Result<Vec<Due>> {
    let open = Query::select()
        .column(receivable::Column::InvoiceId)
        .from(receivable::Entity)
        .and_where(receivable::Column::OpenCents.gt(0))
        .and_where(receivable::Column::TakenBack.eq(false))
        .to_owned();
    let claimed = Query::select()
        .expr(Expr::val(1))
        .from(claim::Entity)
        .and_where(
            Expr::col((claim::Entity, claim::Column::InvoiceId))
                .equals((invoice::Entity, invoice::Column::Id)),
        )
        .to_owned();
    let rows = invoice::Entity::find()
        .filter(invoice::Column::Payer.eq(Payer::WarrantyPayer))
        .filter(invoice::Column::CallId.is_not_null())
        .filter(invoice::Column::Id.in_subquery(open))
        .filter(Expr::exists(claimed).not())
        .order_by_asc(invoice::Column::Id)
        .limit(EACH_MAX)
        .all(db)
        .await?;
    Ok((rows.into_iter())
        .map(|row| Due {
            by: None,
            waits: Waits::Draft(row),
        })
        .collect())
}
