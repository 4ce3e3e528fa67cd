//! What the acts on claims are told.

use async_graphql::{Enum, ID, InputObject, MaybeUndefined};
use chrono::NaiveDate;
use nameplate_rules::claims;

use crate::base::{Change, Result};
use crate::graphql::ids::Kind;
use crate::graphql::scalars::Money;
use crate::warranty::graphql::CoverEvidence;

use super::super::{
    AddClaimPaper, ChangeClaim, DraftClaim, Happened, NoteClaimAnswer, OfClaim, SentBy,
    SetFailureCodes, SubmitClaim, words,
};

/// A claim to be drafted.
#[derive(InputObject)]
pub struct DraftClaimInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The payer's invoice of the call.
    invoice_id: ID,
    /// Needed only where several programmes of the payer pay for the call.
    programme_id: Option<ID>,
}

impl DraftClaimInput {
    /// As the act reads it.
    pub fn command(self) -> Result<DraftClaim> {
        let programme = self.programme_id.as_ref();
        Ok(DraftClaim {
            idempotency_key: self.idempotency_key,
            invoice_id: Kind::Invoice.row("invoiceId", &self.invoice_id)?,
            programme_id: Kind::WarrantyProgramme.row_if_any("programmeId", programme)?,
        })
    }
}

/// Codes of one failure in the industry's scheme.
#[derive(InputObject)]
pub struct FailureCodesInput {
    /// When it shows: one character.
    condition: Option<String>,
    /// Where or under what it shows: three characters.
    extended_condition: Option<String>,
    /// What is noticed: three characters.
    symptom: Option<String>,
    /// Which part of the machine.
    section: Option<String>,
    /// What is wrong with it.
    #[graphql(default)]
    defects: Vec<String>,
    /// What was done.
    #[graphql(default)]
    repairs: Vec<String>,
}

impl From<FailureCodesInput> for claims::FailureCodes {
    fn from(input: FailureCodesInput) -> Self {
        Self {
            condition: input.condition,
            extended_condition: input.extended_condition,
            symptom: input.symptom,
            section: input.section,
            defects: input.defects,
            repairs: input.repairs,
        }
    }
}

/// What is changed on a claim; what is left out stays.
#[derive(InputObject)]
pub struct ChangeClaimInput {
    /// The claim.
    claim_id: ID,
    /// The version that was read.
    version: i32,
    /// What the customer noticed.
    complaint: Option<String>,
    /// What was found and done.
    diagnosis: Option<String>,
    /// Codes of the failure; null takes them away.
    #[graphql(default)]
    codes: MaybeUndefined<FailureCodesInput>,
}

impl ChangeClaimInput {
    /// As the act reads it.
    pub fn command(self) -> Result<ChangeClaim> {
        Ok(ChangeClaim {
            claim_id: Kind::Claim.row("claimId", &self.claim_id)?,
            version: self.version,
            complaint: self.complaint,
            diagnosis: self.diagnosis,
            codes: Change::from(self.codes).map(Into::into),
        })
    }
}

/// A paper to go with a claim.
#[derive(InputObject)]
pub struct AddClaimPaperInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The claim.
    claim_id: ID,
    /// What it is evidence of.
    evidence: CoverEvidence,
    /// A file of the call, of its machine or of one of its findings.
    attachment_id: Option<ID>,
    /// For the part taken out: the tag under which it is kept.
    tag: Option<String>,
    /// What the desk adds; for a contract number the number itself.
    note: Option<String>,
}

impl AddClaimPaperInput {
    /// As the act reads it.
    pub fn command(self) -> Result<AddClaimPaper> {
        let attachment = self.attachment_id.as_ref();
        Ok(AddClaimPaper {
            idempotency_key: self.idempotency_key,
            claim_id: Kind::Claim.row("claimId", &self.claim_id)?,
            evidence: words::evidence_kind(self.evidence.into()),
            attachment_id: Kind::Attachment.row_if_any("attachmentId", attachment)?,
            tag: self.tag.filter(|tag| !tag.trim().is_empty()),
            note: self.note,
        })
    }
}

/// A paper to be taken off its claim.
#[derive(InputObject)]
pub struct RemoveClaimPaperInput {
    /// The paper.
    claim_paper_id: ID,
}

impl RemoveClaimPaperInput {
    /// The row of the paper.
    pub fn row(&self) -> Result<i64> {
        Kind::ClaimPaper.row("claimPaperId", &self.claim_paper_id)
    }
}

/// Codes of a failure to be taken away.
#[derive(InputObject)]
pub struct RemoveFailureCodesInput {
    /// The codes.
    failure_codes_id: ID,
}

impl RemoveFailureCodesInput {
    /// The row of the codes.
    pub fn row(&self) -> Result<i64> {
        Kind::FailureCodes.row("failureCodesId", &self.failure_codes_id)
    }
}

/// The input of an act on a claim as it was read.
macro_rules! of_claim {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(InputObject)]
        pub struct $name {
            /// The claim.
            claim_id: ID,
            /// The version that was read.
            version: i32,
        }

        impl $name {
            /// As the act reads it.
            pub fn command(self) -> Result<OfClaim> {
                Ok(OfClaim {
                    claim_id: Kind::Claim.row("claimId", &self.claim_id)?,
                    version: self.version,
                })
            }
        }
    };
}

of_claim! {
    /// A claim that nothing is missing from.
    MakeClaimReadyInput
}

