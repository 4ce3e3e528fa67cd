//! Writing down an answer that did not come by the link: by telephone, by signature, by word of mouth.
//!
//! The customer answers what was frozen and handed over, as with a link; who took the answer stands beside it. Source of
//! the need: MCL 445.833 (an estimate is approved by signature, telephone or an equivalent, which is then noted on it).

use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::estimate_revision;
use nameplate_entities::kinds::AnswerWay;
use nameplate_rules::estimate::EstimateState as State;
use sea_orm::ConnectionTrait;
use serde::Serialize;

use crate::base::check::{LINE_MAX, TEXT_MAX};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::estimates::answering::answers::{self, Noted, Offered};
use crate::estimates::priced::shared_trips;
use crate::estimates::shown::local;
use crate::estimates::writing::drafting::Receipt;
use crate::estimates::{states, store};
use crate::shop::{self, Settings};

/// Who answered, how and when.
#[derive(Clone, Debug, Serialize)]
pub struct Told {
    pub way: AnswerWay,
    pub name: String,
    /// Telephone number the customer called from or was called at.
    pub phone: Option<String>,
    /// When; now if left out.
    pub at: Option<DateTime<Utc>>,
    pub note: Option<String>,
}

/// An acceptance to write down.
#[derive(Clone, Debug, Serialize)]
pub struct RecordAcceptance {
    #[serde(skip)]
    pub idempotency_key: String,
    pub revision_id: i64,
    pub option_id: i64,
    pub told: Told,
}

/// A refusal to write down.
#[derive(Clone, Debug, Serialize)]
pub struct RecordDecline {
    #[serde(skip)]
    pub idempotency_key: String,
    pub revision_id: i64,
    pub reason: Option<String>,
    pub told: Told,
}

/// Writes down that a customer accepted one option, and confirms it by mail where there is an address.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState`, `Expired` or `Superseded` for what cannot be accepted any more;
/// `SettingMissing` by telephone where the place wants it in writing and it is not; refusals name the field.
pub async fn record_acceptance(
    act: &Act,
    command: RecordAcceptance,
) -> Result<estimate_revision::Model> {
    let staff_id = act.staff_with(Right::RecordAcceptance)?;
    let verb = Right::RecordAcceptance.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &command.idempotency_key, &command).await?;
    if let Some(Receipt { revision_id }) = once.receipt()? {
        return store::get_revision(&tx, "", revision_id).await;
    }
    let settings = shop::settings(&tx).await?;
    let revision = store::get_revision(&tx, "revisionId", command.revision_id).await?;
    let estimate = store::estimate_of(&tx, &revision).await?;
    let mut checks = Checks::new();
    let noted = noted(
        &mut checks,
        act,
        (&settings, &revision),
        command.told,
        staff_id,
    );
    checks.finish()?;
    let options = store::options_of(&tx, revision.id).await?;
    let option = options
        .iter()
        .find(|option| option.id == command.option_id)
        .ok_or_else(|| Error::not_found("optionId", "option of this revision"))?;
    let (on, last) = (
        settings.day_of(noted.at),
        revision.valid_until.unwrap_or_default(),
    );
    let state = state_on(&tx, &revision, (on, last))
        .await?
        .accept(on, last)
        .map_err(|refusal| states::refused("revisionId", refusal))?;
    let about = (&estimate, &revision, option);
    local::must_be_in_writing(&tx, about, noted.way, on).await?;
    let chosen = (&revision, std::slice::from_ref(option));
    shared_trips::must_hold(&tx, "revisionId", estimate.call_id, chosen).await?;
    if let Some(words) = answers::hindrance(&tx, act, verb, &estimate).await? {
        return Err(Error::refused(ProblemCode::WrongState, "revisionId", words));
    }
    let offered = Offered {
        verb,
        estimate: &estimate,
        revision: &revision,
    };
    let accepted = answers::accept(&tx, act, &settings, offered, (option, state), noted).await?;
    let receipt = Receipt {
        revision_id: accepted.id,
    };
    once.keep(&tx, act, &receipt).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(accepted)
}

