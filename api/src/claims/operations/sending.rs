//! Sending a claim to its payer, also to dispute an answer: what went is kept as it went, and known by its hash.

use chrono::NaiveDate;
use nameplate_entities::{claim, claim_sending, claim_step, kinds};
use nameplate_rules::claims::ClaimStep;
use nameplate_rules::dates::whole_days_between;
use nameplate_rules::plural::counted;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};
use serde::Serialize;

use super::super::archive::{self, Archive, Content, Submission};
use super::super::known::Known;
use super::super::store;
use super::answers::{OfClaim, nothing_is_missing};
use super::life::{Taken, after, step_with, subject};
use super::same_version;
use super::voiding::must_ask_for_all;
use crate::base::check::{LINE_MAX, TEXT_MAX};
use crate::base::letter::{CustomerMail, MailShop, Outgoing};
use crate::base::outbox::{self, Addressee, Payload};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::estimates::parties;
use crate::shop::Settings;
use crate::{customers, warranty};

/// Largest archive that goes by mail; as text in a mail it grows by a third, to 20 MB.
const MAIL_BYTES_MAX: usize = 15_000_000;

/// How a claim goes to its payer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum SentBy {
    /// To the payer's address for claims, with the archive.
    Mail,
    /// By the desk: the payer's own site, post, telefax.
    Hand,
}

/// A claim to be sent: for the first time, with what the payer asked for, again, or to dispute an answer.
#[derive(Clone, Debug, Serialize)]
pub struct SubmitClaim {
    #[serde(skip)]
    pub idempotency_key: String,
    #[serde(skip)]
    pub of: OfClaim,
    pub claim_id: i64,
    pub on: NaiveDate,
    pub by: SentBy,
    /// The payer's own number of the claim, if it is known.
    pub payer_reference: Option<String>,
    /// What is answered to the payer's question, why it goes again, or why an answer is disputed.
    pub note: Option<String>,
}

/// A claim that went out.
#[derive(Clone, Debug)]
pub struct Submitted {
    pub claim: claim::Model,
    pub sending: claim_sending::Model,
    /// Days after the last day to file.
    pub days_late: Option<i64>,
}

/// Sends a claim, for the first time or again. Late ones go too, as payers sometimes take them, and say by how much they are
/// late.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict`; `WrongState`, also for a claim whose invoice was taken back or does not ask for all
/// of it; `Missing` for each thing that is missing, and at `by` for a payer without an address for claims; `TooMuch` at `by`
/// for an archive that no mail takes; refusals name the field.
pub async fn submit_claim(act: &Act, order: SubmitClaim) -> Result<Submitted> {
    send(act, (Right::SubmitClaim, ClaimStep::Submit), order).await
}

/// Disputes a payer's answer, while something of the claim is open: the claim goes again, with the papers of now. What the
/// terms ask for was there when it was filed, and a part that was sent back since does not stand in the way.
///
/// # Errors
/// As [`submit_claim`], save that nothing is missing; `Missing` at `note`; `WrongState` also for a claim of which nothing is
/// open.
pub async fn appeal_claim(act: &Act, appeal: SubmitClaim) -> Result<Submitted> {
    send(act, (Right::AppealClaim, ClaimStep::Appeal), appeal).await
}

