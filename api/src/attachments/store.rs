//! Rows of attachments and, apart from them, their bytes.

use nameplate_entities::kinds::AttachmentSize;
use nameplate_entities::{appliance, attachment, attachment_content, finding, service_call};
use sea_orm::sea_query::Query;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, Condition, ConnectionTrait, EntityTrait,
    PaginatorTrait, QueryFilter, QueryOrder, Select,
};

use crate::base::own_work::Sight;
use crate::base::{Act, Error, Result};

use super::operations::On;

/// The attachments this caller may see; removed ones are seen by nobody.
pub fn visible_to(act: &Act) -> Select<attachment::Entity> {
    use attachment::Column;
    let sight = Sight::of(act);
    let own_findings = Query::select()
        .column(finding::Column::Id)
        .from(finding::Entity)
        .cond_where(sight.calls(finding::Column::CallId))
        .to_owned();
    let seen = match sight {
        Sight::All => Condition::all(),
        ref sight => Condition::any()
            .add(sight.calls(Column::CallId))
            .add(sight.through_calls(Column::ApplianceId, service_call::Column::ApplianceId))
            .add(Column::FindingId.in_subquery(own_findings)),
    };
    attachment::Entity::find()
        .filter(Column::RemovedAt.is_null())
        .filter(seen)
}

/// Whether the record is there and the caller may see it.
pub async fn sees(db: &impl ConnectionTrait, act: &Act, on: On) -> Result<bool> {
    let sight = Sight::of(act);
    let count = match on {
        On::Appliance(id) => {
            appliance::Entity::find_by_id(id)
                .filter(
                    sight.through_calls(appliance::Column::Id, service_call::Column::ApplianceId),
                )
                .count(db)
                .await?
        }
        On::Call(id) => {
            service_call::Entity::find_by_id(id)
                .filter(sight.calls(service_call::Column::Id))
                .count(db)
                .await?
        }
        On::Finding(id) => {
            finding::Entity::find_by_id(id)
                .filter(sight.calls(finding::Column::CallId))
                .count(db)
                .await?
        }
    };
    Ok(count > 0)
}

/// What a record has, oldest first; few by nature.
pub async fn attached(db: &impl ConnectionTrait, on: On) -> Result<Vec<attachment::Model>> {
    let (column, id) = on.column();
    Ok(attachment::Entity::find()
        .filter(column.eq(id))
        .filter(attachment::Column::RemovedAt.is_null())
        .order_by_asc(attachment::Column::Id)
        .all(db)
        .await?)
}

/// Everything on a call, its findings and its machine.
///
/// # Errors
/// Internal only.
pub async fn attached_to_call(
    db: &impl ConnectionTrait,
    call: &service_call::Model,
) -> Result<Vec<attachment::Model>> {
    use attachment::Column;
    let findings = Query::select()
        .column(finding::Column::Id)
        .from(finding::Entity)
        .and_where(finding::Column::CallId.eq(call.id))
        .to_owned();
    Ok(attachment::Entity::find()
        .filter(
            Condition::any()
                .add(Column::CallId.eq(call.id))
                .add(Column::ApplianceId.eq(call.appliance_id))
                .add(Column::FindingId.in_subquery(findings)),
        )
        .filter(Column::RemovedAt.is_null())
        .order_by_asc(Column::Id)
        .all(db)
        .await?)
}

/// The attachment, which the input names at `path`.
///
/// # Errors
/// `NotFound`, also for one that was removed.
pub async fn get(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<attachment::Model> {
    attachment::Entity::find_by_id(id)
        .filter(attachment::Column::RemovedAt.is_null())
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "attachment"))
}

/// The attachments with these ids, in one statement.
///
/// # Errors
/// Internal only.
pub async fn by_ids(
    db: &impl ConnectionTrait,
    ids: impl IntoIterator<Item = i64>,
) -> Result<Vec<attachment::Model>> {
    Ok(attachment::Entity::find()
        .filter(attachment::Column::Id.is_in(ids))
        .all(db)
        .await?)
}

/// The bytes of these attachments in one size.
///
/// # Errors
/// Internal only.
pub async fn content_of(
    db: &impl ConnectionTrait,
    ids: impl IntoIterator<Item = i64>,
    size: AttachmentSize,
) -> Result<Vec<attachment_content::Model>> {
    Ok(attachment_content::Entity::find()
        .filter(attachment_content::Column::AttachmentId.is_in(ids))
        .filter(attachment_content::Column::Size.eq(size))
        .all(db)
        .await?)
}

pub async fn add_content(
    tx: &impl ConnectionTrait,
    attachment_id: i64,
    (size, bytes): (AttachmentSize, Vec<u8>),
) -> Result<()> {
    let row = attachment_content::ActiveModel {
        attachment_id: Set(attachment_id),
        size: Set(size),
        bytes: Set(bytes),
        ..Default::default()
    };
    row.insert(tx).await?;
    Ok(())
}

pub async fn erase_content(tx: &impl ConnectionTrait, attachment_id: i64) -> Result<()> {
    attachment_content::Entity::delete_many()
        .filter(attachment_content::Column::AttachmentId.eq(attachment_id))
        .exec(tx)
        .await?;
    Ok(())
}
