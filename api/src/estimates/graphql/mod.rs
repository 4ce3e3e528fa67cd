//! Estimates in the graph. They are money documents: owner and office only.

pub mod answers;
pub mod consents;
pub mod discarding;
pub mod figures;
mod lines;
pub mod mutations;
mod options;
pub mod pictures;
mod preview;
pub mod questions;
mod tax_facts;
pub mod template_acts;
pub mod templates;

use async_graphql::connection::Connection;
use async_graphql::{ComplexObject, Context, Enum, ID, Object, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::{estimate, estimate_option, estimate_picture, estimate_revision};

use crate::base::Error;
use crate::calls::graphql::ServiceCall;
use crate::estimates::shown::{changes, local};
use crate::estimates::store;
use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::Money;
use crate::local_rules::graphql::MissingElement;
use crate::pricing::graphql::{PriceBook, TaxJurisdiction};
use crate::shop;
use crate::shop::graphql::Staff;
use consents::ConsentNeed;

pub use answers::{AnswerWay, AnswersMutation, EstimateDelivery};
pub use consents::{CallConsent, ConsentsMutation};
pub use discarding::DiscardMutation;
pub use figures::{EstimateDifference, FiguresMutation, FiguresQuery, RepairOrReplace};
pub use lines::{EstimateLine, PricedBy};
pub use mutations::{EstimatesMutation, WorkHours};
pub use options::{EstimateOption, EstimateTax};
pub use pictures::{EstimatePicture, PicturesMutation};
pub use preview::PreviewQuery;
pub use questions::{EstimateQuestion, QuestionsMutation, QuestionsQuery};
pub use template_acts::TemplatesMutation;
pub use templates::{RepairTemplate, TemplatesQuery};

/// Where a revision of an estimate stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::EstimateState")]
pub enum EstimateState {
    /// Not sent yet.
    Draft,
    /// With the customer; frozen.
    Sent,
    /// The customer accepted one of its options.
    Accepted,
    /// The customer declined it.
    Declined,
    /// Its last day passed without an answer.
    Expired,
    /// A later revision took its place.
    Superseded,
    /// Billed.
    Invoiced,
}

/// A numbered offer for one call; its revisions hold the content.
pub struct Estimate {
    row: estimate::Model,
}

impl From<estimate::Model> for Estimate {
    fn from(row: estimate::Model) -> Self {
        Self { row }
    }
}

impl Estimate {
    /// The estimate behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<estimate::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }

    /// The estimate with this id; technicians see none.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if !act(ctx)?.is_desk() {
            return Ok(None);
        }
        Self::of(ctx, id).await
    }

    /// The estimates for a call the caller may see, oldest first.
    pub async fn of_call(ctx: &Context<'_>, call_id: i64) -> async_graphql::Result<Vec<Self>> {
        let rows =
            loaders::children::<estimate::Entity>(ctx, estimate::Column::CallId, call_id).await?;
        Ok(rows.into_iter().map(Self::from).collect())
    }

    async fn rows(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Vec<estimate_revision::Model>> {
        let column = estimate_revision::Column::EstimateId;
        let mut rows =
            loaders::children::<estimate_revision::Entity>(ctx, column, self.row.id).await?;
        rows.sort_by_key(|row| row.revision);
        Ok(rows)
    }
}