async fn send(
    act: &Act,
    (right, kind): (Right, ClaimStep),
    order: SubmitClaim,
) -> Result<Submitted> {
    act.staff_with(right)?;
    let verb = right.mutation();
    let mut checks = Checks::new();
    let note = checks.text_if_any("note", order.note.as_deref(), TEXT_MAX - LINE_MAX);
    let reference =
        checks.text_if_any("payerReference", order.payer_reference.as_deref(), LINE_MAX);
    if kind == ClaimStep::Appeal && note.is_none() {
        checks.refuse(
            ProblemCode::Missing,
            "note",
            "Write why the answer is disputed.",
        );
    }
    checks.finish()?;
    if let Some(done) = done_before(act, (verb, &order)).await? {
        return Ok(done);
    }
    // Made before the one writer is held: typesetting takes a while. What changes meanwhile counts the version up.
    let made = made(act, (kind, &order), (note, reference.clone())).await?;
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return submitted(&tx, id).await;
    }
    let claim = store::get_claim(&tx, "claimId", order.claim_id).await?;
    same_version(&claim, order.of.version)?;
    // Money may have moved while it was made, which leaves the version as it was.
    must_ask_for_all(&tx, (&claim, &made.invoice), kind).await?;
    let mailed_to = match order.by {
        SentBy::Mail => Some(address(&tx, &claim, &made.archive).await?),
        SentBy::Hand => None,
    };
    let taken = Taken {
        step: kind,
        on: order.on,
        note: made.note,
        reason: None,
        cents: None,
        by: None,
    };
    let (claim, step) = step_with(&tx, act, (verb, &claim), taken, |row| {
        if reference.is_some() {
            row.payer_reference = Set(reference);
        }
    })
    .await?;
    let sending = keep(&tx, &step, (made.archive, mailed_to.as_ref())).await?;
    if let Some(to) = &mailed_to {
        let payload = Payload::Claim {
            sending_id: sending.id,
        };
        outbox::enqueue(&tx, act, to, subject(claim.id), &payload).await?;
    }
    once.keep(&tx, act, &sending.id).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(Submitted {
        claim,
        sending,
        days_late: made.days_late,
    })
}

/// Keeps what went as it went.
async fn keep(
    tx: &impl ConnectionTrait,
    step: &claim_step::Model,
    (archive, mailed_to): (Archive, Option<&Addressee>),
) -> Result<claim_sending::Model> {
    let archive_json = serde_json::to_string(&archive.content)
        .map_err(|error| Error::caused("content of an archive", error))?;
    let sending = claim_sending::ActiveModel {
        claim_id: Set(step.claim_id),
        step_id: Set(step.id),
        archive_json: Set(archive_json),
        sha256: Set(archive.sha256),
        byte_count: Set(i64::try_from(archive.bytes.len())
            .map_err(|error| Error::caused("size of an archive", error))?),
        mailed_to: Set(mailed_to.map(|to| to.email.clone())),
        ..Default::default()
    };
    Ok(sending.insert(tx).await?)
}

