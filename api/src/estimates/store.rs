//! Rows of estimates, their revisions, options, lines and links.

use nameplate_entities::{
    estimate, estimate_line, estimate_option, estimate_revision, estimate_tax,
};
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder};

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
