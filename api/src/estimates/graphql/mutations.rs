//! Drafting, revising and sending estimates.

use async_graphql::{Context, Enum, ID, InputObject, Object};
use chrono::NaiveDate;

use crate::base::Result;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::jobs::graphql::Mail;
use crate::payload;
use crate::pricing::graphql::tax_facts::{OutcomeWord, ServesWord, StatedAsWord};
use crate::pricing::graphql::{ChargeKind, PartCondition};

use super::EstimateRevision;
use super::pictures::{self, EstimatePictureInput};
use super::tax_facts::{DeliveryInput, line_facts, option_facts};
use crate::estimates::LineTerms;
use crate::estimates::sending::{self, resending};
use crate::estimates::writing::{drafting, offer};

/// When work is done.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_rules::pricing::labour::WorkHours")]
pub enum WorkHours {
    /// In opening hours.
    Regular,
    /// Outside them, at the book's multiplier.
    AfterHours,
}

/// How many technicians do the work.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_rules::pricing::labour::Crew")]
pub enum Crew {
    /// One.
    One,
    /// Two; the second adds the book's share of the first one's price.
    Two,
}

/// One charge. What is left out comes from the price book.
#[derive(InputObject)]
pub struct EstimateLineInput {
    /// What it charges for.
    kind: ChargeKind,
    /// Description as printed; a fee and freight need one, others have a usual one.
    description: Option<String>,
    /// The part, for a line of one.
    part_id: Option<ID>,
    /// How many; one when left out. Not for labour.
    quantity: Option<ExactDecimal>,
    /// Minutes the work takes; for labour only, which needs it or a task.
    minutes: Option<i32>,
    /// The flat-rate task that labour is priced by instead; its hours are the price, and no minimum applies.
    task_id: Option<ID>,
    /// How many technicians; for labour, one when left out.
    crew: Option<Crew>,
    /// Grade of the technician, by the name of a rate in the price book; for labour.
    grade: Option<String>,
    /// The technician whose grade it is; for labour, not together with `grade`.
    technician_id: Option<ID>,
    /// Why the option charges a second trip or diagnosis; printed behind its name.
    repeat_reason: Option<String>,
    /// When the work is done; for labour.
    #[graphql(default_with = "WorkHours::Regular")]
    hours: WorkHours,
    /// Price of one (labour: of an hour) instead of the book's; a fee and freight need it.
    unit_price: Option<Money>,
    /// What is taken off this line alone, before the diagnostic credit and any discount on the option; not together
    /// with `discountPercent`. It leaves deposit and freight that come with a part alone.
    discount_amount: Option<Money>,
    /// The same, per hundred of the line's price, rounded half up.
    discount_percent: Option<ExactDecimal>,
    /// For a part: whether it is new, used or rebuilt, if not as the catalogue has it; some places want it printed.
    part_condition: Option<PartCondition>,
    /// For a trip: what it serves; some tax rules ask.
    trip_serves: Option<ServesWord>,
    /// For freight, or a part that brings freight: how the goods are delivered; some tax rules ask.
    delivery: Option<DeliveryInput>,
    /// For a part: whether it replaces another under warranty; it is then free unless `unitPrice` says what is paid in
    /// addition.
    #[graphql(default)]
    replaced_under_warranty: bool,
    /// Heading it stands under. Lines of one section are printed together.
    section: Option<String>,
}

impl EstimateLineInput {
    fn command(self, below: &str) -> Result<offer::NewLine> {
        let path = format!("{below}.partId");
        let task = format!("{below}.taskId");
        let technician = format!("{below}.technicianId");
        let terms = LineTerms {
            task_id: Kind::FlatRateTask.row_if_any(&task, self.task_id.as_ref())?,
            crew: self.crew.map(Into::into),
            grade: self.grade,
            technician_id: Kind::Staff.row_if_any(&technician, self.technician_id.as_ref())?,
            repeat_reason: self.repeat_reason,
        };
        Ok(offer::NewLine {
            terms,
            kind: self.kind.into(),
            description: self.description,
            part_id: Kind::Part.row_if_any(&path, self.part_id.as_ref())?,
            quantity: self.quantity.map(|quantity| quantity.0),
            minutes: self.minutes,
            hours: self.hours.into(),
            unit_price: self.unit_price.map(|price| price.0),
            discount_amount: self.discount_amount.map(|amount| amount.0),
            discount_percent: self.discount_percent.map(|percent| percent.0),
            part_condition: self.part_condition.map(Into::into),
            facts: line_facts(
                self.trip_serves,
                self.delivery,
                self.replaced_under_warranty,
            ),
            section: self.section,
        })
    }
}

