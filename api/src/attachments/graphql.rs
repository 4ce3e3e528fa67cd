//! Pictures and papers in the graph. Their bytes are fetched over HTTP, at `path`.

use async_graphql::{ComplexObject, Context, Enum, ID, SimpleObject};
use chrono::{DateTime, Utc};
use nameplate_entities::attachment;
use sea_orm::{ColumnTrait, QueryFilter};

use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::shop::graphql::Staff;

use super::{On, is_picture, store};

/// What a picture or paper shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::AttachmentKind")]
pub enum AttachmentKind {
    /// The rating plate.
    Plate,
    /// That and when the machine was bought.
    ProofOfPurchase,
    /// What is wrong.
    Damage,
    /// The machine before work.
    Before,
    /// The machine after work.
    After,
    /// Anything else; the caption says what.
    Other,
}

/// A picture or paper on a machine, a call or a finding.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct Attachment {
    /// What it shows.
    kind: AttachmentKind,
    /// A few words on it.
    caption: Option<String>,
    /// What it is: image/jpeg for every picture, or application/pdf.
    media_type: String,
    /// Width of a picture in pixels.
    width: Option<i32>,
    /// Height of a picture in pixels.
    height: Option<i32>,
    /// Size in bytes as kept.
    byte_count: i64,
    /// SHA-256 of what is kept.
    sha256: String,
    /// SHA-256 of the file that was sent; a picture is kept without the data hidden in it.
    source_sha256: String,
    /// When it was added.
    added_at: DateTime<Utc>,
    #[graphql(skip)]
    row: attachment::Model,
}

impl From<attachment::Model> for Attachment {
    fn from(row: attachment::Model) -> Self {
        Self {
            kind: row.kind.into(),
            caption: row.caption.clone(),
            media_type: row.media_type.clone(),
            width: row.width,
            height: row.height,
            byte_count: row.byte_count,
            sha256: row.sha256.clone(),
            source_sha256: row.source_sha256.clone(),
            added_at: row.added_at,
            row,
        }
    }
}

impl Attachment {
    /// The attachment behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<attachment::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }

    /// The attachment with this id, if the caller may see it.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = store::visible_to(act(ctx)?)
            .filter(attachment::Column::Id.eq(id))
            .one(reader(ctx)?)
            .await
            .map_err(|error| edge(error.into()))?;
        Ok(row.map(Self::from))
    }

    /// What a record that the caller may see has, oldest first.
    pub async fn on(ctx: &Context<'_>, on: On) -> async_graphql::Result<Vec<Self>> {
        let (column, id) = on.column();
        let rows = loaders::children::<attachment::Entity>(ctx, column, id).await?;
        Ok(rows
            .into_iter()
            .filter(|row| row.removed_at.is_none())
            .map(Self::from)
            .collect())
    }
}

#[ComplexObject]
impl Attachment {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::Attachment.id(self.row.id)
    }

    /// Who added it.
    async fn added_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.added_by).await
    }

    /// Where its bytes are fetched, with the same token as here.
    async fn path(&self) -> String {
        format!("/attachments/{}", Kind::Attachment.id(self.row.id).as_str())
    }

    /// Where a picture is fetched at most 1,000 pixels long; null for a paper.
    async fn small_path(&self) -> Option<String> {
        is_picture(&self.row.media_type).then(|| {
            format!(
                "/attachments/{}/small",
                Kind::Attachment.id(self.row.id).as_str()
            )
        })
    }
}
