//! What the shop and the payer make of a claim, from ready to closed.

use chrono::NaiveDate;
use nameplate_entities::claim;
use nameplate_rules::claims::{ClaimStep, OUTCOME_RELEASE, outcome_codes};
use nameplate_rules::money::Cents;
use sea_orm::ActiveValue::Set;

use super::super::known::Known;
use super::super::required::required_of;
use super::super::store;
use super::drafting::last_day;
use super::life::{Taken, step_with, take_step};
use super::same_version;
use super::voiding::must_ask_for_all;
use crate::base::check::{LINE_MAX, TEXT_MAX};
use crate::base::{Act, Checks, Error, Problem, ProblemCode, Result, Right};
use crate::shop;

/// Longest code of a payer's reason, and longest name of the list it is of.
const CODE_MAX: usize = 20;

/// Which claim, as it was read.
#[derive(Clone, Copy, Debug)]
pub struct OfClaim {
    pub claim_id: i64,
    pub version: i32,
}

/// Says that nothing is missing on a claim any more; the last day to file is counted anew.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict`; `WrongState`, also where the invoice was taken back or something of it is settled;
/// `Missing` for each thing that is missing, at `required.…`.
pub async fn make_claim_ready(act: &Act, of: OfClaim) -> Result<claim::Model> {
    act.staff_with(Right::MakeClaimReady)?;
    let tx = act.app.db.write().await?;
    let claim = store::get_claim(&tx, "claimId", of.claim_id).await?;
    same_version(&claim, of.version)?;
    super::life::after(&claim, ClaimStep::MakeReady)?;
    let known = Known::of(&tx, claim).await?;
    let of = (&known.claim, known.invoice.number.as_str());
    must_ask_for_all(&tx, of, ClaimStep::MakeReady).await?;
    nothing_is_missing(&known)?;
    let file_by = last_day(&known.call, (&known.payer, &known.terms_row))?;
    let taken = Taken {
        step: ClaimStep::MakeReady,
        on: shop::settings(&tx).await?.day_of(act.at),
        note: None,
        reason: None,
        cents: None,
        by: None,
    };
    let verb = Right::MakeClaimReady.mutation();
    let (after, _) = step_with(&tx, act, (verb, &known.claim), taken, |row| {
        row.file_by = Set(file_by);
    })
    .await?;
    tx.commit().await?;
    Ok(after)
}

/// Refuses a claim that lacks something.
///
/// # Errors
/// `Missing` for each thing, at `required.…`.
pub fn nothing_is_missing(known: &Known) -> Result<()> {
    let missing: Vec<Problem> = (required_of(known).into_iter())
        .filter(|wanted| !wanted.is_there)
        .map(|wanted| Problem::new(ProblemCode::Missing, wanted.wanted.path(), wanted.words))
        .collect();
    if missing.is_empty() {
        Ok(())
    } else {
        Err(Error::Refused(missing))
    }
}

/// Takes a claim that was ready back to be changed.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict`; `WrongState`.
pub async fn reopen_claim(act: &Act, of: OfClaim) -> Result<claim::Model> {
    act.staff_with(Right::ReopenClaim)?;
    let tx = act.app.db.write().await?;
    let claim = store::get_claim(&tx, "claimId", of.claim_id).await?;
    same_version(&claim, of.version)?;
    let taken = Taken {
        step: ClaimStep::Reopen,
        on: shop::settings(&tx).await?.day_of(act.at),
        note: None,
        reason: None,
        cents: None,
        by: None,
    };
    let verb = Right::ReopenClaim.mutation();
    let after = take_step(&tx, act, (verb, &claim), taken).await?;
    tx.commit().await?;
    Ok(after)
}

/// Something that happened to a claim on a day, in words.
#[derive(Clone, Debug)]
pub struct Happened {
    pub of: OfClaim,
    pub on: NaiveDate,
    pub note: Option<String>,
}

/// Writes down what the payer asks about a claim.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict`; `WrongState`; `Missing` at `note`; refusals name the field.
pub async fn note_claim_query(act: &Act, asked: Happened) -> Result<claim::Model> {
    let why = "Write what the payer asks.";
    in_words(act, (Right::NoteClaimQuery, ClaimStep::Query), (asked, why)).await
}

/// Closes a claim; while something of it is open, only with the reason.
///
/// # Errors
/// As [`note_claim_query`].
pub async fn close_claim(act: &Act, closing: Happened) -> Result<claim::Model> {
    let why = "Something of this claim is still open; write why it is closed all the same.";
    in_words(act, (Right::CloseClaim, ClaimStep::Close), (closing, why)).await
}

/// Takes a closed claim up again where it was closed: it was closed by mistake, or money is open again, as when a payment
/// bounced.
///
/// # Errors
/// As [`note_claim_query`]; `WrongState` for a claim that is not closed, or is void.
pub async fn reopen_closed_claim(act: &Act, again: Happened) -> Result<claim::Model> {
    let why = "Write why the claim goes on.";
    let step = ClaimStep::Resume;
    in_words(act, (Right::ReopenClosedClaim, step), (again, why)).await
}

/// Takes a claim back for good, as its invoice is to be credited, or it was drafted wrongly; what is billed anew, or the
/// same invoice, can be claimed then. What the payer paid stays on the invoice.
///
/// # Errors
/// As [`note_claim_query`]; `WrongState` for a claim that is void already.
pub async fn void_claim(act: &Act, taken_back: Happened) -> Result<claim::Model> {
    let why = "Write why the claim is taken back.";
    in_words(act, (Right::VoidClaim, ClaimStep::Void), (taken_back, why)).await
}

