//! Handing an estimate over without mail, and writing down answers that did not come by the link.

use async_graphql::{Context, Enum, ID, InputObject, Object};
use chrono::{DateTime, NaiveDate, Utc};

use crate::base::Result;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::payload;

use super::EstimateRevision;
use crate::estimates::answering::recording;
use crate::estimates::sending;

/// How a sent revision reached the customer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::EstimateDelivery")]
pub enum EstimateDelivery {
    /// By e-mail, with a link.
    Mail,
    /// Printed or shown.
    Hand,
}

/// How a customer answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::AnswerWay")]
pub enum AnswerWay {
    /// By the link in the mail; never recorded by hand.
    Link,
    /// By telephone.
    Telephone,
    /// By a signature on paper.
    Signature,
    /// By word of mouth.
    InPerson,
}

/// A drafted revision to hand over on paper or on a screen.
#[derive(InputObject)]
pub struct PresentEstimateInput {
    /// A key of your own, such as a UUID; the same one when you try again.
    idempotency_key: String,
    /// The revision.
    revision_id: ID,
    /// Last day it can be accepted; by the shop's settings when left out.
    valid_until: Option<NaiveDate>,
}

impl PresentEstimateInput {
    fn command(self) -> Result<sending::PresentEstimate> {
        Ok(sending::PresentEstimate {
            idempotency_key: self.idempotency_key,
            revision_id: Kind::EstimateRevision.row("revisionId", &self.revision_id)?,
            valid_until: self.valid_until,
        })
    }
}

payload! {
    /// What handing an estimate over gave.
    PresentEstimatePayload {
        /// The revision, frozen; its PDF is at `pdfPath`.
        revision: EstimateRevision
    }
}

/// An acceptance that did not come by the link.
#[derive(InputObject)]
pub struct RecordAcceptanceInput {
    /// A key of your own, such as a UUID; the same one when you try again.
    idempotency_key: String,
    /// The revision the customer has.
    revision_id: ID,
    /// The option accepted.
    option_id: ID,
    /// How the answer came; not `LINK`.
    by: AnswerWay,
    /// Who answered.
    name: String,
    /// Telephone number spoken to; needed for an answer by telephone.
    phone: Option<String>,
    /// When; now if left out.
    at: Option<DateTime<Utc>>,
    /// What else was said.
    note: Option<String>,
}

impl RecordAcceptanceInput {
    fn command(self) -> Result<recording::RecordAcceptance> {
        Ok(recording::RecordAcceptance {
            idempotency_key: self.idempotency_key,
            revision_id: Kind::EstimateRevision.row("revisionId", &self.revision_id)?,
            option_id: Kind::EstimateOption.row("optionId", &self.option_id)?,
            told: recording::Told {
                way: self.by.into(),
                name: self.name,
                phone: self.phone,
                at: self.at,
                note: self.note,
            },
        })
    }
}

payload! {
    /// What writing an acceptance down gave.
    RecordAcceptancePayload {
        /// The revision, accepted.
        revision: EstimateRevision
    }
}

/// A refusal that did not come by the link.
#[derive(InputObject)]
pub struct RecordDeclineInput {
    /// A key of your own, such as a UUID; the same one when you try again.
    idempotency_key: String,
    /// The revision the customer has.
    revision_id: ID,
    /// Why, if told.
    reason: Option<String>,
    /// How the answer came; not `LINK`.
    by: AnswerWay,
    /// Who answered.
    name: String,
    /// Telephone number spoken to; needed for an answer by telephone.
    phone: Option<String>,
    /// When; now if left out.
    at: Option<DateTime<Utc>>,
    /// What else was said.
    note: Option<String>,
}

impl RecordDeclineInput {
    fn command(self) -> Result<recording::RecordDecline> {
        Ok(recording::RecordDecline {
            idempotency_key: self.idempotency_key,
            revision_id: Kind::EstimateRevision.row("revisionId", &self.revision_id)?,
            reason: self.reason,
            told: recording::Told {
                way: self.by.into(),
                name: self.name,
                phone: self.phone,
                at: self.at,
                note: self.note,
            },
        })
    }
}

payload! {
    /// What writing a refusal down gave.
    RecordDeclinePayload {
        /// The revision, declined.
        revision: EstimateRevision
    }
}

/// Handing over and answers.
#[derive(Default)]
pub struct AnswersMutation;

#[Object]
impl AnswersMutation {
    /// Freezes a drafted revision as `sendEstimate` does, but mails nothing: print its PDF and record the answer.
    async fn present_estimate(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which.")] input: PresentEstimateInput,
    ) -> async_graphql::Result<PresentEstimatePayload> {
        let act = act(ctx)?;
        let outcome = async { sending::present_estimate(act, input.command()?).await }.await;
        PresentEstimatePayload::of(outcome.map(EstimateRevision::from))
    }

    /// Writes down that the customer accepted by telephone, signature or word of mouth, and confirms it by mail where
    /// there is an address.
    async fn record_acceptance(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What was accepted, and how.")] input: RecordAcceptanceInput,
    ) -> async_graphql::Result<RecordAcceptancePayload> {
        let act = act(ctx)?;
        let outcome = async { recording::record_acceptance(act, input.command()?).await }.await;
        RecordAcceptancePayload::of(outcome.map(EstimateRevision::from))
    }

    /// Writes down that the customer declined by telephone, signature or word of mouth.
    async fn record_decline(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What was declined, and how.")] input: RecordDeclineInput,
    ) -> async_graphql::Result<RecordDeclinePayload> {
        let act = act(ctx)?;
        let outcome = async { recording::record_decline(act, input.command()?).await }.await;
        RecordDeclinePayload::of(outcome.map(EstimateRevision::from))
    }
}
