//! Acts on calls that touch nothing above them.

use async_graphql::{Context, Enum, ID, InputObject, Object};
use chrono::NaiveDate;
use nameplate_entities::kinds;
use nameplate_rules::readings::Load;

use crate::base::Result;
use crate::closeout::finish_visit;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::ExactDecimal;
use crate::{payload, stock};

use super::super::operations;
use super::reading::{Across, Circuit, Quantity, ReadingUnit};
use super::visit::VisitReason;
use super::work::Method;
use super::{Reading, Remedy, ServiceCall, Visit};

/// A trip to plan.
#[derive(InputObject)]
pub struct ScheduleVisitInput {
    /// Open calls at one address; 1 to 20.
    call_ids: Vec<ID>,
    /// Who makes it: a technician or the owner.
    technician_id: ID,
    /// The day.
    planned_on: NaiveDate,
    /// Arrival window as told to the customer.
    window: Option<String>,
    /// Why a call needs another visit; only from the second visit of one of the calls on. Left out while parts ordered
    /// for one of them are still to come, it is that a part was ordered.
    reason: Option<VisitReason>,
    /// What there is to say about it; needed for another reason than those named.
    reason_note: Option<String>,
}

impl ScheduleVisitInput {
    fn command(self) -> Result<operations::ScheduleVisit> {
        let call_ids = self
            .call_ids
            .iter()
            .enumerate()
            .map(|(place, id)| Kind::ServiceCall.row(&format!("callIds.{place}"), id))
            .collect::<Result<Vec<_>>>()?;
        Ok(operations::ScheduleVisit {
            call_ids,
            technician_id: Kind::Staff.row("technicianId", &self.technician_id)?,
            planned_on: self.planned_on,
            window: self.window,
            reason: self.reason.map(Into::into),
            reason_note: self.reason_note,
        })
    }
}

payload! {
    /// What planning a trip gave.
    ScheduleVisitPayload {
        /// The visit as planned.
        visit: Visit
    }
}

/// How a trip ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
pub enum VisitOutcome {
    /// It was made.
    Done,
    /// It was not made.
    Missed,
}

impl From<VisitOutcome> for kinds::VisitState {
    fn from(outcome: VisitOutcome) -> Self {
        match outcome {
            VisitOutcome::Done => Self::Done,
            VisitOutcome::Missed => Self::Missed,
        }
    }
}

/// A trip that was made or missed.
#[derive(InputObject)]
pub struct FinishVisitInput {
    /// The visit.
    visit_id: ID,
    /// Whether it was made.
    outcome: VisitOutcome,
}

payload! {
    /// What finishing a visit gave.
    FinishVisitPayload {
        /// The visit as it is now.
        visit: Visit
    }
}

/// Whether what follows from a part's rating can be reckoned.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_rules::readings::Load")]
pub enum LoadKind {
    /// A heating element or the like: resistance, current and power follow from its rating.
    Resistive,
    /// A motor, board or sensor: only its voltage follows.
    Other,
}

/// The rating of the measured part itself.
#[derive(InputObject)]
pub struct PartRatingInput {
    /// What kind of load it is.
    #[graphql(default_with = "LoadKind::Resistive")]
    load: LoadKind,
    /// Rated voltage, in volts.
    rated_volts: Option<ExactDecimal>,
    /// Rated power, in watts.
    rated_watts: Option<ExactDecimal>,
    /// Rated current, in amperes.
    rated_amps: Option<ExactDecimal>,
}

impl From<PartRatingInput> for operations::PartRating {
    fn from(input: PartRatingInput) -> Self {
        Self {
            load: Load::from(input.load),
            volts: input.rated_volts.map(|figure| figure.0),
            watts: input.rated_watts.map(|figure| figure.0),
            amps: input.rated_amps.map(|figure| figure.0),
        }
    }
}

/// A measurement to write down.
#[derive(InputObject)]
pub struct RecordReadingInput {
    /// The call.
    call_id: ID,
    /// What was measured.
    quantity: Quantity,
    /// The value, in `unit`.
    value: ExactDecimal,
    /// The unit of the value; it must measure that quantity.
    unit: ReadingUnit,
    /// Where it was taken, such as "bake element, lead to lead".
    place: String,
    /// Whether at least one lead was off, so that no parallel path was measured.
    isolated: bool,
    /// Copper wire size in AWG (14, 12, 10, 8 or 6), to hold a load current against what it may carry.
    wire_awg: Option<i32>,
    /// What the wire's insulation is marked for, in degrees Celsius (60, 75 or 90). Unmarked counts as 60.
    insulation_c: Option<i32>,
    /// What its terminals are marked for, in degrees Celsius (60, 75 or 90). Unmarked counts as 60.
    terminals_c: Option<i32>,
    /// The breaker or fuse of the circuit in amperes, 1 to 200; for a load current.
    breaker_amps: Option<i32>,
    /// Whether the load runs for three hours or more.
    #[graphql(default)]
    continuous: bool,
    /// For a voltage: whether a load drew current. One open and one under load make a pair, whose difference is the
    /// drop. Reading under load is only for those qualified and equipped for it, as the maker's instructions, local
    /// codes and licensed practice allow.
    circuit: Option<Circuit>,
    /// For a voltage: what it lay across. One across a joint is read under load.
    across: Option<Across>,
    /// The rating of the measured part, where the machine's plate is the sum of several. Left out, the
    /// plate is taken, which says more than a voltage only for electric heating machines.
    part: Option<PartRatingInput>,
    /// Voltage measured at the machine, in volts, for a current or power.
    supply_volts: Option<ExactDecimal>,
    /// What the technician adds.
    note: Option<String>,
}

