//! Pictures on an estimate, and taking a picture away.

use async_graphql::{Context, ID, InputObject, Object, SimpleObject};
use nameplate_entities::estimate_picture;

use crate::attachments::graphql::Attachment;
use crate::base::Result;
use crate::estimates::writing::pictures;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::payload;

/// A picture for the customer's page and the PDF.
#[derive(InputObject)]
pub struct EstimatePictureInput {
    /// The picture: of the call, its machine or its findings.
    attachment_id: ID,
    /// What it shows, for who cannot see it; the words of its finding when left out.
    words: Option<String>,
}

/// The pictures of an offer.
pub(super) fn commands(
    pictures: Option<Vec<EstimatePictureInput>>,
) -> Result<Vec<pictures::NewPicture>> {
    pictures
        .unwrap_or_default()
        .into_iter()
        .enumerate()
        .map(|(at, picture)| {
            let path = format!("pictures.{at}.attachmentId");
            Ok(pictures::NewPicture {
                attachment_id: Kind::Attachment.row(&path, &picture.attachment_id)?,
                words: picture.words,
            })
        })
        .collect()
}

/// A picture that a revision shows.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct EstimatePicture {
    /// What it shows, for who cannot see it.
    words: String,
    /// SHA-256 of the bytes shown.
    sha256: String,
    #[graphql(skip)]
    row: estimate_picture::Model,
}

impl From<estimate_picture::Model> for EstimatePicture {
    fn from(row: estimate_picture::Model) -> Self {
        Self {
            words: row.words.clone(),
            sha256: row.sha256.clone(),
            row,
        }
    }
}

#[async_graphql::ComplexObject]
impl EstimatePicture {
    /// The picture itself.
    async fn attachment(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Attachment>> {
        Attachment::of(ctx, self.row.attachment_id).await
    }
}

/// A picture or paper to take away.
#[derive(InputObject)]
pub struct RemoveAttachmentInput {
    /// The picture or paper.
    attachment_id: ID,
    /// Why.
    reason: String,
}

payload! {
    /// What taking a picture or paper away gave.
    RemoveAttachmentPayload {
        /// What it was; its bytes are erased.
        attachment: Attachment
    }
}

/// Taking pictures and papers away.
#[derive(Default)]
pub struct PicturesMutation;

#[Object]
impl PicturesMutation {
    /// Takes a picture or paper away for good, unless an estimate shows it. Who did it, and why, stays.
    async fn remove_attachment(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which one, and why.")] input: RemoveAttachmentInput,
    ) -> async_graphql::Result<RemoveAttachmentPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let id = Kind::Attachment.row("attachmentId", &input.attachment_id)?;
            pictures::remove_attachment(act, id, &input.reason).await
        };
        RemoveAttachmentPayload::of(outcome.await.map(Attachment::from))
    }
}
