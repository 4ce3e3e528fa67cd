//! What a customer does: reads the mail with the estimate and answers by the link in it.

use std::sync::Arc;

use nameplate_entities::outbox_mail;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder};

use crate::base::outbox::Payload;
use crate::base::{App, Caller, Error, Result};
use crate::estimates;

/// The mails that were asked for about an estimate, oldest first.
pub async fn mails_about(app: &App, estimate_id: i64) -> Result<Vec<outbox_mail::Model>> {
    Ok(outbox_mail::Entity::find()
        .filter(outbox_mail::Column::SubjectKind.eq("estimate"))
        .filter(outbox_mail::Column::SubjectId.eq(estimate_id))
        .order_by_asc(outbox_mail::Column::Id)
        .all(app.db.read())
        .await?)
}

/// Accepts the first option by the token that only this mail holds.
pub async fn accept(app: &Arc<App>, mail: &outbox_mail::Model, content_hash: String) -> Result<()> {
    let payload = serde_json::from_str(&mail.payload_json)
        .map_err(|error| Error::caused("the mail of an estimate", error))?;
    let Payload::Estimate { link_token, .. } = payload else {
        return Err(Error::internal("the mail is of no estimate"));
    };
    let answer = estimates::link::Acceptance {
        option: "1".to_owned(),
        name: mail.to_name.clone(),
        content_hash,
    };
    estimates::link::accept(&app.act(Caller::CustomerLink), &link_token, answer).await?;
    Ok(())
}