/// Writes down that a customer declined the whole estimate.
///
/// # Errors
/// As [`record_acceptance`].
pub async fn record_decline(act: &Act, command: RecordDecline) -> Result<estimate_revision::Model> {
    let staff_id = act.staff_with(Right::RecordDecline)?;
    let verb = Right::RecordDecline.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &command.idempotency_key, &command).await?;
    if let Some(Receipt { revision_id }) = once.receipt()? {
        return store::get_revision(&tx, "", revision_id).await;
    }
    let settings = shop::settings(&tx).await?;
    let revision = store::get_revision(&tx, "revisionId", command.revision_id).await?;
    let estimate = store::estimate_of(&tx, &revision).await?;
    let mut checks = Checks::new();
    let reason = checks.text_if_any("reason", command.reason.as_deref(), TEXT_MAX);
    let noted = noted(
        &mut checks,
        act,
        (&settings, &revision),
        command.told,
        staff_id,
    );
    checks.finish()?;
    let (on, last) = (
        settings.day_of(noted.at),
        revision.valid_until.unwrap_or_default(),
    );
    let state = state_on(&tx, &revision, (on, last))
        .await?
        .decline(on, last)
        .map_err(|refusal| states::refused("revisionId", refusal))?;
    let offered = Offered {
        verb,
        estimate: &estimate,
        revision: &revision,
    };
    let declined = answers::decline(&tx, act, &settings, offered, (reason, state), noted).await?;
    let receipt = Receipt {
        revision_id: declined.id,
    };
    once.keep(&tx, act, &receipt).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(declined)
}

/// What a revision was on the day it was answered. One that lapsed before anybody wrote the answer down was still
/// open then, unless another was sent in its place.
async fn state_on(
    tx: &impl ConnectionTrait,
    revision: &estimate_revision::Model,
    (on, last): (NaiveDate, NaiveDate),
) -> Result<State> {
    let state = states::of_row(revision.state);
    if state.on_day(on, last) == state {
        return Ok(state);
    }
    let others = store::revisions_of(tx, revision.estimate_id).await?;
    let is_replaced = others
        .iter()
        .any(|other| other.revision > revision.revision && other.sent_at.is_some());
    Ok(if is_replaced {
        State::Superseded
    } else {
        state.on_day(on, last)
    })
}

/// What was told, held against the door.
fn noted(
    checks: &mut Checks,
    act: &Act,
    (settings, revision): (&Settings, &estimate_revision::Model),
    told: Told,
    staff_id: i64,
) -> Noted {
    let at = told.at.unwrap_or(act.at);
    if at > act.at {
        let words = "An answer cannot be recorded before it is given.";
        checks.refuse(ProblemCode::ImpossibleDate, "at", words);
    }
    if revision.sent_at.is_some_and(|sent_at| at < sent_at) {
        let words = "The customer did not have this revision yet by then.";
        checks.refuse(ProblemCode::ImpossibleDate, "at", words);
    }
    if told.way == AnswerWay::Link {
        let words = "An answer by the link is given by the customer alone.";
        checks.refuse(ProblemCode::Malformed, "by", words);
    }
    let country = &settings.row.country;
    let phone = checks.phone_if_any("phone", told.phone.as_deref(), country);
    if told.way == AnswerWay::Telephone && phone.is_none() {
        let words = "Note the telephone number the customer was spoken to at.";
        checks.refuse(ProblemCode::Missing, "phone", words);
    }
    Noted {
        way: told.way,
        name: Some(checks.text("name", &told.name, LINE_MAX)),
        at,
        from: None,
        consent: None,
        phone,
        note: checks.text_if_any("note", told.note.as_deref(), TEXT_MAX),
        received_by: Some(staff_id),
    }
}
