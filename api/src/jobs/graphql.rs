//! Mail on its way out, in the graph: what is queued, sent and failed.

use async_graphql::connection::Connection;
use async_graphql::{Context, Enum, ID, InputObject, Object};
use chrono::{DateTime, Utc};
use nameplate_entities::outbox_mail::{self, Column, Entity};
use nameplate_entities::{
    claim, claim_sending, estimate, estimate_revision, invoice, kinds, owner_letter, payment,
};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, Select};

use crate::base::Error;
use crate::base::outbox::Payload;
use crate::base::own_work::Sight;
use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::{bad_input, edge};
use crate::graphql::ids::{self, Kind};
use crate::graphql::loaders;
use crate::payload;

use super::outbox::{self, RetryMail};

/// What a mail carries.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
pub enum MailKind {
    /// An estimate with its link, to a customer.
    Estimate,
    /// A reminder of an estimate that has no answer yet, to a customer.
    Reminder,
    /// What was noted of an answer that did not come by the link, to a customer.
    Confirmation,
    /// An issued invoice, to a customer.
    Invoice,
    /// An issued credit note, to a customer.
    CreditNote,
    /// A statement of account, to a customer.
    Statement,
    /// The receipt of a payment, to a customer.
    Receipt,
    /// That a payment came back, to a customer.
    PaymentReturned,
    /// A claim with its archive, to a warranty payer.
    Claim,
    /// Plain words to a member of staff.
    Notice,
}

/// Where a mail stands on its way out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::MailState")]
pub enum MailState {
    /// Asked for, not tried yet.
    Queued,
    /// Being handed to the relay now.
    Sending,
    /// Tried, and to be tried again.
    Waiting,
    /// Taken by the relay.
    Sent,
    /// Given up. `retryMail` sends it again.
    Failed,
    /// Not sent, because what it would say was over before it could leave.
    Dropped,
}

/// A mail that was asked for.
pub struct Mail {
    row: outbox_mail::Model,
}

impl From<outbox_mail::Model> for Mail {
    fn from(row: outbox_mail::Model) -> Self {
        Self { row }
    }
}

/// A mail that was asked for.
#[Object]
impl Mail {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::Mail.id(self.row.id)
    }

    /// What it carries.
    async fn kind(&self, ctx: &Context<'_>) -> async_graphql::Result<MailKind> {
        let payload = self.payload()?;
        if let Payload::Invoice { invoice_id } = payload {
            let row = loaders::row::<invoice::Entity>(ctx, invoice_id).await?;
            let is_credit = row.is_some_and(|row| row.kind == kinds::ReceivableKind::CreditNote);
            return Ok(if is_credit {
                MailKind::CreditNote
            } else {
                MailKind::Invoice
            });
        }
        Ok(match payload {
            Payload::Estimate { .. } | Payload::EstimateAnswer { .. } => MailKind::Estimate,
            Payload::Reminder { .. } | Payload::Overdue { .. } => MailKind::Reminder,
            Payload::Confirmation { .. } => MailKind::Confirmation,
            Payload::Invoice { .. } => MailKind::Invoice,
            Payload::Statement { .. } => MailKind::Statement,
            Payload::PaymentReturned { .. } => MailKind::PaymentReturned,
            Payload::Receipt { .. } => MailKind::Receipt,
            Payload::Claim { .. } => MailKind::Claim,
            Payload::OwnerLetter { .. } | Payload::Notice { .. } => MailKind::Notice,
        })
    }

    /// What it is about in a few words: the headline of plain words, or the number of the document it carries.
    async fn title(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<String>> {
        Ok(match self.payload()? {
            Payload::Notice { headline, .. } => Some(headline),
            Payload::Invoice { invoice_id } | Payload::Overdue { invoice_id, .. } => {
                let row = loaders::row::<invoice::Entity>(ctx, invoice_id).await?;
                row.map(|row| row.number)
            }
            Payload::Statement { from, until, .. } => Some(format!("{from} to {until}")),
            Payload::PaymentReturned { payment_id } | Payload::Receipt { payment_id } => {
                let row = loaders::row::<payment::Entity>(ctx, payment_id).await?;
                row.map(|row| row.number)
            }
            Payload::Estimate { revision_id, .. }
            | Payload::Reminder { revision_id, .. }
            | Payload::Confirmation { revision_id } => {
                let revision = loaders::row::<estimate_revision::Entity>(ctx, revision_id).await?;
                match revision {
                    Some(row) => loaders::row::<estimate::Entity>(ctx, row.estimate_id)
                        .await?
                        .map(|row| row.number),
                    None => None,
                }
            }
            Payload::Claim { sending_id } => {
                let sent = loaders::row::<claim_sending::Entity>(ctx, sending_id).await?;
                match sent {
                    Some(row) => loaders::row::<claim::Entity>(ctx, row.claim_id)
                        .await?
                        .map(|row| row.number),
                    None => None,
                }
            }
            Payload::OwnerLetter { letter_id } => {
                let row = loaders::row::<owner_letter::Entity>(ctx, letter_id).await?;
                row.map(|row| match row.kind {
                    kinds::OwnerLetterKind::Digest => format!("What came back, {}", row.of_day),
                    kinds::OwnerLetterKind::Summary => {
                        row.of_day.format("Summary of %B %Y").to_string()
                    }
                })
            }
            Payload::EstimateAnswer { .. } => None,
        })
    }

    /// The address it goes to.
    async fn to(&self) -> &str {
        &self.row.to_email
    }

    /// The name of the person it goes to.
    async fn to_name(&self) -> &str {
        &self.row.to_name
    }

    /// Id of the record it is about, for `node`; null for a record that is not looked up by id.
    async fn subject(&self) -> Option<ID> {
        let kind = match self.row.subject_kind.as_str() {
            "estimate" => Kind::Estimate,
            "estimate_revision" => Kind::EstimateRevision,
            "invoice" => Kind::Invoice,
            "customer" => Kind::Customer,
            "payment" => Kind::Payment,
            "outbox_mail" => Kind::Mail,
            "flag" => Kind::Flag,
            "claim" => Kind::Claim,
            _ => return None,
        };
        Some(kind.id(self.row.subject_id))
    }

    /// Where it stands.
    async fn state(&self) -> MailState {
        self.row.state.into()
    }

    /// How often it was tried since it was asked for.
    async fn attempts(&self) -> i32 {
        self.row.attempts
    }

    /// Why the last try did not succeed, as the relay said it.
    async fn last_error(&self) -> Option<&str> {
        self.row.last_error.as_deref()
    }

    /// When it was asked for.
    async fn created_at(&self) -> DateTime<Utc> {
        self.row.created_at
    }

    /// When the next try is due; null when there will be none.
    async fn next_try_at(&self) -> Option<DateTime<Utc>> {
        let is_due = matches!(
            self.row.state,
            kinds::MailState::Queued | kinds::MailState::Waiting
        );
        is_due.then_some(self.row.next_try_at)
    }

    /// When the relay took it.
    async fn sent_at(&self) -> Option<DateTime<Utc>> {
        self.row.sent_at
    }
}

