//! What customers ask about estimates, and answering it.

use async_graphql::connection::Connection;
use async_graphql::{ComplexObject, Context, ID, InputObject, Object, SimpleObject};
use chrono::{DateTime, Utc};
use nameplate_entities::estimate_question;

use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::payload;
use crate::shop::graphql::Staff;

use super::{Estimate, EstimateRevision};
use crate::estimates::answering::questions;

/// What a customer asked on the page of an estimate.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct EstimateQuestion {
    /// When it was asked.
    asked_at: DateTime<Utc>,
    /// The network address it came from.
    asked_from: Option<String>,
    /// The question in the customer's own words.
    question: String,
    /// The answer; null while it waits for one.
    answer: Option<String>,
    /// When it was answered.
    answered_at: Option<DateTime<Utc>>,
    #[graphql(skip)]
    row: estimate_question::Model,
}

impl From<estimate_question::Model> for EstimateQuestion {
    fn from(row: estimate_question::Model) -> Self {
        Self {
            asked_at: row.asked_at,
            asked_from: row.asked_from.clone(),
            question: row.question.clone(),
            answer: row.answer.clone(),
            answered_at: row.answered_at,
            row,
        }
    }
}

impl EstimateQuestion {
    /// The questions about an estimate the caller may see, oldest first.
    pub async fn of_estimate(
        ctx: &Context<'_>,
        estimate_id: i64,
    ) -> async_graphql::Result<Vec<Self>> {
        let column = estimate_question::Column::EstimateId;
        let rows = loaders::children::<estimate_question::Entity>(ctx, column, estimate_id).await?;
        Ok(rows.into_iter().map(Self::from).collect())
    }

    /// The question with this id; technicians see none.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if !act(ctx)?.is_desk() {
            return Ok(None);
        }
        Ok(loaders::row::<estimate_question::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }
}

#[ComplexObject]
impl EstimateQuestion {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::EstimateQuestion.id(self.row.id)
    }

    /// The estimate it is about.
    async fn estimate(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Estimate>> {
        Estimate::of(ctx, self.row.estimate_id).await
    }

    /// The revision that was on the page.
    async fn revision(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<EstimateRevision>> {
        EstimateRevision::of(ctx, self.row.revision_id).await
    }

    /// Who answered.
    async fn answered_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        match self.row.answered_by {
            Some(id) => Staff::of(ctx, id).await,
            None => Ok(None),
        }
    }
}

/// What customers ask.
#[derive(Default)]
pub struct QuestionsQuery;

#[Object]
impl QuestionsQuery {
    /// What customers asked about estimates, the newest first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn estimate_questions(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only those that wait for an answer.", default = true)] waiting: bool,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, EstimateQuestion>> {
        connection::newest_first(
            reader(ctx)?,
            questions::listed(waiting),
            estimate_question::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, EstimateQuestion::from),
        )
        .await
    }
}

/// The desk's answer to a question.
#[derive(InputObject)]
pub struct AnswerQuestionInput {
    /// A key of your own, such as a UUID; the same one when you try again.
    idempotency_key: String,
    /// The question.
    question_id: ID,
    /// The answer, as the customer reads it.
    answer: String,
}

payload! {
    /// What answering a question gave.
    AnswerQuestionPayload {
        /// The question with its answer; its mail is on its way.
        question: EstimateQuestion
    }
}

/// Answering what customers ask.
#[derive(Default)]
pub struct QuestionsMutation;

#[Object]
impl QuestionsMutation {
    /// Answers what a customer asked about an estimate and mails the answer.
    async fn answer_question(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which, and the answer.")] input: AnswerQuestionInput,
    ) -> async_graphql::Result<AnswerQuestionPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let answer = questions::AnswerQuestion {
                idempotency_key: input.idempotency_key,
                question_id: Kind::EstimateQuestion.row("questionId", &input.question_id)?,
                answer: input.answer,
            };
            questions::answer_question(act, answer).await
        };
        AnswerQuestionPayload::of(outcome.await.map(EstimateQuestion::from))
    }
}
