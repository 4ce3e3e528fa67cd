//! Pictures, scans and kept parts that go with a claim.

use nameplate_entities::kinds::{ClaimState, EvidenceKind};
use nameplate_entities::{attachment, claim, claim_paper};
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait, IntoActiveModel, ModelTrait,
};
use serde::Serialize;

use super::super::{store, words};
use super::life::state_words;
use super::wrong_state;
use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::{attachments, calls};

/// Most papers of one claim.
const PAPERS_MAX: usize = 40;

/// A paper to go with a claim: a file, a kept part, or a number in words.
#[derive(Clone, Debug, Serialize)]
pub struct AddClaimPaper {
    #[serde(skip)]
    pub idempotency_key: String,
    pub claim_id: i64,
    /// What it is evidence of.
    pub evidence: EvidenceKind,
    /// A file of the call, of its machine or of one of its findings.
    pub attachment_id: Option<i64>,
    /// The tag of a part that was kept on the call.
    pub tag: Option<String>,
    /// What the desk adds; for a contract number the number itself.
    pub note: Option<String>,
}

/// Adds a paper to a claim that is with the shop.
///
/// # Errors
/// `Forbidden`; `NotFound`, also for a file or part of another call; `WrongState` for a claim that is with the payer or
/// closed; `Taken` for a paper that is there; `TooMuch`; refusals name the field.
pub async fn add_claim_paper(act: &Act, new: AddClaimPaper) -> Result<claim_paper::Model> {
    let staff_id = act.staff_with(Right::AddClaimPaper)?;
    let verb = Right::AddClaimPaper.mutation();
    let mut checks = Checks::new();
    let note = checks.text_if_any("note", new.note.as_deref(), LINE_MAX);
    check_kind(&mut checks, &new);
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, &new).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return get_paper(&tx, "", id).await;
    }
    let claim = store::get_claim(&tx, "claimId", new.claim_id).await?;
    if !takes_papers(claim.state) {
        return Err(elsewhere(&claim));
    }
    let papers = store::papers_of(&tx, claim.id).await?;
    if papers.len() >= PAPERS_MAX {
        let message = format!("A claim takes at most {PAPERS_MAX} papers.");
        return Err(Error::refused(ProblemCode::TooMuch, "claimId", message));
    }
    let attachment_id = match new.attachment_id {
        Some(id) => Some(file_of(&tx, &claim, id).await?.id),
        None => None,
    };
    let kept_part_id = match &new.tag {
        Some(tag) => Some(part_of(&tx, &claim, tag).await?),
        None => None,
    };
    let is_same = |row: &claim_paper::Model| {
        row.evidence == new.evidence
            && (row.attachment_id, row.kept_part_id) == (attachment_id, kept_part_id)
    };
    if papers.iter().any(is_same) {
        let path = if new.tag.is_some() {
            "tag"
        } else {
            "attachmentId"
        };
        let message = "This paper goes with the claim already.";
        return Err(Error::refused(ProblemCode::Taken, path, message));
    }
    let row = claim_paper::ActiveModel {
        claim_id: Set(claim.id),
        evidence: Set(new.evidence),
        attachment_id: Set(attachment_id),
        kept_part_id: Set(kept_part_id),
        note: Set(note),
        added_at: Set(act.at),
        added_by: Set(staff_id),
        ..Default::default()
    };
    let row = row.insert(&tx).await?;
    changed(&tx, &claim).await?;
    audit::created(&tx, act, verb, subject(row.id), &row).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