/// A numbered offer for one call; its revisions hold the content.
#[Object]
impl Estimate {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::Estimate.id(self.row.id)
    }

    /// Number, the same for all its revisions.
    async fn number(&self) -> &str {
        &self.row.number
    }

    /// The call it offers work for.
    async fn call(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<ServiceCall>> {
        ServiceCall::of(ctx, self.row.call_id).await
    }

    /// When the customer asked for no more reminders of it.
    async fn reminders_stopped_at(&self) -> Option<DateTime<Utc>> {
        self.row.reminders_stopped_at
    }

    /// When it was first drafted.
    async fn created_at(&self) -> DateTime<Utc> {
        self.row.created_at
    }

    /// Who drafted it first.
    async fn created_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.created_by).await
    }

    /// All its revisions, the first first.
    async fn revisions(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<EstimateRevision>> {
        let rows = self.rows(ctx).await?;
        Ok(rows.into_iter().map(EstimateRevision::from).collect())
    }

    /// What the customer asked about it, oldest first.
    async fn questions(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<EstimateQuestion>> {
        EstimateQuestion::of_estimate(ctx, self.row.id).await
    }

    /// Its latest revision.
    async fn latest(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<EstimateRevision>> {
        Ok(self.rows(ctx).await?.pop().map(EstimateRevision::from))
    }

    /// The revision the customer accepted, billed or not.
    async fn accepted(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<EstimateRevision>> {
        let rows = self.rows(ctx).await?;
        let accepted = rows.into_iter().find(|row| row.accepted_call_id.is_some());
        Ok(accepted.map(EstimateRevision::from))
    }
}

/// One revision of an estimate: a draft, or frozen since it was sent.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct EstimateRevision {
    /// Which revision, from 1.
    revision: i32,
    /// Where it stands.
    state: EstimateState,
    /// What was found, as the customer reads it.
    found: Option<String>,
    /// Remarks.
    notes: Option<String>,
    /// When it was drafted.
    drafted_at: DateTime<Utc>,
    /// When it was sent.
    sent_at: Option<DateTime<Utc>>,
    /// Last day it can be accepted, by the shop's clock.
    valid_until: Option<NaiveDate>,
    /// SHA-256 of what the customer was shown.
    content_hash: Option<String>,
    /// When the customer answered.
    answered_at: Option<DateTime<Utc>>,
    /// The name typed with an acceptance.
    answered_name: Option<String>,
    /// The network address the answer came from.
    answered_from: Option<String>,
    /// Why the customer declined, if told.
    decline_reason: Option<String>,
    /// The sentence the customer agreed to by accepting.
    consent_text: Option<String>,
    /// SHA-256 of that sentence.
    consent_hash: Option<String>,
    /// How it reached the customer; null for a draft.
    delivery: Option<EstimateDelivery>,
    /// How the answer came.
    answered_by: Option<AnswerWay>,
    /// Telephone number of an answer by telephone, in E.164.
    answered_phone: Option<String>,
    /// What was noted beside an answer that did not come by the link.
    answer_note: Option<String>,
    /// Day of the next reminder; null when there will be none.
    next_reminder_on: Option<NaiveDate>,
    #[graphql(skip)]
    row: estimate_revision::Model,
}

impl From<estimate_revision::Model> for EstimateRevision {
    fn from(row: estimate_revision::Model) -> Self {
        let found = Some(row.found_text.clone()).filter(|text| !text.is_empty());
        Self {
            revision: row.revision,
            state: row.state.into(),
            found,
            notes: row.notes.clone(),
            drafted_at: row.drafted_at,
            sent_at: row.sent_at,
            valid_until: row.valid_until,
            content_hash: row.content_hash.clone(),
            answered_at: row.answered_at,
            answered_name: row.answered_name.clone(),
            answered_from: row.answered_from.clone(),
            decline_reason: row.decline_reason.clone(),
            consent_text: row.consent_text.clone(),
            consent_hash: row.consent_hash.clone(),
            delivery: row.delivery.map(Into::into),
            answered_by: row.answered_by.map(Into::into),
            answered_phone: row.answered_phone.clone(),
            answer_note: row.answer_note.clone(),
            next_reminder_on: row.next_reminder_on,
            row,
        }
    }
}

impl EstimateRevision {
    /// The revision behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<estimate_revision::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }

    /// The revision with this id; technicians see none.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if !act(ctx)?.is_desk() {
            return Ok(None);
        }
        Self::of(ctx, id).await
    }
}