/// One alternative.
#[derive(InputObject)]
pub struct EstimateOptionInput {
    /// Short name, such as "Repair".
    title: String,
    /// What it does for the customer.
    summary: Option<String>,
    /// Its charges, in the order of printing.
    lines: Vec<EstimateLineInput>,
    /// What is taken off what the lines come to after their own discounts; not together with `discountPercent`.
    discount_amount: Option<Money>,
    /// The same, per hundred.
    discount_percent: Option<ExactDecimal>,
    /// Whether the document states its charges one by one, or one amount for all.
    #[graphql(default_with = "StatedAsWord::Separately")]
    stated_as: StatedAsWord,
    /// What comes of the work.
    #[graphql(default_with = "OutcomeWord::Repaired")]
    outcome: OutcomeWord,
    /// What proves that no part is used, such as a note in the technician's record; some tax rules ask.
    material_evidence: Option<String>,
    /// Which declared disaster did the damage, and how that is known; left out for none.
    disaster_area: Option<String>,
    /// Remarks below its lines.
    notes: Option<String>,
    /// What is wanted before the work begins; not together with `depositPercent`.
    deposit_amount: Option<Money>,
    /// The same, per hundred of the option's total with tax.
    deposit_percent: Option<ExactDecimal>,
}

impl EstimateOptionInput {
    /// The option as typed, which the input names at `below`.
    ///
    /// # Errors
    /// `NotFound` for ids of another kind.
    pub fn command(self, below: &str) -> Result<offer::NewOption> {
        let lines = self
            .lines
            .into_iter()
            .enumerate()
            .map(|(at, line)| line.command(&format!("{below}.lines.{at}")))
            .collect::<Result<Vec<_>>>()?;
        Ok(offer::NewOption {
            title: self.title,
            summary: self.summary,
            lines,
            discount_amount: self.discount_amount.map(|amount| amount.0),
            discount_percent: self.discount_percent.map(|percent| percent.0),
            facts: option_facts(
                self.stated_as,
                self.outcome,
                self.material_evidence,
                self.disaster_area,
            ),
            notes: self.notes,
            deposit_amount: self.deposit_amount.map(|amount| amount.0),
            deposit_percent: self.deposit_percent.map(|percent| percent.0),
        })
    }
}

fn command(
    (found, notes): (Option<String>, Option<String>),
    options: Vec<EstimateOptionInput>,
    weighing: Option<RepairOrReplaceInput>,
) -> Result<offer::Offer> {
    let options = options
        .into_iter()
        .enumerate()
        .map(|(at, option)| option.command(&format!("options.{at}")))
        .collect::<Result<Vec<_>>>()?;
    Ok(offer::Offer {
        found,
        notes,
        options,
        weighs_replacement: weighing.is_some(),
        replacement_price: weighing
            .and_then(|weighing| weighing.replacement_price)
            .map(|price| price.0),
        pictures: Vec::new(),
    })
}

/// Asks for the figures of repair or replace: age, usual life, and what each option costs against a new machine.
#[derive(InputObject)]
pub struct RepairOrReplaceInput {
    /// What a comparable new machine costs; the other figures need none.
    replacement_price: Option<Money>,
}

/// The work of a call to price.
#[derive(InputObject)]
pub struct DraftEstimateInput {
    /// A key of your own, such as a UUID; the same one when you try again.
    idempotency_key: String,
    /// The call.
    call_id: ID,
    /// What was found, as the customer reads it.
    found: Option<String>,
    /// Remarks.
    notes: Option<String>,
    /// Alternatives, at least one.
    options: Vec<EstimateOptionInput>,
    /// Shows the customer figures to weigh repair against replacement; left out, none are shown.
    repair_or_replace: Option<RepairOrReplaceInput>,
    /// Pictures to show, in order; at most 8.
    pictures: Option<Vec<EstimatePictureInput>>,
}

impl DraftEstimateInput {
    fn command(self) -> Result<drafting::DraftEstimate> {
        Ok(drafting::DraftEstimate {
            idempotency_key: self.idempotency_key,
            call_id: Kind::ServiceCall.row("callId", &self.call_id)?,
            offer: offer::Offer {
                pictures: pictures::commands(self.pictures)?,
                ..command(
                    (self.found, self.notes),
                    self.options,
                    self.repair_or_replace,
                )?
            },
        })
    }
}

payload! {
    /// What drafting an estimate gave.
    DraftEstimatePayload {
        /// Its first revision, a draft.
        revision: EstimateRevision
    }
}

/// The next revision of an estimate to draft.
#[derive(InputObject)]
pub struct ReviseEstimateInput {
    /// A key of your own, such as a UUID; the same one when you try again.
    idempotency_key: String,
    /// The estimate.
    estimate_id: ID,
    /// What was found, as the customer reads it.
    found: Option<String>,
    /// Remarks.
    notes: Option<String>,
    /// Alternatives, at least one; they take the place of those before.
    options: Vec<EstimateOptionInput>,
    /// Shows the customer figures to weigh repair against replacement; left out, none are shown.
    repair_or_replace: Option<RepairOrReplaceInput>,
    /// Pictures to show, in order; at most 8. They too take the place of those before.
    pictures: Option<Vec<EstimatePictureInput>>,
}