/// Holds what is given against what it is evidence of.
fn check_kind(checks: &mut Checks, new: &AddClaimPaper) {
    let given = (new.attachment_id.is_some(), new.tag.is_some());
    match (new.evidence, given) {
        (_, (true, true)) => {
            let message = "A paper is a file or a kept part, one of the two.";
            checks.refuse(ProblemCode::Malformed, "tag", message);
        }
        (EvidenceKind::OldPart, (_, false)) => {
            let message = "Name the tag under which the part is kept.";
            checks.refuse(ProblemCode::Missing, "tag", message);
        }
        (EvidenceKind::ContractNumber, (false, false))
            if (new.note.as_deref()).is_none_or(|note| note.trim().is_empty()) =>
        {
            let message = "Write the number, or name the file that shows it.";
            checks.refuse(ProblemCode::Missing, "note", message);
        }
        (EvidenceKind::ContractNumber, (false, false)) | (EvidenceKind::OldPart, _) => {}
        (_, (_, true)) => {
            let message = "A kept part is evidence as the part taken out, and of nothing else.";
            checks.refuse(ProblemCode::Malformed, "tag", message);
        }
        (_, (false, false)) => {
            let message = format!(
                "Name the file: {}.",
                words::evidence_words(new.evidence).to_lowercase()
            );
            checks.refuse(ProblemCode::Missing, "attachmentId", message);
        }
        _ => {}
    }
}

/// Whether papers may be added: the claim is with the shop, or may be appealed.
const fn takes_papers(state: ClaimState) -> bool {
    match state {
        ClaimState::Draft
        | ClaimState::Ready
        | ClaimState::Queried
        | ClaimState::Approved
        | ClaimState::PartApproved
        | ClaimState::Denied
        | ClaimState::Paid => true,
        ClaimState::Submitted | ClaimState::Appealed | ClaimState::Closed => false,
    }
}

fn elsewhere(claim: &claim::Model) -> Error {
    let message = format!(
        "Claim {} is {}; its papers stay as they are.",
        claim.number,
        state_words(store::to_rule(claim.state))
    );
    wrong_state("claimId", message)
}

async fn file_of(
    tx: &impl ConnectionTrait,
    claim: &claim::Model,
    id: i64,
) -> Result<attachment::Model> {
    let call = calls::get_call(tx, "claimId", claim.call_id).await?;
    let files = attachments::attached_to_call(tx, &call).await?;
    (files.into_iter().find(|file| file.id == id))
        .ok_or_else(|| Error::not_found("attachmentId", "attachment of this call or its machine"))
}

async fn part_of(tx: &impl ConnectionTrait, claim: &claim::Model, tag: &str) -> Result<i64> {
    let kept = crate::warranty::kept_of_call(tx, claim.call_id).await?;
    let part = (kept.into_iter()).find(|part| part.number.eq_ignore_ascii_case(tag.trim()));
    let part = part.ok_or_else(|| Error::not_found("tag", "part kept on this call"))?;
    if part.scrapped_on.is_some() {
        let message = format!("{} was scrapped.", part.number);
        return Err(wrong_state("tag", message));
    }
    Ok(part.id)
}

/// Counts the claim's version up, so that what was read before is told apart.
async fn changed(tx: &impl ConnectionTrait, claim: &claim::Model) -> Result<()> {
    let mut row = claim.clone().into_active_model();
    row.version = Set(claim.version + 1);
    row.update(tx).await?;
    Ok(())
}

async fn get_paper(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<claim_paper::Model> {
    claim_paper::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "paper of a claim"))
}

/// Takes a paper off a claim, while the claim is a draft or the payer wants to know more; the file itself stays.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a claim that went out.
pub async fn remove_claim_paper(act: &Act, paper_id: i64) -> Result<claim::Model> {
    act.staff_with(Right::RemoveClaimPaper)?;
    let verb = Right::RemoveClaimPaper.mutation();
    let tx = act.app.db.write().await?;
    let paper = get_paper(&tx, "claimPaperId", paper_id).await?;
    let claim = store::get_claim(&tx, "claimPaperId", paper.claim_id).await?;
    if !matches!(claim.state, ClaimState::Draft | ClaimState::Queried) {
        return Err(elsewhere(&claim));
    }
    let none = None::<&claim_paper::Model>;
    audit::record(&tx, act, verb, subject(paper.id), (Some(&paper), none)).await?;
    paper.delete(&tx).await?;
    changed(&tx, &claim).await?;
    let after = store::get_claim(&tx, "", claim.id).await?;
    tx.commit().await?;
    Ok(after)
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "claim_paper",
        id,
    }
}