impl RecordReadingInput {
    fn command(self) -> Result<operations::RecordReading> {
        Ok(operations::RecordReading {
            call_id: Kind::ServiceCall.row("callId", &self.call_id)?,
            quantity: self.quantity.into(),
            value: self.value.0,
            unit: self.unit.into(),
            place: self.place,
            isolated: self.isolated,
            wire_awg: self.wire_awg,
            insulation_c: self.insulation_c,
            terminals_c: self.terminals_c,
            breaker_amps: self.breaker_amps,
            continuous: self.continuous,
            circuit: self.circuit.map(Into::into),
            across: self.across.map(Into::into),
            part: self.part.map(Into::into),
            supply_volts: self.supply_volts.map(|figure| figure.0),
            note: self.note,
        })
    }
}

payload! {
    /// What writing down a measurement gave.
    RecordReadingPayload {
        /// The reading with its verdict.
        reading: Reading
    }
}

/// A part that was fitted.
#[derive(InputObject)]
pub struct PartUsedInput {
    /// The part.
    part_id: ID,
    /// How many; above zero.
    quantity: ExactDecimal,
    /// The batch printed on it, where it can be read.
    lot: Option<String>,
    /// Where it comes from; the technician's own van if so many lie there, or else the main shelf, when left out.
    place_id: Option<ID>,
}

/// What was done about a finding.
#[derive(InputObject)]
pub struct RecordRemedyInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The finding.
    finding_id: ID,
    /// How it was mended.
    method: Method,
    /// Minutes of labour.
    labour_minutes: i32,
    /// What the technician adds.
    note: Option<String>,
    /// What was fitted; each keeps what it costs now.
    #[graphql(default)]
    parts: Vec<PartUsedInput>,
}

impl RecordRemedyInput {
    fn command(self) -> Result<operations::RecordRemedy> {
        let parts = self
            .parts
            .iter()
            .enumerate()
            .map(|(place, part)| {
                Ok(operations::PartFitted {
                    part_id: Kind::Part.row(&format!("parts.{place}.partId"), &part.part_id)?,
                    quantity: part.quantity.0,
                    lot: part.lot.clone(),
                    place_id: Kind::StockPlace
                        .row_if_any(&format!("parts.{place}.placeId"), part.place_id.as_ref())?,
                })
            })
            .collect::<Result<Vec<_>>>()?;
        Ok(operations::RecordRemedy {
            idempotency_key: self.idempotency_key,
            finding_id: Kind::Finding.row("findingId", &self.finding_id)?,
            method: self.method.into(),
            labour_minutes: self.labour_minutes,
            note: self.note,
            parts,
        })
    }
}

payload! {
    /// What writing down a remedy gave.
    RecordRemedyPayload {
        /// The remedy as recorded.
        remedy: Remedy
    }
}

/// Why a failure returned.
#[derive(InputObject)]
pub struct RecordRootCauseInput {
    /// The call.
    call_id: ID,
    /// Why, in words.
    root_cause: String,
}

payload! {
    /// What writing down a root cause gave.
    RecordRootCausePayload {
        /// The call as it is now.
        call: ServiceCall
    }
}

/// Acts on calls that touch nothing above them.
#[derive(Default)]
pub struct CallsMutation;

#[Object]
impl CallsMutation {
    /// Plans a trip for one or more calls at one address.
    async fn schedule_visit(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The trip.")] input: ScheduleVisitInput,
    ) -> async_graphql::Result<ScheduleVisitPayload> {
        let act = act(ctx)?;
        let outcome = async { stock::schedule_visit(act, input.command()?).await }.await;
        ScheduleVisitPayload::of(outcome.map(Visit::from))
    }

    /// Says that a trip was made or missed.
    async fn finish_visit(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The visit and how it ended.")] input: FinishVisitInput,
    ) -> async_graphql::Result<FinishVisitPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let finished = operations::FinishVisit {
                visit_id: Kind::Visit.row("visitId", &input.visit_id)?,
                outcome: input.outcome.into(),
            };
            finish_visit(act, finished).await
        }
        .await;
        FinishVisitPayload::of(outcome.map(Visit::from))
    }

    /// Writes down a measurement and judges it against plate and wire.
    async fn record_reading(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The measurement.")] input: RecordReadingInput,
    ) -> async_graphql::Result<RecordReadingPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::record_reading(act, input.command()?).await }.await;
        RecordReadingPayload::of(outcome.map(Reading::from))
    }

    /// Writes down what was done about a finding and what was fitted.
    async fn record_remedy(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What was done.")] input: RecordRemedyInput,
    ) -> async_graphql::Result<RecordRemedyPayload> {
        let act = act(ctx)?;
        let outcome = async { stock::record_remedy(act, input.command()?).await }.await;
        RecordRemedyPayload::of(outcome.map(Remedy::from))
    }

    /// Writes down why a failure returned.
    async fn record_root_cause(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The call and the cause.")] input: RecordRootCauseInput,
    ) -> async_graphql::Result<RecordRootCausePayload> {
        let act = act(ctx)?;
        let outcome = async {
            let new = operations::RecordRootCause {
                call_id: Kind::ServiceCall.row("callId", &input.call_id)?,
                root_cause: input.root_cause,
            };
            operations::record_root_cause(act, new).await
        }
        .await;
        RecordRootCausePayload::of(outcome.map(ServiceCall::from))
    }
}
