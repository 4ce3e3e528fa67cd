//! What customers ask on the page of an estimate, and what the desk answers by mail.
//!
//! A question stops nothing: the estimate can be answered as before. What stays true: one question is kept
//! once however often its form is sent, an estimate takes only so many, and each is answered once.

use nameplate_entities::kinds::EstimateState;
use nameplate_entities::{estimate, estimate_question, estimate_revision};
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, IntoActiveModel,
    QueryFilter, QueryOrder, Select,
};
use serde::{Deserialize, Serialize};

use crate::base::audit::{self, Subject};
use crate::base::check::TEXT_MAX;
use crate::base::config::Config;
use crate::base::letter::{AnswerMail, MailShop, Outgoing};
use crate::base::outbox::{self, Payload};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::estimates::answering::answers;
use crate::estimates::shown::page::AskedView;
use crate::estimates::shown::{letter, parties};
use crate::estimates::{sending, store};
use crate::shop::{self, Settings};

/// Questions that one estimate takes by its page; after that people talk.
pub(in crate::estimates) const QUESTIONS_MAX: usize = 10;
/// How asking is named in the audit log.
const ASKED: &str = "askQuestion";

/// The questions about an estimate, oldest first.
pub(in crate::estimates) async fn asked(
    db: &impl ConnectionTrait,
    estimate_id: i64,
) -> Result<Vec<estimate_question::Model>> {
    Ok(estimate_question::Entity::find()
        .filter(estimate_question::Column::EstimateId.eq(estimate_id))
        .order_by_asc(estimate_question::Column::Id)
        .all(db)
        .await?)
}

/// Questions of all estimates; those waiting for an answer alone if so asked.
pub fn listed(waiting_only: bool) -> Select<estimate_question::Entity> {
    let select = estimate_question::Entity::find();
    if waiting_only {
        select.filter(estimate_question::Column::AnsweredAt.is_null())
    } else {
        select
    }
}

/// A question as the customer's page shows it.
pub(in crate::estimates) fn view(settings: &Settings, row: estimate_question::Model) -> AskedView {
    AskedView {
        asked_at: settings.in_words(row.asked_at),
        question: row.question,
        answer: row.answer.unwrap_or_default(),
        answered_at: row
            .answered_at
            .map_or_else(String::new, |at| settings.in_words(at)),
    }
}

/// Whether a new row was written, or the same question stands unanswered already.
pub(in crate::estimates) enum Asked {
    New,
    Already,
    TooMany,
}

/// Writes a question down, once.
///
/// # Errors
/// Internal only.
pub(in crate::estimates) async fn note(
    tx: &impl ConnectionTrait,
    act: &Act,
    (estimate_id, revision_id): (i64, i64),
    question: &str,
) -> Result<Asked> {
    let there = asked(tx, estimate_id).await?;
    let is_same =
        |row: &estimate_question::Model| row.question == question && row.answered_at.is_none();
    if there.iter().any(is_same) {
        return Ok(Asked::Already);
    }
    if there.len() >= QUESTIONS_MAX {
        return Ok(Asked::TooMany);
    }
    let row = estimate_question::ActiveModel {
        estimate_id: Set(estimate_id),
        revision_id: Set(revision_id),
        asked_at: Set(act.at),
        asked_from: Set(act.from.clone()),
        question: Set(question.to_owned()),
        ..Default::default()
    }
    .insert(tx)
    .await?;
    audit::created(tx, act, ASKED, subject(row.id), &row).await?;
    Ok(Asked::New)
}

/// The desk's answer to a question.
#[derive(Clone, Debug, Serialize)]
pub struct AnswerQuestion {
    #[serde(skip)]
    pub idempotency_key: String,
    pub question_id: i64,
    pub answer: String,
}

/// What the idempotency key of an answer gives back.
#[derive(Serialize, Deserialize)]
struct Receipt {
    question_id: i64,
}

/// Answers a question and mails the answer to where the estimate went.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for one that is answered; `Missing` without an address.
pub async fn answer_question(
    act: &Act,
    answer: AnswerQuestion,
) -> Result<estimate_question::Model> {
    let staff_id = act.staff_with(Right::AnswerQuestion)?;
    let verb = Right::AnswerQuestion.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &answer.idempotency_key, &answer).await?;
    if let Some(Receipt { question_id }) = once.receipt()? {
        return get(&tx, "", question_id).await;
    }
    let before = get(&tx, "questionId", answer.question_id).await?;
    let mut checks = Checks::new();
    let words = checks.text("answer", &answer.answer, TEXT_MAX);
    if before.answered_at.is_some() {
        let message = "This question is answered already.";
        checks.refuse(ProblemCode::WrongState, "questionId", message);
    }
    checks.finish()?;
    let estimate = store::get_estimate(&tx, "", before.estimate_id).await?;
    let to = answers::customer_mail(&tx, &estimate)
        .await?
        .ok_or_else(|| {
            let message = "This customer has no e-mail address. Call instead.";
            Error::refused(ProblemCode::Missing, "questionId", message)
        })?;
    let mut row = before.clone().into_active_model();
    row.answer = Set(Some(words));
    row.answered_at = Set(Some(act.at));
    row.answered_by = Set(Some(staff_id));
    let after = row.update(&tx).await?;
    let change = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), change).await?;
    let about = Subject {
        kind: "estimate",
        id: estimate.id,
    };
    let payload = Payload::EstimateAnswer {
        question_id: after.id,
        link_token: way_in(&tx, act, &estimate).await?,
    };
    outbox::enqueue(&tx, act, &to, about, &payload).await?;
    let receipt = Receipt {
        question_id: after.id,
    };
    once.keep(&tx, act, &receipt).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(after)
}

async fn get(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<estimate_question::Model> {
    estimate_question::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "question"))
}

/// A new way in to the estimate, while it waits for its answer; empty once it does not.
async fn way_in(
    tx: &impl ConnectionTrait,
    act: &Act,
    estimate: &estimate::Model,
) -> Result<String> {
    let revisions = store::revisions_of(tx, estimate.id).await?;
    let waiting = |row: &&estimate_revision::Model| row.state == EstimateState::Sent;
    let Some(sent) = revisions.iter().find(waiting) else {
        return Ok(String::new());
    };
    let settings = shop::settings(tx).await?;
    let token = sending::link(tx, act, &settings, sent).await?;
    Ok(token.reveal().to_owned())
}

/// The mail that brings an answer, with a link to the estimate while it can be answered.
///
/// # Errors
/// Internal only.
pub async fn answer_letter(
    db: &impl ConnectionTrait,
    (settings, config): (&Settings, &Config),
    (question_id, link_token): (i64, &str),
) -> Result<Outgoing> {
    let row = get(db, "", question_id).await?;
    let estimate = store::get_estimate(db, "", row.estimate_id).await?;
    let customer = sending::customer_of(db, &estimate).await?;
    let shop = parties::shop_block(settings);
    let mail = AnswerMail {
        shop: MailShop {
            name: shop.name,
            address_lines: shop.address,
            phone: shop.phone,
            email: shop.email,
        },
        customer_name: customer.name,
        number: estimate.number,
        question: row.question,
        answer: row.answer.unwrap_or_default(),
        link: if link_token.is_empty() {
            String::new()
        } else {
            letter::address(config, link_token)
        },
    };
    let rendered = mail
        .render()
        .map_err(|error| Error::caused("mail of an answer", error))?;
    Ok(Outgoing {
        without: None,
        rendered,
        attachments: Vec::new(),
    })
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "estimate_question",
        id,
    }
}