/// What was done by the same key before.
async fn done_before(
    act: &Act,
    (verb, order): (&'static str, &SubmitClaim),
) -> Result<Option<Submitted>> {
    let db = act.app.db.read();
    let once = idempotency::look_up(db, act, verb, &order.idempotency_key, order).await?;
    match once.receipt::<i64>()? {
        Some(id) => submitted(db, id).await.map(Some),
        None => Ok(None),
    }
}

async fn submitted(tx: &impl ConnectionTrait, sending_id: i64) -> Result<Submitted> {
    let sending = store::get_sending(tx, sending_id).await?;
    let claim = store::get_claim(tx, "", sending.claim_id).await?;
    let step = store::get_step(tx, sending.step_id).await?;
    let first = store::first_sending(tx, claim.id).await? == Some(sending.id);
    Ok(Submitted {
        days_late: days_late(&claim, step.taken_on).filter(|_| first),
        claim,
        sending,
    })
}

/// What goes out.
struct Made {
    archive: Archive,
    /// The number of the invoice.
    invoice: String,
    note: Option<String>,
    days_late: Option<i64>,
}

async fn made(
    act: &Act,
    (kind, order): (ClaimStep, &SubmitClaim),
    (note, reference): (Option<String>, Option<String>),
) -> Result<Made> {
    let tx = act.app.db.snapshot().await?;
    let mut claim = store::get_claim(&tx, "claimId", order.claim_id).await?;
    same_version(&claim, order.of.version)?;
    after(&claim, kind)?;
    let first = claim.submitted_on.is_none();
    let days_late = days_late(&claim, order.on).filter(|_| first);
    let late = days_late.map(|days| {
        let last = claim
            .file_by
            .map_or_else(String::new, |day| day.to_string());
        let days = counted(days, "day", "days");
        format!("Filed {days} after the last day to file, {last}.")
    });
    let said: Vec<String> = [note, late].into_iter().flatten().collect();
    let note = (!said.is_empty()).then(|| said.join("\n\n"));
    claim.payer_reference = reference.or(claim.payer_reference);
    let known = Known::of(&tx, claim).await?;
    let number = known.invoice.number.clone();
    must_ask_for_all(&tx, (&known.claim, &number), kind).await?;
    if kind == ClaimStep::Submit {
        nothing_is_missing(&known)?;
    }
    let submission = Submission {
        count: store::sendings(&tx, known.claim.id).await? + 1,
        on: order.on,
        note: note.clone(),
    };
    let archive = archive::of_now(&tx, &known, Some(submission)).await?;
    tx.rollback().await?;
    Ok(Made {
        archive,
        invoice: number,
        note,
        days_late,
    })
}

/// How many days after the last day to file a day is.
fn days_late(claim: &claim::Model, on: NaiveDate) -> Option<i64> {
    let days = whole_days_between(claim.file_by?, on);
    (days > 0).then_some(days)
}

/// Where the payer takes claims, if a mail can carry the archive.
async fn address(
    tx: &impl ConnectionTrait,
    claim: &claim::Model,
    archive: &Archive,
) -> Result<Addressee> {
    let payer = warranty::get_payer(tx, "claimId", claim.payer_id).await?;
    let Some(email) = payer.claim_mail else {
        let message = "This payer has no address for claims; write it on the payer, or send the claim by hand.";
        return Err(Error::refused(ProblemCode::Missing, "by", message));
    };
    if archive.bytes.len() > MAIL_BYTES_MAX {
        let message = format!(
            "The archive has {} MB and a mail takes {} MB; send it by hand, or with fewer papers.",
            archive.bytes.len() / 1_000_000,
            MAIL_BYTES_MAX / 1_000_000
        );
        return Err(Error::refused(ProblemCode::TooMuch, "by", message));
    }
    let customer = customers::get_customer(tx, "claimId", payer.customer_id).await?;
    Ok(Addressee {
        email,
        name: customer.name,
    })
}

/// The mail that brings a claim to its payer, with the archive as it was made then.
///
/// # Errors
/// `NotFound`; internal, when template or typesetter fail, or where a paper is gone since, so that it would be another.
pub async fn claim_letter(
    db: &impl ConnectionTrait,
    settings: &Settings,
    sending_id: i64,
) -> Result<Outgoing> {
    let sending = store::get_sending(db, sending_id).await?;
    let claim = store::get_claim(db, "", sending.claim_id).await?;
    let archive = archive::as_sent(db, &sending).await?;
    if archive.sha256 != sending.sha256 {
        return Err(Error::internal(
            "the archive of a claim is no longer the one that was submitted",
        ));
    }
    let content = &archive.content;
    let step = store::get_step(db, sending.step_id).await?;
    let is_appeal = step.step == kinds::ClaimStep::Appeal;
    let shop = parties::shop_block(settings);
    let mail = CustomerMail {
        shop: MailShop {
            name: shop.name,
            address_lines: shop.address,
            phone: shop.phone,
            email: shop.email,
        },
        customer_name: content.payer.clone(),
        headline: format!(
            "{} {} for call {}",
            if is_appeal {
                "Appeal of claim"
            } else {
                "Claim"
            },
            claim.number,
            content.call.number
        ),
        sentences: sentences(content, is_appeal),
        ..CustomerMail::default()
    };
    let rendered = (mail.render()).map_err(|error| Error::caused("mail of a claim", error))?;
    Ok(Outgoing {
        rendered,
        attachments: vec![archive::file(&claim, archive.bytes)],
        without: None,
    })
}

fn sentences(content: &Content, is_appeal: bool) -> Vec<String> {
    let machine = &content.appliance;
    let serial = machine.serial.as_deref().unwrap_or("not readable");
    let mut sentences = vec![
        format!(
            "We claim {} {} for our call {} under {}.",
            content.currency,
            nameplate_rules::money::Cents(content.amounts.total_cents),
            content.call.number,
            content.programme
        ),
        format!(
            "The machine: {} {}, serial {serial}.",
            machine.make, machine.model
        ),
    ];
    if is_appeal {
        let dispute = "We dispute the answer to this claim and ask to have it looked at again.";
        sentences.push(dispute.to_owned());
    }
    let note = (content.submission.as_ref()).and_then(|sent| sent.note.clone());
    sentences.extend(note);
    sentences.push("Everything is in the attached archive, on paper and as data.".to_owned());
    sentences
}
