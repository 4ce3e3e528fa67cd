//! What belongs to a claim: steps, papers, sendings, codes, requirements and its balance.

use async_graphql::{ComplexObject, Context, Enum, ID, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::{claim_paper, claim_sending, claim_step, failure_code};
use nameplate_rules::claims::{self, outcome_codes};
use nameplate_rules::money::Cents;

use crate::appliances::graphql::{Component, FailureMode};
use crate::attachments::graphql::Attachment;
use crate::base::{Error, Result};
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::Money;
use crate::shop::graphql::Staff;
use crate::warranty::graphql::{CoverEvidence, KeptPart};

use super::super::{Requirement, Wanted, words};

/// Where a claim stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::ClaimState")]
pub enum ClaimState {
    /// It is being written.
    Draft,
    /// Nothing is missing.
    Ready,
    /// It is with the payer.
    Submitted,
    /// The payer wants to know more.
    Queried,
    /// The payer will pay all of it.
    Approved,
    /// The payer will pay a part.
    PartApproved,
    /// The payer will not pay.
    Denied,
    /// Money came in; what is open says whether it was all.
    Paid,
    /// The shop disputes the answer.
    Appealed,
    /// Nothing more happens to it.
    Closed,
}

/// What happens to a claim.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::ClaimStep")]
pub enum ClaimStepKind {
    /// It was drafted.
    Drafted,
    /// It was found that nothing is missing.
    MakeReady,
    /// It was taken back to be changed.
    Reopen,
    /// It went to the payer.
    Submit,
    /// The payer asked something.
    Query,
    /// The payer approved all of it.
    Approve,
    /// The payer approved a part.
    ApprovePart,
    /// The payer denied it.
    Deny,
    /// Money came in.
    Pay,
    /// The shop disputed the answer.
    Appeal,
    /// It was closed.
    Close,
    /// It was taken up again where it was closed.
    Resume,
    /// It was taken back for good.
    Void,
    /// A line of an advice was not about it, and what was written down by that line does not hold.
    Unsay,
}

/// Something that happened to a claim; it never changes.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct ClaimStep {
    /// What happened.
    step: ClaimStepKind,
    /// Where the claim stood after it.
    state: ClaimState,
    /// The day it happened.
    on: NaiveDate,
    /// In words.
    note: Option<String>,
    /// The payer's reason, as a code.
    reason: Option<String>,
    /// The list that the code is of.
    release: Option<String>,
    /// Approved or paid.
    amount: Option<Money>,
    /// When it was written down.
    taken_at: DateTime<Utc>,
    #[graphql(skip)]
    row: claim_step::Model,
}

impl From<claim_step::Model> for ClaimStep {
    fn from(row: claim_step::Model) -> Self {
        Self {
            step: row.step.into(),
            state: row.state.into(),
            on: row.taken_on,
            note: row.note.clone(),
            reason: row.reason_code.clone(),
            release: row.reason_release.clone(),
            amount: row.cents.map(Money::cents),
            taken_at: row.taken_at,
            row,
        }
    }
}

#[ComplexObject]
impl ClaimStep {
    /// What the code means, where it is of the open list.
    async fn reason_meaning(&self) -> Option<&'static str> {
        if self.row.reason_release.as_deref() != Some(claims::OUTCOME_RELEASE) {
            return None;
        }
        let code = self.row.reason_code.as_deref()?;
        let known = outcome_codes().iter().find(|known| known.code == code);
        known.map(|known| known.meaning)
    }

    /// Who wrote it down; null for what the program did.
    async fn taken_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        match self.row.taken_by {
            Some(id) => Staff::of(ctx, id).await,
            None => Ok(None),
        }
    }
}

/// A picture, scan, kept part or number that goes with a claim.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct ClaimPaper {
    /// What it is evidence of.
    evidence: CoverEvidence,
    /// What the desk adds.
    note: Option<String>,
    /// When it was added.
    added_at: DateTime<Utc>,
    #[graphql(skip)]
    row: claim_paper::Model,
}

impl From<claim_paper::Model> for ClaimPaper {
    fn from(row: claim_paper::Model) -> Self {
        Self {
            evidence: words::evidence_rule(row.evidence).into(),
            note: row.note.clone(),
            added_at: row.added_at,
            row,
        }
    }
}

