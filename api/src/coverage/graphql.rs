//! Decisions and outlooks in the graph.

use async_graphql::{ComplexObject, Context, Enum, ID, InputObject, Object, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::{coverage_decision, estimate_line};
use nameplate_rules::coverage::{
    Answer, Covers, Decision, Line, LineSplit, PaidBy, Registration, settles,
};

use crate::base::{Error, Result};
use crate::calls::graphql::ServiceCall;
use crate::closeout::decide_coverage;
use crate::graphql::context::act;
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::payload;
use crate::shop::graphql::Staff;
use crate::warranty::graphql::{
    CoverEvidence, CoverExclusion, CoveredCharge, WarrantyPayer, WarrantyProgramme,
};

use super::{DecideCoverage, Holding, LineHours, Outlook, OutlookLine, Said, Sight, kept, outlook};

/// What a programme answers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
pub enum CoverAnswer {
    /// It pays, or the shop bears something in its place as its terms say.
    Pays,
    /// It pays once what is missing is there.
    PaysOnceSettled,
    /// It would pay, but nothing was left, or asking it would leave the customer worse off.
    NotAsked,
    /// It does not pay.
    DoesNotPay,
}

/// One programme's answer.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct ProgrammeAnswer {
    /// What the programme is called.
    name: String,
    /// What it answers.
    answer: CoverAnswer,
    /// What would settle it, in words.
    missing: Vec<String>,
    #[graphql(skip)]
    programme_id: Option<i64>,
    #[graphql(skip)]
    payer_id: Option<i64>,
}

