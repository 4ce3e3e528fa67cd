//! Drafting a claim from a payer's invoice, and changing what it says.

use chrono::NaiveDate;
use nameplate_entities::kinds::{AttachmentKind, ClaimState, ClaimStep, EvidenceKind, Payer};
use nameplate_entities::{
    claim, claim_paper, claim_step, coverage_decision, invoice, programme_terms, service_call,
    warranty_payer,
};
use nameplate_rules::claims::{CodeRefusal, FailureCodes, checked_codes};
use nameplate_rules::coverage::{Programme, file_by};
use nameplate_rules::dates::Roll;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};
use serde::Serialize;

use super::super::known::{self, Done};
use super::super::{store, words};
use super::life::subject;
use super::{same_version, wrong_state};
use crate::base::audit;
use crate::base::check::TEXT_MAX;
use crate::base::numbers::{self, Series};
use crate::base::{Act, Change, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::coverage::{self, Holding};
use crate::{attachments, calls, shop, warranty};

/// A claim to be drafted.
#[derive(Clone, Debug, Serialize)]
pub struct DraftClaim {
    #[serde(skip)]
    pub idempotency_key: String,
    /// The payer's invoice of the call.
    pub invoice_id: i64,
    /// Needed only where several programmes of the payer pay for the call.
    pub programme_id: Option<i64>,
}

/// Drafts the claim of a payer's invoice: what the customer noticed, what was found and done, the codes of the failure,
/// the last day to file, and the papers on record that the terms ask for. What was billed to a payer before it was retired
/// is claimed of it all the same.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` at `invoiceId` for one that is not a payer's, was taken back, or is of a call that
/// nothing was decided on; `Missing` at `programmeId` where several programmes pay; `Taken` where a claim stands already.
pub async fn draft_claim(act: &Act, order: DraftClaim) -> Result<claim::Model> {
    let staff_id = act.staff_with(Right::DraftClaim)?;
    let verb = Right::DraftClaim.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_claim(&tx, "", id).await;
    }
    let basis = Basis::of(&tx, &order).await?;
    let done = Done::of(&tx, basis.call.id).await?;
    let row = claim::ActiveModel {
        number: Set(numbers::take(&tx, Series::Claim).await?),
        call_id: Set(basis.call.id),
        payer_id: Set(basis.payer.id),
        terms_id: Set(basis.terms.id),
        programme_id: Set(basis.terms.programme_id),
        cover_id: Set(basis.holding.cover_id),
        decision_id: Set(basis.decision.id),
        invoice_id: Set(basis.invoice.id),
        state: Set(ClaimState::Draft),
        claimed_cents: Set(basis.invoice.total_cents),
        file_by: Set(last_day(&basis.call, (&basis.payer, &basis.terms))?),
        complaint: Set(basis.call.complaint.clone()),
        diagnosis: Set(shortened(words::diagnosis(&done))),
        codes_json: Set(codes(&tx, &done).await?),
        drafted_at: Set(act.at),
        drafted_by: Set(staff_id),
        version: Set(1),
        standing_call_id: Set(Some(basis.call.id)),
        standing_invoice_id: Set(Some(basis.invoice.id)),
        ..Default::default()
    };
    let row = row.insert(&tx).await?;
    let step = claim_step::ActiveModel {
        claim_id: Set(row.id),
        step: Set(ClaimStep::Drafted),
        state: Set(row.state),
        taken_on: Set(shop::settings(&tx).await?.day_of(act.at)),
        taken_at: Set(act.at),
        taken_by: Set(Some(staff_id)),
        ..Default::default()
    };
    step.insert(&tx).await?;
    on_record(&tx, act, (&row, &basis, staff_id)).await?;
    audit::created(&tx, act, verb, subject(row.id), &row).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

/// What a claim is drafted from.
struct Basis {
    invoice: invoice::Model,
    call: service_call::Model,
    payer: warranty_payer::Model,
    decision: coverage_decision::Model,
    holding: Holding,
    terms: programme_terms::Model,
}

impl Basis {
    async fn of(tx: &impl ConnectionTrait, order: &DraftClaim) -> Result<Self> {
        let invoice = store::get_invoice(tx, "invoiceId", order.invoice_id).await?;
        let at_invoice = |message: String| wrong_state("invoiceId", message);
        if let Some(claim) = store::of_invoice(tx, invoice.id).await? {
            return Err(taken(&claim, &format!("Invoice {}", invoice.number)));
        }
        let (Payer::WarrantyPayer, Some(payer_id), Some(call_id)) =
            (invoice.payer, invoice.warranty_payer_id, invoice.call_id)
        else {
            let message = format!("Invoice {} is not on a warranty payer.", invoice.number);
            return Err(at_invoice(message));
        };
        if store::is_taken_back(tx, invoice.id).await? || invoice.total_cents <= 0 {
            let message = format!("Invoice {} asks for nothing any more.", invoice.number);
            return Err(at_invoice(message));
        }
        let payer = warranty::get_payer(tx, "invoiceId", payer_id).await?;
        let call = calls::get_call(tx, "invoiceId", call_id).await?;
        let decision = match store::divided_by(tx, &invoice).await? {
            Some(id) => Some(coverage::get_decision(tx, "invoiceId", id).await?),
            None => coverage::standing_of_call(tx, call.id).await?,
        };
        let Some(decision) = decision else {
            let message = format!("Nobody decided yet who pays for call {}.", call.number);
            return Err(at_invoice(message));
        };
        let (holding, programme_id, terms_id) =
            holding(tx, (&decision, &invoice), (payer.id, order.programme_id)).await?;
        if let Some(claim) = store::of_call_and_programme(tx, (call.id, programme_id)).await? {
            return Err(taken(&claim, &format!("Call {}", call.number)));
        }
        Ok(Self {
            terms: known::terms_row(tx, (programme_id, terms_id)).await?,
            invoice,
            call,
            payer,
            decision,
            holding,
        })
    }
}

fn taken(claim: &claim::Model, of: &str) -> Error {
    let message = format!("{of} has its claim already: {}.", claim.number);
    Error::refused(ProblemCode::Taken, "invoiceId", message)
}

/// What of the payer pays by the decision: the programme that the invoice was billed under, the one there is, or the one
/// that is named.
async fn holding(
    tx: &impl ConnectionTrait,
    (decision, invoice): (&coverage_decision::Model, &invoice::Model),
    (payer_id, named): (i64, Option<i64>),
) -> Result<(Holding, i64, i64)> {
    let portions = coverage::portions_of(tx, decision.id).await?;
    let kept = coverage::kept(decision)?;
    let has_portion = |held: &Holding| {
        portions.iter().any(|portion| {
            (portion.payer_id, portion.terms_id, portion.cover_id)
                == (held.payer_id, held.terms_id, held.cover_id)
        })
    };
    let pays = |held: &Holding| {
        held.payer_id == Some(payer_id)
            && match invoice.programme_terms_id {
                // Billed by the decision, under these terms, whichever of its splits that was.
                Some(terms_id) => held.terms_id == Some(terms_id),
                None => has_portion(held),
            }
    };
    let mut found: Vec<(Holding, i64, i64)> = (kept.holdings.into_iter())
        .filter(pays)
        .filter_map(|held| {
            let (programme_id, terms_id) = (held.programme_id?, held.terms_id?);
            let fits = named.is_none_or(|id| id == programme_id);
            fits.then_some((held, programme_id, terms_id))
        })
        .collect();
    // Of a programme held more than once, by the registration that pays.
    found.sort_by_key(|(held, programme_id, _)| (*programme_id, !has_portion(held)));
    found.dedup_by_key(|(_, programme_id, _)| *programme_id);
    let several = found.len() > 1;
    match found.into_iter().next() {
        Some(_) if several => Err(Error::refused(
            ProblemCode::Missing,
            "programmeId",
            "Several programmes of this payer pay for the call; say which one this invoice is under.",
        )),
        Some(found) => Ok(found),
        None => {
            let path = named.map_or("invoiceId", |_| "programmeId");
            let message = "By the decision on this call the payer pays nothing of it.";
            Err(wrong_state(path, message))
        }
    }
}

/// The last day to file; none before the call is completed, or where the terms set none.
///
/// # Errors
/// Internal, for a day beyond the calendar.
pub fn last_day(
    call: &service_call::Model,
    (payer, terms): (&warranty_payer::Model, &programme_terms::Model),
) -> Result<Option<NaiveDate>> {
    day_to_file(
        call.completed_on,
        terms.days_to_file,
        payer.claim_days_move_on,
    )
}

/// The same from its parts: the day the call was completed, the days that the terms give, and whether a last day moves on to
/// the next open one.
///
/// # Errors
/// Internal, for a day beyond the calendar.
pub fn day_to_file(
    completed_on: Option<NaiveDate>,
    days: Option<i32>,
    moves_on: bool,
) -> Result<Option<NaiveDate>> {
    let days = days.and_then(|days| u32::try_from(days).ok());
    let (Some(completed_on), Some(days)) = (completed_on, days) else {
        return Ok(None);
    };
    let roll = if moves_on {
        Roll::NextOpenDay
    } else {
        Roll::Stay
    };
    file_by(completed_on, days, roll)
        .map(Some)
        .map_err(|refusal| Error::caused("the last day to file", refusal))
}

/// Gives the drafts of a call that was just completed their last day to file, in the open transaction.
///
/// # Errors
/// Internal only.
pub async fn date_drafts(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, call): (&'static str, &service_call::Model),
) -> Result<()> {
    for before in store::undated_of_call(tx, call.id).await? {
        let payer = warranty::get_payer(tx, "", before.payer_id).await?;
        let terms = known::terms_row(tx, (before.programme_id, before.terms_id)).await?;
        let Some(day) = last_day(call, (&payer, &terms))? else {
            continue;
        };
        let mut row = before.clone().into_active_model();
        row.file_by = Set(Some(day));
        row.version = Set(before.version + 1);
        let after = row.update(tx).await?;
        let both = (Some(&before), Some(&after));
        audit::record(tx, act, verb, subject(after.id), both).await?;
    }
    Ok(())
}

/// No longer than the field takes.
fn shortened(text: String) -> String {
    text.chars().take(TEXT_MAX).collect()
}

/// The codes of the first finding that has any.
async fn codes(tx: &impl ConnectionTrait, done: &Done) -> Result<Option<String>> {
    for found in &done.found {
        if let Some(row) = store::codes_for(tx, &found.work.finding).await? {
            return Ok(Some(row.codes_json));
        }
    }
    Ok(None)
}

/// Most papers that a draft takes by itself.
const ON_RECORD_MAX: usize = 20;

/// Adds what the terms ask for and is on record already.
async fn on_record(
    tx: &impl ConnectionTrait,
    act: &Act,
    (claim, basis, staff_id): (&claim::Model, &Basis, i64),
) -> Result<()> {
    let terms: Programme = serde_json::from_str(&basis.terms.terms_json)
        .map_err(|error| Error::caused("terms of a programme", error))?;
    let asked: Vec<EvidenceKind> = (terms.evidence.into_iter())
        .map(words::evidence_kind)
        .collect();
    let files = attachments::attached_to_call(tx, &basis.call).await?;
    let files = files.into_iter().filter_map(|file| {
        let evidence = shows(file.kind)?;
        Some((evidence, Some(file.id), None))
    });
    let parts = warranty::kept_of_call(tx, basis.call.id).await?;
    let parts = (parts.into_iter())
        .filter(|part| part.scrapped_on.is_none())
        .map(|part| (EvidenceKind::OldPart, None, Some(part.id)));
    let found = files
        .chain(parts)
        .filter(|(evidence, ..)| asked.contains(evidence));
    for (evidence, attachment_id, kept_part_id) in found.take(ON_RECORD_MAX) {
        let row = claim_paper::ActiveModel {
            claim_id: Set(claim.id),
            evidence: Set(evidence),
            attachment_id: Set(attachment_id),
            kept_part_id: Set(kept_part_id),
            added_at: Set(act.at),
            added_by: Set(staff_id),
            ..Default::default()
        };
        row.insert(tx).await?;
    }
    Ok(())
}

/// What a picture or paper on record is evidence of.
const fn shows(kind: AttachmentKind) -> Option<EvidenceKind> {
    match kind {
        AttachmentKind::Plate => Some(EvidenceKind::PlatePicture),
        AttachmentKind::ProofOfPurchase => Some(EvidenceKind::ProofOfPurchase),
        AttachmentKind::Damage | AttachmentKind::Before => Some(EvidenceKind::FaultPicture),
        AttachmentKind::After | AttachmentKind::Other => None,
    }
}

/// What is changed on a claim.
#[derive(Clone, Debug)]
pub struct ChangeClaim {
    pub claim_id: i64,
    pub version: i32,
    pub complaint: Option<String>,
    pub diagnosis: Option<String>,
    pub codes: Change<FailureCodes>,
}

/// Changes what a claim says, while it is a draft or the payer wants to know more.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict`; `WrongState` for one that is elsewhere; refusals name the field.
pub async fn change_claim(act: &Act, change: ChangeClaim) -> Result<claim::Model> {
    act.staff_with(Right::ChangeClaim)?;
    let mut checks = Checks::new();
    let complaint =
        (change.complaint.as_deref()).map(|text| checks.text("complaint", text, TEXT_MAX));
    let diagnosis =
        (change.diagnosis.as_deref()).map(|text| checks.text("diagnosis", text, TEXT_MAX));
    let codes = change
        .codes
        .map(|codes| codes_checked(&mut checks, "codes", &codes));
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let before = store::get_claim(&tx, "claimId", change.claim_id).await?;
    same_version(&before, change.version)?;
    if !matches!(before.state, ClaimState::Draft | ClaimState::Queried) {
        let message = format!(
            "Claim {} is {}; it changes only as a draft or while the payer asks.",
            before.number,
            super::life::state_words(store::to_rule(before.state))
        );
        return Err(wrong_state("claimId", message));
    }
    let mut row = before.clone().into_active_model();
    if let Some(complaint) = complaint {
        row.complaint = Set(complaint);
    }
    if let Some(diagnosis) = diagnosis {
        row.diagnosis = Set(diagnosis);
    }
    codes
        .map(|codes| codes_text(&codes))
        .transpose()?
        .set(&mut row.codes_json);
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    let verb = Right::ChangeClaim.mutation();
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    tx.commit().await?;
    Ok(after)
}

/// Codes as text.
///
/// # Errors
/// Internal only.
pub fn codes_text(codes: &FailureCodes) -> Result<String> {
    serde_json::to_string(codes).map_err(|error| Error::caused("codes of a failure", error))
}

/// Most defects, and most repairs, of one failure.
const CODES_MAX: usize = 10;

/// Codes in capitals, if their shape is right.
pub fn codes_checked(checks: &mut Checks, path: &str, codes: &FailureCodes) -> FailureCodes {
    for (field, list) in [("defects", &codes.defects), ("repairs", &codes.repairs)] {
        if list.len() > CODES_MAX {
            let message = format!("At most {CODES_MAX} codes.");
            checks.refuse(ProblemCode::TooLong, &format!("{path}.{field}"), message);
            return FailureCodes::default();
        }
    }
    match checked_codes(codes) {
        Ok(codes) => codes,
        Err(refusal) => {
            let (CodeRefusal::Length { field, .. } | CodeRefusal::Letters { field, .. }) = refusal;
            let field = match field {
                "extended_condition" => "extendedCondition",
                other => other,
            };
            let message = format!("{refusal}.");
            checks.refuse(ProblemCode::Malformed, &format!("{path}.{field}"), message);
            FailureCodes::default()
        }
    }
}