impl ReviseEstimateInput {
    fn command(self) -> Result<drafting::ReviseEstimate> {
        Ok(drafting::ReviseEstimate {
            idempotency_key: self.idempotency_key,
            estimate_id: Kind::Estimate.row("estimateId", &self.estimate_id)?,
            offer: offer::Offer {
                pictures: pictures::commands(self.pictures)?,
                ..command(
                    (self.found, self.notes),
                    self.options,
                    self.repair_or_replace,
                )?
            },
        })
    }
}

payload! {
    /// What revising an estimate gave.
    ReviseEstimatePayload {
        /// Its next revision, a draft.
        revision: EstimateRevision
    }
}

/// A drafted revision to send.
#[derive(InputObject)]
pub struct SendEstimateInput {
    /// A key of your own, such as a UUID; the same one when you try again.
    idempotency_key: String,
    /// The revision.
    revision_id: ID,
    /// Where to, if not to the customer's own e-mail address.
    to: Option<String>,
    /// Last day it can be accepted; by the shop's settings when left out.
    valid_until: Option<NaiveDate>,
}

impl SendEstimateInput {
    fn command(self) -> Result<sending::SendEstimate> {
        Ok(sending::SendEstimate {
            idempotency_key: self.idempotency_key,
            revision_id: Kind::EstimateRevision.row("revisionId", &self.revision_id)?,
            to: self.to,
            valid_until: self.valid_until,
        })
    }
}

payload! {
    /// What sending an estimate gave.
    SendEstimatePayload {
        /// The revision, frozen; its mail is on its way.
        revision: EstimateRevision
    }
}

/// A sent estimate to send again.
#[derive(InputObject)]
pub struct ResendEstimateInput {
    /// A key of your own, such as a UUID; the same one when you try again.
    idempotency_key: String,
    /// The revision, which waits for its answer.
    revision_id: ID,
    /// Where to, if not to the customer's own e-mail address.
    to: Option<String>,
}

impl ResendEstimateInput {
    fn command(self) -> Result<resending::ResendEstimate> {
        Ok(resending::ResendEstimate {
            idempotency_key: self.idempotency_key,
            revision_id: Kind::EstimateRevision.row("revisionId", &self.revision_id)?,
            to: self.to,
        })
    }
}

payload! {
    /// What sending an estimate again gave.
    ResendEstimatePayload {
        /// The mail that was asked for.
        mail: Mail
    }
}

/// Drafting, revising and sending estimates.
#[derive(Default)]
pub struct EstimatesMutation;

#[Object]
impl EstimatesMutation {
    /// Prices the work for a call by the price book in force, taxed where its address is confirmed to be.
    async fn draft_estimate(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The work.")] input: DraftEstimateInput,
    ) -> async_graphql::Result<DraftEstimatePayload> {
        let act = act(ctx)?;
        let outcome = async { drafting::draft_estimate(act, input.command()?).await }.await;
        DraftEstimatePayload::of(outcome.map(EstimateRevision::from))
    }

    /// Drafts the next revision, priced anew; what was sent stays valid until the new one is sent. On a completed call it
    /// says what was done in place of what was accepted, to be billed as `workDone`.
    async fn revise_estimate(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The work as it is now.")] input: ReviseEstimateInput,
    ) -> async_graphql::Result<ReviseEstimatePayload> {
        let act = act(ctx)?;
        let outcome = async { drafting::revise_estimate(act, input.command()?).await }.await;
        ReviseEstimatePayload::of(outcome.map(EstimateRevision::from))
    }

    /// Freezes a drafted revision and mails it with a link by which the customer answers.
    async fn send_estimate(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which, and where to.")] input: SendEstimateInput,
    ) -> async_graphql::Result<SendEstimatePayload> {
        let act = act(ctx)?;
        let outcome = async { sending::send_estimate(act, input.command()?).await }.await;
        SendEstimatePayload::of(outcome.map(EstimateRevision::from))
    }

    /// Mails an estimate that waits for its answer once more, with a new link; the links sent before end. One that was
    /// handed over is reminded of from then on, as any other that was mailed.
    async fn resend_estimate(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which, and where to.")] input: ResendEstimateInput,
    ) -> async_graphql::Result<ResendEstimatePayload> {
        let act = act(ctx)?;
        let outcome = async { resending::resend_estimate(act, input.command()?).await }.await;
        ResendEstimatePayload::of(outcome.map(Mail::from))
    }
}