#[ComplexObject]
impl ProgrammeAnswer {
    /// Whose it is; null for the shop's own work.
    async fn payer(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<WarrantyPayer>> {
        match self.payer_id {
            Some(id) => WarrantyPayer::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The programme; null for the shop's own work.
    async fn programme(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<WarrantyProgramme>> {
        match self.programme_id {
            Some(id) => WarrantyProgramme::of(ctx, id).await,
            None => Ok(None),
        }
    }
}

/// What one programme pays of a line.
#[derive(SimpleObject)]
pub struct CoverPortion {
    /// What the programme is called.
    name: String,
    /// Whether the shop bears it itself: as its own work, or in place of what the programme's rates and caps leave.
    own_work: bool,
    /// How much, before tax.
    amount: Money,
}

/// Who pays a line.
#[derive(SimpleObject)]
pub struct CoverSplit {
    /// Its place among the lines, from 1.
    position: i32,
    /// What it is for; null for a charge no programme pays.
    covers: Option<CoveredCharge>,
    /// All of it, before tax.
    amount: Money,
    /// What programmes pay.
    portions: Vec<CoverPortion>,
    /// What is left to the customer.
    customer: Money,
}

/// A decision as read: the same for one that is kept and for an outlook.
#[derive(SimpleObject)]
pub struct CoverReading {
    /// The split once all that is missing is there.
    lines: Vec<CoverSplit>,
    /// What the customer owes then, before tax.
    customer: Money,
    /// What the customer owes at most, if nothing that is missing turns up.
    customer_at_most: Money,
    /// One for each programme, in the order they were weighed.
    answers: Vec<ProgrammeAnswer>,
    /// Why, in sentences that can be read to a customer.
    reasons: Vec<String>,
}

impl CoverReading {
    /// `says` are the words of the lines, in their order.
    fn of((lines, says): (&[Line], &[String]), holdings: &[Holding], decision: &Decision) -> Self {
        let registrations: Vec<Registration> = (holdings.iter())
            .map(|holding| holding.registration.clone())
            .collect();
        let split = |(position, (line, split)): (i32, (&Line, &LineSplit))| CoverSplit {
            position,
            covers: line.covers.map(Into::into),
            amount: Money(line.amount),
            portions: (split.portions.iter())
                .filter_map(|portion| {
                    let holding = holdings.get(portion.registration)?;
                    Some(CoverPortion {
                        name: holding.registration.programme.name.clone(),
                        own_work: holding.payer_id.is_none() || portion.by == PaidBy::Shop,
                        amount: Money(portion.amount),
                    })
                })
                .collect(),
            customer: Money(split.customer),
        };
        Self {
            lines: (1..)
                .zip(lines.iter().zip(&decision.lines))
                .map(split)
                .collect(),
            customer: Money(decision.customer),
            customer_at_most: Money(decision.customer_at_most),
            answers: (holdings.iter().zip(&decision.answers))
                .map(|(holding, answer)| programme_answer(holding, answer))
                .collect(),
            reasons: (decision.steps.iter())
                .map(|step| step.words(&registrations, says))
                .collect(),
        }
    }
}

fn programme_answer(holding: &Holding, answer: &Answer) -> ProgrammeAnswer {
    let (answer, missing) = match answer {
        Answer::Pays => (CoverAnswer::Pays, Vec::new()),
        Answer::PaysOnce(missing) => (
            CoverAnswer::PaysOnceSettled,
            missing.iter().map(|missing| settles(*missing)).collect(),
        ),
        Answer::NotAsked => (CoverAnswer::NotAsked, Vec::new()),
        Answer::DoesNotPay => (CoverAnswer::DoesNotPay, Vec::new()),
    };
    ProgrammeAnswer {
        name: holding.registration.programme.name.clone(),
        answer,
        missing,
        programme_id: holding.programme_id,
        payer_id: holding.payer_id,
    }
}

/// Who pays what of a call, as decided; never changed, a later one stands in its place.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct CoverageDecision {
    /// The day the failure was told of.
    failed_on: NaiveDate,
    /// All lines, before tax.
    total: Money,
    /// Whether nothing is missing.
    is_sure: bool,
    /// Whether no later decision stands in its place.
    stands: bool,
    /// When it was made.
    decided_at: DateTime<Utc>,
    #[graphql(skip)]
    row: coverage_decision::Model,
}

impl From<coverage_decision::Model> for CoverageDecision {
    fn from(row: coverage_decision::Model) -> Self {
        Self {
            failed_on: row.failed_on,
            total: Money::cents(row.total_cents),
            is_sure: row.is_sure,
            stands: row.standing_call_id.is_some(),
            decided_at: row.decided_at,
            row,
        }
    }
}

impl CoverageDecision {
    /// The decision with this id; technicians see none.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if !act(ctx)?.is_desk() {
            return Ok(None);
        }
        let row = loaders::row::<coverage_decision::Entity>(ctx, id).await?;
        Ok(row.map(Self::from))
    }

    /// What the lines that were decided say, in their order.
    async fn line_words(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<String>> {
        let Some(option_id) = self.row.estimate_option_id else {
            return Ok(Vec::new());
        };
        let column = estimate_line::Column::OptionId;
        let mut rows = loaders::children::<estimate_line::Entity>(ctx, column, option_id).await?;
        rows.sort_by_key(|row| row.position);
        Ok(rows.into_iter().map(|row| row.description).collect())
    }

    /// All decisions on a call, oldest first.
    pub async fn of_call(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Vec<Self>> {
        let column = coverage_decision::Column::CallId;
        let rows = loaders::children::<coverage_decision::Entity>(ctx, column, id).await?;
        Ok(rows.into_iter().map(Self::from).collect())
    }
}

#[ComplexObject]
impl CoverageDecision {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::CoverageDecision.id(self.row.id)
    }

    /// The call.
    async fn call(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<ServiceCall>> {
        ServiceCall::seen(ctx, self.row.call_id).await
    }

    /// Splits, answers and reasons.
    async fn reading(&self, ctx: &Context<'_>) -> async_graphql::Result<CoverReading> {
        let kept = kept(&self.row).map_err(edge)?;
        let says = self.line_words(ctx).await?;
        Ok(CoverReading::of(
            (&kept.lines, &says),
            &kept.holdings,
            &kept.decision,
        ))
    }

    /// Who made it.
    async fn decided_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.decided_by).await
    }
}

/// What is known beside what is on record.
#[derive(InputObject, Default)]
pub struct CoverFactsInput {
    /// What is so.
    #[graphql(default)]
    circumstances: Vec<CoverExclusion>,
    /// What was asked and is not settled yet; it makes the answers depend on it.
    #[graphql(default)]
    unsettled: Vec<CoverExclusion>,
    /// Evidence that is at hand on paper only; pictures and kept parts are found by themselves.
    #[graphql(default)]
    evidence: Vec<CoverEvidence>,
}

impl From<CoverFactsInput> for Said {
    fn from(input: CoverFactsInput) -> Self {
        Self {
            circumstances: input.circumstances.into_iter().map(Into::into).collect(),
            unsettled: input.unsettled.into_iter().map(Into::into).collect(),
            evidence: input.evidence.into_iter().map(Into::into).collect(),
        }
    }
}

/// What is decided.
#[derive(InputObject)]
pub struct DecideCoverageInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The call.
    call_id: ID,
    /// The option whose lines are decided; the accepted one when left out.
    option_id: Option<ID>,
    /// The day the failure was told of; the day the call was opened when left out.
    failed_on: Option<NaiveDate>,
    /// The finding that counts; the first fault found when left out. Where several components were found to have failed and
    /// none is named, what depends on it is not sure.
    finding_id: Option<ID>,
    /// How far the trip was, for payers who pay by distance; in the shop's unit.
    distance: Option<ExactDecimal>,
    /// How long the work of lines took that have no time of their own, such as a diagnosis, for payers who pay by the hour.
    #[graphql(default)]
    hours: Vec<LineHoursInput>,
    /// What is known beside what is on record.
    #[graphql(default)]
    facts: CoverFactsInput,
}

/// How long the work of a line took.
#[derive(InputObject)]
pub struct LineHoursInput {
    /// Place of the line, from 1.
    line: i32,
    /// The hours.
    hours: ExactDecimal,
}