#[ComplexObject]
impl EstimateRevision {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::EstimateRevision.id(self.row.id)
    }

    /// The estimate it is a revision of.
    async fn estimate(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Estimate>> {
        Estimate::of(ctx, self.row.estimate_id).await
    }

    /// The price book it was priced with.
    async fn price_book(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<PriceBook>> {
        PriceBook::of(ctx, self.row.price_book_id).await
    }

    /// The rules it was taxed with.
    async fn tax_jurisdiction(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<TaxJurisdiction>> {
        TaxJurisdiction::of(ctx, self.row.tax_jurisdiction_id).await
    }

    /// Who took an answer that did not come by the link.
    async fn answer_received_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        match self.row.answer_received_by {
            Some(id) => Staff::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// Where its PDF lies, for a request with the same token; null for a draft.
    async fn pdf_path(&self) -> Option<String> {
        let id = Kind::EstimateRevision.id(self.row.id);
        let is_frozen = self.row.content_json.is_some();
        is_frozen.then(|| format!("/documents/{}.pdf", id.as_str()))
    }

    /// What it changes against an earlier revision, by that one's number; null if there is none. A draft is read as if
    /// it were sent today.
    #[graphql(complexity = "40 + child_complexity")]
    async fn changes_since(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Number of the earlier revision.")] revision: i32,
    ) -> async_graphql::Result<Option<EstimateDifference>> {
        let found = changes::between(reader(ctx)?, act(ctx)?, &self.row, revision).await;
        Ok(found.map_err(edge)?.map(EstimateDifference::from))
    }

    /// Figures to weigh repair against replacement, as the customer is shown them; null where none are shown.
    #[graphql(complexity = "40 + child_complexity")]
    async fn repair_or_replace(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<RepairOrReplace>> {
        if !self.row.weighs_replacement {
            return Ok(None);
        }
        let content = changes::as_it_reads(reader(ctx)?, act(ctx)?, &self.row).await;
        let weighing = content.map_err(edge)?.weighing;
        Ok(weighing.map(RepairOrReplace::from))
    }

    /// The alternatives, in order.
    async fn options(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<EstimateOption>> {
        let column = estimate_option::Column::RevisionId;
        let mut rows =
            loaders::children::<estimate_option::Entity>(ctx, column, self.row.id).await?;
        rows.sort_by_key(|row| row.position);
        Ok(rows.into_iter().map(EstimateOption::from).collect())
    }

    /// The pictures it shows, in order.
    async fn pictures(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<EstimatePicture>> {
        let column = estimate_picture::Column::RevisionId;
        let mut rows =
            loaders::children::<estimate_picture::Entity>(ctx, column, self.row.id).await?;
        rows.sort_by_key(|row| row.position);
        Ok(rows.into_iter().map(EstimatePicture::from).collect())
    }

    /// What the local rules of where the machine stands ask for and it does not hold; no legal advice.
    #[graphql(complexity = "20 + child_complexity")]
    async fn missing(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<MissingElement>> {
        let db = reader(ctx)?;
        let today = shop::settings(db).await.map_err(edge)?.day_of(act(ctx)?.at);
        let missing = local::missing_of(db, &self.row, today)
            .await
            .map_err(edge)?;
        Ok(missing.into_iter().map(MissingElement::from).collect())
    }

    /// Whether a bill of these amounts would need a consent first; null for a revision that is not accepted.
    #[graphql(complexity = "10 + child_complexity")]
    async fn consent_needed(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The bill before tax.")] before_tax: Money,
        #[graphql(desc = "The bill with tax.")] with_tax: Money,
    ) -> async_graphql::Result<Option<ConsentNeed>> {
        match (self.row.accepted_call_id, self.row.accepted_option_id) {
            (Some(call_id), Some(option_id)) => {
                consents::need(ctx, (call_id, option_id), (before_tax, with_tax)).await
            }
            _ => Ok(None),
        }
    }

    /// The option the customer accepted.
    async fn accepted_option(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<EstimateOption>> {
        match self.row.accepted_option_id {
            Some(id) => EstimateOption::of(ctx, id).await,
            None => Ok(None),
        }
    }
}

/// Estimates.
#[derive(Default)]
pub struct EstimatesQuery;

#[Object]
impl EstimatesQuery {
    /// One estimate; null if there is none with this id.
    async fn estimate(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Its id.")] id: ID,
    ) -> async_graphql::Result<Option<Estimate>> {
        match Kind::Estimate.row("id", &id) {
            Ok(row) => Estimate::find(ctx, row).await,
            Err(_) => Ok(None),
        }
    }

    /// Estimates, the newest record first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    #[expect(
        clippy::too_many_arguments,
        reason = "two filters and the four of a page"
    )]
    async fn estimates(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only those for this call.")] call_id: Option<ID>,
        #[graphql(desc = "Only those with a revision in this state.")] state: Option<EstimateState>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, Estimate>> {
        let call_id = Kind::ServiceCall
            .row_if_any("callId", call_id.as_ref())
            .map_err(|error: Error| edge(error))?;
        connection::newest_first(
            reader(ctx)?,
            store::listed(call_id, state.map(Into::into)),
            estimate::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, Estimate::from),
        )
        .await
    }
}