impl Mail {
    fn payload(&self) -> async_graphql::Result<Payload> {
        serde_json::from_str(&self.row.payload_json)
            .map_err(|error| edge(Error::caused("payload of a mail", error)))
    }

    /// The mail with this id, for the desk.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if !matches!(Sight::of(act(ctx)?), Sight::All) {
            return Ok(None);
        }
        let row = Entity::find_by_id(id).one(reader(ctx)?).await;
        Ok(row.map_err(|error| edge(error.into()))?.map(Self::from))
    }
}

/// Mail on its way out.
#[derive(Default)]
pub struct MailQuery;

#[Object]
impl MailQuery {
    /// Mails that were asked for, newest first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    #[expect(
        clippy::too_many_arguments,
        reason = "the four of every page, and three filters"
    )]
    async fn mails(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only mails that stand so.")] state: Option<MailState>,
        #[graphql(desc = "Only mails about this record, by its id.")] subject_id: Option<ID>,
        #[graphql(desc = "Only mails to this address.")] to: Option<String>,
        #[graphql(desc = "At most this many from the start, 1 to 100.")] first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end, 1 to 100.")] last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, Mail>> {
        let mut select = Entity::find();
        if let Some(state) = state {
            select = select.filter(Column::State.eq(kinds::MailState::from(state)));
        }
        if let Some(id) = subject_id {
            select = about(select, &id)?;
        }
        if let Some(to) = to {
            select = select.filter(Column::ToEmail.eq(to.trim().to_lowercase()));
        }
        let page = Page {
            first,
            after,
            last,
            before,
        };
        connection::newest_first(
            reader(ctx)?,
            select,
            Column::Id,
            page,
            (|row| row.id, Mail::from),
        )
        .await
    }
}

/// Mails about a record.
fn about(select: Select<Entity>, id: &ID) -> async_graphql::Result<Select<Entity>> {
    let Some((kind, row)) = ids::read(id) else {
        return Err(bad_input("subjectId", "This is no id of a record here."));
    };
    let word = match kind {
        Kind::Estimate => "estimate",
        Kind::EstimateRevision => "estimate_revision",
        Kind::Invoice => "invoice",
        Kind::Mail => "outbox_mail",
        Kind::Flag => "flag",
        Kind::Customer => "customer",
        Kind::Payment => "payment",
        _ => {
            return Err(bad_input(
                "subjectId",
                "No mail is about a record of this kind.",
            ));
        }
    };
    Ok(select
        .filter(Column::SubjectKind.eq(word))
        .filter(Column::SubjectId.eq(row)))
}

/// Which failed mail is to be sent again.
#[derive(InputObject)]
pub struct RetryMailInput {
    /// The mail.
    mail_id: ID,
    /// A key of the caller's own; the same key sends once, however often the request comes.
    idempotency_key: String,
}

payload! {
    /// What sending a mail again gave.
    RetryMailPayload {
        /// The mail, queued again.
        mail: Mail
    }
}

/// Sending again.
#[derive(Default)]
pub struct MailMutation;

#[Object]
impl MailMutation {
    /// Sends a mail again that failed.
    async fn retry_mail(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which mail.")] input: RetryMailInput,
    ) -> async_graphql::Result<RetryMailPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let mail_id = Kind::Mail.row("mailId", &input.mail_id)?;
            outbox::retry(act, &input.idempotency_key, RetryMail { mail_id }).await
        };
        RetryMailPayload::of(outcome.await.map(Mail::from))
    }
}