async fn in_words(
    act: &Act,
    (right, step): (Right, ClaimStep),
    (happened, why): (Happened, &str),
) -> Result<claim::Model> {
    act.staff_with(right)?;
    let mut checks = Checks::new();
    let note = checks.text_if_any("note", happened.note.as_deref(), TEXT_MAX);
    if step != ClaimStep::Close && note.is_none() {
        checks.refuse(ProblemCode::Missing, "note", why);
    }
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let claim = store::get_claim(&tx, "claimId", happened.of.claim_id).await?;
    same_version(&claim, happened.of.version)?;
    if step == ClaimStep::Close && note.is_none() {
        super::life::after(&claim, step)?;
        let open = store::balance(&tx, &claim).await?.open();
        let open = open.map_err(|error| Error::caused("what is open of a claim", error))?;
        if open > Cents::ZERO {
            return Err(Error::refused(ProblemCode::Missing, "note", why));
        }
    }
    let taken = Taken {
        step,
        on: happened.on,
        note,
        reason: None,
        cents: None,
        by: None,
    };
    let after = take_step(&tx, act, (right.mutation(), &claim), taken).await?;
    tx.commit().await?;
    Ok(after)
}

/// What a payer answers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ClaimAnswer {
    Approved,
    InPart,
    Denied,
}

/// A payer's answer to a claim.
#[derive(Clone, Debug)]
pub struct NoteClaimAnswer {
    pub of: OfClaim,
    pub on: NaiveDate,
    pub answer: ClaimAnswer,
    /// What is approved, where it is a part.
    pub amount: Option<Cents>,
    /// Code of the reason.
    pub reason: Option<String>,
    /// Which list the code is of; the open list when left out.
    pub release: Option<String>,
    pub note: Option<String>,
    /// The payer's own number of the claim, if it gives one.
    pub payer_reference: Option<String>,
}

/// Writes down a payer's answer.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict`; `WrongState`; `Missing` at `amount` for a part, at `reason` for a denial without
/// code and words; `Malformed` for a code that the open list has not; `TooMuch` for a part that is no part.
pub async fn note_claim_answer(act: &Act, answer: NoteClaimAnswer) -> Result<claim::Model> {
    act.staff_with(Right::NoteClaimAnswer)?;
    let mut checks = Checks::new();
    let note = checks.text_if_any("note", answer.note.as_deref(), TEXT_MAX);
    let reference = checks.text_if_any(
        "payerReference",
        answer.payer_reference.as_deref(),
        LINE_MAX,
    );
    let reason = reason(&mut checks, &answer);
    if answer.answer == ClaimAnswer::Denied && reason.is_none() && note.is_none() {
        let message = "Say why it is denied: a code, or words in the note.";
        checks.refuse(ProblemCode::Missing, "reason", message);
    }
    match (answer.answer, answer.amount) {
        (ClaimAnswer::InPart, None) => {
            checks.refuse(ProblemCode::Missing, "amount", "Say how much is approved.");
        }
        (ClaimAnswer::InPart, Some(amount)) => {
            checks.positive("amount", amount);
        }
        (_, Some(_)) => {
            let message = "An amount goes with an approval in part alone.";
            checks.refuse(ProblemCode::Malformed, "amount", message);
        }
        (_, None) => {}
    }
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let claim = store::get_claim(&tx, "claimId", answer.of.claim_id).await?;
    same_version(&claim, answer.of.version)?;
    let claimed = Cents(claim.claimed_cents);
    if answer.amount.is_some_and(|amount| amount >= claimed) {
        let message = format!("{claimed} are claimed; a part is less.");
        return Err(Error::refused(ProblemCode::TooMuch, "amount", message));
    }
    let (step, cents) = match answer.answer {
        ClaimAnswer::Approved => (ClaimStep::Approve, Some(claimed)),
        ClaimAnswer::InPart => (ClaimStep::ApprovePart, answer.amount),
        ClaimAnswer::Denied => (ClaimStep::Deny, None),
    };
    let taken = Taken {
        step,
        on: answer.on,
        note,
        reason,
        cents,
        by: None,
    };
    let verb = Right::NoteClaimAnswer.mutation();
    let (after, _) = step_with(&tx, act, (verb, &claim), taken, |row| {
        if reference.is_some() {
            row.payer_reference = Set(reference);
        }
    })
    .await?;
    tx.commit().await?;
    Ok(after)
}

/// The code of a reason and the list it is of: one of the open list, or of a list that is named.
fn reason(checks: &mut Checks, answer: &NoteClaimAnswer) -> Option<(String, String)> {
    let release = checks.text_if_any("release", answer.release.as_deref(), CODE_MAX);
    let code = checks.text_if_any("reason", answer.reason.as_deref(), CODE_MAX)?;
    let Some(release) = release.filter(|release| release != OUTCOME_RELEASE) else {
        let code = code.to_ascii_uppercase();
        if outcome_codes().iter().any(|known| known.code == code) {
            return Some((code, OUTCOME_RELEASE.to_owned()));
        }
        let message =
            format!("{code} is not in the open list; name the payer's own list in `release`.");
        checks.refuse(ProblemCode::Malformed, "reason", message);
        return None;
    };
    Some((code, release))
}