of_claim! {
    /// A claim that is ready and is to be changed.
    ReopenClaimInput
}

/// The input of an act that writes down what happened to a claim on a day.
macro_rules! happened {
    ($(#[$doc:meta])* $name:ident, $note:literal) => {
        $(#[$doc])*
        #[derive(InputObject)]
        pub struct $name {
            /// The claim.
            claim_id: ID,
            /// The version that was read.
            version: i32,
            /// The day it happened.
            on: NaiveDate,
            #[doc = $note]
            note: Option<String>,
        }

        impl $name {
            /// As the act reads it.
            pub fn command(self) -> Result<Happened> {
                Ok(Happened {
                    of: OfClaim {
                        claim_id: Kind::Claim.row("claimId", &self.claim_id)?,
                        version: self.version,
                    },
                    on: self.on,
                    note: self.note,
                })
            }
        }
    };
}

happened! {
    /// A payer's question about a claim.
    NoteClaimQueryInput, "What the payer asks."
}

happened! {
    /// A closed claim that goes on.
    ReopenClosedClaimInput, "Why it goes on."
}

happened! {
    /// A claim that is taken back for good.
    VoidClaimInput, "Why it is taken back."
}

happened! {
    /// A claim that is over.
    CloseClaimInput, "Why it is closed; needed while something is open."
}

/// What a payer answers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "super::super::ClaimAnswer")]
pub enum ClaimAnswer {
    /// It pays all of it.
    Approved,
    /// It pays a part.
    InPart,
    /// It does not pay.
    Denied,
}

/// A payer's answer to a claim.
#[derive(InputObject)]
pub struct NoteClaimAnswerInput {
    /// The claim.
    claim_id: ID,
    /// The version that was read.
    version: i32,
    /// The day of the answer.
    on: NaiveDate,
    /// What it is.
    answer: ClaimAnswer,
    /// What is approved, where it is a part.
    amount: Option<Money>,
    /// The reason as a code: one of the open list (`claimReasons`), or of the payer's own list.
    reason: Option<String>,
    /// The list that the code is of; the open list when left out.
    release: Option<String>,
    /// The reason in words.
    note: Option<String>,
    /// The payer's own number of the claim.
    payer_reference: Option<String>,
}

impl NoteClaimAnswerInput {
    /// As the act reads it.
    pub fn command(self) -> Result<NoteClaimAnswer> {
        Ok(NoteClaimAnswer {
            of: OfClaim {
                claim_id: Kind::Claim.row("claimId", &self.claim_id)?,
                version: self.version,
            },
            on: self.on,
            answer: self.answer.into(),
            amount: self.amount.map(|amount| amount.0),
            reason: self.reason,
            release: self.release,
            note: self.note,
            payer_reference: self.payer_reference,
        })
    }
}

/// A claim to be sent.
#[derive(InputObject)]
pub struct SubmitClaimInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The claim.
    claim_id: ID,
    /// The version that was read.
    version: i32,
    /// The day it goes out.
    on: NaiveDate,
    /// True mails the archive to the payer's address for claims; false says that the desk sends it otherwise.
    by_mail: bool,
    /// The payer's own number of the claim, if it is known.
    payer_reference: Option<String>,
    /// What is answered to the payer's question.
    note: Option<String>,
}

impl SubmitClaimInput {
    /// As the act reads it.
    pub fn command(self) -> Result<SubmitClaim> {
        let claim_id = Kind::Claim.row("claimId", &self.claim_id)?;
        Ok(SubmitClaim {
            idempotency_key: self.idempotency_key,
            of: OfClaim {
                claim_id,
                version: self.version,
            },
            claim_id,
            on: self.on,
            by: if self.by_mail {
                SentBy::Mail
            } else {
                SentBy::Hand
            },
            payer_reference: self.payer_reference,
            note: self.note,
        })
    }
}

/// A claim that goes again to dispute an answer.
#[derive(InputObject)]
pub struct AppealClaimInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The claim.
    claim_id: ID,
    /// The version that was read.
    version: i32,
    /// The day it goes out.
    on: NaiveDate,
    /// True mails the archive to the payer's address for claims; false says that the desk sends it otherwise.
    by_mail: bool,
    /// Why the answer is disputed.
    note: String,
}

impl AppealClaimInput {
    /// As the act reads it.
    pub fn command(self) -> Result<SubmitClaim> {
        let sent = SubmitClaimInput {
            idempotency_key: self.idempotency_key,
            claim_id: self.claim_id,
            version: self.version,
            on: self.on,
            by_mail: self.by_mail,
            payer_reference: None,
            note: Some(self.note),
        };
        sent.command()
    }
}

/// The codes of one kind of failure.
#[derive(InputObject)]
pub struct SetFailureCodesInput {
    /// The component; left out for every one.
    component_id: Option<ID>,
    /// The failure.
    failure_mode_id: ID,
    /// Its codes.
    codes: FailureCodesInput,
}

impl SetFailureCodesInput {
    /// As the act reads it.
    pub fn command(self) -> Result<SetFailureCodes> {
        let component = self.component_id.as_ref();
        Ok(SetFailureCodes {
            component_id: Kind::Component.row_if_any("componentId", component)?,
            failure_mode_id: Kind::FailureMode.row("failureModeId", &self.failure_mode_id)?,
            codes: self.codes.into(),
        })
    }
}