impl DecideCoverageInput {
    fn command(self) -> Result<DecideCoverage> {
        let (option, finding) = (self.option_id.as_ref(), self.finding_id.as_ref());
        Ok(DecideCoverage {
            idempotency_key: self.idempotency_key,
            call_id: Kind::ServiceCall.row("callId", &self.call_id)?,
            option_id: Kind::EstimateOption.row_if_any("optionId", option)?,
            failed_on: self.failed_on,
            finding_id: Kind::Finding.row_if_any("findingId", finding)?,
            distance: self.distance.map(|distance| distance.0),
            hours: (self.hours.into_iter())
                .map(|said| LineHours {
                    line: said.line,
                    hours: said.hours.0,
                })
                .collect(),
            said: self.facts.into(),
        })
    }
}

payload! {
    /// What deciding gave.
    DecideCoveragePayload {
        /// The decision.
        decision: CoverageDecision
    }
}

/// Deciding who pays.
#[derive(Default)]
pub struct CoverageMutation;

#[Object]
impl CoverageMutation {
    /// Decides who pays the lines of an option, in place of an earlier decision on the call. Nothing is billed by it; on a
    /// completed call, what the shop came to bear of parts and labor by it, or bears no more, is posted today.
    async fn decide_coverage(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What is decided.")] input: DecideCoverageInput,
    ) -> async_graphql::Result<DecideCoveragePayload> {
        let act = act(ctx)?;
        let outcome = async { decide_coverage(act, input.command()?).await }.await;
        DecideCoveragePayload::of(outcome.map(CoverageDecision::from))
    }
}

/// A charge to be expected.
#[derive(InputObject)]
pub struct OutlookLineInput {
    /// What it is for.
    covers: CoveredCharge,
    /// How much, before tax.
    amount: Money,
    /// Hours of labor, for payers who pay by the hour.
    hours: Option<ExactDecimal>,
    /// How far a trip is, for payers who pay by distance.
    distance: Option<ExactDecimal>,
}

impl From<OutlookLineInput> for OutlookLine {
    fn from(input: OutlookLineInput) -> Self {
        Self {
            covers: input.covers.into(),
            amount: input.amount.0,
            hours: input.hours.map(|hours| hours.0),
            distance: input.distance.map(|distance| distance.0),
        }
    }
}

/// What would be paid, if.
#[derive(SimpleObject)]
pub struct CoverageOutlook {
    /// The day it is asked for.
    failed_on: NaiveDate,
    /// Splits, answers and reasons.
    reading: CoverReading,
}

/// Looking ahead.
#[derive(Default)]
pub struct CoverageQuery;

#[Object]
impl CoverageQuery {
    /// Who would pay if the machine had failed on a day, of a component if one is named. Nothing is written down.
    #[allow(
        clippy::too_many_arguments,
        reason = "each is an argument of the graph"
    )]
    async fn coverage_outlook(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The machine.")] appliance_id: ID,
        #[graphql(desc = "The day of the failure; today when left out.")] failed_on: Option<
            NaiveDate,
        >,
        #[graphql(desc = "What failed, if that is known.")] component_id: Option<ID>,
        #[graphql(desc = "How it failed, if that is known.")] failure_mode_id: Option<ID>,
        #[graphql(desc = "What is known beside what is on record.", default)]
        facts: CoverFactsInput,
        #[graphql(desc = "Charges to be expected; 50 at most.", default)] lines: Vec<
            OutlookLineInput,
        >,
    ) -> async_graphql::Result<CoverageOutlook> {
        let act = act(ctx)?;
        let asked = async {
            let (component, mode) = (component_id.as_ref(), failure_mode_id.as_ref());
            let ask = Outlook {
                appliance_id: Kind::Appliance.row("applianceId", &appliance_id)?,
                failed_on,
                component_id: Kind::Component.row_if_any("componentId", component)?,
                failure_mode_id: Kind::FailureMode.row_if_any("failureModeId", mode)?,
                said: facts.into(),
                lines: lines.into_iter().map(Into::into).collect(),
            };
            let sight = outlook(act, &ask).await?;
            Ok::<_, Error>(seen(&ask, &sight))
        };
        asked.await.map_err(edge)
    }
}

fn seen(ask: &Outlook, sight: &Sight) -> CoverageOutlook {
    let lines: Vec<Line> = (ask.lines.iter())
        .map(|line| Line {
            covers: Some(line.covers),
            amount: line.amount,
            hours: line.hours,
            distance: line.distance,
        })
        .collect();
    let says: Vec<String> = (ask.lines.iter())
        .map(|line| charge_words(line.covers).to_owned())
        .collect();
    CoverageOutlook {
        failed_on: sight.failed_on,
        reading: CoverReading::of((&lines, &says), &sight.holdings, &sight.decision),
    }
}

const fn charge_words(covers: Covers) -> &'static str {
    match covers {
        Covers::Parts => "Parts",
        Covers::Labour => "Labor",
        Covers::Trip => "Trip",
    }
}