#[ComplexObject]
impl ClaimPaper {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::ClaimPaper.id(self.row.id)
    }

    /// The file; null for a kept part or a number, and for a file that was removed since.
    async fn attachment(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Attachment>> {
        match self.row.attachment_id {
            Some(id) => Attachment::find(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The part that was kept.
    async fn kept_part(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<KeptPart>> {
        match self.row.kept_part_id {
            Some(id) => KeptPart::find(ctx, id).await,
            None => Ok(None),
        }
    }

    /// Who added it.
    async fn added_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.added_by).await
    }
}

/// The archive that went to a payer.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct ClaimSending {
    /// SHA-256 of the archive, in hexadecimal.
    sha256: String,
    /// Size of the archive.
    byte_count: i64,
    /// The address it was mailed to; null where the desk sent it otherwise.
    mailed_to: Option<String>,
    #[graphql(skip)]
    row: claim_sending::Model,
}

impl From<claim_sending::Model> for ClaimSending {
    fn from(row: claim_sending::Model) -> Self {
        Self {
            sha256: row.sha256.clone(),
            byte_count: row.byte_count,
            mailed_to: row.mailed_to.clone(),
            row,
        }
    }
}

#[ComplexObject]
impl ClaimSending {
    /// The step by which it went.
    async fn step(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<ClaimStep>> {
        let row = loaders::row::<claim_step::Entity>(ctx, self.row.step_id).await?;
        Ok(row.map(ClaimStep::from))
    }
}

/// What a claim has come to.
#[derive(SimpleObject)]
pub struct ClaimBalance {
    /// What was claimed, with tax.
    claimed: Money,
    /// What was paid.
    paid: Money,
    /// What was given up or billed to somebody else.
    written_down: Money,
    /// What is still open.
    open: Money,
}

impl ClaimBalance {
    /// What was claimed, paid and written down, and what is left.
    pub fn of((claimed, paid, written_down): (i64, Cents, Cents)) -> Result<Self> {
        let balance = claims::ClaimBalance {
            claimed: Cents(claimed),
            paid,
            written_down,
        };
        let open = balance.open();
        Ok(Self {
            claimed: Money(balance.claimed),
            paid: Money(paid),
            written_down: Money(written_down),
            open: Money(open.map_err(|error| Error::caused("what is open of a claim", error))?),
        })
    }
}

/// One thing that a claim must have.
#[derive(SimpleObject)]
pub struct ClaimRequirement {
    /// What of the programme's evidence it is; null for what every claim must have.
    evidence: Option<CoverEvidence>,
    /// Whether it is there.
    is_there: bool,
    /// What is there; or what is missing, and what would settle it.
    words: String,
}

impl From<Requirement> for ClaimRequirement {
    fn from(wanted: Requirement) -> Self {
        Self {
            evidence: match wanted.wanted {
                Wanted::Evidence(kind) => Some(words::evidence_rule(kind).into()),
                _ => None,
            },
            is_there: wanted.is_there,
            words: wanted.words,
        }
    }
}

/// Codes of one failure in the industry's scheme: what is noticed, and apart from it what was found and done.
#[derive(Clone, SimpleObject)]
pub struct FailureCodes {
    /// When it shows: one character.
    condition: Option<String>,
    /// Where or under what it shows: three characters.
    extended_condition: Option<String>,
    /// What is noticed: three characters.
    symptom: Option<String>,
    /// Which part of the machine.
    section: Option<String>,
    /// What is wrong with it.
    defects: Vec<String>,
    /// What was done.
    repairs: Vec<String>,
}

impl FailureCodes {
    /// Codes as kept.
    pub fn read(text: &str) -> Result<Self> {
        let codes: claims::FailureCodes = serde_json::from_str(text)
            .map_err(|error| Error::caused("codes of a failure", error))?;
        Ok(Self {
            condition: codes.condition,
            extended_condition: codes.extended_condition,
            symptom: codes.symptom,
            section: codes.section,
            defects: codes.defects,
            repairs: codes.repairs,
        })
    }
}

/// What a component and failure are called in the industry's scheme.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct FailureCodeSet {
    /// When it was set.
    changed_at: DateTime<Utc>,
    #[graphql(skip)]
    row: failure_code::Model,
}

impl From<failure_code::Model> for FailureCodeSet {
    fn from(row: failure_code::Model) -> Self {
        Self {
            changed_at: row.changed_at,
            row,
        }
    }
}

#[ComplexObject]
impl FailureCodeSet {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::FailureCodes.id(self.row.id)
    }

    /// The component; null for every one.
    async fn component(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Component>> {
        match self.row.component_id {
            Some(id) => Component::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The failure.
    async fn failure_mode(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<FailureMode>> {
        FailureMode::of(ctx, self.row.failure_mode_id).await
    }

    /// Its codes.
    async fn codes(&self) -> async_graphql::Result<FailureCodes> {
        FailureCodes::read(&self.row.codes_json).map_err(crate::graphql::error::edge)
    }

    /// Who set them.
    async fn changed_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.changed_by).await
    }
}
